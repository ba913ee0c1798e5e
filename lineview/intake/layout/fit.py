"""Which layout a table was written in: by the file's name, the sheet's and the headers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase

from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import (
    Heading,
    bare_heading,
    best_place,
    guessed_place,
    header_rows,
    heading_at,
    names_places,
)
from lineview.plant import Layout


@dataclass(frozen=True)
class Fit:
    """How well a layout fits a table: the header row it would have, and the headers that are missing.

    `bare` where layout and table have no header row, and columns are called by their place.
    """

    layout: Layout
    place: int
    missing: tuple[str, ...]
    header_count: int
    bare: bool = False

    @property
    def whole(self) -> bool:
        """Whether every header of the layout is there."""
        return not self.missing and (self.bare or self.place >= 0)


def headers_of(layout: Layout) -> list[str]:
    """The headers that a layout names."""
    targets = {target.to for target in layout.columns.values()}
    long = layout.shape == "long" and layout.kind == "readings"
    times = [layout.time] if isinstance(layout.time, str) else list(layout.time)
    if targets & {"at", "start", "week"} and not long:
        times = []  # the moment has a column of its own
    columns = [layout.name_column, layout.value_column] if long else list(layout.columns)
    special_headers = [layout.machine_column, layout.quality_column]
    return [header for header in dict.fromkeys([*times, *columns, *special_headers]) if header]


def is_for(layout: Layout, name: str, sheet: str) -> bool:
    """Whether a layout's patterns take a file's name and a sheet's."""
    pattern = layout.files.casefold().removesuffix(".gz")
    return fnmatchcase(name.casefold(), pattern) and takes_sheet(layout, sheet)


def takes_sheet(layout: Layout, sheet: str) -> bool:
    """Whether a layout's pattern of sheets takes a sheet; text has none."""
    return not layout.sheet or not sheet or fnmatchcase(sheet.casefold(), layout.sheet.casefold())


def fits_of(layouts: Sequence[Layout], records: Records) -> list[Fit]:
    """Look for the headers of layouts in a table, whose first rows are looked at once for all of them."""
    if not layouts:
        return []
    rows = header_rows(records)
    fits = []
    for layout in layouts:
        headers = headers_of(layout)
        if names_places(headers) and guessed_place(records) < 0:
            lacking = tuple(header for header in headers if bare_heading(records).find(header) is None)
            fits.append(Fit(layout, -1, lacking, len(headers), bare=True))
            continue
        place, missing = best_place(rows, headers)
        fits.append(Fit(layout, place, tuple(missing), len(headers)))
    return fits


def best_fit(fits: Sequence[Fit]) -> Fit | None:
    """The fit of the layout that names the file most closely and most of its headers, or None."""
    complete = [fit for fit in fits if fit.whole]
    return max(complete, key=lambda fit: (fit.header_count, _closeness(fit.layout)), default=None)


def claims(fit: Fit) -> bool:
    """Whether a layout that does not fit is meant for the file all the same.

    It is where it names the file by more than its ending and shares a header with it, or where more than
    half of the headers that it names are there.
    """
    matches = fit.header_count - len(fit.missing)
    return matches > 0 and (_closeness(fit.layout) >= 2 or matches > fit.header_count / 2)


def _closeness(layout: Layout) -> int:
    """Count the letters of a layout's pattern that are no wildcard, the ending left out."""
    stem = re.sub(r"\.[a-z0-9?*\[\]]{1,5}(\.gz)?$", "", layout.files.casefold())
    return len(re.sub(r"[*?\[\]]", "", stem)) + len(layout.sheet)


def heading_of(fit: Fit, records: Records) -> Heading:
    """The heading of a table that a layout fits."""
    return bare_heading(records) if fit.bare else heading_at(records, fit.place)
