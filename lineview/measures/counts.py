"""What a counter did between its readings: steps, rollovers, resets, and what cannot be told."""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from lineview.columns import INCREMENTS, empty
from lineview.errors import Fault, MeasureError
from lineview.measures.modulus import find_modulus, fits_values
from lineview.measures.odd_readings import Floats, Ints, Limits, off_course, thawed
from lineview.measures.steps import NO_STEPS, Steps
from lineview.plant import Counter

_KINDS = ("step", "rollover", "reset", "glitch", "torn", "several turns")
_STEP, _ROLLOVER, _RESET, _GLITCH, _TORN, _SEVERAL = range(6)


def known_modulus(counter: Counter) -> int | None:
    """Give a counter's declared modulus, or None where nobody knows it."""
    return None if counter.modulus == "unknown" else counter.modulus


def increments(
    readings: pl.DataFrame,
    *,
    modulus: int | None,
    fastest_per_min: float,
    margin: float = 0.05,
    kinds: bool = True,
) -> pl.DataFrame:
    """Give what one counter added between each two successive readings.

    Parameters
    ----------
    readings : polars.DataFrame
        Columns at, value [counts] of one channel, in any order.
    modulus : int or None
        The number of values before the counter starts again at 0; None where nobody knows. Then it is
        found from the falls of the counter, if only one usual size explains them.
    fastest_per_min : float
        The fastest the counter can possibly go [counts/min].
    margin : float
        Share by which the fastest rate may be exceeded.
    kinds : bool
        Whether to name each one's kind; a sum over a year has no use for a million words.

    Returns
    -------
    polars.DataFrame
        INCREMENTS (without `kind` where it was not asked for), one row for each two successive readings that
        could be used, by time. Where `n` is known, `low` and `high` equal it. Readings set aside (torn,
        glitch) are bridged from good neighbours.

    Raises
    ------
    MeasureError
        Where the modulus or a rate is not positive, or a column is missing.

    Notes
    -----
    d = (c1 - c0) mod M is a rollover if d is possible at the fastest rate in that time, else a reset, with
    c1 as the least and the fastest rate as the most. Where d + M is possible too, the counter may have
    turned several times: the answer is the smallest and greatest candidate. Stamps may be off by a second
    each, so two seconds and one count are allowed on top. Two values at one moment are both left out.
    Source: derived-counters, rfc-2021-counters

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = [datetime(2026, 6, 9, 6, m, tzinfo=UTC) for m in range(3)]
    >>> readings = pl.DataFrame({"at": at, "value": [65400.0, 214.0, 560.0]})
    >>> increments(readings, modulus=65536, fastest_per_min=400)["n"].to_list()
    [350.0, 346.0]
    """
    _refuse(_column_faults(readings) + _rate_faults(modulus, fastest_per_min, margin))
    at_us, value = in_order(readings)
    if len(value) < 2:
        return empty(INCREMENTS)
    steps, kind = _steps_and_kinds(at_us, value, modulus, fastest_per_min, margin)
    return _as_frame(steps, kind, kinds=kinds)


def steps_between(
    at_us: Ints, value: Floats, *, modulus: int | None, fastest_per_min: float, margin: float = 0.05
) -> Steps:
    """Give what `increments` gives, from arrays and as arrays.

    Parameters
    ----------
    at_us : array of int
        Moments [µs since 1970], ascending, each once.
    value : array of float
        The counter's values [counts], all finite.
    modulus, fastest_per_min, margin
        As of `increments`.
    """
    _refuse(_rate_faults(modulus, fastest_per_min, margin))
    if len(value) < 2:
        return NO_STEPS
    return _steps_and_kinds(at_us, value, modulus, fastest_per_min, margin)[0]


def _steps_and_kinds(
    at_us: Ints, value: Floats, modulus: int | None, fastest_per_min: float, margin: float
) -> tuple[Steps, Ints]:
    """Give the steps of two readings and more, and the place of each one's kind."""
    known = float(modulus) if modulus and fits_values(value, modulus) else None
    limits = Limits(known, fastest_per_min, margin)
    steps = np.diff(value)
    if known is None and (steps < 0).any():
        limits = Limits(find_modulus(at_us, value, limits), fastest_per_min, margin)
    added, most = limits.unrolled(steps), limits.most(np.diff(at_us) / 1e6)
    if _plain(added, most, limits):
        kind = np.where(steps < 0, np.uint8(_ROLLOVER), np.uint8(_STEP))
        return Steps(at_us[:-1], at_us[1:], added, added, added), kind
    odd, torn = off_course(at_us, value, limits)
    mark = _marks(odd, torn)
    kept = np.flatnonzero(~odd)
    frozen, trusted = thawed(at_us[kept], value[kept], limits)
    return _classified(at_us, value, kept[~frozen], kept[trusted], mark, limits)


def _refuse(faults: list[Fault]) -> None:
    if faults:
        raise MeasureError(faults)


def _column_faults(readings: pl.DataFrame) -> list[Fault]:
    return [
        Fault(f"column '{name}' is missing", "readings", "columns at and value")
        for name in ("at", "value")
        if name not in readings.columns
    ]


def _rate_faults(modulus: int | None, fastest_per_min: float, margin: float) -> list[Fault]:
    faults = []
    if modulus is not None and modulus <= 1:
        faults.append(Fault(f"the modulus is {modulus}", "modulus", "more than 1, or None"))
    if not (math.isfinite(fastest_per_min) and fastest_per_min > 0):
        faults.append(Fault(f"the fastest rate is {fastest_per_min}", "fastest_per_min", "more than 0"))
    if not (math.isfinite(margin) and margin >= 0):
        faults.append(Fault(f"the margin is {margin}", "margin", "0 or more"))
    return faults


def in_order(readings: pl.DataFrame) -> tuple[Ints, Floats]:
    """Give moments [µs] and values by time, each moment once; moments with two values are left out."""
    usable = readings.select("at", "value").filter(pl.col("value").is_finite() & pl.col("at").is_not_null())
    if not usable["at"].is_sorted():
        usable = usable.sort("at", "value")
    at_us = usable["at"].dt.epoch("us").to_numpy()
    value = usable["value"].cast(pl.Float64).to_numpy()
    same = np.diff(at_us) == 0
    if same.any():
        usable = usable.unique()
        usable = usable.filter(usable["at"].is_unique()).sort("at")
        at_us = usable["at"].dt.epoch("us").to_numpy()
        value = usable["value"].cast(pl.Float64).to_numpy()
    return at_us, value


def _plain(added: Floats, most: Floats, limits: Limits) -> bool:
    """Tell whether every increment is possible and no counter can have turned twice."""
    turns = limits.modulus is not None and bool((added + limits.modulus <= most).any())
    return not turns and bool(((added >= 0) & (added <= most)).all())


def _marks(odd: np.ndarray, torn: np.ndarray) -> Ints:
    """Give, for each reading, how many torn and how many odd ones stand up to it (packed as sums)."""
    return np.cumsum(odd.astype(np.int64)) + (np.cumsum(torn.astype(np.int64)) << 32)


def _classified(
    at_us: Ints, value: Floats, kept: Ints, trusted: Ints, mark: Ints, limits: Limits
) -> tuple[Steps, Ints]:
    """Classify the increments between the kept readings."""
    i, j = kept[:-1], kept[1:]
    step = value[j] - value[i]
    added = limits.advance(value[i], value[j])
    most = limits.most((at_us[j] - at_us[i]) / 1e6)
    kind = np.where(step < 0, _ROLLOVER, _STEP)
    kind[(added < 0) | (added > most)] = _RESET
    passed = mark[j] - mark[i]
    bridged = (j - i > 1) & (kind == _STEP)
    kind[bridged] = np.where(passed[bridged] >> 32 > 0, _TORN, _GLITCH)
    doubtful = bridged & (passed == 0) & ~np.isin(j, trusted)
    if limits.modulus is not None:
        kind[(added >= 0) & (added + limits.modulus <= most)] = _SEVERAL
    kind[doubtful & (kind == _GLITCH)] = _RESET
    low, high = _bounds(value[j], added, most, kind, limits, doubtful)
    open_ended = (kind == _RESET) | (kind == _SEVERAL)
    return Steps(at_us[i], at_us[j], np.where(open_ended, np.nan, added), low, high), kind


def _bounds(
    after: Floats, added: Floats, most: Floats, kind: Ints, limits: Limits, doubtful: np.ndarray
) -> tuple[Floats, Floats]:
    """Give the least and most counts of each increment."""
    low, high = added.copy(), added.copy()
    reset = kind == _RESET
    small = (after >= 0) & (after <= most)
    low[reset] = np.where(small & ~doubtful & (added != after), after, 0.0)[reset]
    high[reset] = np.where(doubtful, added, most)[reset]
    several = kind == _SEVERAL
    if limits.modulus is not None:
        turns = np.floor((most - added) / limits.modulus)
        high[several] = (added + turns * limits.modulus)[several]
    return low, high


def _as_frame(steps: Steps, kind: Ints, *, kinds: bool) -> pl.DataFrame:
    frame = steps.frame().with_columns(low=pl.Series(steps.low), high=pl.Series(steps.high))
    return frame.with_columns(kind=pl.Series(_KINDS).gather(kind)) if kinds else frame


def pair_bounds(
    start_us: Ints, end_us: Ints, before: Floats, after: Floats, modulus: float | None, fastest_per_min: float
) -> tuple[Floats, Floats, Floats]:
    """Bounds of what a counter added between pairs of readings, each pair judged alone.

    Parameters
    ----------
    start_us, end_us : arrays of int
        Moments of the pairs [µs].
    before, after : arrays of float
        The counter's values [counts].
    modulus : float or None
        The number of values before the counter starts again at 0; None where nobody knows.
    fastest_per_min : float
        The fastest the counter can go [counts/min].

    Returns
    -------
    value, low, high : arrays of float
        `value` is nan where the readings leave it open.
    """
    limits = Limits(modulus, fastest_per_min, 0.05)
    added, most = limits.advance(before, after), limits.most((end_us - start_us) / 1e6)
    kind = np.where(after < before, _ROLLOVER, _STEP)
    kind[(added < 0) | (added > most)] = _RESET
    if modulus is not None:
        kind[(added >= 0) & (added + modulus <= most)] = _SEVERAL
    low, high = _bounds(after, added, most, kind, limits, np.zeros(len(kind), dtype=bool))
    return np.where((kind == _RESET) | (kind == _SEVERAL), np.nan, added), low, high
