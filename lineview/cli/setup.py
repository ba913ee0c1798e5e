"""Setting a works up in the terminal: the same questions as on the board, each with its suggestion."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import typer
from rich.table import Table
from rich.text import Text

from lineview.app.question import QuestionScope
from lineview.app.set_up_folder import SetUpDesk, computer_zone
from lineview.app.setup import SetUp
from lineview.app.setup_machines import SetUpQuestion
from lineview.app.works import Works
from lineview.cli.console import console, print_table, read_language, say
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.language import in_digits, month_name, tr, tr_count, weekday_name
from lineview.plant.read import read_plant
from lineview.report.show import number, sentence_list


def run_setup(
    folder: Path,
    exports: Sequence[Path],
    journal: str | None,
    accept: bool,
    answers: Sequence[str],
    language: str | None = None,
) -> None:
    """Ask what exports leave open, write plant.toml, take the exports in and print the first answer."""
    desk = SetUpDesk(folder, computer_zone())
    desk.speak(_language_of(desk, language))
    desk.look(list(exports) or [_exports_of(folder, accept)])
    desk.answer(dict(_pair(text) for text in answers))
    state = desk.show()
    if state is None:
        return
    if not state.read.groups:  # nothing that is asked could change that
        raise AskError(state.faults)
    _print_seen(state)
    if not accept:
        state = _ask_all(desk, state)
    if desk.described:
        _suggest_only(desk, state, accept)
        return
    if not accept and not typer.confirm(tr("Write plant.toml and take the exports in?"), default=True):
        raise AskError(Fault(tr("nothing was written"), str(folder)))
    if accept and state.open:
        raise AskError(map(_open_fault, state.open))
    path = desk.write()
    say(tr("Wrote {file}", file=path))
    _take_in(desk, folder, journal)


def _language_of(desk: SetUpDesk, language: str | None) -> str:
    """The language asked for, else that of the plant description that is there, else the terminal's."""
    if language is None and desk.described:
        with suppress(LineviewError):  # what is wrong with it is reported where it is read
            return read_plant(desk.folder / "plant.toml", desk.folder / "layouts.toml").language
    return read_language(language)


def _open_fault(question: SetUpQuestion) -> Fault:
    """Say that no suggestion answers a question, and how to."""
    options = ", ".join(f"'{option}'" for option, _ in question.options) or tr("an answer")
    do = tr("Give --answer '{key}=ANSWER'", key=question.key) + (f" ({question.why})" if question.why else "")
    what = tr("there is no suggestion: {question}", question=question.text.rstrip("?"))
    return Fault(what, question.key, options, do)


def _exports_of(folder: Path, accept: bool) -> Path:
    """The folder of exports: the works' own, else asked for."""
    if (folder / "exports").is_dir():
        return folder / "exports"
    if accept:
        raise AskError(Fault(tr("no exports are given"), "EXPORTS", tr("the path of a folder of exports")))
    return Path(typer.prompt(tr("Folder of exports")))


def _pair(text: str) -> tuple[str, str]:
    key, mark, answer = text.partition("=")
    if not mark:
        raise AskError(Fault(tr("'{text}' is not an answer", text=text), "--answer", "QUESTION=ANSWER"))
    return key.strip(), answer.strip()


def _print_seen(state: SetUp) -> None:
    """What was recognised, machine by machine, and the pieces of each day."""
    for group in state.read.groups:
        names = ", ".join(group.machines) or tr("no machine")
        files = tr_count(
            "{count} file like {name}", "{count:,} files like {name}", len(group.surveys), name=group.first.path.name
        )
        say(Text(f"{files}: {group.aside or names}"))
        proposal = state.read.proposals.get(group.id)
        if proposal is not None:
            columns = ", ".join(f"'{h}' = {t.to}" for h, t in proposal.layout.columns.items())
            time_in = tr("time in {columns}", columns=sentence_list(group.first.times))
            say(Text(f"  {time_in}; {columns}"))
            for note in proposal.notes:
                say(Text(f"  {note}"))
    headings = (tr("machine"), tr("channel"), tr("holds"), tr("readings"), tr("e.g."))
    table = Table(*headings, tr("starts again at"), tr("fastest a minute"), box=None)
    for c in state.learned:
        turns = "" if c.limits is None else in_digits(f"{c.limits.modulus:,}") if c.limits.modulus else tr("not seen")
        fast = in_digits(f"{c.limits.fastest_per_min:,g}") if c.limits else ""
        cells = (c.machine, c.channel, tr(c.holds), number(c.readings), c.example, turns, fast)
        table.add_row(*map(Text, cells))
    print_table(table)
    days = Table(tr("day"), tr("machine"), tr("pieces counted"), box=None)
    for row in state.by_day.sort("day", "machine").iter_rows(named=True):
        day = row["day"]
        weekday, month = weekday_name(day.weekday(), short=True), month_name(day.month, short=True)
        days.add_row(f"{weekday} {day:%d} {month}", Text(row["machine"]), number(row["pieces"], 0))
    print_table(days)
    for fault in state.faults:
        say(Text(str(fault)))


def _ask_all(desk: SetUpDesk, state: SetUp) -> SetUp:
    """Ask every question; an answer may settle or raise others."""
    desk.answer({"shop": typer.prompt(tr("What is the works called?"), default=desk.answers.get("shop", desk.shop))})
    keys: set[str] = set()
    while True:
        question = next((q for q in state.questions if q.key not in keys), None)
        if question is None:
            return state
        keys.add(question.key)
        desk.answer({question.key: _ask(question, desk.answers.get(question.key))})
        again = desk.show()
        state = again or state
        for fault in state.faults if again and not again.open else ():
            say(Text(str(fault)))


def _ask(question: SetUpQuestion, before: str | None) -> str:
    console.print()
    say(Text(question.text, style="bold"))
    if question.why:
        say(Text(f"({question.why})", style="dim"))
    for option, meaning in question.options:
        say(Text(f"  {option}   {meaning}"))
    return str(typer.prompt(question.key, default=before or question.suggested))


def _suggest_only(desk: SetUpDesk, state: SetUp, accept: bool) -> None:
    """Show how the suggestion differs from the plant.toml that is there, and write it beside it."""
    for line in desk.difference(state.text):
        say(Text(line))
    words = tr("plant.toml stays as it is. Write the suggestion to plant.suggested.toml beside it?")
    if accept or typer.confirm(words, default=True):
        say(tr("plant.toml stays as it is; wrote {file}", file=desk.write()))


def _take_in(desk: SetUpDesk, folder: Path, journal: str | None) -> None:
    with Works(folder, journal) as works:
        results = desk.take_in(works)
        done = [result for result in results if result.receipt is not None]
        skipped = [result.path.name for result in results if result.receipt is None]
        console.print(tr("{count} exports were taken in.", count=len(done)))
        if skipped:
            words = tr("Left for later: {files}; look at them with:", files=", ".join(skipped[:6]))
            say(f"{words} lineview intake")
        try:
            answer = works.ask(QuestionScope("shift"))
        except LineviewError as error:
            sys.stderr.write(f"lineview: {error}\n")
            return
        say(Text(answer.text, style="bold"))
        say(Text(answer.soft, style="dim"))
