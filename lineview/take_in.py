"""The edge that carries exports from a folder through intake into the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from lineview.errors import LineviewError
from lineview.intake.export import Proposal
from lineview.intake.find import find_exports
from lineview.intake.read import read_export
from lineview.intake.settle import settle
from lineview.plant import Layout, Plant
from lineview.store.record import Receipt
from lineview.store.store import Store


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


def take_in(
    paths: Sequence[Path],
    plant: Plant,
    store: Store,
    *,
    accept: bool = False,
    settled: Mapping[str, str] | None = None,
    progress: Callable[[Path, int], None] | None = None,
) -> list[Taken]:
    """Take exports in, each whole or not at all.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Files and folders.
    plant : Plant
        The plant description with its layouts.
    store : Store
        Open.
    accept : bool
        Whether to accept proposed layouts that leave no question open.
    settled : mapping of str to str, optional
        Answers to a proposal's questions, by what they are about.
    progress : callable, optional
        Told the file and the rows read so far.

    Returns
    -------
    list of Taken
        One a file, in order.

    Raises
    ------
    IntakeError
        Where the paths themselves are wrong; nothing was taken in then.
    """
    taken: list[Taken] = []
    for path in find_exports(paths):
        one = _take_one(path, plant, store, accept, settled or {}, progress)
        if one.accepted is not None:  # further files of this layout need not be asked about again
            plant = plant.model_copy(update={"layouts": (*plant.layouts, one.accepted)})
        taken.append(one)
    return taken


def _take_one(
    path: Path,
    plant: Plant,
    store: Store,
    accept: bool,
    settled: Mapping[str, str],
    progress: Callable[[Path, int], None] | None,
) -> Taken:
    def told(rows: int) -> None:
        if progress is not None:
            progress(path, rows)

    try:
        export = read_export(path, plant, progress=told)
        layout = None
        if isinstance(export, Proposal):
            if not accept:
                return Taken(path, proposal=export)
            layout = settle(export, settled)
            export = read_export(path, plant, layout=layout, progress=told)
        if isinstance(export, Proposal):
            return Taken(path, proposal=export)
        return Taken(path, receipt=store.record(export), accepted=layout, notes=export.notes)
    except LineviewError as error:
        return Taken(path, error=error)
