"""What the command line prints of an answer: the same object as the board, or the whole of it as JSON."""

from __future__ import annotations

import sys
from dataclasses import replace

from rich.table import Table as RichTable
from rich.text import Text

from lineview import show, show_cells
from lineview.answers.answer import Answer, Table
from lineview.answers.json_form import to_json
from lineview.cli_console import console
from lineview.plant import Plant
from lineview.question_scope import QuestionScope
from lineview.works import Works

#: Rows of a table that are printed unless all are asked for.
SHORT_ROWS = 12


def print_answer(works: Works, asked: QuestionScope, as_json: bool, whole: bool) -> None:
    """Answer a question and print it.

    Parameters
    ----------
    works : Works
        Opened.
    asked : QuestionScope
        What is asked.
    as_json : bool
        Whether to print the whole answer as JSON instead.
    whole : bool
        Whether to print every figure and table; else the sentence, the line below and the first table.

    Raises
    ------
    AskError
        For an unknown line, machine or shift.
    """
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
        head = Text(show_cells.heading(words, unit, plant))
        printed.add_column(head, justify="right" if number else "left")
    places = show_cells.table_decimals(table.columns, table.rows, plant)
    for row in table.rows:
        cells = (show_cells.cell(row.get(key), unit, plant, places[key]) for key, _, unit in table.columns)
        printed.add_row(*[Text(cell) for cell in cells])
    return printed
