"""The edge that carries exports from a folder through intake into the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from zipfile import BadZipFile, ZipFile, is_zipfile

from lineview.core.errors import Fault, IntakeError, LineviewError, StoreError
from lineview.intake.detect.sheets import Export, InPieces, NotInPieces, Proposal
from lineview.intake.find import ENDINGS, find_exports, is_export
from lineview.intake.layout.propose import settle
from lineview.intake.read import open_big, read_export
from lineview.plant import Layout, Plant
from lineview.store.store import Store
from lineview.store.writer import Receipt


@dataclass(frozen=True)
class Taken:
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


def take_in(
    paths: Sequence[Path],
    plant: Plant,
    store: Store,
    *,
    accept: bool = False,
    settled: Mapping[str, str] | None = None,
    progress: Callable[[Path, int], None] | None = None,
    keep: Callable[[Layout], None] | None = None,
) -> list[Taken]:
    """Take exports in, each whole or not at all."""
    with TemporaryDirectory(prefix="lineview-") as folder:
        files, faulty = _unzipped(find_exports(paths), Path(folder))
        return [*_take_files(files, plant, store, accept, settled or {}, progress, keep), *faulty]


#: What a zip of exports holds at most: files, bytes, and bytes for each of its own beyond the sure ones.
_MOST_FILES, _MOST_BYTES, _MOST_TIMES, _SURE_BYTES = 5_000, 8 << 30, 200, 64 << 20


def _unzipped(files: Sequence[Path], folder: Path) -> tuple[list[Path], list[Taken]]:
    """The files, those of zips in a folder of their own; and what is wrong with zips."""
    found: list[Path] = []
    faulty: list[Taken] = []
    for path in files:
        if path.suffix.lower() != ".zip" or not is_zipfile(path):
            found.append(path)
            continue
        into = folder / str(len(found) + len(faulty))
        into.mkdir()
        try:
            found += _members(path, into)
        except IntakeError as error:
            faulty.append(Taken(path, error=error))
    return found, faulty


def _members(path: Path, into: Path) -> list[Path]:
    """The exports of a zip, written into a folder under their names."""
    try:
        with ZipFile(path) as archive:
            inside = [one for one in archive.infolist() if not one.is_dir()]
            size = sum(one.file_size for one in inside)
            if len(inside) > _MOST_FILES or size > min(
                _MOST_BYTES, max(_SURE_BYTES, _MOST_TIMES * path.stat().st_size)
            ):
                what = f"the zip holds {len(inside):,} files of {size / 1e6:,.0f} MB"
                raise IntakeError(Fault(what, str(path), "a zip of exports", "Unpack it and take in what is wanted."))
            if any(one.flag_bits & 1 for one in inside):
                raise IntakeError(Fault("the zip is protected by a password", str(path), "a zip without one"))
            archive.extractall(into)  # which keeps to the folder whatever the names say
    except (BadZipFile, OSError, NotImplementedError, EOFError) as error:
        raise IntakeError(Fault(f"the zip cannot be unpacked: {error}", str(path), "a whole zip")) from None
    exports = sorted(file for file in into.rglob("*") if is_export(file, into) and file.suffix.lower() != ".zip")
    if not exports:
        raise IntakeError(Fault("no exports in this zip", str(path), ", ".join(ENDINGS[:4]) + ", …"))
    return exports


def _take_files(
    files: Sequence[Path],
    plant: Plant,
    store: Store,
    accept: bool,
    settled: Mapping[str, str],
    progress: Callable[[Path, int], None] | None,
    keep: Callable[[Layout], None] | None,
) -> list[Taken]:
    now = datetime.now(UTC)
    taken: dict[int, Taken] = {}
    group: list[tuple[int, Export, Layout | None]] = []

    def in_pieces(export: InPieces, layout: Layout | None) -> Taken | None:
        _write(group, store, taken, keep)  # so that files go in in their order
        return _take_in_pieces(export, layout, store, keep)

    try:
        for place, path in enumerate(files):
            one = _read_one(path, plant, accept, settled, _of(path, progress), now, in_pieces)
            if isinstance(one, Taken):
                taken[place] = one
            else:
                group.append((place, *one))
                if one[1] is not None or _is_full([export for _, export, _ in group]):
                    _write(group, store, taken, keep)
            if place in taken and (layout := taken[place].accepted) is not None:
                # further files of this layout need not be asked about again
                plant = plant.model_copy(update={"layouts": (*plant.layouts, layout)})
    finally:  # what was read whole before something unforeseen is not lost with it
        _write(group, store, taken, keep)
    return [taken[place] for place in range(len(files))]


def _of(path: Path, progress: Callable[[Path, int], None] | None) -> Callable[[int], None]:
    return lambda rows: None if progress is None else progress(path, rows)


def _is_full(group: Sequence[Export]) -> bool:
    rows = sum(part.height for export in group for part in export.parts)
    return len(group) >= _GROUP_FILES or rows >= _GROUP_ROWS


def _read_one(
    path: Path,
    plant: Plant,
    accept: bool,
    settled: Mapping[str, str],
    progress: Callable[[int], None],
    now: datetime,
    in_pieces: Callable[[InPieces, Layout | None], Taken | None],
) -> Taken | tuple[Export, Layout | None]:
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
                return Taken(path, proposal=export)
            layout = settle(export, settled)
            done = _try_pieces(path, plant, layout, progress, now, in_pieces)
            if done is not None:
                return done
            export = read_export(path, plant, layout=layout, progress=progress, now=now)
        return Taken(path, proposal=export) if isinstance(export, Proposal) else (export, layout)
    except LineviewError as error:
        return Taken(path, error=error)
    except Exception as error:  # noqa: BLE001 - whatever a file is, it never stops the files after it
        what = f"the file cannot be read ({type(error).__name__}: {str(error)[:200]})"
        return Taken(path, error=IntakeError(Fault(what, str(path), "", "Leave this file out.")))


def _try_pieces(
    path: Path,
    plant: Plant,
    layout: Layout | None,
    progress: Callable[[int], None],
    now: datetime,
    in_pieces: Callable[[InPieces, Layout | None], Taken | None],
) -> Taken | None:
    big = open_big(path, plant, layout=layout, progress=progress, now=now)
    return None if big is None else in_pieces(big, layout)


def _take_in_pieces(
    export: InPieces, layout: Layout | None, store: Store, keep: Callable[[Layout], None] | None
) -> Taken | None:
    """Take a big export in; None where it has to be read whole."""
    try:
        receipt = store.record_in_pieces(export)
    except NotInPieces:
        return None
    if layout is not None and keep is not None:
        keep(layout)
    return Taken(export.path, receipt=receipt, accepted=layout, notes=export.notes)


def _write(
    group: list[tuple[int, Export, Layout | None]],
    store: Store,
    taken: dict[int, Taken],
    keep: Callable[[Layout], None] | None,
) -> None:
    """Write a group of exports and empty it; accepted layouts are kept as soon as their file is in."""
    if not group:
        return
    exports, some = [export for _, export, _ in group], list(group)
    group.clear()
    for (place, export, layout), outcome in zip(some, store.record_all(exports), strict=True):
        if isinstance(outcome, StoreError):
            taken[place] = Taken(export.path, error=outcome)
            continue
        taken[place] = Taken(export.path, receipt=outcome, accepted=layout, notes=export.notes)
        if layout is not None and keep is not None:
            keep(layout)
