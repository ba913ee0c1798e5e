"""What the command line prints of intake."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from shutil import copy2, copytree

import polars as pl
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lineview.app.question import QUESTIONS, QuestionScope
from lineview.app.take_in import Taken
from lineview.app.works import Works
from lineview.cli.console import console
from lineview.cli.sheet_writer import SheetWriter
from lineview.core.errors import AskError, Fault, IntakeError, LineviewError, StoreError
from lineview.core.resources import shipped
from lineview.intake.detect.sheets import Proposal
from lineview.intake.find import find_exports
from lineview.plant.read import read_plant
from lineview.plant.write import layout_toml
from lineview.sheets.tables import guarded


def take(works: Works, paths: Sequence[Path], accept: bool, settle: Sequence[str]) -> None:
    """Take exports in with a progress bar, and print a summary that a tech understands."""
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
        raise AskError(Fault(f"'{text}' is not an answer", "--settle", "ABOUT=ANSWER"))
    return about.strip(), answer.strip()


def _summary(taken: Sequence[Taken]) -> None:
    rows = [one for one in taken if one.receipt is not None]
    if rows:
        counted = ("rows", "kept", "duplicate", "refused", "unclear", "in conflict")
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
    console.print("Preview: first rows")
    console.print(_frame(proposal.sample.head(8)))
    for note in proposal.notes:
        console.print(note, markup=False, soft_wrap=True)
    for question in proposal.questions:
        console.print(question.text, markup=False, soft_wrap=True)
        for option, meaning in question.options:
            console.print(f'  --settle "{question.about}={option}"   {meaning}', markup=False, soft_wrap=True)
    console.print("Nothing of it was taken in. To accept the layout, run the command again with --accept.")


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
    """Print what was taken in."""
    _listed(works.store.intakes().drop("sha256"), None, "Nothing was taken in yet.")


def refusals(works: Works, intake: int | None, csv: Path | None) -> None:
    """Print or write refusals."""
    _listed(works.store.refusals(intake), csv, "No rows were refused.")


def conflicts(works: Works, csv: Path | None) -> None:
    """Print or write the moments for which two values stand."""
    _listed(works.store.conflicts(), csv, "No moment has two values.")


def undo(works: Works, intake: int) -> None:
    """Take one intake back and say so."""
    works.undo(intake)
    console.print(f"Intake {intake} was undone; the export itself is kept.")


def check_plant(folder: Path) -> None:
    """Say whether the plant description is right."""
    plant = read_plant(folder / "plant.toml", folder / "layouts.toml")
    counts = {
        "line": len(plant.lines),
        "machine": len(plant.machines),
        "product": len(plant.products),
        "web": len(plant.webs),
        "layout": len(plant.layouts),
    }
    parts = ", ".join(f"{count} {what}{'' if count == 1 else 's'}" for what, count in counts.items())
    console.print(f"{plant.shop}: no fault found; {parts}.", markup=False)


#: The demo's first day; a Monday.
FIRST_DAY = date(2026, 6, 8)


def write_demo(into: Path, days: int, seed: int) -> None:
    """Write the invented works' exports and truth."""
    from lineview.demo.make import make_demo

    if into.exists() and any(into.iterdir()):
        raise StoreError(Fault("the folder is not empty", str(into), "a new or empty one"))
    make_demo(into, days=days, seed=seed, start=FIRST_DAY)
    console.print(
        f"Wrote an invented works to {into}: plant.toml, exports/, and the truth beside them in truth/.\n"
        f"Take its exports in with: lineview intake {into / 'exports'} --works {into}",
        soft_wrap=True,
    )


def try_the_demo(into: Path, port: int | None) -> None:
    """Set the invented works up, take its exports in, print the answers, serve the board."""
    _set_up(into)
    with Works(into) as works:
        taken = works.take([into / "exports"])
        rows = sum(one.receipt.rows for one in taken if one.receipt is not None)
        kept = sum(one.receipt.kept for one in taken if one.receipt is not None)
        refused = sum(one.receipt.refused for one in taken if one.receipt is not None)
        console.print(
            f"{works.plant.shop}, an invented works: {len(taken)} exports with {rows:,} rows are in; "
            f"{kept:,} were new, {refused:,} were refused with their reasons.\n",
            soft_wrap=True,
        )
        faults = [fault for one in taken if one.error is not None for fault in one.error.faults]
        if faults:
            raise LineviewError(faults)
        for question in QUESTIONS:
            answer = works.ask(QuestionScope(question))
            console.print(f"[bold]{question.capitalize()}[/bold]  {answer.text}", soft_wrap=True)
            console.print(f"        {answer.soft}\n", soft_wrap=True, style="dim")
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


def watch_folder(
    works: Works, folder: Path, every_s: float, looks: int, port: int | None, writer: SheetWriter | None = None
) -> None:
    """Look into a folder again and again, and take in what is new and has stopped growing; write sheets due then."""
    if not folder.is_dir():
        raise IntakeError(Fault("not a folder", str(folder), "a folder that exports arrive in"))
    if port is not None:
        from lineview.board.serve import start_board

        start_board(works, "127.0.0.1", port)
    console.print(f"Watching {folder}; stop with Ctrl-C.", markup=False, soft_wrap=True)
    seen: dict[Path, tuple[int, int]] = {}
    done: dict[Path, tuple[int, int]] = {}
    count = 0
    try:
        while looks == 0 or count < looks:
            look(works, folder, seen, done)
            if writer is not None:
                writer.write(works)
            count += 1
            if looks == 0 or count < looks:
                time.sleep(every_s)
    except KeyboardInterrupt:
        console.print("Stopped watching.")


def look(
    works: Works, folder: Path, seen: dict[Path, tuple[int, int]], done: dict[Path, tuple[int, int]]
) -> list[Taken]:
    """Look once: a file is taken in when its size and time are as at the look before."""
    ready = []
    for path in _files(folder):
        stat = path.stat()
        state = (stat.st_size, stat.st_mtime_ns)
        if seen.get(path) == state and done.get(path) != state:
            ready.append(path)
            done[path] = state
        seen[path] = state
    taken = works.take(ready) if ready else []
    for one in taken:
        console.print(_line(one), soft_wrap=True, markup=False)
    return taken


def _files(folder: Path) -> list[Path]:
    try:
        return find_exports([folder])
    except LineviewError:  # nothing has arrived yet
        return []


def _line(one: Taken) -> str:
    if one.error is not None:
        return f"{one.path.name}: {one.error.faults[0]}"
    if one.receipt is None:
        return f"{one.path.name}: no layout fits; look at it with: lineview intake {one.path}"
    r = one.receipt
    before = ", taken in before" if r.already else ""
    return f"{one.path.name}: intake {r.intake}{before}, {r.kept:,} rows new, {r.refused:,} refused"


def update_records(works: Works, rebuild: bool) -> None:
    """Bring every record up to date and say how many were worked out and whether any came out otherwise."""

    def progress(machine: str, done: int, stale: int) -> None:
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{machine}: {done} of {stale}  ")

    plant = works.plant
    before = works.records.content(plant) if rebuild else {}
    made = works.records.update(works.store, plant, progress, rebuild=rebuild)
    if sys.stderr.isatty():
        sys.stderr.write("\r")
    console.print(f"{made:,} records worked out." if made else "Every record is up to date.")
    if rebuild:
        after = works.records.content(plant)
        changed = sorted(name for name in before if before[name] != after.get(name))
        same = "They are the same as those that were kept, byte for byte."
        console.print(same if not changed else f"Different from those kept before: {', '.join(changed)}.")
