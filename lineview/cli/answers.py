"""What the command line prints of an answer: the same object as the board, or the whole of it as JSON."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from rich.table import Table as RichTable
from rich.text import Text

from lineview.app.bags import check_bags, lot_words, read_masses
from lineview.app.question import QuestionScope
from lineview.app.works import Works
from lineview.cli.console import console
from lineview.core.errors import AskError, Fault, IntakeError
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Table, to_json
from lineview.sheets.pdf import to_pdf
from lineview.sheets.tables import to_csv, to_xlsx

#: Rows of a table that are printed unless all are asked for.
SHORT_ROWS = 12


def print_answer(works: Works, asked: QuestionScope, as_json: bool, whole: bool) -> None:
    """Answer a question and print it."""
    answer = works.ask(asked)
    if as_json:
        sys.stdout.write(to_json(answer) + "\n")
        return
    _print(answer, works.plant, whole)


def _print(answer: Answer, plant: Plant, whole: bool) -> None:
    sentence = Text()
    for span in answer.sentence:
        sentence.append(span.text, style="bold underline" if span.call else "bold")
    console.print(sentence, soft_wrap=True)
    if answer.soft:
        console.print(Text(answer.soft, style="dim"), soft_wrap=True)
    read = show.last_reading(answer.scope.now, plant, datetime.now(UTC), advises=answer.question == "order")
    console.print(Text(read, style="dim"), soft_wrap=True)
    if whole:
        console.print()
        console.print(_figures(answer, plant))
    filled = [table for table in answer.tables if table.rows]
    for table in filled if whole else filled[:1]:
        rows = table.rows if whole else table.rows[:SHORT_ROWS]
        columns = [c for c in table.columns if whole or c[0] != "working"]
        console.print(Text(f"\n{table.title}", style="bold"))
        console.print(_table(replace(table, rows=rows, columns=columns), plant))
        if len(rows) < len(table.rows):
            console.print(Text(f"… and {len(table.rows) - len(rows):,} more rows", style="dim"))
    if not whole:
        more = f"{len(answer.figures)} figures with their intervals and {len(filled)} tables: --all"
        console.print(Text(f"\n{more}", style="dim"))
    for note in answer.notes:
        console.print(Text(f"\n{note}", style="dim"), soft_wrap=True)
    for caution in answer.cautions:
        console.print(Text(f"\n{caution}"), soft_wrap=True)


def print_patterns(works: Works, asked: QuestionScope) -> None:
    """Print what recurs among stops without a reason."""
    table = next((t for t in works.ask(asked).tables if t.name == "patterns" and t.rows), None)
    if table is None:
        console.print("No stops without a reason recur.")
    else:
        console.print(_table(table, works.plant))


def accept_pattern(works: Works, asked: QuestionScope, number: int, reason: str | None) -> None:
    """Give all stops of a pattern a reason."""
    stops = works.ask(asked).series.get("pattern_stops")
    rows = None if stops is None else stops.filter(stops["pattern"] == number)
    if rows is None or not rows.height:
        raise AskError(Fault(f"there is no pattern {number}", "--accept", "a number that 'lineview patterns' lists"))
    words = reason or str(rows["reason"][0])
    mark = works.set_stop_reasons(rows["machine"][0], rows.select("start", "end").rows(), words)
    console.print(
        f"“{words}” is set for {rows.height} stops. To undo it: lineview patterns --undo {mark}", soft_wrap=True
    )


def undo_pattern(works: Works, mark: int) -> None:
    """Undo what was accepted."""
    console.print(f"Undone for {works.undo_stop_reasons(mark)} stops.")


def _figures(answer: Answer, plant: Plant) -> RichTable:
    table = RichTable("figure", "value", "interval", "what the interval is", "n", box=None)
    for column in (1, 2, 4):
        table.columns[column].justify = "right"
    for figure in answer.figures:
        kind = "" if figure.why_none else figure.interval_kind
        cells = (figure.label, show.value(figure, plant), show.interval(figure, plant), kind, f"{figure.n:,}")
        table.add_row(*(Text(cell) for cell in cells))
    return table


def _table(table: Table, plant: Plant) -> RichTable:
    printed = RichTable(box=None)
    for key, words, unit in table.columns:
        number = any(isinstance(row.get(key), int | float) for row in table.rows)
        head = Text(show.heading(words, unit, plant))
        printed.add_column(head, justify="right" if number else "left")
    places = show.table_decimals(table.columns, table.rows, plant)
    for row in table.rows:
        cells = (show.cell(row.get(key), unit, plant, places[key]) for key, _, unit in table.columns)
        printed.add_row(*[Text(cell) for cell in cells])
    return printed


FORMS = {".pdf": to_pdf, ".xlsx": to_xlsx, ".csv": to_csv}


def write_sheet(works: Works, asked: QuestionScope, file: Path) -> None:
    """Answer a question and write it to a file."""
    if file.suffix.lower() not in FORMS:
        raise AskError(
            Fault(f"'{file.suffix}' is not a kind of sheet", str(file), "a name ending in .pdf, .xlsx or .csv")
        )
    answer = works.ask(asked)
    made = sheet_bytes(answer, works.plant, file.suffix.lower())
    try:
        file.write_bytes(made)
    except OSError as error:
        raise AskError(Fault(f"cannot be written: {error.strerror}", str(file))) from None
    console.print(f"Wrote {file}", markup=False, soft_wrap=True)


def sheet_bytes(answer: Answer, plant: Plant, ending: str) -> bytes:
    """Give an answer in one form."""
    return FORMS[ending](answer, plant)


#: Exit status of a lot by its verdict; 2 is that of an input that cannot be read.
LOT_STATUS: dict[bool | None, int] = {True: 0, False: 1, None: 3}


def print_lot(file: Path, label_g: float, lot: int, rules: str, tare_g: float) -> int:
    """Check weighed packages of a lot, print the verdict with its reasons, and give its exit status.

    Takes `file` [g].
    """
    told = lot_words(check_bags(read_masses(_text(file), str(file), tare_g), label_g, lot, rules))
    console.print(Text(told.verdict, style="bold" if told.passed else "bold underline"))
    for reason in (*told.reasons, told.numbers):
        console.print(Text(f"  {reason}"), soft_wrap=True)
    console.print(Text(told.banner, style="dim"), soft_wrap=True)
    console.print(Text(told.caution), soft_wrap=True)
    return LOT_STATUS[told.passed]


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is not text"
        raise IntakeError(Fault(f"cannot be read: {why}", str(file), "a text file, one mass a line")) from None
