"""What is fetched of the works' other sizers, so that a question about one can say which is first."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from lineview.answers.answer import Scope
from lineview.columns import BATCHES, STOP_LOG, empty
from lineview.gather_log import with_named, with_reasons
from lineview.measures.rope_account import RopeAccount, rope_account
from lineview.plant import Machine, Plant
from lineview.store.reader import StoreReader

Kept = dict[tuple[str, datetime, datetime], RopeAccount]

#: The other sizers are looked at over this much of the period, its end, so that a year is not read of each.
LOOK_BACK = timedelta(days=14)
#: How far beyond a period batches and stops may start and still matter in it.
MARGIN = timedelta(hours=12)

#: Sizers and periods of which what was measured is kept.
MOST_KEPT = 24


class KnownSizers:
    """What was measured of the sizers, for as long as the data are the same."""

    def __init__(self) -> None:
        self._version: object = None
        self._kept: Kept = {}

    def of(self, version: object) -> Kept:
        """Give what is kept for these data: nothing where they have changed since."""
        if version != self._version or len(self._kept) >= MOST_KEPT:
            self._version, self._kept = version, {}
        return self._kept


def other_sizers(store: StoreReader, plant: Plant, scope: Scope, kept: Kept) -> dict[str, RopeAccount]:
    """Measure the rope of every sizer but the one asked about, as far as it bears on who needs a person.

    Parameters
    ----------
    store : StoreReader
        Open.
    plant : Plant
        The works.
    scope : Scope
        The sizer and period asked for.
    kept : dict
        What was measured before of these data, by sizer and period; what is measured now is put into it.

    Returns
    -------
    dict of str to RopeAccount
        By sizer; those of which nothing was ever read are left out.
    """
    end = scope.period.end
    period = (max(scope.period.start, end - LOOK_BACK), end)
    out = {}
    for sizer in plant.machines:
        if sizer.kind != "sizer" or sizer.id == scope.machine or store.span(sizer.id) is None:
            continue
        key = (sizer.id, *period)
        if key not in kept:
            kept[key] = _measured(store, plant, sizer, period)
        out[sizer.id] = kept[key]
    return out


def _measured(
    store: StoreReader, plant: Plant, sizer: Machine, period: tuple[datetime, datetime]
) -> RopeAccount:
    start, end = period
    wanted: dict[str, list[str] | None] = {sizer.id: _rope_channels(sizer)}
    if sizer.counter("rope") is None:  # its running hours are a cut-and-wrap machine's then
        wanted |= {m.id: None for m in plant.machines_of(sizer.line, "cut-and-wrap machine")}
    early, late = start - MARGIN, end + MARGIN
    log = pl.concat([empty(STOP_LOG), *(store.stop_log(m, early, late) for m in wanted)])
    named = with_reasons(log, store.stop_reasons(sizer.id, early, late))
    readings = {m: store.readings(m, start, end, channels) for m, channels in wanted.items()}
    batches = pl.concat([empty(BATCHES), store.batches(sizer.line, early, late)])
    done = with_named(log, store.adjustments(sizer.id, start, end))
    return rope_account(plant, sizer, readings, batches, named, done, period, whole=False)


def _rope_channels(sizer: Machine) -> list[str]:
    gauges = [g.id for g in sizer.gauges if g.measures in ("rope diameter", "rope temperature")]
    return gauges + [c.id for c in sizer.counters if c.counts == "rope"]
