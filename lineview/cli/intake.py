"""What the command line prints of intake."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from shutil import copy2, copytree

import polars as pl
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lineview.app.take_in import IntakeResult
from lineview.app.works import Works
from lineview.cli.console import at_work, console, print_table, read_language, say
from lineview.core.errors import AskError, Fault, IntakeError, LineviewError, StoreError
from lineview.core.language import speak, tr, tr_count, tr_in
from lineview.core.names import readable
from lineview.core.resources import shipped
from lineview.intake.exports import LeftOut, Proposal
from lineview.intake.find import find_exports
from lineview.intake.refusal_reasons import with_reasons_shown
from lineview.plant import Layout
from lineview.plant.read import language_in, read_plant
from lineview.plant.write import layout_toml
from lineview.report import show
from lineview.report.tables import frame_words


def take(works: Works, paths: Sequence[Path], accept: bool, settle: Sequence[str]) -> None:
    """Take exports in with a progress bar, and print a summary that a tech understands."""
    answers = dict(_pair(text) for text in settle)
    results = _take_shown(works, find_exports(paths), accept, answers)
    _summary(results)
    faults = [fault for result in results if result.error is not None for fault in result.error.faults]
    if faults:
        raise LineviewError(faults)


def _take_shown(works: Works, files: Sequence[Path], accept: bool, answers: Mapping[str, str]) -> list[IntakeResult]:
    """Take exports in; a terminal shows how far it is."""
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as bar:
        task = bar.add_task(tr("taking in"), total=len(files), rate=tr("files"))
        rows_of: dict[Path, int] = {}

        def progress(path: Path, rows: int) -> None:
            rows_of[path] = rows
            elapsed = bar.tasks[0].elapsed or 0.001
            bar.update(
                task,
                completed=len(rows_of) - 1,
                description=escape(path.name),
                rate=tr("files, {rows:,.0f} rows a second", rows=sum(rows_of.values()) / elapsed),
            )

        return works.take(files, accept=accept, chosen=answers, progress=progress)


def _pair(text: str) -> tuple[str, str]:
    about, mark, answer = text.partition("=")
    if not mark:
        raise AskError(Fault(tr("'{text}' is not an answer", text=text), "--settle", "ABOUT=ANSWER"))
    return about.strip(), answer.strip()


def _summary(results: Sequence[IntakeResult]) -> None:
    receipts = [(result.path.name, result.receipt) for result in results if result.receipt is not None]
    if receipts:
        counted = (tr("rows"), tr("kept"), tr("duplicate"), tr("refused"), tr("unclear"), tr("in conflict"))
        table = Table(tr("intake"), tr("file"), *counted, box=None)
        for column in table.columns[2:]:
            column.justify = "right"
        for file, r in receipts:
            counts = (r.rows, r.kept, r.duplicate, r.refused, r.uncertain, r.conflicts)
            name = tr("{file} (taken in before: nothing changed)", file=file) if r.already else file
            table.add_row(str(r.intake), Text(name), *map(show.number, counts))
        print_table(table)
    for result in results:
        for note in result.notes:
            say(f"{result.path.name}: {note}")
        if result.accepted is not None:
            _print_accepted(result, result.accepted)
        if result.proposal is not None:
            _proposal(result.proposal)
    if any(r.refused for _, r in receipts):
        say(f"{tr('Refused rows, with their reasons:')} lineview intake --refusals {tr('NUMBER')}")
    if any(r.conflicts for _, r in receipts):
        say(f"{tr('Two values stand for one moment and neither is used:')} lineview intake --conflicts")


def _print_accepted(result: IntakeResult, layout: Layout) -> None:
    """The layout that was accepted for a file; what it leaves out stands in the notes above it."""
    console.print()
    console.print(
        Text.assemble((result.path.name, "bold"), ": ", tr("this layout was accepted and added to layouts.toml:")),
        soft_wrap=True,
    )
    say(layout_toml(layout))
    if not any(isinstance(note, LeftOut) for note in result.notes):
        console.print(tr("No column was left out."))


def _proposal(proposal: Proposal) -> None:
    console.print()
    say(Text.assemble((proposal.path.name, "bold"), ": ", tr("no layout fits. Proposed:")))
    say(layout_toml(proposal.layout))
    console.print(tr("Preview: first rows"))
    print_table(_frame(proposal.sample.head(8), map(escape, proposal.sample.columns)))
    for note in proposal.notes:
        say(note)
    for question in proposal.questions:
        say(question.text)
        for option, meaning in question.options:
            say(f'  --settle "{question.about}={option}"   {meaning}')
    console.print(tr("Nothing of it was taken in. To accept the layout, run the command again with --accept."))


def _frame(frame: pl.DataFrame, headings: Iterable[str]) -> Table:
    table = Table(*headings, box=None)
    words = {None: "", True: tr_in("of a fact", "yes"), False: tr_in("of a fact", "no")}
    for row in frame.iter_rows():  # as Text, since a cell may hold brackets that would be read as colours
        table.add_row(*(Text(words[c] if c is None or isinstance(c, bool) else str(c)) for c in row))
    return table


def _print_or_write(frame: pl.DataFrame, csv: Path | None, none: str) -> None:
    if csv is not None:
        from lineview.sheets.tables import guard_formulas

        try:
            guard_formulas(frame).write_csv(csv)
        except OSError as error:
            raise IntakeError(Fault(tr("cannot be written: {why}", why=error.strerror), str(csv))) from None
        say(tr("{rows:,} rows written to {file}", rows=frame.height, file=csv))
    elif frame.is_empty():
        console.print(none)
    else:
        print_table(_frame(frame.head(200), map(frame_words, frame.columns)))
        if frame.height > 200:
            console.print(tr("and {rows:,} more; --csv FILE writes them all", rows=frame.height - 200))


def listing(works: Works, csv: Path | None) -> None:
    """Print or write what was taken in."""
    intakes = works.store.intakes().drop("sha256")
    with suppress(LineviewError):  # the list can be read also where the plant description is wrong
        plant = works.plant
        moments = [show.moment(at, plant, year=True) for at in intakes["taken_at"]]
        intakes = intakes if csv is not None else intakes.with_columns(pl.Series("taken_at", moments, pl.String))
    _print_or_write(intakes, csv, tr("Nothing was taken in yet."))


def refusals(works: Works, intake: int | None, csv: Path | None) -> None:
    """Print or write refusals."""
    refused = works.store.refusals(intake)
    _print_or_write(refused if csv else with_reasons_shown(refused), csv, tr("No rows were refused."))


def conflicts(works: Works, csv: Path | None) -> None:
    """Print conflicts by export and column, or write every row of them to a file."""
    from lineview.app.conflict_notes import conflict_groups

    rows = works.store.conflicts()
    if csv is not None or rows.is_empty():
        return _print_or_write(rows, csv, tr("No moment has two values."))
    plant = works.plant
    for group in conflict_groups(rows, plant):
        files = show.sentence_list([tr("{file} (intake {number})", file=f, number=n) for n, f in group.exports])
        moments = tr_count("{count} moment", "{count:,} moments", group.count)
        places = {"channel": group.what, "moments": moments, "period": group.span(plant), "files": files}
        say(tr("{channel}: {moments}, {period}, told differently in {files}", **places))
        for example in group.examples:
            say(f"  {example}")
        if group.count > len(group.examples):
            say("  " + tr("and {count:,} more", count=group.count - len(group.examples)), "dim")
        undo = tr(" or ").join(f"--undo {intake}" for intake, _ in group.exports)
        say(f"  {tr('To settle:')} lineview intake {undo}\n", "dim")
    return say(tr("Neither value is used until then; --csv FILE writes every row."))


def undo(works: Works, intake: int) -> None:
    """Undo one intake and say so."""
    works.undo(intake)
    console.print(tr("Intake {number} was undone; the export itself is kept.", number=intake))


def check_plant(folder: Path) -> None:
    """Say whether the plant description is right."""
    plant = read_plant(folder / "plant.toml", folder / "layouts.toml")
    speak(plant.language)
    counts = (
        tr_count("{count} line", "{count:,} lines", len(plant.lines)),
        tr_count("{count} machine", "{count:,} machines", len(plant.machines)),
        tr_count("{count} product", "{count:,} products", len(plant.products)),
        tr_count("{count} web", "{count:,} webs", len(plant.webs)),
        tr_count("{count} layout", "{count:,} layouts", len(plant.layouts)),
    )
    parts = ", ".join(counts)
    console.print(tr("{shop}: no fault found; {parts}.", shop=plant.shop, parts=parts), markup=False)


#: The demo's first day; a Monday.
FIRST_DAY = date(2026, 6, 8)


def write_demo(into: Path, days: int, seed: int) -> None:
    """Write the invented works' exports and truth."""
    from lineview.demo.make import make_demo

    if into.exists() and any(into.iterdir()):
        raise StoreError(Fault(tr("the folder is not empty"), str(into), tr("a new or empty one")))
    with at_work(tr("inventing {days} days", days=days)):
        make_demo(into, days=days, seed=seed, start=FIRST_DAY)
    console.print(
        tr(
            "Wrote an invented works to {folder}: plant.toml, exports/, and the truth beside them in truth/.",
            folder=into,
        )
        + f"\n{tr('Take its exports in with:')} lineview intake {into / 'exports'} --works {into}",
        soft_wrap=True,
    )


def try_the_demo(into: Path, port: int | None, language: str | None = None) -> None:
    """Set the invented works up, take its exports in, print the answers, serve the board."""
    from lineview.app.question import QUESTIONS, QuestionScope

    _set_up(into, language)
    with Works(into) as works:
        results = _take_shown(works, find_exports([into / "exports"]), False, {})
        rows = sum(result.receipt.rows for result in results if result.receipt is not None)
        new_rows = sum(result.receipt.kept for result in results if result.receipt is not None)
        refused = sum(result.receipt.refused for result in results if result.receipt is not None)
        console.print(
            tr(
                "{shop}, an invented works: {exports} exports with {rows:,} rows are in; {new_rows:,} were new, "
                "{refused:,} were refused with their reasons.",
                shop=works.plant.shop,
                exports=len(results),
                rows=rows,
                new_rows=new_rows,
                refused=refused,
            )
            + "\n",
            soft_wrap=True,
        )
        faults = [fault for result in results if result.error is not None for fault in result.error.faults]
        if faults:
            raise LineviewError(faults)
        for question in QUESTIONS:
            with at_work(tr(question)):
                answer = works.ask(QuestionScope(question))
            say(Text.assemble((tr(question.capitalize()), "bold"), f"  {answer.text}"))
            say(f"        {answer.soft}\n", "dim")
        if port is not None:
            from lineview.board.serve import Serving, serve

            serve(works, Serving(port=port))


def _set_up(into: Path, language: str | None) -> None:
    from lineview.plant.edit import with_language  # brings a reader of TOML that other commands do without

    code = read_language(language)
    speak(code)
    made_before = (into / "plant.toml").is_file()
    if into.exists() and any(into.iterdir()) and not made_before:
        raise StoreError(Fault(tr("the folder is not empty"), str(into), tr("a new one, or one made by this command")))
    if not made_before:
        source = shipped("data") / "demo"
        into.mkdir(parents=True, exist_ok=True)
        copytree(source / "exports", into / "exports")
        copy2(source / "plant.toml", into / "plant.toml")
    if language or not made_before:
        text = (into / "plant.toml").read_text(encoding="utf-8")
        (into / "plant.toml").write_text(with_language(text, code), encoding="utf-8", newline="\n")


def look_over(folder: Path, journal: str | None, repair: bool) -> int:
    """Say what of a store is not as it was written, after mending it where that is asked for."""
    from lineview.app import doctor

    if (folder / "plant.toml").is_file():
        speak(language_in(folder / "plant.toml"))

    def tell(line: str) -> None:
        say(readable(line))

    with at_work(tr("reading every byte")):
        findings = doctor.repair(folder, journal, tell) if repair else doctor.look_over(folder, journal)
    for finding in findings:
        tell(f"{finding.where}: {finding.what}")
    count = sum(finding.is_damage for finding in findings)
    tell(tr("{count} found.", count=count) if count else tr("Everything in the store is as it was written."))
    return 1 if count else 0


def back_up(folder: Path, file: Path) -> None:
    """Write a works to one file and say so."""
    from lineview.app.backup import write_backup

    with at_work(tr("copying")):
        count = write_backup(folder, file)
    say(tr("{count:,} files written to {file}.", count=count, file=readable(str(file))))


def restore(file: Path, folder: Path) -> None:
    """Put a works back from one file and say so."""
    from lineview.app.backup import read_backup

    with at_work(tr("putting back and comparing")):
        count = read_backup(file, folder)
    where = readable(str(folder))
    say(tr("{count:,} files put back into {folder}, each as it was written.", count=count, folder=where))


def update_records(works: Works, rebuild: bool) -> None:
    """Bring every record up to date; print how many were made and whether any differs."""

    def progress(machine: str, done: int, stale: int) -> None:
        if sys.stderr.isatty():
            words = tr("{machine}: {done} of {stale}", machine=machine, done=done, stale=stale)
            sys.stderr.write(f"\r{words}  ")

    plant = works.plant
    count = works.records.update(works.store, plant, progress)
    console.print(tr("{count:,} records worked out.", count=count) if count else tr("Every record is up to date."))
    if not rebuild:
        works.keep_weeks()
    else:
        works.records.weeks.clear()
        # Only what was up to date can be expected to come out the same.
        before = works.records.content(plant)
        count = works.records.update(works.store, plant, progress, rebuild=True)
        after = works.records.content(plant)
        console.print(tr("{count:,} records worked out again.", count=count))
        changed = sorted(name for name in before if before[name] != after.get(name))
        same = tr("They are the same as those that were kept, byte for byte.")
        console.print(
            same if not changed else tr("Different from those kept before: {names}.", names=", ".join(changed))
        )
    if sys.stderr.isatty():
        sys.stderr.write("\r")
