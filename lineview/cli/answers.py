"""What the command line prints of an answer: the same object as the board, or the whole of it as JSON."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from rich.table import Table as RichTable
from rich.text import Text

from lineview.app.question import QuestionScope
from lineview.app.works import Works
from lineview.cli.console import at_work, console, print_table, say
from lineview.core.errors import AskError, Fault, IntakeError
from lineview.core.language import tr, tr_count
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Table, file_name, to_json
from lineview.report.tables import FIGURE_HEADINGS, figure_text, table_text

#: Rows of a table that are printed unless all are asked for.
SHORT_ROWS = 12
#: Columns of the table that is printed unless all are asked for; of tables not named here all but their workings.
SHORT_COLUMNS = {
    "causes": ("what", "size", "interval"),
    "spread": ("what", "size", "low", "high"),
    "use": ("web", "what", "m", "low", "high", "money"),
    "order sheet": ("by", "supplier", "web", "reels", "money"),
    "order": ("web", "on_hand", "on_order", "order", "by", "chance"),
    "ledger of losses": ("cause", "minutes", "pieces", "money", "trend"),
}


def print_answer(works: Works, scope: QuestionScope, as_json: bool, in_full: bool) -> None:
    """Answer a question and print it."""
    with at_work(tr("working out")):
        answer = works.ask(scope)
    if as_json:
        sys.stdout.write(to_json(answer) + "\n")
        return
    _print_lead(answer, works.plant)
    if in_full:
        _print_whole(answer, works.plant)
    else:
        _print_short(answer, works.plant)


def _print_lead(answer: Answer, plant: Plant) -> None:
    sentence = Text()
    for span in answer.sentence:
        sentence.append(span.text, style="bold underline" if span.call else "bold")
    say(sentence)
    if answer.soft:
        say(answer.soft, "dim")
    for point in answer.points:
        say(f"- {point}")
    about = (answer.about(plant), answer.scope.label)
    say(f"{' · '.join(part for part in about if part)}.", "dim")
    say(show.last_reading(answer.scope.now, plant, datetime.now(UTC), advises=answer.question == "order"), "dim")


def _print_whole(answer: Answer, plant: Plant) -> None:
    console.print()
    print_table(_figures(answer, plant))
    for table in answer.tables:
        if table.rows:
            console.print(Text(f"\n{table.title}", style="bold"))
            print_table(printed_table(table, plant))
    for text, style in (*((note, "dim") for note in answer.notes), *((text, "") for text in answer.cautions)):
        console.print()
        say(text, style)


def _print_short(answer: Answer, plant: Plant) -> None:
    """The one table that matters, the first caution, and what else there is."""
    filled = [table for table in answer.tables if table.rows]
    for table in filled[:1]:
        keys = SHORT_COLUMNS.get(table.name, [key for key, _, _ in table.columns if key != "working"])
        columns = [column for column in table.columns if column[0] in keys]
        console.print(Text(f"\n{table.title}", style="bold"))
        print_table(printed_table(replace(table, rows=table.rows[:SHORT_ROWS], columns=columns), plant))
        if len(table.rows) > SHORT_ROWS:
            say(tr_count("… and {count} more row", "… and {count:,} more rows", len(table.rows) - SHORT_ROWS), "dim")
    console.print()
    for caution in answer.cautions[:1]:
        say(caution)
    amounts = (
        (answer.figures, tr_count("{count} figure", "{count:,} figures", len(answer.figures))),
        (filled, tr_count("{count} table", "{count:,} tables", len(filled))),
        (answer.notes, tr_count("{count} note", "{count:,} notes", len(answer.notes))),
        (answer.cautions, tr_count("{count} caution", "{count:,} cautions", len(answer.cautions))),
    )
    counts = [words for there, words in amounts if there]
    say(tr("With --all: {counts}.", counts=show.sentence_list(counts)), "dim")


def print_patterns(works: Works, scope: QuestionScope) -> None:
    """Print what recurs among stops without a reason."""
    table = next((t for t in works.ask(scope).tables if t.name == "patterns" and t.rows), None)
    if table is None:
        console.print(tr("No stops without a reason recur."))
    else:
        print_table(printed_table(table, works.plant))


def accept_pattern(works: Works, scope: QuestionScope, number: int, reason: str | None) -> None:
    """Give all stops of a pattern a reason."""
    stops = works.ask(scope).series.get("pattern_stops")
    rows = None if stops is None else stops.filter(stops["pattern"] == number)
    if rows is None or not rows.height:
        what = tr("there is no pattern {number}", number=number)
        raise AskError(Fault(what, "--accept", tr("a number that 'lineview patterns' lists")))
    words = reason or str(rows["reason"][0])
    mark = works.set_stop_reasons(rows["machine"][0], rows.select("start", "end").rows(), words)
    set_for = tr("“{reason}” is set for {stops} stops.", reason=words, stops=rows.height)
    say(f"{set_for} {tr('To undo it:')} lineview patterns --undo {mark}")


def undo_pattern(works: Works, mark: int) -> None:
    """Undo what was accepted."""
    console.print(tr("Undone for {stops} stops.", stops=works.undo_stop_reasons(mark)))


def _figures(answer: Answer, plant: Plant) -> RichTable:
    table = RichTable(*map(tr, FIGURE_HEADINGS), box=None)
    for column in (1, 2, 4):
        table.columns[column].justify = "right"
    for figure in answer.figures:
        table.add_row(*(Text(cell) for cell in figure_text(figure, plant)))
    return table


def printed_table(table: Table, plant: Plant) -> RichTable:
    """A table as the terminal shows it."""
    text, printed = table_text(table, plant), RichTable(box=None)
    for heading, number in zip(text.headings, text.numbers, strict=True):
        printed.add_column(Text(heading), justify="right" if number else "left")
    for row in text.rows:
        printed.add_row(*(Text(cell) for cell in row))
    return printed


#: Each form of a sheet with its module and function: an answer that is printed loads none of them.
FORMS = {
    ".pdf": ("lineview.sheets.pdf", "to_pdf"),
    ".xlsx": ("lineview.sheets.tables", "to_xlsx"),
    ".csv": ("lineview.sheets.tables", "to_csv"),
}


def write_sheet(works: Works, scope: QuestionScope, file: Path | None, by: str) -> None:
    """Answer a question and write it to a file; without one, or in a folder, to one named after what it is of."""
    from lineview.app.handover import with_handover

    has_name = file is not None and not file.is_dir()
    if file is not None and has_name:
        _check_ending(file)
    with at_work(tr("writing")):
        answer = with_handover(works, works.ask(scope), by)
        path = file if file is not None and has_name else (file or Path()) / f"{file_name(answer, works.plant)}.pdf"
        content = sheet_bytes(answer, works.plant, path.suffix.lower())
    _write(path, content)


def write_supplier_sheets(works: Works, scope: QuestionScope, file: Path) -> None:
    """Write what each supplier gets, an order or a claim, to a file of its own that is named after the supplier too."""
    from lineview.order.tables import supplier_sheet, suppliers_due
    from lineview.wrap.tables import claim_sheet, suppliers_claimed

    if scope.question not in ("order", "wrap"):
        what = tr("'{question}' has no suppliers", question=scope.question)
        raise AskError(Fault(what, "--by-supplier", tr("the question order or wrap")))
    _check_ending(file)
    answer, plant, claims = works.ask(scope), works.plant, scope.question == "wrap"
    suppliers = suppliers_claimed(answer) if claims else suppliers_due(answer, plant)
    if not suppliers:
        none_claimed = tr("no reel held less than its label from a supplier that plant.toml names")
        none_due = tr("nothing is to be ordered from a supplier that plant.toml names")
        raise AskError(Fault(none_claimed if claims else none_due, "--by-supplier"))
    for supplier in suppliers:
        name = "-".join(re.findall(r"\w+", supplier.casefold()))
        part = claim_sheet(answer, supplier, plant) if claims else supplier_sheet(answer, supplier, plant)
        content = sheet_bytes(part, plant, file.suffix.lower())
        _write(file.with_name(f"{file.stem}-{name}{file.suffix}"), content)


def _check_ending(file: Path) -> None:
    if file.suffix.lower() not in FORMS:
        what = tr("'{form}' is not a kind of sheet", form=file.suffix)
        raise AskError(Fault(what, str(file), tr("a name ending in .pdf, .xlsx or .csv")))


def _write(file: Path, content: bytes) -> None:
    try:
        file.write_bytes(content)
    except OSError as error:
        raise AskError(Fault(tr("cannot be written: {why}", why=error.strerror), str(file))) from None
    say(tr("Wrote {file}", file=file))


def sheet_bytes(answer: Answer, plant: Plant, ending: str) -> bytes:
    """Give an answer in one form."""
    module, name = FORMS[ending]
    content: bytes = getattr(import_module(module), name)(answer, plant)
    return content


#: Exit status of a lot by its verdict; 2 is that of an input that cannot be read.
LOT_STATUS: dict[bool | None, int] = {True: 0, False: 1, None: 3}


def print_lot(file: Path, label_g: float, lot: int, rules: str, tare_g: float) -> int:
    """Check weighed packages of a lot, print the verdict with its reasons, and give its exit status.

    Takes `file` [g].
    """
    from lineview.app.bags import check_bags, lot_words, read_masses

    words = lot_words(check_bags(read_masses(_text(file), str(file), tare_g), label_g, lot, rules))
    console.print(Text(words.verdict, style="bold" if words.passed else "bold underline"))
    for reason in (*words.reasons, words.numbers):
        say(f"  {reason}")
    say(words.banner, "dim")
    say(words.caution)
    return LOT_STATUS[words.passed]


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or tr("it is not text")
        raise IntakeError(
            Fault(tr("cannot be read: {why}", why=why), str(file), tr("a text file, one mass a line"))
        ) from None
