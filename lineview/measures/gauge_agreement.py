"""Whether two diameter gauges of one sizer agree, and whether one of them wanders off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.measures.rope_batches import points_of, readings_in_batches
from lineview.measures.rope_model import LEAST_BATCHES, batch_steps
from lineview.stats.correlated_regression import correlated_regression

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Agreement:
    """Mean difference of two gauges [mm] and its change an hour [mm/h] with 95 % interval, by batch means."""

    first: str
    second: str
    difference_mm: float
    apart_mm_per_h: float
    low: float
    high: float
    batches: int

    @property
    def wanders(self) -> bool:
        """Whether the gauges drift apart beyond chance."""
        return self.low > 0 or self.high < 0


def gauge_agreement(
    first: tuple[str, pl.DataFrame],
    second: tuple[str, pl.DataFrame],
    batches: pl.DataFrame,
    running: Callable[[pl.Series], Floats],
) -> Agreement | None:
    """Compare two gauges batch by batch.

    Parameters
    ----------
    first, second : (str, polars.DataFrame)
        Name and usable readings (at, value [mm]).
    batches : polars.DataFrame
        BATCHES.
    running : callable
        Gives running hours [h] at a series of moments.

    Returns
    -------
    Agreement or None
        Second less first; None with fewer than 8 batches in common.

    Notes
    -----
    Source: restricted-likelihood, derived-rope
    """
    means = []
    for _, readings in (first, second):
        core = readings_in_batches(readings, batches)
        means.append(points_of(core, None, {}, running).select("batch", "running_h", "diameter_mm"))
    both = means[0].join(means[1], on="batch", how="inner", maintain_order="left", suffix="_2")
    hours = both["running_h"].to_numpy().astype(np.float64)
    if both.height < LEAST_BATCHES or float(np.ptp(hours)) <= 0:
        return None
    difference = (both["diameter_mm_2"] - both["diameter_mm"]).to_numpy().astype(np.float64)
    if float(np.ptp(difference)) == 0:
        return Agreement(first[0], second[0], float(difference[0]), 0.0, 0.0, 0.0, both.height)
    columns = np.column_stack([np.ones(hours.size), hours - hours.mean()])
    fit = correlated_regression(difference, columns, batch_steps(hours))
    apart = np.array([0.0, 1.0])
    return Agreement(
        first[0], second[0], float(difference.mean()), fit.mean(apart), *fit.interval(apart), both.height
    )  # fmt: skip
