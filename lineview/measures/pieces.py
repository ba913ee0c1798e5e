"""Pieces made, rejected and good between two moments, with bounds for what was not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.columns import UTC_US, require
from lineview.measures.counts import Total
from lineview.measures.machine_counts import MachineCounts
from lineview.measures.rate import Bools, Floats, Ints, sums
from lineview.measures.states import Clock
from lineview.plant import Counts


@dataclass(frozen=True)
class Pieces:
    """Pieces of one stretch; None where no counter counts them."""

    good: Total | None
    made: Total | None
    rejects: Total | None


def _total(row: dict[str, float | None], name: str) -> Total | None:
    low, missing = row[f"{name}_low"], row[f"{name}_missing_s"]
    if low is None or missing is None:
        return None
    return Total(row[name], low, row[f"{name}_high"], missing)


def pieces_of(counts: MachineCounts, stretches: pl.DataFrame) -> pl.DataFrame:
    """Give pieces of each stretch from a machine whose counters are worked out.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    stretches : polars.DataFrame
        Columns start, end; any further ones are kept.

    Returns
    -------
    polars.DataFrame
        The stretches with, for each of good, made and rejects: `good` (null where it is not known),
        `good_low`, `good_high` and `good_missing_s` [s]. All four are null where no counter counts them.
        Good is the good counter, or pieces less rejects (all pieces where nothing counts rejects). An
        interval over an edge is split by running time within it; `low` and `high` then leave it out and
        take it whole.

    Raises
    ------
    MeasureError
        Where a column is missing.
    """
    require(stretches, {"start": UTC_US, "end": UTC_US}, "stretches")
    edges = (stretches["start"].dt.epoch("us").to_numpy(), stretches["end"].dt.epoch("us").to_numpy())
    made, rejects, good = (_counted(counts, kind, edges) for kind in ("pieces", "rejects", "good pieces"))
    other = _less(made, rejects) if made is not None and rejects is not None else made
    if rejects is None and made is not None and good is not None:
        rejects = _less(made, good)
    good = other if good is None else good.or_else(other)
    if made is None and good is not None:
        made = good.plus(rejects) if rejects is not None else good
    columns = [
        column
        for name, counted in (("good", good), ("made", made), ("rejects", rejects))
        for column in (counted or _none(stretches.height)).columns(name)
    ]
    return stretches.with_columns(columns)


@dataclass(frozen=True)
class _Counted:
    """Counts of stretches: nan where they cannot be told; `high` inf: unbounded."""

    n: Floats
    low: Floats
    high: Floats
    missing_s: Floats

    def columns(self, name: str) -> list[pl.Series]:
        """Give the four columns."""
        told = {
            name: self.n,
            f"{name}_low": self.low,
            f"{name}_high": np.where(np.isinf(self.high), np.nan, self.high),
            f"{name}_missing_s": self.missing_s,
        }
        return [pl.Series(column, values, nan_to_null=True) for column, values in told.items()]

    def or_else(self, other: _Counted | None) -> _Counted:
        """Take the other's count where only that is known."""
        if other is None:
            return self
        take = np.isnan(self.n) & ~np.isnan(other.n)
        mine = (self.n, self.low, self.high, self.missing_s)
        theirs = (other.n, other.low, other.high, other.missing_s)
        return _Counted(*(np.where(take, b, a) for a, b in zip(mine, theirs, strict=True)))

    def plus(self, other: _Counted) -> _Counted:
        """Add two counters that count different pieces."""
        missing = np.maximum(self.missing_s, other.missing_s)
        return _Counted(self.n + other.n, self.low + other.low, self.high + other.high, missing)


def _none(height: int) -> _Counted:
    nothing = np.full(height, np.nan)
    return _Counted(nothing, nothing, nothing, nothing)


def _less(made: _Counted, rejects: _Counted) -> _Counted:
    """Take rejects from pieces made."""
    # A reject is a piece made, so over time that neither counter saw there are at least no fewer than 0 good.
    together = made.missing_s == rejects.missing_s
    low = np.clip(made.low - np.where(together, rejects.low, rejects.high), 0, None)
    high = np.clip(made.high - rejects.low, 0, None)
    # Both are split at the same moments by the same share, so their difference is split so too.
    exact = (made.low == made.high) & (rejects.low == rejects.high)
    n = np.clip(made.n - rejects.n, 0, None)
    low, high = np.where(exact, n, low), np.where(exact, n, high)
    # Where one of the two counters was read further than the other, the difference keeps to its bounds.
    n = np.where(np.isnan(n), n, np.clip(n, low, np.maximum(low, high)))
    return _Counted(n, low, np.maximum(low, high), np.maximum(made.missing_s, rejects.missing_s))


def _counted(counts: MachineCounts, kind: Counts, edges: tuple[Ints, Ints]) -> _Counted | None:
    """Count one counter over stretches."""
    counter = counts.machine.counter(kind)
    if counter is None:
        return None
    begins, ends = edges
    steps, seen = counts.steps[kind], counts.seen
    fastest = counter.fastest_per_min * counter.unit_value * 1.05 / 6e7
    if not steps.height:
        long = (ends - begins).astype(np.float64)
        return _Counted(np.where(long > 0, np.nan, 0.0), np.zeros(len(long)), long * fastest, long / 1e6)
    span = np.concatenate(
        (steps["start"].dt.epoch("us").to_numpy(), steps["end"].tail(1).dt.epoch("us").to_numpy())
    )
    n = steps["n"].to_numpy()
    known = np.isfinite(n)
    n = np.where(known, n, 0.0)
    place_a, place_b = _Place(span, begins), _Place(span, ends)
    value = sums(n)
    inside = _shared(value, n, place_b, seen) - _shared(value, n, place_a, seen)
    low_sum, high_sum, gone = _unknown_sums(steps, known, span, value)
    whole = place_b.floor > place_a.ceil
    low = np.where(whole, low_sum[place_b.floor] - low_sum[np.minimum(place_a.ceil, place_b.floor)], 0.0)
    high = high_sum[place_b.ceil] - high_sum[place_a.floor]
    outside_us = (
        np.clip(span[0] - begins, 0, ends - begins) + np.clip(ends - span[-1], 0, ends - begins)
    ).astype(np.float64)
    missing = gone[place_b.ceil] - gone[place_a.floor] + outside_us / 1e6
    # Less than a usual interval without a reading at the period's edge is told all the same, with bounds.
    usual_us = float(np.median(np.diff(span[:2000])))
    told = (missing <= 0) | ((outside_us <= 1.5 * usual_us) & (missing <= outside_us / 1e6 + 1e-9))
    return _Counted(np.where(told, np.round(inside, 6), np.nan), low, high + outside_us * fastest, missing)


def _unknown_sums(
    steps: pl.DataFrame, known: Bools, span: Ints, value: Floats
) -> tuple[Floats, Floats, Floats]:
    """Give sums up to each edge of the least counts, of the most, and of the seconds not told."""
    if known.all():
        return value, value, np.zeros(len(span))
    gone = np.where(known, 0.0, np.diff(span) / 1e6)
    return sums(steps["low"].to_numpy()), sums(steps["high"].to_numpy()), sums(gone)


class _Place:
    """Where moments lie among the edges of the intervals between readings."""

    def __init__(self, span: Ints, at: Ints) -> None:
        top = len(span) - 1
        self.at = np.clip(at, span[0], span[-1])
        self.floor = np.clip(np.searchsorted(span, self.at, side="right") - 1, 0, top)
        self.ceil = np.clip(np.searchsorted(span, self.at), 0, top)
        self.start, self.end = span[self.floor], span[self.ceil]
        self.between: Bools = self.ceil > self.floor


def _shared(value: Floats, n: Floats, place: _Place, seen: Clock) -> Floats:
    """Give counts up to moments; within an interval shared by the machine's pieces, else by time."""
    by_time = (place.at - place.start) / np.maximum(place.end - place.start, 1)
    share = by_time
    if len(seen.at):
        run = [np.interp(moment, seen.at, seen.pieces) for moment in (place.start, place.at, place.end)]
        all_run = run[2] - run[0]
        share = np.where(all_run > 0, (run[1] - run[0]) / np.where(all_run > 0, all_run, 1.0), by_time)
    inner = n[np.minimum(place.floor, len(n) - 1)]
    return np.asarray(value[place.floor] + np.where(place.between, share * inner, 0.0))


def totals(counted: pl.DataFrame) -> list[Pieces]:
    """Give each stretch of pieces_of as Pieces."""
    return [
        Pieces(*(_total(row, name) for name in ("good", "made", "rejects")))
        for row in counted.iter_rows(named=True)
    ]
