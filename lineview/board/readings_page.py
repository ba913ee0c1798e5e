"""The readings behind a figure: moment, value, and the export and row that each came from."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

import polars as pl
from flask import Flask, Response, request

from lineview.app.works import Works
from lineview.board.address import on_a_page
from lineview.board.plain import page_links, plain_page
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.figure import Period
from lineview.core.language import in_digits, tr
from lineview.plant import Plant
from lineview.plant.periods import moment
from lineview.report import show

#: Rows a page, and the time read for it at once: a season of readings would take the memory of a small machine.
ROWS, READ_AT_ONCE = 200, timedelta(hours=24)


def readings_link(machine: str, period: Period) -> str:
    """The address of the readings of a machine over a period."""
    return f"/readings?{_query(machine, period.start, period.end, 0)}"


def _query(machine: str, start: datetime, end: datetime, first: int) -> str:
    query = {"machine": machine, "from": start.isoformat(), "to": end.isoformat()}
    return urlencode(query | ({"first": str(first)} if first else {}))


def add_readings_route(server: Flask, works: Works) -> None:
    """Add the page that lists readings."""

    def readings() -> Any:
        try:
            return plain_page("readings.html", pages=page_links(), **_page_context(works, request.args))
        except LineviewError as error:
            return Response(on_a_page(error), status=404, mimetype="text/plain")

    server.add_url_rule("/readings", "readings", readings)


def _page_context(works: Works, arguments: Mapping[str, str]) -> dict[str, Any]:
    """What the page shows."""
    plant, machine = works.plant, works.known_machine(arguments.get("machine", ""))
    start, end = (moment(arguments.get(name, ""), plant.tz, name) for name in ("from", "to"))
    if end <= start:
        raise AskError(Fault(tr("the time ends before it starts"), "to", tr("a later moment")))
    number = arguments.get("first", "0")
    first = int(number) if number.isdecimal() and len(number) < 9 else 0
    until = min(end, start + READ_AT_ONCE)
    rows = works.store.readings(machine.id, start, until).sort("at", "channel")
    intakes = works.store.intakes()
    files = intakes.select(pl.col(intakes.columns[0]).alias("intake"), "file")
    part = rows.slice(first, ROWS).join(files, on="intake", how="left", maintain_order="left")
    listed = [_cells(row, plant) for row in part.iter_rows(named=True)]
    links = []
    if first:
        links.append((tr("Earlier rows"), _query(machine.id, start, end, max(first - ROWS, 0))))
    if first + ROWS < rows.height:
        links.append(
            (
                tr("Further rows ({count:,})", count=rows.height - first - ROWS),
                _query(machine.id, start, end, first + ROWS),
            )
        )
    if until < end:
        links.append((tr("The day after"), _query(machine.id, until, end, 0)))
    return {
        "title": tr("Readings of {machine}", machine=machine.label),
        "sentence": tr(
            "Readings of {machine}, {period}.", machine=machine.label, period=show.stretch(start, until, plant)
        ),
        "soft": tr("{count:,} readings; each with the export and the row that it came from.", count=rows.height),
        "shop": plant.shop,
        "rows": listed,
        "links": [(words, f"/readings?{query}") for words, query in links],
    }


def _cells(row: Mapping[str, Any], plant: Plant) -> tuple[str, ...]:
    """A reading as text."""
    value = row["text"] if row["value"] is None else in_digits(f"{row['value']:g}")
    at = show.moment(row["at"], plant, seconds=True)
    return (
        at,
        row["channel"],
        value or show.NOTHING,
        row["quality"] or "",
        row["file"] or "",
        in_digits(f"{row['row']:,}"),
    )
