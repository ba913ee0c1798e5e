"""Setting a works up in the terminal: the same questions as on the board, each with its suggestion."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import typer
from rich.table import Table
from rich.text import Text

from lineview.app.question import QuestionScope
from lineview.app.set_up_folder import SetUpDesk, computer_zone
from lineview.app.setup import SetUp
from lineview.app.setup_layouts import SetUpQuestion
from lineview.app.works import Works
from lineview.cli.console import console, say
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.report.show import quantity


def run_setup(folder: Path, exports: Sequence[Path], journal: str | None, accept: bool, answers: Sequence[str]) -> None:
    """Ask what exports leave open, write plant.toml, take the exports in and print the first answer."""
    desk = SetUpDesk(folder, computer_zone())
    desk.look(list(exports) or [_exports_of(folder, accept)])
    desk.answer(dict(_pair(text) for text in answers))
    state = desk.show()
    if state is None:
        return
    _print_seen(state)
    if not accept:
        state = _ask_all(desk, state)
    if desk.described:
        _suggest_only(desk, state, accept)
        return
    if not accept and not typer.confirm("Write plant.toml and take the exports in?", default=True):
        raise AskError(Fault("nothing was written", str(folder)))
    if accept and state.open:
        raise AskError(map(_open_fault, state.open))
    path = desk.write()
    say(f"Wrote {path}")
    _take_in(desk, folder, journal)


def _open_fault(question: SetUpQuestion) -> Fault:
    """Say that no suggestion answers a question, and how to."""
    options = ", ".join(f"'{option}'" for option, _ in question.options) or "an answer"
    do = f"Give --answer '{question.key}=ANSWER'" + (f" ({question.why})" if question.why else "")
    return Fault(f"there is no suggestion: {question.text.rstrip('?')}", question.key, options, do)


def _exports_of(folder: Path, accept: bool) -> Path:
    """The folder of exports: the works' own, else asked for."""
    if (folder / "exports").is_dir():
        return folder / "exports"
    if accept:
        raise AskError(Fault("no exports are given", "EXPORTS", "the path of a folder of exports"))
    return Path(typer.prompt("Folder of exports"))


def _pair(text: str) -> tuple[str, str]:
    key, mark, answer = text.partition("=")
    if not mark:
        raise AskError(Fault(f"'{text}' is not an answer", "--answer", "QUESTION=ANSWER"))
    return key.strip(), answer.strip()


def _print_seen(state: SetUp) -> None:
    """What was recognised, machine by machine, and the pieces of each day."""
    for group in state.read.groups:
        names = ", ".join(group.machines) or "no machine"
        files = f"{quantity(len(group.surveys), 'file')} like {group.first.path.name}"
        say(Text(f"{files}: {group.aside or names}"))
        proposal = state.read.proposals.get(group.id)
        if proposal is not None:
            columns = ", ".join(f"'{h}' = {t.to}" for h, t in proposal.layout.columns.items())
            say(Text(f"  time in {' and '.join(group.first.times)}; {columns}"))
            for note in proposal.notes:
                say(Text(f"  {note}"))
    table = Table("machine", "channel", "holds", "readings", "e.g.", "starts again at", "fastest a minute", box=None)
    for c in state.learned:
        turns = "" if c.limits is None else f"{c.limits.modulus:,}" if c.limits.modulus else "not seen"
        fast = f"{c.limits.fastest_per_min:,g}" if c.limits else ""
        table.add_row(*map(Text, (c.machine, c.channel, c.holds, f"{c.readings:,}", c.example, turns, fast)))
    console.print(table)
    days = Table("day", "machine", "pieces counted", box=None)
    for row in state.by_day.sort("day", "machine").iter_rows(named=True):
        days.add_row(f"{row['day']:%a %d %b}", Text(row["machine"]), f"{row['pieces']:,.0f}")
    console.print(days)
    for fault in state.faults:
        say(Text(str(fault)))


def _ask_all(desk: SetUpDesk, state: SetUp) -> SetUp:
    """Ask every question; an answer may settle or raise others."""
    desk.answer({"shop": typer.prompt("What is the works called?", default=desk.answers.get("shop", desk.shop))})
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
    words = "plant.toml stays as it is. Write the suggestion to plant.suggested.toml beside it?"
    if accept or typer.confirm(words, default=True):
        say(f"plant.toml stays as it is; wrote {desk.write()}")


def _take_in(desk: SetUpDesk, folder: Path, journal: str | None) -> None:
    with Works(folder, journal) as works:
        results = desk.take_in(works)
        done = [result for result in results if result.receipt is not None]
        skipped = [result.path.name for result in results if result.receipt is None]
        console.print(f"{len(done)} exports were taken in.")
        if skipped:
            more = "look at them with: lineview intake"
            say(f"Left for later: {', '.join(skipped[:6])}; {more}")
        try:
            answer = works.ask(QuestionScope("shift"))
        except LineviewError as error:
            sys.stderr.write(f"lineview: {error}\n")
            return
        say(Text(answer.text, style="bold"))
        say(Text(answer.soft, style="dim"))
