"""Whether pieces are normal within their batches, and capability by quantiles where they are not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.measures.weight_spread import Floats, Spread
from lineview.stats.capability import quantile_indices, shape_of
from lineview.stats.generalized_intervals import percentiles

#: The outer quantiles lie one in 740 apiece: fewer values than this do not reach them.
LEAST_FOR_QUANTILES = 1000
LEAST_FOR_SHAPE = 50
RESAMPLES = 300


@dataclass(frozen=True)
class WeightShape:
    """Skewness and excess kurtosis within batches, whether normal, and Pp, Ppk by quantiles."""

    skewness: float | None
    kurtosis: float | None
    normal: bool | None
    pp: Spread
    ppk: Spread


def within_offsets(weighings: pl.DataFrame) -> Floats:
    """Give single pieces less their batch's mean [g], stretched for the mean taken out.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.

    Returns
    -------
    numpy.ndarray
        One a single piece of a batch with two or more.
    """
    frame = (
        weighings.filter((pl.col("pieces") == 1) & pl.col("batch").is_not_null())
        .with_columns(_n=pl.len().over("batch"), _mean=pl.col("net_g").mean().over("batch"))
        .filter(pl.col("_n") > 1)
    )
    off = (frame["net_g"] - frame["_mean"]).to_numpy()
    n = frame["_n"].to_numpy()
    return np.asarray(off * np.sqrt(n / (n - 1)), dtype=np.float64)


def weight_shape(weighings: pl.DataFrame) -> WeightShape:
    """Describe the shape of the pieces' spread.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.

    Returns
    -------
    WeightShape
        The limits of the indices come from resampling whole batches.

    Notes
    -----
    Source: iso-22514-2
    """
    off = within_offsets(weighings)
    scaled = weighings.filter(pl.col("pieces") == 1).with_columns(
        _z=(pl.col("net_g") - pl.col("target_g")) / pl.col("tolerance_g")
    )
    pp, ppk = _by_quantiles(scaled)
    if off.size < LEAST_FOR_SHAPE or not float(np.ptp(off)) > 0:
        return WeightShape(None, None, None, pp, ppk)
    shape = shape_of(off)
    return WeightShape(shape.skewness, shape.kurtosis, shape.p_normal > 0.001, pp, ppk)


def _by_quantiles(scaled: pl.DataFrame) -> tuple[Spread, Spread]:
    if scaled.height < LEAST_FOR_QUANTILES:
        none = Spread(
            None, why_none=f"too few: needs {LEAST_FOR_QUANTILES} single pieces, has {scaled.height}"
        )
        return none, none
    z = scaled["_z"].to_numpy()
    found = quantile_indices(z, -1.0, 1.0)
    first = scaled.with_row_index("_row").select(pl.col("_row").first().over("batch"))
    batches, batch = np.unique(first.to_series().to_numpy(), return_inverse=True)
    if batches.size < 5:
        return Spread(found.c), Spread(found.ck)
    order = np.argsort(z)
    z, batch = z[order], batch[order]
    rng = np.random.default_rng(22514)
    drawn = []
    for _ in range(RESAMPLES):
        times = np.bincount(rng.integers(0, batches.size, batches.size), minlength=batches.size)
        again = quantile_indices(np.repeat(z, times[batch]), -1.0, 1.0)
        drawn.append((again.c, again.ck))
    both = np.array(drawn)
    return Spread.of(found.c, percentiles(both[:, 0])), Spread.of(found.ck, percentiles(both[:, 1]))
