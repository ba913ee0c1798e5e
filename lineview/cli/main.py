"""The command line; thin, no arithmetic."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated

import typer

from lineview.app.allocator import (
    collect_garbage_seldom,
    give_memory_back,
    keep_answers_to_one_thread,
    keep_large_blocks_apart,
    keep_small_files_to_one_thread,
    keep_to_one_thread,
    leave_parts_of_numpy_out,
)
from lineview.cli.console import HERE, JournalUrl, WorksFolder, language_of_environment, translated
from lineview.cli.trials import trials
from lineview.core.errors import LineviewError
from lineview.core.language import ENGLISH, speak, tr

#: Help is drawn in boxes for a terminal alone; a file or pipe gets plain text.
app = typer.Typer(pretty_exceptions_enable=False, rich_markup_mode="rich" if sys.stdout.isatty() else None)
LineId = Annotated[str | None, typer.Option("--line", help="Id of the line.")]
MachineId = Annotated[str | None, typer.Option("--machine", help="Id of the machine.")]
Only = Annotated[
    str | None, typer.Option("--only", help="Of the week: cut it to shift=ID or product=ID before it is compared.")
]
Against = Annotated[
    str | None,
    typer.Option("--against", help="Of the week: previous, a period, line=, machine=, shift=, product= or before=DAY."),
]
Trial = Annotated[int | None, typer.Option("--trial", help="Of the week: judge the trial with this number instead.")]
LanguageCode = Annotated[
    str | None, typer.Option("--language", help="Language of the works, such as de; by default that of the terminal.")
]
Start = Annotated[str | None, typer.Option("--from", help="From this moment, in wall time.")]
End = Annotated[str | None, typer.Option("--to", help="Up to this moment, in wall time.")]


def _questions(prefix: str) -> list[str]:
    """The questions that a shell completes what was begun to."""
    from lineview.app.question import QUESTIONS

    return [question for question in QUESTIONS if question.startswith(prefix)]


QuestionName = Annotated[
    str, typer.Argument(help="rope, weight, shift, wrap, order or week.", autocompletion=_questions)
]
users = typer.Typer(help="Who may use the board from other machines.", no_args_is_help=True)
app.add_typer(users, name="user")
app.add_typer(trials, name="trial")
Roles = Annotated[
    list[str] | None,
    typer.Option("--role", help="note, take-in, order or administer; may be repeated. Everybody may see."),
]
PasswordFile = Annotated[
    Path | None, typer.Option(help="Read the password from this file's first line instead of asking.")
]


@users.command("add")
def user_add(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    role: Roles = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    password_file: PasswordFile = None,
) -> None:
    """Add a user; the password is asked for."""
    from lineview.app.works import Works
    from lineview.cli.users import add_user

    with Works(works, journal) as opened:
        add_user(opened, name, role or [], password_file)


@users.command("list")
def user_list(works: WorksFolder = HERE, journal: JournalUrl = None) -> None:
    """List users and what each may do."""
    from lineview.app.works import Works
    from lineview.cli.users import list_users

    with Works(works, journal) as opened:
        list_users(opened)


@users.command("remove")
def user_remove(
    name: Annotated[str, typer.Argument(help="Name of the user.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
) -> None:
    """Remove a user, who is signed out everywhere."""
    from lineview.app.works import Works
    from lineview.cli.users import remove_user

    with Works(works, journal) as opened:
        remove_user(opened, name)


@users.command("password")
def user_password(
    name: Annotated[str, typer.Argument(help="Name of the user.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    password_file: PasswordFile = None,
) -> None:
    """Set a new password; the user is signed out everywhere."""
    from lineview.app.works import Works
    from lineview.cli.users import set_password

    with Works(works, journal) as opened:
        set_password(opened, name, password_file)


@users.command("roles")
def user_roles(
    name: Annotated[str, typer.Argument(help="Name of the user.")],
    role: Roles = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
) -> None:
    """Set what a user may do, in place of what it was."""
    from lineview.app.works import Works
    from lineview.cli.users import set_roles

    with Works(works, journal) as opened:
        set_roles(opened, name, role or [])


def _print_version(requested: bool) -> None:
    if requested:
        from importlib.metadata import version

        typer.echo(f"lineview {version('lineview')}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[  # its callback prints it
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Answers from the counter exports of sizing and cut-and-wrap machines.

    Without a command the board is served for the folder you stand in, where that is a works or empty.
    """
    if context.invoked_subcommand is not None:
        return
    if (HERE / "plant.toml").exists() or not any(HERE.iterdir()):
        board()
    else:
        typer.echo(context.get_help())


@app.command("try")
def try_it(
    into: Annotated[Path, typer.Option(help="Where to set the invented works up.")] = Path("works"),
    board: Annotated[bool, typer.Option(help="Serve the board at the end.")] = True,
    port: Annotated[int, typer.Option(min=0, max=65535, help="The board's port.")] = 8050,
    language: LanguageCode = None,
) -> None:
    """Set up the invented works that ships with the tool, take a week in, answer and show the board."""
    give_memory_back()
    from lineview.cli.intake import try_the_demo

    try_the_demo(into, port if board else None, language)


@app.command()
def intake(
    paths: Annotated[list[Path] | None, typer.Argument(help="Export files and folders of them.")] = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    accept: Annotated[bool, typer.Option("--accept", help="Accept proposed layouts and keep them.")] = False,
    settle: Annotated[
        list[str] | None, typer.Option(help="An answer to a proposal's question, as ABOUT=ANSWER.")
    ] = None,
    undo: Annotated[int | None, typer.Option(help="Undo the intake with this number.")] = None,
    listing: Annotated[bool, typer.Option("--list", help="List what was taken in.")] = False,
    refusals: Annotated[int | None, typer.Option(help="List the refusals of an intake (0: of all).")] = None,
    conflicts: Annotated[bool, typer.Option("--conflicts", help="List moments with two values.")] = False,
    csv: Annotated[Path | None, typer.Option(help="Write the list to this file instead.")] = None,
) -> None:
    """Take exports in, list intakes or undo one."""
    keep_small_files_to_one_thread(paths or [])
    from lineview.app.works import Works
    from lineview.cli import intake

    with Works(works, journal) as opened:
        if undo is not None:
            intake.undo(opened, undo)
        elif refusals is not None:
            intake.refusals(opened, refusals or None, csv)
        elif conflicts:
            intake.conflicts(opened, csv)
        elif listing or not paths:
            intake.listing(opened, csv)
        else:
            intake.take(opened, paths, accept, settle or [])


@app.command()
def answer(
    question: QuestionName,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: LineId = None,
    machine: MachineId = None,
    period: Annotated[
        str | None,
        typer.Option(help="last-shift, this-week, last-7-days, all, or as 2026-06-09, 2026-W24, 2026-06-09.early."),
    ] = None,
    start: Start = None,
    end: End = None,
    only: Only = None,
    against: Against = None,
    trial: Trial = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the whole answer as JSON.")] = False,
    in_full: Annotated[bool, typer.Option("--all", help="Print every figure and table.")] = False,
) -> None:
    """Answer one question."""
    keep_answers_to_one_thread()
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import print_answer

    leave_parts_of_numpy_out()
    with Works(works, journal) as opened:
        scope = read_question(question, line, machine, period, start, end, only, against, trial)
        print_answer(opened, scope, as_json, in_full)


@app.command()
def patterns(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: LineId = None,
    period: Annotated[str | None, typer.Option(help="As for 'answer'.")] = None,
    accept: Annotated[int | None, typer.Option(help="Give all stops of the pattern with this number a reason.")] = None,
    reason: Annotated[str | None, typer.Option(help="The reason; by default the one that is offered.")] = None,
    undo: Annotated[int | None, typer.Option(help="Undo what was accepted, by the mark shown then.")] = None,
) -> None:
    """List stops without a reason that recur, give all of one pattern their reason, or undo that."""
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import accept_pattern, print_patterns, undo_pattern

    with Works(works, journal) as opened:
        scope = read_question("week", line, period=period)
        if undo is not None:
            undo_pattern(opened, undo)
        elif accept is not None:
            accept_pattern(opened, scope, accept, reason)
        else:
            print_patterns(opened, scope)


@app.command()
def records(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    rebuild: Annotated[bool, typer.Option(help="Work out every record anew, not only stale ones.")] = False,
) -> None:
    """Bring the records of all shifts up to date; answers do so by themselves for what they need."""
    from lineview.app.works import Works
    from lineview.cli.intake import update_records

    with Works(works, journal) as opened:
        update_records(opened, rebuild)


@app.command()
def sheet(
    question: QuestionName,
    file: Annotated[
        Path | None,
        typer.Argument(help="File to write: its ending says which form: .pdf, .xlsx or .csv. By default a dated PDF."),
    ] = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: LineId = None,
    machine: MachineId = None,
    period: Annotated[str | None, typer.Option(help="As for 'answer'.")] = None,
    start: Start = None,
    end: End = None,
    only: Only = None,
    against: Against = None,
    trial: Trial = None,
    by_supplier: Annotated[
        bool,
        typer.Option(
            "--by-supplier", help="Of order: what each supplier may see; of wrap: a claim for its short reels."
        ),
    ] = False,
    by: Annotated[str, typer.Option(help="Of the shift: who hands it over.")] = "",
) -> None:
    """Write an answer as a printable page, a spreadsheet, or its first table as CSV."""
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import write_sheet, write_supplier_sheets

    with Works(works, journal) as opened:
        scope = read_question(question, line, machine, period, start, end, only, against, trial)
        if by_supplier and not by:
            write_supplier_sheets(opened, scope, file or Path("order.pdf" if question == "order" else "claim.pdf"))
        else:
            write_sheet(opened, scope, file, by)


@app.command()
def watch(
    folder: Annotated[Path, typer.Argument(help="Folder that the exports arrive in.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    every_s: Annotated[float, typer.Option(min=0.2, help="Seconds between checks.")] = 10.0,
    looks: Annotated[int, typer.Option(min=0, help="Stop after this many checks; 0: until stopped.")] = 0,
    board: Annotated[bool, typer.Option("--board", help="Serve the board meanwhile.")] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="The board's port.")] = 8050,
    sheets: Annotated[
        Path | None, typer.Option(help="Write sheets into this folder when a shift, a day or a week is over.")
    ] = None,
    sheet: Annotated[list[str] | None, typer.Option(help="Which sheets; by default shift and week.")] = None,
    form: Annotated[list[str] | None, typer.Option("--as", help="Their forms: pdf (default), xlsx or csv.")] = None,
) -> None:
    """Take exports in as they arrive in a folder; write sheets of what is over."""
    give_memory_back()
    from lineview.app.works import Works
    from lineview.cli.watch import SheetWriter, watch_folder

    with Works(works, journal) as opened:
        writer = None if sheets is None else SheetWriter(sheets, sheet or ["shift", "week"], form or ["pdf"])
        watch_folder(opened, folder, every_s, looks, port if board else None, writer)


@app.command()
def board(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    host: Annotated[
        str, typer.Option(help="Address to serve on; any but this machine's own needs a user to sign in.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to serve on.")] = 8050,
    host_name: Annotated[
        list[str] | None, typer.Option(help="A further name that the board answers to; may be repeated.")
    ] = None,
    tls: Annotated[tuple[Path, Path] | None, typer.Option(help="Certificate chain and private key, PEM.")] = None,
    proxy: Annotated[
        list[str] | None, typer.Option(help="Address of a proxy whose forwarded headers are believed.")
    ] = None,
    log: Annotated[str, typer.Option(help="Write a log of JSON lines to this file; - for the output.")] = "",
    workers: Annotated[
        int | None, typer.Option(help="Processes that work pages out; one for each core, up to 4; 0 for none.", min=0)
    ] = None,
) -> None:
    """Serve the board: on this machine, or for those who sign in on a network.

    A folder without plant.toml is set up there.
    """
    give_memory_back()
    keep_large_blocks_apart()
    from lineview.app.works import Works
    from lineview.board.serve import Serving, serve

    serving = Serving(host, port, tuple(host_name or ()), tls, tuple(proxy or ()), log, workers)
    with Works(works, journal, new=True) as opened:
        serve(opened, serving)


@app.command()
def setup(
    exports: Annotated[list[Path] | None, typer.Argument(help="Export files and folders of them.")] = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    accept: Annotated[bool, typer.Option("--accept", help="Take every suggestion without asking.")] = False,
    answer: Annotated[list[str] | None, typer.Option(help="An answer given beforehand, as QUESTION=ANSWER.")] = None,
    language: LanguageCode = None,
) -> None:
    """Set a works up from its exports: recognise them, ask what they leave open, write plant.toml."""
    from lineview.cli.setup import run_setup

    run_setup(works, exports or [], journal, accept, answer or [], language)


@app.command()
def demo(
    into: Annotated[Path, typer.Option(help="Folder to write to; must be new or empty.")] = Path("demo-works"),
    days: Annotated[int, typer.Option(min=1, max=400, help="How many days.")] = 7,
    seed: Annotated[int, typer.Option(help="Another seed gives other days.")] = 1,
) -> None:
    """Write the exports of an invented works, and the truth beside them."""
    from lineview.cli.intake import write_demo

    write_demo(into, days, seed)


@app.command()
def bags(
    file: Annotated[Path, typer.Argument(help="Text file with one weighed bag or box a line, in grams.")],
    label_g: Annotated[float, typer.Option(help="Net mass on the label, grams.")],
    lot: Annotated[int, typer.Option(help="Bags in the lot.")],
    rules: Annotated[str, typer.Option(help="hb133, eu or r87.")] = "eu",
    tare_g: Annotated[float, typer.Option(help="Mass of an empty bag, grams.")] = 0.0,
) -> None:
    """Check weighed bags of a lot against their label: a planning aid, not a legal test.

    Exit status: 0 where the lot passes, 1 where it does not, 3 where too few bags were weighed.
    """
    from lineview.cli.answers import print_lot

    raise typer.Exit(print_lot(file, label_g, lot, rules, tare_g))


@app.command()
def check(works: WorksFolder = HERE) -> None:
    """Read plant.toml and list every fault in it at once."""
    from lineview.cli.intake import check_plant

    check_plant(works)


@app.command()
def adjusted(
    machine: Annotated[str, typer.Argument(help="Id of the machine.")],
    what: Annotated[str, typer.Argument(help="What was done, for instance 'roller pair 3 closed'.")],
    at: Annotated[str, typer.Option(help="When, in wall time: 2026-06-09 14:05, or 14:05 today.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
) -> None:
    """Note an adjustment, so that the rope's answer can judge it."""
    from lineview.app.works import Works
    from lineview.plant.periods import moment

    with Works(works, journal) as opened:
        when = moment(at, opened.plant.tz, "--at", datetime.now(UTC), timed=True)
        opened.write("adjustment", machine, when, what, note)
        entry = f"{machine}, {when.astimezone(opened.plant.tz):%Y-%m-%d %H:%M}, {what}"
        typer.echo(tr("Noted: {what}.", what=entry))


@app.command()
def doctor(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    repair: Annotated[bool, typer.Option("--repair", help="Make anew what is damaged, from the exports kept.")] = False,
) -> None:
    """Look at every byte of the store; exit status 1 where something is not as it was written."""
    from lineview.cli.intake import look_over

    raise typer.Exit(look_over(works, journal, repair))


@app.command()
def backup(file: Annotated[Path, typer.Argument(help="A new file.")], works: WorksFolder = HERE) -> None:
    """Write the works' store and description to one file, also while exports are taken in."""
    from lineview.cli.intake import back_up

    back_up(works, file)


@app.command("restore")
def restore_works(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="As lineview backup wrote it.")],
    works: Annotated[Path, typer.Option("--works", help="A new folder.")],
) -> None:
    """Put a works back into a new folder, whole or not at all; every byte is compared."""
    from lineview.cli.intake import restore

    restore(file, works)


def main() -> None:
    """Run the command line; a plain error and exit status 2 for whatever the user can mend."""
    keep_to_one_thread()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # a terminal may lack a letter of a name, or have few at all
            stream.reconfigure(errors="replace")
    collect_garbage_seldom()
    try:
        speak(language_of_environment() or ENGLISH)
        translated(app)()
    except LineviewError as error:
        for fault in error.faults:
            sys.stderr.write(f"lineview: {fault}\n")
        raise SystemExit(error.exit_status) from None
