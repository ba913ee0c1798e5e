"""The first rows of a table as a proposed layout would read them."""

from __future__ import annotations

import polars as pl

from lineview.errors import IntakeError
from lineview.intake.heading import Heading
from lineview.intake.records import Records
from lineview.intake.take_events import take_events
from lineview.intake.take_readings import take_readings
from lineview.plant import Layout, Plant

_ROWS = 20


def sample_of(
    records: Records, heading: Heading, layout: Layout, plant: Plant, *, asked: bool
) -> pl.DataFrame:
    """Give the first tidy rows, or the cells as they stand while questions are open.

    Parameters
    ----------
    records : Records
        The table.
    heading : Heading
        Of the table.
    layout : Layout
        Proposed.
    plant : Plant
        The plant description.
    asked : bool
        Whether questions are open: then nothing is read on the strength of a guess.

    Returns
    -------
    polars.DataFrame
        At most 20 rows.
    """
    top = Records(records.sheet, records.frame.head(heading.first + 200), records.separator)
    if not asked:
        try:
            if layout.kind == "readings":
                taken = take_readings([top], heading, layout, plant, "", lambda _rows: None)
            else:
                taken = take_events([top], heading, layout, plant, "")
            return taken.tidy.sort("row", maintain_order=True).head(_ROWS)
        except IntakeError:
            pass  # the cells as they stand are still worth showing
    cells = records.top(heading.first + _ROWS)[heading.first :]
    width = heading.width
    rows = [[*row[:width], *[""] * (width - len(row))] for row in cells]
    names = [name or f"column {i + 1}" for i, name in enumerate(heading.names[:width])]
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row")
