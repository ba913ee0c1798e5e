"""Waste learned from the plant's own counters, stops and reel changes, with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from lineview.core.estimate import Estimate
from lineview.errors import MeasureError
from lineview.machine.pieces import MachineCounts, micros
from lineview.measures.reel_balance import ReelSpan
from lineview.measures.wrap_bins import WrapBin
from lineview.measures.wrap_events import WrapEvents
from lineview.measures.wrap_waste import Allowance, Waste
from lineview.stats.constrained_regression import nonnegative_fit
from lineview.stats.means import interval_of_mean

#: A cause is learned from at least so many of its events, and all of them from so many stretches.
LEAST_EVENTS = 8
LEAST_BINS = 20
#: The mean of what was measured needs so many.
LEAST_MEASURED = 5
CAUSES = ("restart", "reel_start", "splice", "changeover", "proportional")


def learn_waste(bins: Sequence[WrapBin], reels: Sequence[ReelSpan], stated: Waste) -> Waste:
    """Learn the waste of one kind of web.

    Parameters
    ----------
    bins : sequence of WrapBin
        Of the kind.
    reels : sequence of ReelSpan
        Of the kind: what was left on them is the waste at reel ends.
    stated : Waste
        What stands in plant.toml, kept for what cannot be learned.

    Returns
    -------
    Waste
        Metres fed beyond what the wraps needed, regressed on restarts, reel starts, splices, changeovers
        and the metres themselves, none below 0; a cause with fewer than LEAST_EVENTS events stays as it
        was stated.

    Notes
    -----
    Source: printers-waste, lawson-hanson-1974, mackinnon-white-1985
    """
    left_m = [r.scrapped_m for r in reels if r.scrapped_m]
    ends = _allowance(interval_of_mean(left_m, least=LEAST_MEASURED, floor=0.0))
    waste = stated if ends is None else replace(stated, reel_end=ends)
    found = _regress(bins)
    for name, learned in found.items():
        waste = replace(waste, **{name: learned})
    return waste


def blanks_per_restart(counts: MachineCounts, events: WrapEvents, end: datetime) -> Estimate:
    """Give the blank wraps at a restart, from their counter.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    events : WrapEvents
        When it restarted.
    end : datetime
        End of the period [UTC].

    Returns
    -------
    Estimate
        Mean over restarts of the blank wraps up to the next one; unknown without the counter or with too few
        restarts.
    """
    if not counts.has_read("blank wraps") or len(events.restarts) < LEAST_EVENTS:
        return Estimate.unknown("no counter of blank wraps, or too few restarts")
    at = micros([*(moment for moment in sorted(events.restarts) if moment < end), end])
    blanks = counts.count("blank wraps", at[:-1], at[1:])
    if blanks is None:
        return Estimate.unknown("no counter of blank wraps")
    return interval_of_mean(blanks.value[~np.isnan(blanks.value)].tolist(), least=LEAST_MEASURED, floor=0.0)


def _allowance(mean: Estimate) -> Allowance | None:
    if mean.value is None or mean.low is None or mean.high is None:
        return None
    return Allowance(mean.value, mean.low, mean.high, learned=True, n=mean.n)


def _regress(bins: Sequence[WrapBin]) -> dict[str, Allowance]:
    """Fit what was fed over; a cause that cannot be told from the others is left out, the rarest first."""
    if len(bins) < LEAST_BINS:
        return {}
    columns = {
        "restart": np.array([b.restarts for b in bins], dtype=float),
        "reel_start": np.array([b.at_change for b in bins], dtype=float),
        "splice": np.array([b.splices for b in bins], dtype=float),
        "changeover": np.array([b.changeovers for b in bins], dtype=float),
        "proportional": np.array([b.net_m for b in bins], dtype=float),
    }
    used = [c for c in CAUSES if c == "proportional" or columns[c].sum() >= LEAST_EVENTS]
    over = np.array([b.over_m for b in bins])
    groups = np.array([b.at_change for b in bins], dtype=float)
    while used:
        try:
            design = np.column_stack([columns[c] for c in used])
            fit = nonnegative_fit(design / design.max(axis=0), over, groups=groups)
        except MeasureError:
            used.remove(min(used, key=lambda c: columns[c].sum()))
            continue
        top = design.max(axis=0)
        return {
            name: Allowance(
                float(fit.coefficients[k] / top[k]),
                float(fit.low[k] / top[k]),
                float(fit.high[k] / top[k]),
                learned=True,
                n=int(columns[name].sum()) if name != "proportional" else fit.n,
            )
            for k, name in enumerate(used)
        }
    return {}
