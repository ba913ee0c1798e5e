"""Legs of one speed: where the rate of running steps up or down and stays."""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from lineview.columns import UTC_US, require
from lineview.measures.rate import Floats

#: Minutes of running on either side of a step of speed.
LEAST_MIN = 5
#: A step must change the rate by this share at least, and stand out of the noise so many times.
LEAST_SHARE, LEAST_SCORE = 0.03, 6.0
#: Steps shorter than this are what a stop's edge leaves over [min].
_BRIEF_MIN = 0.5


def speed_legs(minutes: pl.DataFrame) -> pl.DataFrame:
    """Cut running time into legs of one speed.

    Parameters
    ----------
    minutes : polars.DataFrame
        Columns start, end and pieces of running minutes by time, stops between them left out.

    Returns
    -------
    polars.DataFrame
        Columns start, end, run_min [min], pieces and rate_per_min [pieces/min], by time. The jitter of the
        sampling clock is in the noise that a step must stand out of.

    Notes
    -----
    Cut in two where the means differ most for their noise, and again within the parts; the noise is the
    median change from minute to minute.
    Source: derived-tape

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> at = [datetime(2026, 6, 9, 6, tzinfo=UTC) + timedelta(minutes=k) for k in range(41)]
    >>> made = [350.0 + k % 3 for k in range(20)] + [270.0 + k % 3 for k in range(20)]
    >>> frame = pl.DataFrame({"start": at[:-1], "end": at[1:], "pieces": made})
    >>> speed_legs(frame)["rate_per_min"].round(0).to_list()
    [351.0, 271.0]
    """
    require(minutes, {"start": UTC_US, "end": UTC_US, "pieces": pl.Float64()}, "minutes")
    long = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    told = minutes.drop_nulls("pieces").with_columns(run_min=long).filter(pl.col("run_min") > 0)
    steady = told.filter(pl.col("run_min") >= _BRIEF_MIN)
    rate = (steady["pieces"] / steady["run_min"]).to_numpy()
    cuts = sorted(_cuts(rate, 0, len(rate), _noise(rate)))
    begins = steady["start"].gather(cuts) if cuts else steady["start"].clear()
    leg = begins.search_sorted(told["start"], side="right") if cuts else pl.lit(0)
    return (
        told.with_columns(leg=leg)
        .group_by("leg", maintain_order=True)
        .agg(pl.col("start").min(), pl.col("end").max(), pl.col("run_min").sum(), pl.col("pieces").sum())
        .with_columns(rate_per_min=pl.col("pieces") / pl.col("run_min"))
        .drop("leg")
    )


def _noise(rate: Floats) -> float:
    if len(rate) < 3:
        return math.inf
    return max(1.4826 * float(np.median(np.abs(np.diff(rate)))) / math.sqrt(2.0), 1e-3 * float(np.mean(rate)))


def _cuts(rate: Floats, first: int, last: int, noise: float) -> list[int]:
    """Give the places before which the speed steps, between two places."""
    n = last - first
    if n < 2 * LEAST_MIN:
        return []
    sums = np.cumsum(rate[first:last])
    left = np.arange(LEAST_MIN, n - LEAST_MIN + 1)
    before, after = sums[left - 1] / left, (sums[-1] - sums[left - 1]) / (n - left)
    score = np.abs(before - after) / (noise * np.sqrt(1.0 / left + 1.0 / (n - left)))
    best = int(np.argmax(score))
    change = abs(before[best] - after[best]) / max(float(max(before[best], after[best])), 1e-9)
    if score[best] < LEAST_SCORE or change < LEAST_SHARE:
        return []
    at = first + int(left[best])
    return [at, *_cuts(rate, first, at, noise), *_cuts(rate, at, last, noise)]
