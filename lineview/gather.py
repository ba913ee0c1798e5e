"""The edge that fetches from the store what a question may look at, cut to its scope."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from lineview.answers.answer import Evidence, Question, Scope
from lineview.columns import STOP_LOG
from lineview.gather_log import with_named, with_reasons
from lineview.gather_order import order_evidence
from lineview.gather_sizers import Kept, other_sizers
from lineview.net_contents_tables import net_contents_tables
from lineview.plant import Machine, Plant
from lineview.store.reader import StoreReader

#: How far beyond a period batches and stops may start and still matter in it.
MARGIN = timedelta(hours=12)
#: How far beyond a shift its machine's readings are fetched, so that a stop over its ends is measured whole.
BEYOND = timedelta(hours=2)


def gather(
    store: StoreReader, plant: Plant, question: Question, scope: Scope, known: Kept | None = None
) -> Evidence:
    """Fetch the frames an answer works on.

    Parameters
    ----------
    store : StoreReader
        Open.
    plant : Plant
        The plant description.
    question : str
        "rope", "weight", "shift", "wrap" or "order".
    scope : Scope
        Line, machine and period asked for.
    known : dict, optional
        What was measured before of other sizers with the same data; new ones are put into it.

    Returns
    -------
    Evidence
        With the readings of every machine the question needs; each machine's period is widened by the last
        reading before it and the first after it, so that the intervals at its edges can be split.
    """
    if question == "order":
        return order_evidence(store, plant, scope)
    machines = _machines(plant, question, scope)
    start, end = scope.period.start, scope.period.end
    beyond = BEYOND if question == "shift" else timedelta()
    lines = sorted({m.line for m in machines})
    ids = [m.id for m in plant.machines if m.line in lines]
    logs = [store.stop_log(m, start - MARGIN, end + MARGIN) for m in ids]
    log = pl.concat(logs) if logs else pl.DataFrame(schema=STOP_LOG)
    kept: Kept = {} if known is None else known
    batches = _stacked([store.batches(line, start - MARGIN, end + MARGIN) for line in lines])
    if question == "shift" and not batches.height:
        machines += _sizers(plant, lines)  # changeovers without marks are found in the rope
    reasons = [store.stop_reasons(m, start - MARGIN, end + MARGIN) for m in ids]
    return Evidence(
        readings={m.id: widened(store, m.id, scope, beyond) for m in machines},
        weights=_stacked([store.weights(m, start, end) for m in ids]),
        batches=batches,
        stop_log=with_reasons(log, _stacked(reasons)),
        reels=_stacked([store.reels(m, start - MARGIN, end + MARGIN) for m in ids]),
        stock=store.stock(),
        plan=_stacked([store.plan(line, start, end + 8 * MARGIN * 28) for line in lines]),
        adjustments=with_named(log, _stacked([store.adjustments(m, start, end) for m in ids])),
        net_contents=net_contents_tables() if question == "weight" else {},
        elsewhere=other_sizers(store, plant, scope, kept) if question == "rope" else {},
        **(_weighed_elsewhere(store, plant, scope) if question == "weight" else {}),
    )


def _weighed_elsewhere(store: StoreReader, plant: Plant, scope: Scope) -> dict[str, pl.DataFrame]:
    """Fetch what the other lines weighed in the period, and their batch sheets."""
    start, end = scope.period.start, scope.period.end
    wrapping = [m for m in plant.machines if m.line != scope.line and m.kind == "cut-and-wrap machine"]
    lines = sorted({m.line for m in wrapping})
    return {
        "weights_elsewhere": _stacked([store.weights(m.id, start, end) for m in wrapping]),
        "batches_elsewhere": _stacked([store.batches(n, start - MARGIN, end + MARGIN) for n in lines]),
    }


def _sizers(plant: Plant, lines: list[str]) -> list[Machine]:
    return [m for m in plant.machines if m.line in lines and m.kind == "sizer"]


def _machines(plant: Plant, question: Question, scope: Scope) -> list[Machine]:
    chosen = [m for m in plant.machines if m.id == scope.machine]
    if question in ("rope", "weight"):
        chosen += [m for m in plant.machines if m.line == scope.line and m.id != scope.machine]
    return chosen


def widened(store: StoreReader, machine: str, scope: Scope, beyond: timedelta) -> pl.DataFrame:
    """Fetch a machine's readings of the scope's period and the one reading either side of it.

    Parameters
    ----------
    store : StoreReader
        Open.
    machine : str
        Id of the machine.
    scope : Scope
        For its period.
    beyond : datetime.timedelta
        By how much to widen the period first.

    Returns
    -------
    polars.DataFrame
        READINGS, sorted by channel and moment.
    """
    start, end = scope.period.start - beyond, scope.period.end + beyond
    inside = store.readings(machine, start, end)
    before = store.last_before(machine, start)
    after = store.first_after(machine, end)
    return pl.concat([before, inside, after]).unique(["channel", "at"]).sort("channel", "at")


def _stacked(frames: list[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat(frames) if frames else pl.DataFrame()
