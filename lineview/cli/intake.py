"""What the command line prints of intake."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from shutil import copy2, copytree

import polars as pl
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lineview.app.take_in import Taken
from lineview.app.works import Works
from lineview.cli.console import at_work, console, say
from lineview.core.errors import AskError, Fault, IntakeError, LineviewError, StoreError
from lineview.core.names import readable
from lineview.core.resources import shipped
from lineview.intake.exports import LeftOut, Proposal
from lineview.intake.find import find_exports
from lineview.plant.read import read_plant
from lineview.plant.write import layout_toml


def take(works: Works, paths: Sequence[Path], accept: bool, settle: Sequence[str]) -> None:
    """Take exports in with a progress bar, and print a summary that a tech understands."""
    answers = dict(_pair(text) for text in settle)
    results = _take_shown(works, find_exports(paths), accept, answers)
    _summary(results)
    faults = [fault for result in results if result.error is not None for fault in result.error.faults]
    if faults:
        raise LineviewError(faults)


def _take_shown(works: Works, files: Sequence[Path], accept: bool, answers: Mapping[str, str]) -> Sequence[Taken]:
    """Take exports in; a terminal shows how far it is."""
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("files, {task.fields[rate]}"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as bar:
        task = bar.add_task("taking in", total=len(files), rate="")
        rows_of: dict[Path, int] = {}

        def progress(path: Path, rows: int) -> None:
            rows_of[path] = rows
            elapsed = bar.tasks[0].elapsed or 0.001
            bar.update(
                task,
                completed=len(rows_of) - 1,
                description=escape(path.name),
                rate=f"{sum(rows_of.values()) / elapsed:,.0f} rows a second",
            )

        return works.take(files, accept=accept, chosen=answers, progress=progress)


def _pair(text: str) -> tuple[str, str]:
    about, mark, answer = text.partition("=")
    if not mark:
        raise AskError(Fault(f"'{text}' is not an answer", "--settle", "ABOUT=ANSWER"))
    return about.strip(), answer.strip()


def _summary(results: Sequence[Taken]) -> None:
    rows = [result for result in results if result.receipt is not None]
    if rows:
        headings = ("rows", "kept", "duplicate", "refused", "unclear", "in conflict")
        table = Table("intake", "file", *headings, box=None)
        for column in table.columns[2:]:
            column.justify = "right"
        for result in rows:
            r = result.receipt
            if r is not None:
                counts = (r.rows, r.kept, r.duplicate, r.refused, r.uncertain, r.conflicts)
                name = f"{result.path.name} (taken in before: nothing changed)" if r.already else result.path.name
                table.add_row(str(r.intake), Text(name), *(f"{n:,}" for n in counts))
        console.print(table)
    for result in results:
        for note in result.notes:
            say(f"{result.path.name}: {note}")
        if result.accepted is not None:
            _print_accepted(result)
        if result.proposal is not None:
            _proposal(result.proposal)
    if any(result.receipt is not None and result.receipt.refused for result in results):
        console.print("Refused rows, with their reasons: lineview intake --refusals NUMBER")
    if any(result.receipt is not None and result.receipt.conflicts for result in results):
        console.print("Two values stand for one moment and neither is used: lineview intake --conflicts")


def _print_accepted(result: Taken) -> None:
    """The layout that was accepted for a file; what it leaves out stands in the notes above it."""
    if result.accepted is None:
        return
    console.print()
    console.print(
        Text.assemble((result.path.name, "bold"), ": this layout was accepted and added to layouts.toml:"),
        soft_wrap=True,
    )
    say(layout_toml(result.accepted))
    if not any(isinstance(note, LeftOut) for note in result.notes):
        console.print("No column was left out.")


def _proposal(proposal: Proposal) -> None:
    console.print()
    say(Text.assemble((proposal.path.name, "bold"), ": no layout fits. Proposed:"))
    say(layout_toml(proposal.layout))
    console.print("Preview: first rows")
    console.print(_frame(proposal.sample.head(8)))
    for note in proposal.notes:
        say(note)
    for question in proposal.questions:
        say(question.text)
        for option, meaning in question.options:
            say(f'  --settle "{question.about}={option}"   {meaning}')
    console.print("Nothing of it was taken in. To accept the layout, run the command again with --accept.")


def _frame(frame: pl.DataFrame) -> Table:
    table = Table(*map(escape, frame.columns), box=None)
    for row in frame.iter_rows():  # as Text, since a cell may hold brackets that would be read as colours
        table.add_row(*(Text("" if cell is None else str(cell)) for cell in row))
    return table


def _print_or_write(frame: pl.DataFrame, csv: Path | None, none: str) -> None:
    if csv is not None:
        from lineview.sheets.tables import guard_formulas

        try:
            guard_formulas(frame).write_csv(csv)
        except OSError as error:
            raise IntakeError(Fault(f"cannot be written: {error.strerror}", str(csv))) from None
        say(f"{frame.height:,} rows written to {csv}")
    elif frame.is_empty():
        console.print(none)
    else:
        console.print(_frame(frame.head(200)))
        if frame.height > 200:
            console.print(f"and {frame.height - 200:,} more; --csv FILE writes them all")


def listing(works: Works, csv: Path | None) -> None:
    """Print or write what was taken in."""
    _print_or_write(works.store.intakes().drop("sha256"), csv, "Nothing was taken in yet.")


def refusals(works: Works, intake: int | None, csv: Path | None) -> None:
    """Print or write refusals."""
    _print_or_write(works.store.refusals(intake), csv, "No rows were refused.")


def conflicts(works: Works, csv: Path | None) -> None:
    """Print conflicts by export and column, or write every row of them to a file."""
    from lineview.app.conflict_notes import conflict_groups
    from lineview.report import show

    rows = works.store.conflicts()
    if csv is not None or rows.is_empty():
        return _print_or_write(rows, csv, "No moment has two values.")
    plant = works.plant
    for group in conflict_groups(rows, plant):
        files = show.sentence_list([f"{file} (intake {intake})" for intake, file in group.exports])
        say(f"{group.what}: {show.quantity(group.count, 'moment')}, {group.span(plant)}, told differently in {files}")
        for example in group.examples:
            say(f"  {example}")
        if group.count > len(group.examples):
            say(f"  and {group.count - len(group.examples):,} more", "dim")
        undo = " or ".join(f"--undo {intake}" for intake, _ in group.exports)
        say(f"  To settle: lineview intake {undo}\n", "dim")
    return say("Neither value is used until then; --csv FILE writes every row.")


def undo(works: Works, intake: int) -> None:
    """Undo one intake and say so."""
    works.undo(intake)
    console.print(f"Intake {intake} was undone; the export itself is kept.")


def check_plant(folder: Path) -> None:
    """Say whether the plant description is right."""
    from lineview.report.show import quantity

    plant = read_plant(folder / "plant.toml", folder / "layouts.toml")
    counts = {
        "line": len(plant.lines),
        "machine": len(plant.machines),
        "product": len(plant.products),
        "web": len(plant.webs),
        "layout": len(plant.layouts),
    }
    parts = ", ".join(quantity(count, what) for what, count in counts.items())
    console.print(f"{plant.shop}: no fault found; {parts}.", markup=False)


#: The demo's first day; a Monday.
FIRST_DAY = date(2026, 6, 8)


def write_demo(into: Path, days: int, seed: int) -> None:
    """Write the invented works' exports and truth."""
    from lineview.demo.make import make_demo

    if into.exists() and any(into.iterdir()):
        raise StoreError(Fault("the folder is not empty", str(into), "a new or empty one"))
    with at_work(f"inventing {days} days"):
        make_demo(into, days=days, seed=seed, start=FIRST_DAY)
    console.print(
        f"Wrote an invented works to {into}: plant.toml, exports/, and the truth beside them in truth/.\n"
        f"Take its exports in with: lineview intake {into / 'exports'} --works {into}",
        soft_wrap=True,
    )


def try_the_demo(into: Path, port: int | None) -> None:
    """Set the invented works up, take its exports in, print the answers, serve the board."""
    from lineview.app.question import QUESTIONS, QuestionScope

    _set_up(into)
    with Works(into) as works:
        results = _take_shown(works, find_exports([into / "exports"]), False, {})
        rows = sum(result.receipt.rows for result in results if result.receipt is not None)
        new_rows = sum(result.receipt.kept for result in results if result.receipt is not None)
        refused = sum(result.receipt.refused for result in results if result.receipt is not None)
        console.print(
            f"{works.plant.shop}, an invented works: {len(results)} exports with {rows:,} rows are in; "
            f"{new_rows:,} were new, {refused:,} were refused with their reasons.\n",
            soft_wrap=True,
        )
        faults = [fault for result in results if result.error is not None for fault in result.error.faults]
        if faults:
            raise LineviewError(faults)
        for question in QUESTIONS:
            with at_work(question):
                answer = works.ask(QuestionScope(question))
            say(Text.assemble((question.capitalize(), "bold"), f"  {answer.text}"))
            say(f"        {answer.soft}\n", "dim")
        if port is not None:
            from lineview.board.serve import run_board

            run_board(works, "127.0.0.1", port)


def _set_up(into: Path) -> None:
    made_before = (into / "plant.toml").is_file()
    if into.exists() and any(into.iterdir()) and not made_before:
        raise StoreError(Fault("the folder is not empty", str(into), "a new one, or one made by this command"))
    if made_before:
        return
    source = shipped("data") / "demo"
    into.mkdir(parents=True, exist_ok=True)
    copytree(source / "exports", into / "exports")
    copy2(source / "plant.toml", into / "plant.toml")


def look_over(folder: Path, journal: str | None, repair: bool) -> int:
    """Say what of a store is not as it was written, after mending it where that is asked for."""
    from lineview.app import doctor

    def tell(line: str) -> None:
        say(readable(line))

    with at_work("reading every byte"):
        findings = doctor.repair(folder, journal, tell) if repair else doctor.look_over(folder, journal)
    for finding in findings:
        tell(f"{finding.where}: {finding.what}")
    tell("Everything in the store is as it was written." if not findings else f"{len(findings)} found.")
    return 1 if findings else 0


def back_up(folder: Path, file: Path) -> None:
    """Write a works to one file and say so."""
    from lineview.app.backup import write_backup

    with at_work("copying"):
        count = write_backup(folder, file)
    say(f"{count:,} files written to {readable(str(file))}.")


def restore(file: Path, folder: Path) -> None:
    """Put a works back from one file and say so."""
    from lineview.app.backup import read_backup

    with at_work("putting back and comparing"):
        count = read_backup(file, folder)
    where = readable(str(folder))
    say(f"{count:,} files put back into {where}, each as it was written.")


def update_records(works: Works, rebuild: bool) -> None:
    """Bring every record up to date; print how many were made and whether any differs."""

    def progress(machine: str, done: int, stale: int) -> None:
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{machine}: {done} of {stale}  ")

    plant = works.plant
    count = works.records.update(works.store, plant, progress)
    console.print(f"{count:,} records worked out." if count else "Every record is up to date.")
    if rebuild:
        # Only what was up to date can be expected to come out the same.
        before = works.records.content(plant)
        count = works.records.update(works.store, plant, progress, rebuild=True)
        after = works.records.content(plant)
        console.print(f"{count:,} records worked out again.")
        changed = sorted(name for name in before if before[name] != after.get(name))
        same = "They are the same as those that were kept, byte for byte."
        console.print(same if not changed else f"Different from those kept before: {', '.join(changed)}.")
    if sys.stderr.isatty():
        sys.stderr.write("\r")
