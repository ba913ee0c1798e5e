"""How much of the spread of piece weight comes from diameter, cut length and density.

Mass is density × π/4 × diameter² × cut length, so ln mass is a sum and its variance the sum of the parts'.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.machine.pieces import MachineCounts, micros
from lineview.measures.rope_batches import readings_in_batches
from lineview.measures.rope_before import rope_before
from lineview.measures.rope_variance import RopeVariance, rope_variance
from lineview.stats.serial_correlation import Lag, best_lag
from lineview.stats.variance_shares import Part, VarianceShare, levels_of, variance_shares

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Delays tried [s]; below 0 for clocks that are a little apart.
DELAYS_S = tuple(float(x) for x in range(-30, 305, 5))
#: Fewer pairs or batches than these tell nothing.
LEAST_PAIRS, LEAST_BATCHES = 20, 5


@dataclass(frozen=True)
class SpreadSources:
    """Shares of the relative variance of a piece's mass, or why they cannot be told.

    `diameter` is of all of it; `cut_length` and `density` from batch to batch, where a rope counter tells
    them apart, else `rest_between` holds both; `rest_within` is what is left within batches: single cuts,
    air from piece to piece, and the scale. `delay` is None where no delay stands out.
    """

    diameter: VarianceShare | None
    cut_length: VarianceShare | None
    density: VarianceShare | None
    rest_between: VarianceShare | None
    rest_within: VarianceShare | None
    delay: Lag | None
    pairs: int
    batches: int
    pieces_together: int
    why_none: str = ""
    why_no_length: str = ""


@dataclass(frozen=True)
class LengthCounters:
    """Counts of the machine that counts metres of rope, and of the one that counts pieces."""

    rope: MachineCounts
    pieces: MachineCounts


def spread_sources(
    weighings: pl.DataFrame,
    rope: pl.DataFrame,
    batches: pl.DataFrame,
    diameter_mm: Mapping[str, float],
    counters: LengthCounters | None,
) -> SpreadSources:
    """Split the relative variance of piece mass by its sources.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept, samples named.
    rope : polars.DataFrame
        at [UTC], value [mm]: usable diameters of the line's rope, by time.
    batches : polars.DataFrame
        BATCHES of the line.
    diameter_mm : mapping of str to float
        Target diameter by product [mm], under its id and as the batch sheet names it.
    counters : LengthCounters or None
        For the mean cut length of each batch.

    Returns
    -------
    SpreadSources
        With 95 % limits.

    Notes
    -----
    Between batches the share of diameter is cov(ln m, 2 ln d) / var(ln m) of batch means, which noise of
    the gauge leaves alone. Within batches it is the rope's own variance, gauge noise taken off: a piece
    paired with the reading next to it would miss what the rope does in between, and where the delay is not
    known nearly all.
    Source: derived-spread-sources
    """
    frame = _of_one_kind(weighings, diameter_mm)
    if rope.is_empty():
        return _untold("no rope diameter in this period", frame)
    if frame.height < LEAST_PAIRS or frame["batch"].n_unique() < LEAST_BATCHES:
        return _untold(
            f"too few: needs {LEAST_PAIRS} weighings of {LEAST_BATCHES} batches, has {frame.height} of "
            f"{frame['batch'].n_unique()}",
            frame,
        )
    columns = _Columns.of(frame)
    core = readings_in_batches(rope, batches)
    seen = rope_variance(core, diameter_mm)
    if seen.within is None:
        return _untold("too few rope readings within batches", frame)
    delay = _delay(columns, _seconds(rope["at"]), rope["value"].to_numpy())
    length = _lengths(columns.batch_names, counters, core)
    return _shares(columns, seen, length, delay, "" if counters else _NO_LENGTH)


_NO_LENGTH = "no counter of rope metres beside one of pieces, so cut length and density stay together"


@dataclass(frozen=True)
class _Columns:
    """The weighings as arrays."""

    at_s: Floats
    y: Floats
    target_mm: Floats
    batch: Ints
    sample: Ints
    batch_names: list[str]
    pieces: int

    @classmethod
    def of(cls, frame: pl.DataFrame) -> _Columns:
        batch = frame["batch"].rank("dense").to_numpy().astype(np.int64) - 1
        # An inline scale weighs a whole batch as one sample: its minutes then are the sample times.
        one = frame.group_by("batch").agg(pl.col("sample").n_unique() == 1)["sample"].all()
        when = pl.col("at").dt.truncate("1m").cast(pl.String) if one else pl.col("sample")
        key = frame.select(pl.concat_str("batch", pl.lit("\t"), when).rank("dense")).to_series()
        return cls(
            _seconds(frame["at"]),
            np.log((frame["net_g"] / frame["target_g"]).to_numpy()),
            frame["_target_mm"].to_numpy(),
            batch,
            key.to_numpy().astype(np.int64) - 1,
            frame["batch"].to_list(),
            int(frame["pieces"][0]) if frame.height else 1,
        )


def _of_one_kind(weighings: pl.DataFrame, diameter_mm: Mapping[str, float]) -> pl.DataFrame:
    """Keep weighings of known batches, and of the usual number of pieces weighed together."""
    frame = weighings.filter(pl.col("batch").is_not_null() & (pl.col("net_g") > 0)).with_columns(
        _target_mm=pl.col("product").replace_strict(dict(diameter_mm), default=None, return_dtype=pl.Float64)
    )
    frame = frame.filter(pl.col("_target_mm").is_not_null())
    if frame.is_empty():
        return frame
    usual = frame.group_by("pieces").len().sort("len", "pieces", descending=True)["pieces"][0]
    return frame.filter(pl.col("pieces") == usual)


def _seconds(at: pl.Series) -> Floats:
    return np.asarray(at.dt.epoch("us").to_numpy(), dtype=np.float64) / 1e6


def _delay(columns: _Columns, rope_s: Floats, thick: Floats) -> Lag:
    """Find the transport delay from sample means within batches."""
    count = np.bincount(columns.sample).astype(np.float64)
    first = np.unique(columns.sample, return_index=True)[1]
    y = np.bincount(columns.sample, weights=columns.y) / count
    at = np.bincount(columns.sample, weights=columns.at_s - columns.at_s[0]) / count + columns.at_s[0]
    delays = np.array(DELAYS_S)
    before = rope_before(rope_s, thick, np.tile(at, delays.size), np.repeat(delays, at.size))
    sampled = list(np.log(before.reshape(delays.size, -1) / columns.target_mm[first]))
    groups = columns.batch[first].astype(np.float64)
    return best_lag(y, groups, sampled, list(DELAYS_S), count)


def _lengths(names: list[str], counters: LengthCounters | None, core: pl.DataFrame) -> Floats | None:
    """Give ln of the mean cut length of each weighing's batch; nan where the counters do not tell it."""
    if counters is None:
        return None
    known: dict[str, float] = {}
    batches = core.select("batch", "start", "end").unique(maintain_order=True)
    begins, ends = micros(batches["start"].to_list()), micros(batches["end"].to_list())
    rope = counters.rope.count("rope", begins, ends)
    made = counters.pieces.pieces(begins, ends).made
    if rope is None or made is None:
        return None
    sure = (rope.missing_s <= 0) & (made.missing_s <= 0) & (rope.value > 0) & (made.value > 0)
    for name, metres, pieces in zip(
        batches["batch"].filter(pl.Series(sure)), rope.value[sure], made.value[sure], strict=True
    ):
        known[name] = float(np.log(metres / pieces))
    return np.array([known.get(n, np.nan) for n in names])


def _shares(
    columns: _Columns, seen: RopeVariance, length: Floats | None, delay: Lag, why: str
) -> SpreadSources:
    x = 2 * np.array([seen.mean.get(n, np.nan) for n in columns.batch_names])
    usable = np.isfinite(x) & np.isfinite(columns.y)
    if length is not None:
        with_length = usable & np.isfinite(length)
        if np.unique(columns.batch[with_length]).size < LEAST_BATCHES:
            length, why = None, "the counters of rope and pieces do not cover enough batches"
        else:
            usable = with_length
    pairs, batches = int(usable.sum()), int(np.unique(columns.batch[usable]).size)
    shown = delay if delay.clear else None
    if pairs < LEAST_PAIRS or batches < LEAST_BATCHES:
        reason = f"too few: needs {LEAST_PAIRS} weighings in batches with rope readings, has {pairs}"
        return SpreadSources(
            None, None, None, None, None, shown, pairs, batches, columns.pieces, reason, reason
        )
    parts = [columns.y[usable], x[usable]] + ([] if length is None else [length[usable]])
    levels = levels_of(np.column_stack(parts), columns.batch[usable], columns.sample[usable])
    extra = [0.0] * (len(parts) - 2)
    within = 4 * (seen.within or 0.0), 4 * seen.u_within
    # What the rope does within a batch moves the batch's mean too: that part belongs within.
    slow = 4 * seen.of_mean
    wanted = {
        "diameter": Part("all", np.array([0.0, 1.0, *extra]), 1.0),
        "rest_between": Part("between", np.array([1.0, -1.0, *extra]), 0.0, slow),
        "rest_within": Part("within", np.array([1.0, -1.0, *extra]), -1.0, -slow),
    }
    if length is not None:
        wanted["cut_length"] = Part("between", np.array([0.0, 0.0, 1.0]))
        wanted["density"] = Part("between", np.array([1.0, -1.0, -1.0]), 0.0, slow)
    found = variance_shares(levels, wanted, within)
    return SpreadSources(
        found["diameter"], found.get("cut_length"), found.get("density"), found["rest_between"],
        found["rest_within"], shown, pairs, batches, columns.pieces, "", why,
    )  # fmt: skip


def _untold(why: str, frame: pl.DataFrame) -> SpreadSources:
    batches = frame["batch"].n_unique() if frame.height else 0
    return SpreadSources(None, None, None, None, None, None, 0, batches, 1, why, why)
