"""One point a batch of the rope: mean, spread, temperature and running hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.columns import ROPE_BATCHES, UTC_US, empty

Floats = NDArray[np.float64]

#: Batch marks may be off by a minute or two: this much is left out at either end [s], but never more than
#: this share of the batch, and nothing where a batch has fewer readings than this.
EDGE_S, EDGE_SHARE, EDGE_READINGS = 120.0, 0.15, 20
#: Readings further than this many robust standard deviations from their batch's median are left out.
FAR = 6.0


def readings_in_batches(gauge_readings: pl.DataFrame, batches: pl.DataFrame) -> pl.DataFrame:
    """Sort gauge readings into batches and leave out those near a mark and single wild ones.

    Parameters
    ----------
    gauge_readings : polars.DataFrame
        Columns at [UTC] and value [mm], usable readings in order of time.
    batches : polars.DataFrame
        BATCHES of the line.

    Returns
    -------
    polars.DataFrame
        Columns at, value [mm], nr (of the batch, from 0), batch, product, start and end of the batch.
    """
    if gauge_readings.is_empty() or batches.is_empty():
        return pl.DataFrame(
            schema={"at": UTC_US, "value": pl.Float64(), "nr": pl.Int64(), "batch": pl.String(),
                    "product": pl.String(), "start": UTC_US, "end": UTC_US}
        )  # fmt: skip
    marked = _in_batches(gauge_readings, _with_ends(batches, gauge_readings))
    return _without_far(_without_edges(marked))


def points_of(
    core: pl.DataFrame,
    temperature: pl.DataFrame | None,
    targets: Mapping[str, float],
    running: Callable[[pl.Series], Floats],
) -> pl.DataFrame:
    """Reduce readings sorted into batches to one point a batch.

    Parameters
    ----------
    core : polars.DataFrame
        Readings sorted into batches (readings_in_batches).
    temperature : polars.DataFrame or None
        Columns at [UTC] and value [°C] of the rope.
    targets : mapping of str to float
        Target diameter a product [mm].
    running : callable
        Gives running hours [h] at a series of moments.

    Returns
    -------
    polars.DataFrame
        ROPE_BATCHES with taper_mm, the change along a whole batch [mm] (null with fewer than 8 readings),
        in order of time; batches without readings are left out, products without a target get a null
        deviation.

    Notes
    -----
    Source: derived-rope, trade-practice
    """
    if core.is_empty():
        return empty(ROPE_BATCHES).with_columns(taper_mm=pl.lit(None, dtype=pl.Float64))
    points = core.group_by("nr", maintain_order=True).agg(
        pl.first("batch", "product"),
        at=pl.col("at").mean(),
        diameter_mm=pl.col("value").mean(),
        sd_mm=pl.col("value").std(),
        n=pl.len().cast(pl.Int64),
        taper_mm=_taper(),
    )
    points = points.sort("at").with_columns(
        at=pl.col("at").cast(UTC_US),
        taper_mm=pl.when(pl.col("n") >= 8).then(pl.col("taper_mm")),
        target=pl.col("product").replace_strict(dict(targets), default=None, return_dtype=pl.Float64),
    )
    hours = pl.Series("running_h", running(points["at"]), dtype=pl.Float64)
    points = points.with_columns(
        hours, _temperatures(points, core, temperature), deviation_mm=pl.col("diameter_mm") - pl.col("target")
    )
    return points.select(*ROPE_BATCHES, "taper_mm")


def _with_ends(batches: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    last = readings["at"].max()
    following = pl.col("start").shift(-1)
    return (
        batches.unique(["batch", "start"], keep="first", maintain_order=True)
        .sort("start")
        .with_columns(
            end=pl.min_horizontal(pl.col("end"), following).fill_null(
                pl.lit(last, dtype=UTC_US) + timedelta(microseconds=1)
            ),
            nr=pl.int_range(pl.len()),
        )
        .select("nr", "batch", "product", "start", "end")
    )


def _in_batches(readings: pl.DataFrame, marks: pl.DataFrame) -> pl.DataFrame:
    joined = readings.sort("at").join_asof(
        marks.sort("start"), left_on="at", right_on="start", strategy="backward", check_sortedness=False
    )
    return joined.filter(pl.col("nr").is_not_null() & (pl.col("at") < pl.col("end")))


def _without_edges(marked: pl.DataFrame) -> pl.DataFrame:
    """Leave out the readings near a batch's marks, where the batch has enough of them."""
    first, last = pl.col("at").min().over("nr"), pl.col("at").max().over("nr")
    length = (last - first).dt.total_microseconds() / 1e6
    edge = pl.min_horizontal(pl.lit(EDGE_S), EDGE_SHARE * length)
    from_start = (pl.col("at") - first).dt.total_microseconds() / 1e6
    to_end = (last - pl.col("at")).dt.total_microseconds() / 1e6
    many = pl.len().over("nr") >= EDGE_READINGS
    return marked.filter(~many | ((from_start >= edge) & (to_end >= edge)))


def _without_far(core: pl.DataFrame) -> pl.DataFrame:
    """Leave out single wild readings, where a batch has enough others to show that they are."""
    middle = pl.col("value").median().over("nr")
    away = (pl.col("value") - middle).abs()
    spread = 1.4826 * away.median().over("nr")
    many = pl.len().over("nr") >= EDGE_READINGS
    return core.filter(~many | (spread == 0) | (away <= FAR * spread))


def _taper() -> pl.Expr:
    """Slope of the readings along the batch times its whole length, from one mark to the next."""
    seconds = (pl.col("at") - pl.col("start").first()).dt.total_microseconds() / 1e6
    length = (pl.col("end").first() - pl.col("start").first()).dt.total_microseconds() / 1e6
    span = (pl.col("at").max() - pl.col("at").min()).dt.total_microseconds() / 1e6
    slope = pl.cov(seconds, pl.col("value")) / seconds.var()
    # where the mark to the next start includes a pause, the readings' own span is the batch's length
    return slope * pl.when(length > 2 * span).then(span).otherwise(length)


def _temperatures(points: pl.DataFrame, core: pl.DataFrame, temperature: pl.DataFrame | None) -> pl.Series:
    """Mean rope temperature between each batch's first and last reading used."""
    if temperature is None or temperature.is_empty():
        return pl.Series("temperature_c", [None] * points.height, dtype=pl.Float64)
    spans = core.group_by("nr", maintain_order=True).agg(first=pl.col("at").min(), last=pl.col("at").max())
    joined = (
        temperature.drop_nulls("value")
        .sort("at")
        .join_asof(
            spans.sort("first"), left_on="at", right_on="first", strategy="backward", check_sortedness=False
        )
    )
    means = (
        joined.filter(pl.col("at") <= pl.col("last")).group_by("nr").agg(temperature_c=pl.col("value").mean())
    )
    return points.join(means, on="nr", how="left", maintain_order="left")["temperature_c"]
