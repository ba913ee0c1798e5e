"""One export file to tidy rows and refusals, or to a proposed layout where none fits."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import available_timezones

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import REFUSALS
from lineview.core.language import tr, tr_count
from lineview.core.names import readable
from lineview.intake.big import BigExport, SettledByHead
from lineview.intake.cells.timestamp_columns import joined_cells
from lineview.intake.cells.timestamps import plan_clock, read_clock
from lineview.intake.detect.delimited import Records, text_records
from lineview.intake.detect.encoding import OpenedFile, open_export
from lineview.intake.detect.header import LOOK, Heading, guessed_place, heading_at, second_headers
from lineview.intake.detect.tables import must_be_narrow, parquet_records, text_table
from lineview.intake.detect.zones import against_clock, named_zone, open_fault
from lineview.intake.exports import Export, InPieces, NotInPieces, Part, Proposal
from lineview.intake.layout.bind import bind
from lineview.intake.layout.fit import Fit, best_fit, claims, fits_of, heading_of, is_for, takes_sheet
from lineview.intake.outcome import Outcome
from lineview.intake.pieces import head_of
from lineview.intake.tidy.events import take_events
from lineview.intake.tidy.rows import data_rows
from lineview.intake.tidy.take_readings import take_readings
from lineview.plant import Layout, Plant


def read_export(
    path: Path,
    plant: Plant,
    *,
    layout: Layout | None = None,
    progress: Callable[[int], None] | None = None,
    now: datetime | None = None,
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
    now : datetime.datetime, optional
        Today, against which times are held; without it none is too late.

    Returns
    -------
    Export or Proposal
        A proposal where no layout fits.

    Raises
    ------
    IntakeError
        Where the file cannot be read at all, or a layout meant for it does not fit it.
    """
    report = progress or (lambda _rows: None)
    opened = open_export(path)
    tables = tables_of(opened, plant, layout)
    for table in tables:
        must_be_narrow(table, str(path))
    notes = tuple(note for table in tables for note in table.notes)
    facts = (opened.path, opened.name, opened.digest, opened.size_bytes)
    del opened
    cuts = [
        cut
        for table in tables
        for cut in _by_header(_best_cut(table, facts[1], plant, layout), facts[1], plant, layout)
    ]
    tables = [table for table, _ in cuts]
    fits = [_fit_of(table, layout_fits, layout, str(path)) for table, layout_fits in cuts]
    _must_fit_throughout(tables, fits, str(path))
    if layout is not None and not any(fits):
        raise IntakeError(_missing(cuts[0][1][0], tables[0], str(path)))
    if not any(fits):
        from lineview.intake.layout.propose import propose  # most files have a layout

        return propose(path, facts[1], tables, plant, _why_none(cuts), now)
    del cuts
    aside = [t.sheet for t, f in zip(tables, fits, strict=True) if f is None]
    if aside:
        notes += (tr("sheets that no layout fits were skipped: {sheets}", sheets=", ".join(aside)),)
    outcomes, sheets = [], []
    tables.reverse()
    for fit in fits:
        table = tables.pop()
        if fit is not None:
            sheets.append(table.sheet)
            box = [table]
            del table
            outcomes.append(_outcome(box, fit, plant, str(path), report, now))
    return _export(facts, outcomes, sheets, notes)


def tables_of(opened: OpenedFile, plant: Plant, layout: Layout | None) -> list[Records]:
    """The tables of a file: a workbook's sheets, or one."""
    if opened.is_workbook:
        return _sheets(opened.data, opened.path)
    if opened.is_parquet:
        return [parquet_records(opened.data, opened.path)]
    layouts = [layout] if layout else [entry for entry in plant.layouts if is_for(entry, opened.name, "")]
    for encoding in dict.fromkeys(entry.encoding for entry in layouts if entry.encoding):
        table = text_table(opened.data, encoding)
        fits = fits_of([entry for entry in layouts if entry.encoding == encoding], table)
        if layout is not None or any(entry.whole for entry in fits):
            return [table]
    return [text_table(opened.data, "")]


def _sheets(data: bytes, path: Path) -> list[Records]:
    from lineview.intake.detect.workbooks import sheet_records_apart  # of no use to text

    return sheet_records_apart(data, path)


def open_big(
    path: Path,
    plant: Plant,
    *,
    layout: Layout | None = None,
    progress: Callable[[int], None] | None = None,
    now: datetime | None = None,
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
    now : datetime.datetime, optional
        As for `read_export`.

    Returns
    -------
    InPieces or None
        None where it has to be read by `read_export`, which gives the same.
    """
    head = head_of(path)
    if head is None or any(entry.encoding for entry in plant.layouts) or (layout is not None and layout.encoding):
        return None
    name = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
    table, layout_fits = _best_cut(text_records(head.text), name, plant, layout)
    best = best_fit(layout_fits)
    if best is None or best.layout.kind != "readings" or not _is_zone(best.layout.zone):
        return None
    heading, where = heading_of(best, table), str(path)
    try:
        zoned, notes = _with_zone(best.layout, heading, table, plant, where)
        bound = bind(zoned, heading, plant, where)
        bound = replace(bound, notes=(*bound.notes, *notes))
        if not bound.by_row:
            return None
        by_head = SettledByHead(table, heading, bound, plant, where, now)
    except (IntakeError, NotInPieces):
        return None
    skip = sum(len(line) for line in head.text.splitlines(keepends=True)[: heading.first])
    report = progress or (lambda _rows: None)
    return BigExport(path, head.mark + skip, heading, bound, plant, by_head, report)


def _best_cut(table: Records, name: str, plant: Plant, layout: Layout | None) -> tuple[Records, list[Fit]]:
    """A table cut at the separator with which a layout fits, and how each layout for it fits.

    Where none fits at any separator the table stays cut at the likeliest one.
    """
    layouts = [layout] if layout else [entry for entry in plant.layouts if is_for(entry, name, table.sheet)]
    likeliest = fits_of(layouts, table)
    if any(entry.whole for entry in likeliest):
        return table, likeliest
    for cut in table.cut_otherwise() if layouts else ():
        fits = fits_of(layouts, cut)
        if any(entry.whole for entry in fits):
            return cut, fits
    return table, likeliest


def _by_header(
    cut: tuple[Records, list[Fit]], name: str, plant: Plant, layout: Layout | None
) -> list[tuple[Records, list[Fit]]]:
    """A table cut where a further header says other things of its columns, each part with its fits."""
    table, fits = cut
    best = best_fit(fits)
    places = second_headers(table, heading_of(best, table)) if best is not None else []
    if not places:
        return [cut]
    starts, ends = [0, *places], [*places, table.frame.height]
    frames = (table.frame.slice(a, b - a) for a, b in zip(starts, ends, strict=True))
    parts = [Records(table.sheet, frame, table.separator, ()) for frame in frames]
    return [(replace(parts[0], notes=table.notes), fits), *(_best_cut(part, name, plant, layout) for part in parts[1:])]


def _must_fit_throughout(tables: list[Records], fits: list[Fit | None], where: str) -> None:
    """Raise where a layout fits the first rows of a sheet or file but not those under a further header."""
    for table, fit in zip(tables, fits, strict=True):
        first = int(table.frame["row"][0])
        beside = [other for other, its in zip(tables, fits, strict=True) if other.sheet == table.sheet and its]
        if fit is None and first > 1 and beside:
            header = ", ".join(f"'{cell}'" for cell in table.top(1)[0] if cell)
            what = tr("line {first} is a second header with other columns: {headers}", first=first, headers=header)
            raise IntakeError(
                Fault(what, where, tr("a layout for it, or the same columns"), tr("Split the file or add a layout."))
            )


def _fit_of(table: Records, fits: list[Fit], layout: Layout | None, where: str) -> Fit | None:
    """The layout that fits a table, or None; raise where one is meant for it but lacks headers."""
    if layout is not None:
        fit = fits[0]
        if not takes_sheet(layout, table.sheet):
            return None
        if not fit.whole and (layout.sheet or not table.sheet):
            raise IntakeError(_missing(fit, table, where))
        return fit if fit.whole else None
    best = best_fit(fits)
    if best is None and (claimants := [fit for fit in fits if claims(fit)]):
        raise IntakeError(_missing(min(claimants, key=lambda fit: len(fit.missing)), table, where))
    return best


def _why_none(cuts: list[tuple[Records, list[Fit]]]) -> list[str]:
    """Say which headers are missing for layouts whose pattern takes the file."""
    return [
        tr("layout '{id}' does not fit: no header {missing}", id=fit.layout.id, missing=", ".join(fit.missing))
        for _, fits in cuts
        for fit in fits
        if fit.missing and len(fit.missing) < fit.header_count
    ]


def _missing(fit: Fit, table: Records, where: str) -> Fault:
    place = fit.place if fit.place >= 0 else guessed_place(table)
    names = [name for name in heading_at(table, place).names if name] if place >= 0 else []
    headers = ", ".join(f"'{name}'" for name in names) or tr("no header row in the first {rows} rows", rows=LOOK)
    lacking = ", ".join(f"'{header}'" for header in fit.missing)
    sheet = f" [{table.sheet}]" if table.sheet else ""
    return Fault(
        tr_count(
            "layout '{id}' names a column that the file does not have: {lacking}",
            "layout '{id}' names columns that the file does not have: {lacking}",
            len(fit.missing),
            id=fit.layout.id,
            lacking=lacking,
        ),
        where + sheet,
        tr("one of its headers: {headers}", headers=headers),
        tr("Correct the layout or leave it to be proposed anew."),
    )


def _is_zone(name: str) -> bool:
    return not name or name in available_timezones()


def _outcome(
    box: list[Records], fit: Fit, plant: Plant, where: str, report: Callable[[int], None], now: datetime | None
) -> Outcome:
    zone = fit.layout.zone
    if not _is_zone(zone):
        what = tr("layout '{id}' names the unknown zone '{zone}'", id=fit.layout.id, zone=zone)
        raise IntakeError(Fault(what, where, tr("such as Europe/Berlin")))
    heading = heading_of(fit, box[0])
    layout, notes = _with_zone(fit.layout, heading, box[0], plant, where)
    if layout.kind == "readings":
        outcome = take_readings(box, heading, layout, plant, where, report, now)
    else:
        outcome = take_events(box, heading, layout, plant, where, now)
    return replace(outcome, notes=(*outcome.notes, *notes))


def _with_zone(
    layout: Layout, heading: Heading, table: Records, plant: Plant, where: str
) -> tuple[Layout, tuple[str, ...]]:
    """A layout with the zone that the file names for its times, and a note of it.

    What the layout says itself counts first.
    """
    if layout.zone:
        return layout, ()
    of_times = [header for header, target in layout.columns.items() if target.to in ("at", "start", "end")]
    times = [layout.time] if isinstance(layout.time, str) else layout.time
    zone_of_file = named_zone(heading, [*times, *of_times])
    if zone_of_file is None or zone_of_file.zone == plant.zone:
        return layout, ()
    places = tuple(place for header in [*times, *of_times[:1]] if (place := heading.find(header)) is not None)
    relation = "other"
    if places and not zone_of_file.is_utc:
        cells = joined_cells(data_rows(table, heading, places), places)
        plan = plan_clock(cells, layout.time_format, typed=table.is_sheet)
        relation = against_clock(zone_of_file, plant.zone, read_clock(cells, plan.formats).naive)
    if relation == "same":
        return layout, ()
    if relation == "open" or not zone_of_file.zone:
        raise open_fault(zone_of_file, plant.zone, layout.id, where)
    note = tr(
        "its times are read in {zone}, as the file says ('{words}')", zone=zone_of_file.zone, words=zone_of_file.words
    )
    return layout.model_copy(update={"zone": zone_of_file.zone}), (note,)


def _export(
    facts: tuple[Path, str, Future[str], int], outcomes: list[Outcome], sheets: list[str], notes: tuple[str, ...]
) -> Export:
    path, _, digest, size_bytes = facts
    name = readable(path.name)
    several = len(set(sheets)) > 1
    refusals = [
        outcome.refused.select(
            pl.lit(0, dtype=pl.Int64).alias("intake"),
            pl.lit(f"{name} [{sheet}]" if several else name).alias("file"),
            *[pl.col(name) for name in REFUSALS if name not in ("intake", "file")],
        )
        for outcome, sheet in zip(outcomes, sheets, strict=True)
    ]
    rows = sum(outcome.rows for outcome in outcomes)
    if not rows:
        notes += (tr("the file has a header and no row: nothing was recorded, or the export failed"),)
    return Export(
        path=path,
        sha256=digest.result(),
        size_bytes=size_bytes,
        layouts=tuple(outcome.layout for outcome in outcomes),
        parts=tuple(Part(outcome.kind, outcome.tidy) for outcome in outcomes),
        rows=rows,
        refusals=pl.concat(refusals),
        rows_refused=sum(outcome.rows_refused for outcome in outcomes),
        uncertain=sum(outcome.uncertain for outcome in outcomes),
        notes=(*notes, *(note for outcome in outcomes for note in outcome.notes)),
    )
