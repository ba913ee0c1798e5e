"""The first table of an answer as CSV, for whoever works on in a spreadsheet."""

from __future__ import annotations

import polars as pl

from lineview.answers.answer import Answer
from lineview.plant import Plant
from lineview.sheets.guard import guarded
from lineview.sheets.page import table_text


def to_csv(answer: Answer, plant: Plant) -> bytes:
    """Write an answer's first table that has rows.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Units and zone.

    Returns
    -------
    bytes
        UTF-8 with a byte-order mark, which spreadsheets want; text that would run as a formula is defused.
    """
    table = next((t for t in answer.tables if t.rows), None)
    if table is None:
        return b"\xef\xbb\xbf"
    headings, rows, _ = table_text(table, plant)
    plain = [[cell.replace("\N{MINUS SIGN}", "-").replace(",", "") for cell in row] for row in rows]
    numbers = [all(_is_number(row[c]) for row in plain) for c in range(len(headings))]
    cells = [[p if numbers[c] else r for c, (p, r) in enumerate(zip(*both, strict=True))]
             for both in zip(plain, rows, strict=True)]  # fmt: skip
    text = pl.DataFrame(cells, schema=[f"{h}" for h in _unique(headings)], orient="row")
    names = [n for n, number in zip(text.columns, numbers, strict=True) if not number]
    safe = text.with_columns(guarded(text.select(names))) if names else text
    return b"\xef\xbb\xbf" + safe.write_csv().encode("utf-8")


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).removeprefix("-").isdigit() or text in ("", "–")


def _unique(headings: list[str]) -> list[str]:
    seen: dict[str, int] = {}
    names = []
    for heading in headings:
        seen[heading] = seen.get(heading, 0) + 1
        names.append(heading if seen[heading] == 1 else f"{heading} ({seen[heading]})")
    return names
