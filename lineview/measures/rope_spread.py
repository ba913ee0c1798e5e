"""How far the rope's diameter scatters within a batch, and how it runs from a batch's start to its end."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.statistics.correlation import effective_n

Floats = NDArray[np.float64]

#: Memories tried.
PHIS = np.linspace(0.0, 0.98, 25)


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % interval and the number of batches behind it."""

    value: float
    low: float
    high: float
    n: int


@dataclass(frozen=True)
class WithinBatch:
    """Spread within batches [mm], its memory from one reading to the next, and the taper [mm]."""

    sd: Estimate | None
    memory: float | None
    taper: Estimate | None
    sampling_sd_mm: float


def within_batch(core: pl.DataFrame, points: pl.DataFrame) -> WithinBatch:
    """Estimate spread, memory and taper within batches.

    Parameters
    ----------
    core : polars.DataFrame
        Readings sorted into batches (readings_in_batches).
    points : polars.DataFrame
        ROPE_BATCHES with taper_mm.

    Returns
    -------
    WithinBatch
        Intervals rest on the change from batch to batch, so the readings' correlation cannot narrow them.
        `sampling_sd_mm` is how far a batch's mean may lie from the batch's own level for that spread.

    Notes
    -----
    Source: derived-rope
    """
    left, nr, counts = _residuals(core)
    big = counts >= 2
    if not big.any():
        return WithinBatch(None, None, None, 0.0)
    fitted = np.where(counts >= 8, 2, 1)
    squares = np.bincount(nr, left**2, counts.size)[big].astype(np.float64)
    df = (counts - fitted)[big].astype(np.float64)
    usual = int(np.median(counts))
    memory, kept, mean_share, doubt = _memory(left, nr, usual)
    spread = _pooled(squares, df, 1 / kept, doubt)
    sampling = spread.value * sqrt(mean_share) if spread else 0.0
    tapers = points["taper_mm"].drop_nulls().to_numpy().astype(np.float64)
    return WithinBatch(spread, memory, _mean(tapers), sampling)


def _residuals(core: pl.DataFrame) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Give readings less their batch's mean and, from 8 readings on, its straight line."""
    labels = core["nr"].rank("dense").to_numpy().astype(np.int64) - 1
    seconds = core["at"].dt.epoch("us").to_numpy() / 1e6
    value = core["value"].to_numpy().astype(np.float64)
    m = int(labels.max()) + 1 if labels.size else 0
    counts = np.bincount(labels, minlength=m)
    t = seconds - (np.bincount(labels, seconds, m) / counts)[labels]
    d = value - (np.bincount(labels, value, m) / counts)[labels]
    tt, td = np.bincount(labels, t * t, m), np.bincount(labels, t * d, m)
    slope = np.where((counts >= 8) & (tt > 0), td / np.where(tt > 0, tt, 1.0), 0.0)
    return d - slope[labels] * t, labels, counts


def _pooled(squares: Floats, df: Floats, factor: float, doubt: float) -> Estimate | None:
    from scipy.special import stdtrit

    good = df > 0
    squares, df = squares[good], df[good]
    m = df.size
    total = float(df.sum())
    if m == 0 or squares.sum() <= 0:
        return None
    variance = float(squares.sum()) / total
    sd = sqrt(variance * factor)
    if m == 1:
        return Estimate(sd, 0.0, float("inf"), 1)
    # spread of the batches' own variances about the pooled one, on the logarithm's scale
    error = sqrt(float(np.sum((squares - variance * df) ** 2)) * m / (m - 1)) / total / variance
    half = float(stdtrit(m - 1, 0.975)) * sqrt(error**2 + doubt**2) / 2
    return Estimate(sd, sd * exp(-half), sd * exp(half), m)


def _memory(left: Floats, nr: NDArray[np.int64], usual: int) -> tuple[float | None, float, float, float]:
    """Give the readings' memory, the share of variance a line leaves, the variance of a mean, and a doubt.

    The doubt is the standard error of the share's logarithm. Both shares are of the readings' own variance.
    The correlation of neighbours about a fitted line is too
    low in short batches; the memory is the one whose expected correlation, line and all, is that seen.
    """
    same = nr[1:] == nr[:-1]
    total = float(left @ left)
    if usual < 8 or total <= 0:
        return None, 1.0, 1 / max(1, usual), 0.0
    seen = float(left[1:][same] @ left[:-1][same]) / total
    n = min(usual, 120)
    expected = [_about_a_line(n, phi) for phi in PHIS]
    error = sqrt((1 - seen**2) / left.size)
    low, phi, high = (
        float(np.interp(r, [e[0] for e in expected], PHIS)) for r in (seen - error, seen, seen + error)
    )
    kept, *ends = (_about_a_line(n, p)[1] for p in (phi, low, high))
    return phi, kept, 1 / effective_n(usual, phi), log(ends[0] / ends[1]) / 2


def _about_a_line(n: int, phi: float) -> tuple[float, float]:
    """Give the correlation of neighbours to expect about a fitted line, and the share of variance left."""
    away = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    basis = np.linalg.qr(np.column_stack([np.ones(n), np.arange(n)]))[0]
    left = np.eye(n) - basis @ basis.T
    covariance = left @ phi**away @ left
    return float(np.trace(covariance, 1) / np.trace(covariance)), float(np.trace(covariance)) / (n - 2)


def _mean(values: Floats) -> Estimate | None:
    from scipy.special import stdtrit

    m = values.size
    if m < 2:
        return None
    half = float(stdtrit(m - 1, 0.975)) * float(values.std(ddof=1)) / sqrt(m)
    return Estimate(float(values.mean()), float(values.mean()) - half, float(values.mean()) + half, m)
