"""The command line; thin, no arithmetic."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from lineview.app.allocator import collect_garbage_seldom, give_memory_back, keep_to_one_thread
from lineview.core.errors import LineviewError

app = typer.Typer(
    help="Answers from the counter exports of sizing and cut-and-wrap machines.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
WorksFolder = Annotated[
    Path, typer.Option("--works", envvar="LINEVIEW_WORKS", help="The works folder, with plant.toml in it.")
]
JournalUrl = Annotated[
    str | None, typer.Option("--journal", envvar="LINEVIEW_JOURNAL", help="Journal database URL; by default SQLite.")
]
HERE = Path()


@app.command("try")
def try_it(
    into: Annotated[Path, typer.Option(help="Where to set the invented works up.")] = Path("works"),
    board: Annotated[bool, typer.Option(help="Serve the board at the end.")] = True,
    port: Annotated[int, typer.Option(help="The board's port.")] = 8050,
) -> None:
    """Set up the invented works that ships with the tool, take a week in, answer and show the board."""
    give_memory_back()
    from lineview.cli.intake import try_the_demo

    try_the_demo(into, port if board else None)


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
            intake.listing(opened)
        else:
            intake.take(opened, paths, accept, settle or [])


@app.command()
def answer(
    question: Annotated[str, typer.Argument(help="rope, weight, shift, wrap, order or week.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: Annotated[str | None, typer.Option(help="Id of the line.")] = None,
    machine: Annotated[str | None, typer.Option(help="Id of the machine.")] = None,
    period: Annotated[
        str | None, typer.Option(help="last-shift, this-week, last-7-days, all, a day, or a shift: 2026-06-09.early.")
    ] = None,
    start: Annotated[str | None, typer.Option("--from", help="From this moment, in wall time.")] = None,
    end: Annotated[str | None, typer.Option("--to", help="Up to this moment, in wall time.")] = None,
    only: Annotated[
        str | None, typer.Option(help="Of the week: cut it to shift=ID or product=ID before it is compared.")
    ] = None,
    against: Annotated[
        str | None,
        typer.Option(help="Of the week: previous, a period, line=, machine=, shift=, product= or before=DAY."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the whole answer as JSON.")] = False,
    whole: Annotated[bool, typer.Option("--all", help="Print every figure and table.")] = False,
) -> None:
    """Answer one question."""
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import print_answer

    asked = read_question(question, line, machine, period, start, end, only, against)
    with Works(works, journal) as opened:
        print_answer(opened, asked, as_json, whole)


@app.command()
def patterns(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: Annotated[str | None, typer.Option(help="Id of the line.")] = None,
    period: Annotated[str | None, typer.Option(help="As for 'answer'.")] = None,
    accept: Annotated[int | None, typer.Option(help="Give all stops of the pattern with this number a reason.")] = None,
    reason: Annotated[str | None, typer.Option(help="The reason; by default the one that is offered.")] = None,
    undo: Annotated[int | None, typer.Option(help="Undo what was accepted, by the mark shown then.")] = None,
) -> None:
    """List stops without a reason that recur, give all of one pattern their reason, or undo that."""
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import accept_pattern, print_patterns, undo_pattern

    asked = read_question("week", line, period=period)
    with Works(works, journal) as opened:
        if undo is not None:
            undo_pattern(opened, undo)
        elif accept is not None:
            accept_pattern(opened, asked, accept, reason)
        else:
            print_patterns(opened, asked)


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
    question: Annotated[str, typer.Argument(help="rope, weight, shift, wrap, order or week.")],
    file: Annotated[Path, typer.Argument(help="File to write: its ending says which form: .pdf, .xlsx or .csv.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    line: Annotated[str | None, typer.Option(help="Id of the line.")] = None,
    machine: Annotated[str | None, typer.Option(help="Id of the machine.")] = None,
    period: Annotated[str | None, typer.Option(help="As for 'answer'.")] = None,
    only: Annotated[
        str | None, typer.Option(help="Of the week: cut it to shift=ID or product=ID before it is compared.")
    ] = None,
    against: Annotated[
        str | None,
        typer.Option(help="Of the week: previous, a period, line=, machine=, shift=, product= or before=DAY."),
    ] = None,
) -> None:
    """Write an answer as a printable page, a spreadsheet, or its first table as CSV."""
    from lineview.app.question import read_question
    from lineview.app.works import Works
    from lineview.cli.answers import write_sheet

    asked = read_question(question, line, machine, period, only=only, against=against)
    with Works(works, journal) as opened:
        write_sheet(opened, asked, file)


@app.command()
def watch(
    folder: Annotated[Path, typer.Argument(help="Folder that the exports arrive in.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    every_s: Annotated[float, typer.Option(min=0.2, help="Seconds between checks.")] = 10.0,
    looks: Annotated[int, typer.Option(min=0, help="Stop after this many checks; 0: until stopped.")] = 0,
    board: Annotated[bool, typer.Option("--board", help="Serve the board meanwhile.")] = False,
    port: Annotated[int, typer.Option(help="The board's port.")] = 8050,
    sheets: Annotated[
        Path | None, typer.Option(help="Write sheets into this folder when a shift, a day or a week is over.")
    ] = None,
    sheet: Annotated[list[str] | None, typer.Option(help="Which sheets; by default shift and week.")] = None,
    form: Annotated[list[str] | None, typer.Option("--as", help="Their forms: pdf (default), xlsx or csv.")] = None,
) -> None:
    """Take exports in as they arrive in a folder; write sheets of what is over."""
    give_memory_back()
    from lineview.app.works import Works
    from lineview.cli.intake import watch_folder
    from lineview.cli.sheet_writer import SheetWriter

    with Works(works, journal) as opened:
        writer = None if sheets is None else SheetWriter(sheets, sheet or ["shift", "week"], form or ["pdf"])
        watch_folder(opened, folder, every_s, looks, port if board else None, writer)


@app.command()
def board(
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
    host: Annotated[str, typer.Option(help="Address to serve on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to serve on.")] = 8050,
) -> None:
    """Serve the board on this machine."""
    give_memory_back()
    from lineview.app.works import Works
    from lineview.board.serve import run_board

    with Works(works, journal) as opened:
        run_board(opened, host, port)


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
        opened.note_adjustment(machine, moment(at, opened.plant.tz, "--at", datetime.now(UTC)), what, note)
    typer.echo("Noted.")


def main() -> None:
    """Run the command line; a plain error and exit status 2 for whatever the user can mend."""
    keep_to_one_thread()
    collect_garbage_seldom()
    try:
        app()
    except LineviewError as error:
        for fault in error.faults:
            sys.stderr.write(f"lineview: {fault}\n")
        raise SystemExit(error.exit_status) from None
