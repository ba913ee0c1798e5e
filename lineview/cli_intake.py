"""What the command line prints of intake."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import polars as pl
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lineview.cli_console import console
from lineview.errors import AskError, Fault, IntakeError, LineviewError
from lineview.intake.export import Proposal
from lineview.intake.find import find_exports
from lineview.plant.read import read_plant
from lineview.plant.write import layout_toml
from lineview.sheets.guard import guarded
from lineview.take_in import Taken
from lineview.works import Works


def take(works: Works, paths: Sequence[Path], accept: bool, settle: Sequence[str]) -> None:
    """Take exports in with a progress bar, and print a summary that a tech understands.

    Parameters
    ----------
    works : Works
        Opened.
    paths : sequence of pathlib.Path
        Files and folders.
    accept : bool
        Whether to accept proposed layouts.
    settle : sequence of str
        Answers to questions, each "about=answer".

    Raises
    ------
    LineviewError
        With every fault of every file that could not be taken in; the others are in.
    """
    answers = dict(_pair(text) for text in settle)
    files = find_exports(paths)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("files, {task.fields[rate]}"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    ) as bar:
        task = bar.add_task("taking in", total=len(files), rate="")
        seen: dict[Path, int] = {}

        def told(path: Path, rows: int) -> None:
            seen[path] = rows
            elapsed = bar.tasks[0].elapsed or 0.001
            bar.update(
                task,
                completed=len(seen) - 1,
                description=escape(path.name),
                rate=f"{sum(seen.values()) / elapsed:,.0f} rows a second",
            )

        taken = works.take(files, accept=accept, settled=answers, progress=told)
    _summary(taken)
    faults = [fault for one in taken if one.error is not None for fault in one.error.faults]
    if faults:
        raise LineviewError(faults)


def _pair(text: str) -> tuple[str, str]:
    about, mark, answer = text.partition("=")
    if not mark:
        raise AskError(Fault(f"'{text}' answers no question", "--settle", "ABOUT=ANSWER"))
    return about.strip(), answer.strip()


def _summary(taken: Sequence[Taken]) -> None:
    rows = [one for one in taken if one.receipt is not None]
    if rows:
        counted = ("rows", "kept", "already there", "refused", "uncertain", "disputed")
        table = Table("intake", "file", *counted, box=None)
        for column in table.columns[2:]:
            column.justify = "right"
        for one in rows:
            r = one.receipt
            if r is not None:
                counts = (r.rows, r.kept, r.duplicate, r.refused, r.uncertain, r.conflicts)
                name = f"{one.path.name} (taken in before: nothing changed)" if r.already else one.path.name
                table.add_row(str(r.intake), Text(name), *(f"{n:,}" for n in counts))
        console.print(table)
    for one in taken:
        for note in one.notes:
            console.print(f"{one.path.name}: {note}", markup=False, soft_wrap=True)
        if one.proposal is not None:
            _proposal(one.proposal)
    if any(one.receipt is not None and one.receipt.refused for one in taken):
        console.print("Refused rows, with their reasons: lineview intake --refusals NUMBER")
    if any(one.receipt is not None and one.receipt.conflicts for one in taken):
        console.print("Two values stand for one moment and neither is used: lineview intake --conflicts")


def _proposal(proposal: Proposal) -> None:
    console.print()
    console.print(Text.assemble((proposal.path.name, "bold"), ": no layout fits. Proposed:"), soft_wrap=True)
    console.print(layout_toml(proposal.layout), markup=False, soft_wrap=True)
    console.print("It would read:")
    console.print(_frame(proposal.sample.head(8)))
    for note in proposal.notes:
        console.print(note, markup=False, soft_wrap=True)
    for question in proposal.questions:
        console.print(question.text, markup=False, soft_wrap=True)
        for option, meaning in question.options:
            console.print(f'  --settle "{question.about}={option}"   {meaning}', markup=False, soft_wrap=True)
    console.print("Nothing of it was taken in. To accept the layout, give the file again with --accept.")


def _frame(frame: pl.DataFrame) -> Table:
    table = Table(*map(escape, frame.columns), box=None)
    for row in frame.iter_rows():  # as Text, since a cell may hold brackets that would be read as colours
        table.add_row(*(Text("" if cell is None else str(cell)) for cell in row))
    return table


def _listed(frame: pl.DataFrame, csv: Path | None, none: str) -> None:
    if csv is not None:
        try:
            guarded(frame).write_csv(csv)
        except OSError as error:
            raise IntakeError(Fault(f"cannot be written: {error.strerror}", str(csv))) from None
        console.print(f"{frame.height:,} rows written to {csv}", markup=False, soft_wrap=True)
    elif frame.is_empty():
        console.print(none)
    else:
        console.print(_frame(frame.head(200)))
        if frame.height > 200:
            console.print(f"and {frame.height - 200:,} more; --csv FILE writes them all")


def listing(works: Works) -> None:
    """Print what was taken in.

    Parameters
    ----------
    works : Works
        Opened.
    """
    _listed(works.store.intakes().drop("sha256"), None, "Nothing was taken in yet.")


def refusals(works: Works, intake: int | None, csv: Path | None) -> None:
    """Print or write refusals.

    Parameters
    ----------
    works : Works
        Opened.
    intake : int or None
        Of this intake; None for all.
    csv : pathlib.Path or None
        File to write them to.
    """
    _listed(works.store.refusals(intake), csv, "Nothing was refused.")


def conflicts(works: Works, csv: Path | None) -> None:
    """Print or write the moments for which two values stand.

    Parameters
    ----------
    works : Works
        Opened.
    csv : pathlib.Path or None
        File to write them to.
    """
    _listed(works.store.conflicts(), csv, "No moment has two values.")


def undo(works: Works, intake: int) -> None:
    """Take one intake back and say so.

    Parameters
    ----------
    works : Works
        Opened.
    intake : int
        Its number.
    """
    works.undo(intake)
    console.print(f"Intake {intake} was taken back; the export itself is kept.")


def check_plant(folder: Path) -> None:
    """Say whether the plant description is right.

    Parameters
    ----------
    folder : pathlib.Path
        The works folder.
    """
    plant = read_plant(folder / "plant.toml", folder / "layouts.toml")
    parts = (
        f"{len(plant.lines)} lines, {len(plant.machines)} machines, {len(plant.products)} products, "
        f"{len(plant.webs)} webs, {len(plant.layouts)} layouts"
    )
    console.print(f"{plant.shop}: no fault found; {parts}.", markup=False)
