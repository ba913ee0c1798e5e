"""Changeovers that nobody marked, found where the line stood long and the rope began anew after it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from lineview.measures.changeovers import CHANGEOVERS
from lineview.measures.rate import Bools, Floats, Ints
from lineview.measures.states import STANDING, Clock

#: CHANGEOVERS that were found, not recorded: `before` and `after` null, `sure` how sure it is (0 to 1).
FOUND: dict[str, pl.DataType] = {**CHANGEOVERS, "sure": pl.Float64()}
#: A changeover stands at least so long; shorter standing between batches is the pause for the next one
#: [min]. An assumption.
LEAST_MIN = 3.0
#: At least so sure that the rope began anew.
LEAST_SURE = 0.8
#: The rope is compared over so long before and after the standing [s], the moments beside it left out [s].
_BESIDE_S, _LEFT_OUT_S = 75.0, 12.0
#: Places in running legs at which the same comparison finds no new batch, to tell its usual size.
_LEAST_PLACES = 8
#: A new batch moves the rope by at least so many times the usual size, on the whole.
_LEAST_SPREAD = 4.0


def found_changeovers(
    seen: Clock, gauges: Sequence[pl.DataFrame], shifts: pl.DataFrame, *, least_min: float = LEAST_MIN
) -> pl.DataFrame:
    """Find changeovers from the wrapper's clock and the rope's gauges.

    Parameters
    ----------
    seen : Clock
        Of the cut-and-wrap machine.
    gauges : sequence of polars.DataFrame
        Columns at, value of the rope's diameter and temperature on the same line.
    shifts : polars.DataFrame
        Columns start, end of the shifts' planned stretches: standing over a shift's edge is starting up or
        cleaning down, and none is found there.
    least_min : float
        Shortest planned standing that can be a changeover [min].

    Returns
    -------
    polars.DataFrame
        FOUND by time; empty without gauges.

    Notes
    -----
    Within a batch the rope goes on after a stop where it was before it; a new batch begins at its own
    temperature and diameter. The step across each long standing is set against the steps across running
    time of the same length. A pause between two batches of one flavour that lasts as long cannot be told
    from a changeover.
    Source: derived-tape
    """
    stands = seen.code == STANDING
    begins, ends = seen.edge[:-1][stands], seen.edge[1:][stands]
    planned, inside = _planned(begins, ends, shifts)
    long = inside & (planned >= least_min * 6e7)
    begins, ends = begins[long], ends[long]
    odds = np.zeros(len(begins))
    told = np.zeros(len(begins), dtype=bool)
    for gauge in gauges:
        more, known = _log_odds(gauge, begins, ends, seen)
        odds, told = odds + more, told | known
    sure = np.where(told, 1.0 / (1.0 + np.exp(-np.clip(odds, -50, 50))), 0.0)
    keep = sure >= LEAST_SURE
    moments = {"start": pl.Series(begins[keep]), "end": pl.Series(ends[keep])}
    frame = pl.DataFrame(moments).cast(dict.fromkeys(moments, CHANGEOVERS["start"]))
    nobody = pl.lit(None, pl.String)
    return frame.with_columns(before=nobody, after=nobody, sure=pl.Series(sure[keep], dtype=pl.Float64))


def _planned(begins: Ints, ends: Ints, shifts: pl.DataFrame) -> tuple[Ints, Bools]:
    """Give the planned time of each standing [µs], and whether it lies within one shift."""
    ordered = shifts.sort("start")
    opens, closes = (ordered[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    if not len(opens):
        return np.zeros(len(begins), dtype=np.int64), np.zeros(len(begins), dtype=bool)
    edges = np.stack((opens, closes), axis=1).ravel()
    long = np.stack((np.zeros(len(opens), dtype=np.int64), closes - opens), axis=1).ravel()
    until = np.cumsum(long)
    planned = np.interp(ends, edges, until) - np.interp(begins, edges, until)
    # Stretches of one shift have a break between them, of two shifts none: an edge shared is a shift's edge.
    shift_edges = np.unique(np.concatenate((opens[:1], opens[1:][opens[1:] == closes[:-1]], closes[-1:])))
    first, last = (np.searchsorted(shift_edges, side, side="left") for side in (begins, ends + 1))
    return planned.astype(np.int64), np.asarray(first == last)


def _log_odds(gauge: pl.DataFrame, begins: Ints, ends: Ints, seen: Clock) -> tuple[Floats, Bools]:
    """Give how much likelier than not one gauge makes a new batch, as a logarithm, and where it tells."""
    own = gauge.drop_nulls().sort("at")
    at, value = own["at"].dt.epoch("us").to_numpy(), own["value"].to_numpy()
    none = np.zeros(len(begins)), np.zeros(len(begins), dtype=bool)
    if len(at) < 2 * _LEAST_PLACES:
        return none
    usual = _steps(at, value, *_places(seen))
    usual = usual[np.isfinite(usual)]
    if len(usual) < _LEAST_PLACES:
        return none
    size = max(1.4826 * float(np.median(np.abs(usual - np.median(usual)))), 1e-9)
    step = (_steps(at, value, begins, ends) - np.median(usual)) / size
    known = np.isfinite(step)
    square = np.where(known, step, 0.0) ** 2
    spread = max(_LEAST_SPREAD**2, float(np.median(square[known])) if known.any() else 0.0)
    odds = 0.5 * square * spread / (1.0 + spread) - 0.5 * np.log1p(spread)
    return np.where(known, odds, 0.0), known


def _places(seen: Clock) -> tuple[Ints, Ints]:
    """Give moments within running legs, as a standing of no length, each some minutes from the next."""
    runs = (seen.code != STANDING) & (np.diff(seen.edge) > 4 * _BESIDE_S * 1e6)
    apart = round(2 * _BESIDE_S * 1e6)
    found = [
        np.arange(a + apart, b - apart, apart)
        for a, b in zip(seen.edge[:-1][runs].tolist(), seen.edge[1:][runs].tolist(), strict=True)
    ]
    moments = np.concatenate(found).astype(np.int64) if found else np.empty(0, dtype=np.int64)
    return moments, moments


def _steps(at: Ints, value: Floats, begins: Ints, ends: Ints) -> Floats:
    """Give the change of the median value across each standing; nan where either side lacks readings."""
    beside, left_out = round(_BESIDE_S * 1e6), round(_LEFT_OUT_S * 1e6)
    sides = ((begins - beside, begins - left_out), (ends + left_out, ends + beside))
    found = []
    for opens, closes in sides:
        first, last = np.searchsorted(at, opens), np.searchsorted(at, closes, side="right")
        pairs = zip(first.tolist(), last.tolist(), strict=True)
        found.append(np.array([np.median(value[a:b]) if b - a >= 2 else np.nan for a, b in pairs]))
    return np.asarray(found[1] - found[0])
