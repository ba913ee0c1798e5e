"""The edge that carries exports from a folder through intake into the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast
from zipfile import BadZipFile, ZipFile, is_zipfile

import polars as pl

from lineview.core.errors import Fault, IntakeError, LineviewError, StoreError
from lineview.core.language import mark, tr
from lineview.intake.exports import Export, InPieces, LeftOut, NotInPieces, Proposal, Stretch
from lineview.intake.find import ENDINGS, find_exports, is_export
from lineview.intake.read import open_big, read_export
from lineview.machine.pieces import piece_counter
from lineview.machine.rhythm import clock_ahead, planned_minutes
from lineview.plant import Layout, Plant
from lineview.store.store import Store
from lineview.store.writer import Receipt


@dataclass(frozen=True)
class IntakeResult:
    """What became of one export: exactly one of receipt, proposal and error is there.

    Parameters
    ----------
    path : pathlib.Path
        The file as given.
    receipt : Receipt, optional
        Where it was taken in (or was already in).
    proposal : Proposal, optional
        Where no layout fits.
    error : LineviewError, optional
        Where it could not be read; nothing of it was kept.
    accepted : Layout, optional
        The proposed layout that was accepted for it, to be kept.
    notes : tuple of str
        What intake says of it.
    """

    path: Path
    receipt: Receipt | None = None
    proposal: Proposal | None = None
    error: LineviewError | None = None
    accepted: Layout | None = None
    notes: tuple[str, ...] = field(default=())


#: Exports are written together up to so many files and tidy rows: enough to share what a commit costs.
_GROUP_FILES, _GROUP_ROWS = 64, 500_000
#: A day so far from what is in does not follow it [days].
_FOLLOWS_D = 7


def take_in(
    paths: Sequence[Path],
    plant: Plant,
    store: Store,
    *,
    accept: bool = False,
    chosen: Mapping[str, str] | None = None,
    progress: Callable[[Path, int], None] | None = None,
    keep: Callable[[Layout], Layout] | None = None,
) -> list[IntakeResult]:
    """Take exports in, each whole or not at all."""
    with TemporaryDirectory(prefix="lineview-") as folder:
        files, faulty = _unzip(find_exports(paths), Path(folder))
        return [*_take_files(files, plant, store, accept, chosen or {}, progress, keep), *faulty]


#: What a zip of exports holds at most: files, bytes, and bytes for each of its own beyond the sure ones.
_MOST_FILES, _MOST_BYTES, _MOST_TIMES, _SURE_BYTES = 5_000, 8 << 30, 200, 64 << 20


def _unzip(files: Sequence[Path], folder: Path) -> tuple[list[Path], list[IntakeResult]]:
    """The files, those of zips in a folder of their own; and what is wrong with zips."""
    exports: list[Path] = []
    faulty: list[IntakeResult] = []
    for path in files:
        if path.suffix.lower() != ".zip" or not is_zipfile(path):
            exports.append(path)
            continue
        into = folder / str(len(exports) + len(faulty))
        into.mkdir()
        try:
            exports += _members(path, into)
        except IntakeError as error:
            faulty.append(IntakeResult(path, error=error))
    return exports, faulty


def _members(path: Path, into: Path) -> list[Path]:
    """The exports of a zip, written into a folder under their names."""
    try:
        with ZipFile(path) as archive:
            inside = [entry for entry in archive.infolist() if not entry.is_dir()]
            size = sum(entry.file_size for entry in inside)
            if len(inside) > _MOST_FILES or size > min(
                _MOST_BYTES, max(_SURE_BYTES, _MOST_TIMES * path.stat().st_size)
            ):
                what = tr("the zip holds {files:,} files of {size:,.0f} MB", files=len(inside), size=size / 1e6)
                raise IntakeError(
                    Fault(what, str(path), tr("a zip of exports"), tr("Unpack it and take in what is wanted."))
                )
            if any(entry.flag_bits & 1 for entry in inside):
                raise IntakeError(Fault(tr("the zip is protected by a password"), str(path), tr("a zip without one")))
            archive.extractall(into)  # which keeps to the folder whatever the names say
    except (BadZipFile, OSError, NotImplementedError, EOFError) as error:
        raise IntakeError(
            Fault(tr("the zip cannot be unpacked: {error}", error=error), str(path), tr("a whole zip"))
        ) from None
    exports = sorted(file for file in into.rglob("*") if is_export(file, into) and file.suffix.lower() != ".zip")
    if not exports:
        raise IntakeError(Fault(tr("no exports in this zip"), str(path), ", ".join(ENDINGS[:4]) + ", …"))
    return exports


def _take_files(
    files: Sequence[Path],
    plant: Plant,
    store: Store,
    accept: bool,
    chosen: Mapping[str, str],
    progress: Callable[[Path, int], None] | None,
    keep: Callable[[Layout], Layout] | None,
) -> list[IntakeResult]:
    now = datetime.now(UTC)
    results: dict[int, IntakeResult] = {}
    group: list[tuple[int, Export, Layout | None]] = []

    def in_pieces(export: InPieces, layout: Layout | None) -> IntakeResult | None:
        _write(group, store, results, keep, plant)  # so that files go in in their order
        return _take_in_pieces(export, layout, store, keep, plant)

    try:
        for place, path in enumerate(files):
            result = _read_one(path, plant, accept, chosen, _of(path, progress), now, in_pieces)
            if isinstance(result, IntakeResult):
                results[place] = result
            elif error := _swapped_day(result[0], [export for _, export, _ in group], plant, store):
                results[place] = IntakeResult(path, error=error)
            else:
                group.append((place, _with_clock_notes(result[0], plant), result[1]))
                if result[1] is not None or _is_full([export for _, export, _ in group]):
                    _write(group, store, results, keep, plant)
            if place in results and (layout := results[place].accepted) is not None:
                # further files of this layout need not be asked about again
                plant = plant.model_copy(update={"layouts": (*plant.layouts, layout)})
    finally:  # what was read whole before something unforeseen is not lost with it
        _write(group, store, results, keep, plant)
    return [results[place] for place in range(len(files))]


def _with_clock_notes(export: Export, plant: Plant) -> Export:
    """The export, with a note on each machine that starts and stops counting as far from its shifts at both ends."""
    notes, planned = [], planned_minutes(plant.shifts)
    counters = [(machine, counter) for machine in plant.machines if (counter := piece_counter(machine))]
    readings = [part.tidy for part in export.parts if part.kind == "readings"] if planned.any() else []
    for tidy, (machine, counter) in product(readings, counters):
        rows = tidy.filter((pl.col("machine") == machine.id) & (pl.col("channel") == counter.id)).sort("at")
        local = rows["at"].dt.convert_time_zone(plant.zone).dt.replace_time_zone(None).dt.epoch("s") // 60
        rose = (rows["value"].diff() > 0).fill_null(False)
        off_min = clock_ahead(local.to_numpy(), rose.to_numpy(), planned, least=1)[0]
        later = mark("{machine} starts and stops counting {n} minutes later than its shifts: is its clock right?")
        earlier = mark("{machine} starts and stops counting {n} minutes earlier than its shifts: is its clock right?")
        notes += [tr(later if off_min > 0 else earlier, machine=machine.label, n=abs(off_min))] if off_min else []
    return replace(export, notes=(*export.notes, *notes))


def _swapped_day(export: Export, group: Sequence[Export], plant: Plant, store: Store) -> IntakeError | None:
    """Why readings of one day may be of another: with day and month swapped they follow what is in or in the group."""
    layouts = [layout for layout in plant.layouts if layout.id in export.layouts and not layout.any_times]
    for part in export.parts if any(layout.time_format.startswith(("%d", "%m")) for layout in layouts) else ():
        days = part.tidy["at"].dt.convert_time_zone(plant.zone).dt.date() if part.kind == "readings" else None
        if days is None or not part.height:
            continue
        begin, end = cast(date, days.min()), cast(date, days.max())
        if begin.day > 12 or begin.day == begin.month or (end - begin).days > 1:
            continue
        swapped_day = begin.replace(month=begin.day, day=begin.month)
        with store.snapshot() as reader:
            span = reader.span(part.tidy["machine"][0])
        if span is None:
            continue
        tidy = [piece.tidy for item in group for piece in item.parts if piece.kind == "readings" and piece.height]
        waiting = [rows["at"].dt.date() for rows in tidy if rows["machine"][0] == part.tidy["machine"][0]]
        first = min([span.start.date(), *(cast(date, dates.min()) for dates in waiting)])
        last = max([span.end.date(), *(cast(date, dates.max()) for dates in waiting)])
        apart, near = (max((first - day).days, (day - last).days) for day in (begin, swapped_day))
        if apart > _FOLLOWS_D >= near:
            text = mark("its times lie on {begin}, far from what is in: day and month may be swapped ({meant})")
            do = tr("Correct the dates; any_times = true in layout '{id}' takes them as read.", id=layouts[0].id)
            expected = tr("a day that follows {day:%Y-%m-%d}", day=last)
            return IntakeError(Fault(tr(text, begin=begin, meant=swapped_day), str(export.path), expected, do))
    return None


def _of(path: Path, progress: Callable[[Path, int], None] | None) -> Callable[[int], None]:
    return lambda rows: None if progress is None else progress(path, rows)


def _is_full(group: Sequence[Export]) -> bool:
    return len(group) >= _GROUP_FILES or sum(part.height for export in group for part in export.parts) >= _GROUP_ROWS


def _read_one(
    path: Path,
    plant: Plant,
    accept: bool,
    chosen: Mapping[str, str],
    progress: Callable[[int], None],
    now: datetime,
    in_pieces: Callable[[InPieces, Layout | None], IntakeResult | None],
) -> IntakeResult | tuple[Export, Layout | None]:
    """Read an export; give what became of it where it goes no further, else it and the layout accepted.

    A big one that a layout fits is taken in here, piece by piece.
    """
    try:
        done = _try_pieces(path, plant, None, progress, now, in_pieces)
        if done is not None:
            return done
        export = read_export(path, plant, progress=progress, now=now)
        layout = None
        if isinstance(export, Proposal):
            if not accept:
                return IntakeResult(path, proposal=export)
            from lineview.intake.layout.propose import settle  # most files have a layout

            layout = settle(export, chosen)
            remarks = _notes_of(export, layout)
            done = _try_pieces(path, plant, layout, progress, now, in_pieces)
            if done is not None:
                return replace(done, notes=(*remarks, *done.notes))
            export = read_export(path, plant, layout=layout, progress=progress, now=now)
            if isinstance(export, Export):
                export = replace(export, notes=(*remarks, *export.notes))
        return IntakeResult(path, proposal=export) if isinstance(export, Proposal) else (export, layout)
    except LineviewError as error:
        # without the frames that it came through: they hold the file's bytes
        error.__context__ = error.__cause__ = None
        return IntakeResult(path, error=error.with_traceback(None))
    except Exception as error:  # noqa: BLE001 - whatever a file is, it never stops the files after it
        what = tr("the file cannot be read ({kind}: {error})", kind=type(error).__name__, error=str(error)[:200])
        return IntakeResult(
            path, error=IntakeError(Fault(what, str(path), "", tr("Leave this file out, and please report it.")))
        )


def _notes_of(proposal: Proposal, layout: Layout) -> tuple[str, ...]:
    """What a proposal says of its file, and the columns that an answer leaves out."""
    dropped = [header for header in proposal.layout.columns if header not in layout.columns]
    note = LeftOut(tr("left out, as answered: {columns}", columns=", ".join(dropped)))
    return (*proposal.notes, *([note] if dropped else []))


def _try_pieces(
    path: Path,
    plant: Plant,
    layout: Layout | None,
    progress: Callable[[int], None],
    now: datetime,
    in_pieces: Callable[[InPieces, Layout | None], IntakeResult | None],
) -> IntakeResult | None:
    big = open_big(path, plant, layout=layout, progress=progress, now=now)
    return None if big is None else in_pieces(big, layout)


def _take_in_pieces(
    export: InPieces, layout: Layout | None, store: Store, keep: Callable[[Layout], Layout] | None, plant: Plant
) -> IntakeResult | None:
    """Take a big export in; None where it has to be read whole."""
    store.describe(_with_layout(plant, layout).model_dump_json())
    source = export if layout is None or keep is None else _AcceptedExport(export, layout, keep)
    try:
        receipt = store.record_in_pieces(source)
    except NotInPieces:
        return None
    accepted = source.layout if isinstance(source, _AcceptedExport) else layout
    return IntakeResult(export.path, receipt=receipt, accepted=accepted, notes=export.notes)


class _AcceptedExport:
    """A big export whose accepted layout is kept once all of it was read, and before it is in."""

    def __init__(self, export: InPieces, layout: Layout, keep: Callable[[Layout], Layout]) -> None:
        self.path = export.path
        self.layouts = export.layouts
        self.layout = layout
        self._export, self._keep = export, keep

    @property
    def notes(self) -> tuple[str, ...]:
        return self._export.notes

    def stretches(self, source: Path) -> Iterator[Stretch]:
        yield from self._export.stretches(source)
        self.layout = self._keep(self.layout)
        self.layouts = (self.layout.id,)


def _write(
    group: list[tuple[int, Export, Layout | None]],
    store: Store,
    results: dict[int, IntakeResult],
    keep: Callable[[Layout], Layout] | None,
    plant: Plant,
) -> None:
    """Write a group of exports and empty it; an accepted layout is kept before its file goes in."""
    ready = []
    for place, export, layout in group:
        try:
            ready.append((place, *_under_kept_layout(export, layout, keep)))
        except LineviewError as error:
            results[place] = IntakeResult(export.path, error=error)
    group.clear()
    if ready:
        store.describe(_with_layout(plant, ready[-1][2]).model_dump_json())
    outcomes = store.record_all([export for _, export, _ in ready]) if ready else []
    for (place, export, layout), outcome in zip(ready, outcomes, strict=True):
        if isinstance(outcome, StoreError):
            results[place] = IntakeResult(export.path, error=outcome)
        else:
            results[place] = IntakeResult(export.path, receipt=outcome, accepted=layout, notes=export.notes)


def _with_layout(plant: Plant, layout: Layout | None) -> Plant:
    return plant if layout is None else plant.model_copy(update={"layouts": (*plant.layouts, layout)})


def _under_kept_layout(
    export: Export, layout: Layout | None, keep: Callable[[Layout], Layout] | None
) -> tuple[Export, Layout | None]:
    """An export under the id by which its accepted layout is kept."""
    if layout is None or keep is None:
        return export, layout
    layout_kept = keep(layout)
    ids = tuple(layout_kept.id if name == layout.id else name for name in export.layouts)
    return replace(export, layouts=ids), layout_kept
