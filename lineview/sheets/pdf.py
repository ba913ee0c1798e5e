"""An answer on printed paper: the same figures as the board, as PDF."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from importlib.resources import files
from typing import Any

from lineview.core.figure import Figure
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Table, scope_name

#: Rows of each table on the sheet; tables not named here stay on the board.
ROWS = {
    "ladder": 14,
    "next": 5,
    "stops": 10,
    "reasons": 8,
    "shifts": 8,
    "found changeovers": 6,
    "changeovers": 6,
    "order": 12,
    "key figures": 5,
    "ledger of losses": 20,
    "patterns": 4,
    "trends": 8,
    "lasting changes": 6,
}
#: Columns too wide for half a sheet.
_LEFT_OUT = {
    "stops": ("end",),
    "shifts": ("planned", "stood", "unseen"),
    "found changeovers": ("end",),
    "key figures": ("formula", "minutes"),
    "changeovers": ("shortest_min", "longest_min"),
    "trends": ("slope_low", "slope_high"),
    "patterns": ("number", "minutes", "chance"),
}

#: Answers that are printed on one sheet, for the hand-over of a shift and for Monday.
ONE_SHEET = ("shift", "week")
#: Tables as wide as the sheet, above the two columns.
WIDE = ("ledger of losses", "trends")
#: Tables of the left column; the others stand on the right.
LEFT = ("ladder", "reasons", "key figures", "lasting changes")


def handover(answer: Answer) -> list[Table]:
    """The tables that are printed."""
    if answer.question not in ONE_SHEET:
        return list(answer.tables)
    return [_cut(table) for table in answer.tables if table.name in ROWS]


def _cut(table: Table) -> Table:
    rows, title, most = list(table.rows), table.title, ROWS[table.name]
    if table.name == "ledger of losses":
        rows = _rest_together(table, most)
    if table.name == "stops" and len(rows) > most:
        longest = sorted(rows, key=lambda row: -row["minutes"])[:most]
        title = f"The {most} longest stops"
        rows = [row for row in rows if row in longest]
    columns = tuple(c for c in table.columns if c[0] not in _LEFT_OUT.get(table.name, ()))
    if table.name in ("reasons", "changeovers") and len(rows) > most:
        title = f"{title}, {most} of {len(rows)}"
    return replace(table, title=title, columns=columns, rows=rows[:most])


def _rest_together(table: Table, most: int) -> list[Mapping[str, Any]]:
    """The first rows of a table that ends with its sum, the rest added up in one: it still adds up."""
    *rows, total = table.rows
    if len(table.rows) <= most:
        return list(table.rows)
    shown, rest = rows[: most - 2], rows[most - 2 :]
    others: dict[str, Any] = {table.columns[0][0]: f"{len(rest)} other rows"}
    for key, _, _ in table.columns[1:]:
        known = [row[key] for row in rest if isinstance(row.get(key), int | float)]
        others[key] = round(sum(known), 6) if known else None
    return [*shown, others, total]


#: Rows of a table that a printed page shows; the rest is counted.
ROWS_SHOWN = 14
RUNS = ("running", "slow")


def to_pdf(answer: Answer, plant: Plant) -> bytes:
    """Print an answer.

    Parameters
    ----------
    answer : Answer
        Of any question; a shift's tape is drawn.
    plant : Plant
        Shop name, units and zone.

    Returns
    -------
    bytes
        A PDF.
    """
    import typst

    template = files("lineview.sheets").joinpath("page.typ").read_bytes()
    data = {"answer": json.dumps(_page(answer, plant))}
    pdf: bytes = typst.compile(template, format="pdf", sys_inputs=data)
    return pdf


def _page(answer: Answer, plant: Plant) -> dict[str, Any]:
    tape, hours = _tape(answer, plant)
    low, high, top = _band(answer, plant)
    return {
        "title": f"{plant.shop}: {answer.question}",
        "paper": "a4" if plant.units == "metric" else "us-letter",
        "footer": f"{plant.shop} · {answer.question} · readings up to {show.moment(answer.scope.now, plant)}",
        "shop": plant.shop,
        "scope": f"{scope_name(answer.scope, plant)} · {answer.scope.label}",
        "sentence": [{"text": span.text, "call": span.call} for span in answer.sentence],
        "soft": answer.soft,
        "tape": tape,
        "band": {"bottom": low / top, "height": (high - low) / top},
        "hours": hours,
        "tape-legend": "Height: pieces a minute; pale: the nominal band; hatched: standing.",
        "one-sheet": answer.question in ONE_SHEET,
        "tables": [_table(table, plant) for table in handover(answer) if table.rows],
        "figures": [] if answer.question in ONE_SHEET else [_figure(f, plant) for f in answer.figures],
        "notes": list(answer.notes),
        "cautions": list(answer.cautions),
    }


def _band(answer: Answer, plant: Plant) -> tuple[float, float, float]:
    machine = plant.machine(answer.scope.machine)
    low, high = machine.nominal_per_min if machine else (300.0, 400.0)
    return low, high, high * 1.1


def _tape(answer: Answer, plant: Plant) -> tuple[list[dict[str, Any]], list[str]]:
    frame = answer.series.get("tape")
    if answer.question != "shift" or frame is None or frame.is_empty():
        return [], []
    starts: list[datetime] = frame["start"].to_list()
    ends: list[datetime] = frame["end"].to_list()
    first, last = min(starts), max(ends)
    whole = (last - first).total_seconds()
    top = _band(answer, plant)[2]
    drawn = []
    for row in frame.iter_rows(named=True):
        runs = row["state"] in RUNS
        minutes = (row["end"] - row["start"]).total_seconds() / 60
        rate = (row["pieces"] or 0.0) / minutes if minutes else 0.0
        if row["state"] in ("break", "unseen"):
            continue
        drawn.append(
            {
                "x": (row["start"] - first).total_seconds() / whole,
                "width": minutes * 60 / whole,
                "height": min(1.0, rate / top) if runs else 0.6,
                "runs": runs,
            }
        )
    marks = [first + timedelta(seconds=whole * k / 8) for k in range(8)]
    return drawn, [show.moment(mark, plant, day=False) for mark in marks]


def _table(table: Table, plant: Plant) -> dict[str, Any]:
    headings, rows, align = table_text(table, plant)
    most = max(ROWS_SHOWN, ROWS.get(table.name, 0))
    more = len(rows) - most
    return {
        "title": table.title,
        "left": table.name in LEFT,
        "wide": table.name in WIDE,
        "headings": headings,
        "align": align,
        "rows": rows[:most],
        "more": f"and {more} more" if more > 0 else "",
    }


def table_text(table: Table, plant: Plant) -> tuple[list[str], list[list[str]], list[str]]:
    """A table as text."""
    headings, align, columns = [], [], []
    places = show.table_decimals(table.columns, table.rows, plant)
    for key, words, unit in table.columns:
        contents = [row.get(key) for row in table.rows]
        headings.append(show.heading(words, unit, plant))
        align.append("right" if any(isinstance(c, int | float) for c in contents) else "left")
        columns.append([show.cell(c, unit, plant, places[key]) for c in contents])
    return headings, [list(row) for row in zip(*columns, strict=True)], align


def _figure(figure: Figure, plant: Plant) -> list[str]:
    kind = "" if figure.why_none else figure.interval_kind
    value, interval = show.value(figure, plant), show.interval(figure, plant)
    return [figure.label, value, interval, kind, f"{figure.n:,}"]
