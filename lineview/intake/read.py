"""One export file to tidy rows and refusals, or to a proposed layout where none fits."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from zoneinfo import available_timezones

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import REFUSALS
from lineview.intake.big import BigExport, SettledByHead
from lineview.intake.detect.delimited import Records, text_records
from lineview.intake.detect.encoding import open_export
from lineview.intake.detect.header import LOOK, guessed_place, heading_at
from lineview.intake.detect.sheets import Export, InPieces, NotInPieces, Part, Proposal
from lineview.intake.layout.bind import bind
from lineview.intake.layout.fit import Fit, best_fit, claims, fits_of, heading_of, is_for, takes_sheet
from lineview.intake.outcome import Outcome
from lineview.intake.pieces import head_of
from lineview.intake.tidy.events import take_events
from lineview.intake.tidy.take_readings import take_readings
from lineview.plant import Layout, Plant


def read_export(
    path: Path, plant: Plant, *, layout: Layout | None = None, progress: Callable[[int], None] | None = None
) -> Export | Proposal:
    """Read one export, whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        Of the export: text, XLSX or ODS, plain or gzipped.
    plant : Plant
        The plant description with its layouts.
    layout : Layout, optional
        To be used; without it the layout is found by the file's name and headers.
    progress : callable, optional
        Told the rows done so far, a few times.

    Returns
    -------
    Export or Proposal
        A proposal where no layout fits.

    Raises
    ------
    IntakeError
        Where the file cannot be read at all, or a layout meant for it does not fit it.
    """
    told = progress or (lambda _rows: None)
    opened = open_export(path)
    tables = _sheets(opened.data, path) if opened.is_workbook else [text_records(opened.data)]
    notes = tuple(note for table in tables for note in table.notes)
    facts = (opened.path, opened.name, opened.digest, opened.size_bytes)
    del opened
    cuts = [_best_cut(table, facts[1], plant, layout) for table in tables]
    tables = [table for table, _ in cuts]
    fits = [_fit_of(table, tried, layout, str(path)) for table, tried in cuts]
    if layout is not None and not any(fits):
        raise IntakeError(_missing(cuts[0][1][0], tables[0], str(path)))
    if not any(fits):
        from lineview.intake.layout.propose import propose  # most files have a layout

        return propose(path, facts[1], tables, plant, _why_none(cuts))
    del cuts
    aside = [t.sheet for t, f in zip(tables, fits, strict=True) if f is None]
    if aside:
        notes += (f"sheets that no layout fits were skipped: {', '.join(aside)}",)
    outcomes, sheets = [], []
    tables.reverse()
    for one in fits:
        table = tables.pop()
        if one is not None:
            sheets.append(table.sheet)
            box = [table]
            del table
            outcomes.append(_outcome(box, one, plant, str(path), told))
    return _export(facts, outcomes, sheets, notes)


def _sheets(data: bytes, path: Path) -> list[Records]:
    from lineview.intake.detect.workbooks import sheet_records_apart  # of no use to text

    return sheet_records_apart(data, path)


def open_big(
    path: Path, plant: Plant, *, layout: Layout | None = None, progress: Callable[[int], None] | None = None
) -> InPieces | None:
    """Open a big text export of readings to be read in pieces, in memory that does not grow with its rows.

    Parameters
    ----------
    path : pathlib.Path
        Of the export, plain or gzipped.
    plant : Plant
        The plant description with its layouts.
    layout : Layout, optional
        To be used; without it the layout is found by the file's name and headers.
    progress : callable, optional
        Told the rows done so far, a few times.

    Returns
    -------
    InPieces or None
        None where it has to be read by `read_export`, which gives the same.
    """
    head = head_of(path)
    if head is None:
        return None
    name = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
    table, tried = _best_cut(text_records(head.text), name, plant, layout)
    best = best_fit(tried)
    if best is None or best.layout.kind != "readings" or not _is_zone(best.layout.zone):
        return None
    heading, where = heading_of(best, table), str(path)
    zone = best.layout.zone or plant.zone
    try:
        bound = bind(best.layout, heading, plant, where)
        settled = SettledByHead(table, heading, bound, zone, where)
    except (IntakeError, NotInPieces):
        return None
    skip = sum(len(line) for line in head.text.splitlines(keepends=True)[: heading.first])
    told = progress or (lambda _rows: None)
    return BigExport(path, head.mark + skip, heading, bound, plant, settled, told)


def _best_cut(table: Records, name: str, plant: Plant, layout: Layout | None) -> tuple[Records, list[Fit]]:
    """A table cut at the separator with which a layout fits, and how each layout for it fits.

    Where none fits at any separator the table stays cut at the likeliest one.
    """
    layouts = [layout] if layout else [one for one in plant.layouts if is_for(one, name, table.sheet)]
    likeliest = fits_of(layouts, table)
    if any(one.whole for one in likeliest):
        return table, likeliest
    for cut in table.cut_otherwise() if layouts else ():
        fits = fits_of(layouts, cut)
        if any(one.whole for one in fits):
            return cut, fits
    return table, likeliest


def _fit_of(table: Records, fits: list[Fit], layout: Layout | None, where: str) -> Fit | None:
    """The layout that fits a table, or None; raise where one is meant for it but lacks headers."""
    if layout is not None:
        one = fits[0]
        if not takes_sheet(layout, table.sheet):
            return None
        if not one.whole and (layout.sheet or not table.sheet):
            raise IntakeError(_missing(one, table, where))
        return one if one.whole else None
    best = best_fit(fits)
    if best is None and (meant := [one for one in fits if claims(one)]):
        raise IntakeError(_missing(min(meant, key=lambda one: len(one.missing)), table, where))
    return best


def _why_none(cuts: list[tuple[Records, list[Fit]]]) -> list[str]:
    """Say which headers are missing for layouts whose pattern takes the file."""
    return [
        f"layout '{one.layout.id}' does not fit: no header {', '.join(one.missing)}"
        for _, fits in cuts
        for one in fits
        if one.missing and len(one.missing) < one.wanted
    ]


def _missing(one: Fit, table: Records, where: str) -> Fault:
    place = one.place if one.place >= 0 else guessed_place(table)
    names = [name for name in heading_at(table, place).names if name] if place >= 0 else []
    headers = ", ".join(f"'{name}'" for name in names) or f"no header row in the first {LOOK} rows"
    lacking = ", ".join(f"'{header}'" for header in one.missing)
    sheet = f" [{table.sheet}]" if table.sheet else ""
    plural = "columns" if len(one.missing) > 1 else "a column"
    return Fault(
        f"layout '{one.layout.id}' names {plural} that the file does not have: {lacking}",
        where + sheet,
        f"one of its headers: {headers}",
        "Correct the layout or leave it to be proposed anew.",
    )


def _is_zone(name: str) -> bool:
    return not name or name in available_timezones()


def _outcome(box: list[Records], one: Fit, plant: Plant, where: str, told: Callable[[int], None]) -> Outcome:
    zone = one.layout.zone
    if not _is_zone(zone):
        raise IntakeError(
            Fault(f"layout '{one.layout.id}' names the unknown zone '{zone}'", where, "such as Europe/Berlin")
        )
    heading = heading_of(one, box[0])
    if one.layout.kind == "readings":
        return take_readings(box, heading, one.layout, plant, where, told)
    return take_events(box, heading, one.layout, plant, where)


def _export(
    facts: tuple[Path, str, Future[str], int], outcomes: list[Outcome], sheets: list[str], notes: tuple[str, ...]
) -> Export:
    path, _, digest, size_bytes = facts
    several = len(outcomes) > 1
    refusals = [
        one.refused.select(
            pl.lit(0, dtype=pl.Int64).alias("intake"),
            pl.lit(f"{path.name} [{sheet}]" if several else path.name).alias("file"),
            *[pl.col(name) for name in REFUSALS if name not in ("intake", "file")],
        )
        for one, sheet in zip(outcomes, sheets, strict=True)
    ]
    rows = sum(one.rows for one in outcomes)
    if not rows:
        notes += ("the file has a header and no row: nothing was recorded, or the export failed",)
    return Export(
        path=path,
        sha256=digest.result(),
        size_bytes=size_bytes,
        layouts=tuple(one.layout for one in outcomes),
        parts=tuple(Part(one.kind, one.tidy) for one in outcomes),
        rows=rows,
        refusals=pl.concat(refusals),
        rows_refused=sum(one.rows_refused for one in outcomes),
        uncertain=sum(one.uncertain for one in outcomes),
        notes=(*notes, *(note for one in outcomes for note in one.notes)),
    )
