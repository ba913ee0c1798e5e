"""The rope's relative diameter by batch: mean, and variance within without the gauge's noise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: A batch with fewer readings shows no variance of its own.
LEAST_READINGS = 8


@dataclass(frozen=True)
class RopeVariance:
    """ln (diameter / target) by batch.

    Parameters
    ----------
    mean : dict of str to float
        By batch.
    within : float or None
        Mean variance about the batch's mean, gauge noise taken off; None where too few readings tell.
    u_within : float
        Its standard uncertainty, from batch to batch.
    noise : float
        Variance of the gauge's noise that was taken off.
    of_mean : float
        Variance of a batch's mean that comes of the rope's slow changes within batches.
    batches : int
        Batches behind `within`.
    """

    mean: dict[str, float]
    within: float | None
    u_within: float
    noise: float
    of_mean: float
    batches: int


def rope_variance(core: pl.DataFrame, diameter_mm: Mapping[str, float]) -> RopeVariance:
    """Describe the rope within and between batches.

    Parameters
    ----------
    core : polars.DataFrame
        at [UTC], value [mm], batch, product: usable readings sorted into batches, by time.
    diameter_mm : mapping of str to float
        Target diameter by product as the batch sheet names it [mm].

    Returns
    -------
    RopeVariance
        Of the natural logarithm of diameter over target.

    Notes
    -----
    Noise of a gauge changes from reading to reading while the rope changes slowly: half the mean square of
    differences one, two and three readings apart, extended to none apart, leaves the noise.
    Source: derived-spread-sources
    """
    frame = core.with_columns(
        _target=pl.col("product").replace_strict(dict(diameter_mm), default=None, return_dtype=pl.Float64)
    ).filter(pl.col("_target").is_not_null() & (pl.col("value") > 0))
    frame = frame.with_columns(_z=(pl.col("value") / pl.col("_target")).log())
    noise, fade = _noise(frame)
    about = (pl.col("_z") - pl.col("_z").mean()) ** 2
    by_batch = frame.group_by("batch", maintain_order=True).agg(
        pl.col("_z").mean().alias("mean"), about.mean().alias("variance"), pl.len().alias("n")
    )
    mean = dict(by_batch.select("batch", "mean").iter_rows())
    enough = by_batch.filter(pl.col("n") >= LEAST_READINGS)
    if enough.height < 3:
        return RopeVariance(mean, None, 0.0, noise, 0.0, enough.height)
    variance = enough["variance"].to_numpy() - noise * (1 - 1 / enough["n"].to_numpy())
    u = float(np.std(variance, ddof=1) / np.sqrt(variance.size))
    within = max(float(variance.mean()), 0.0)
    share = float(np.mean(_share_of_mean(enough["n"].to_numpy().astype(np.float64), fade)))
    return RopeVariance(mean, within, u, noise, within * share / (1 - share), enough.height)


def _share_of_mean(n: Floats, fade: float) -> Floats:
    """Give the variance of the mean of n readings over that of one, where correlation fades by a factor."""
    if fade <= 0:
        return 1 / n
    return np.asarray(
        (n * (1 + fade) / (1 - fade) - 2 * fade * (1 - fade**n) / (1 - fade) ** 2) / n**2, dtype=np.float64
    )


def _noise(frame: pl.DataFrame) -> tuple[float, float]:
    """Give the variance of the gauge's noise, and by how much the rope's correlation fades in a reading.

    Both are 0 where the rope changes too fast, or too slowly, to tell them apart.
    """
    z, batch = frame["_z"].to_numpy(), frame["batch"].to_numpy()
    at_s = frame["at"].dt.epoch("us").to_numpy() / 1e6
    if z.size < 50:
        return 0.0, 0.0
    same_batch = batch[1:] == batch[:-1]
    if not same_batch.any():
        return 0.0, 0.0
    cadence = float(np.median(np.diff(at_s)[same_batch]))
    half = []
    for apart in (1, 2, 3):
        away = at_s[apart:] - at_s[:-apart]
        near = (batch[apart:] == batch[:-apart]) & (np.abs(away - apart * cadence) < 0.5 * cadence)
        if int(near.sum()) < 30:
            return 0.0, 0.0
        half.append(float(np.mean((z[apart:] - z[:-apart])[near] ** 2)) / 2)
    first, second = half[1] - half[0], half[2] - half[1]
    if not (first > 0 and 0.1 * first < second < 0.98 * first):
        return 0.0, 0.0
    fade = second / first
    return float(np.clip(half[0] - first / fade, 0.0, half[0])), fade
