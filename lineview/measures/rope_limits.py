"""Limits of the usual control charts of the rope, one point a batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.stats.control_limits import Limits, individuals_limits, subgroup_limits

#: Largest subgroup for which ranges are charted.
LARGEST = 25
#: Share of batches that must have the same number of readings.
ALIKE = 0.8


@dataclass(frozen=True)
class RopeLimits:
    """Limits of one chart, the batches they rest on and outside them, and what they take for granted."""

    chart: str
    limits: Limits
    batches: int
    readings: int
    outside: tuple[str, ...]
    takes: str


def rope_limits(core: pl.DataFrame, points: pl.DataFrame) -> list[RopeLimits]:
    """Give the limits of the charts of batch means, ranges, standard deviations and individuals.

    Parameters
    ----------
    core : polars.DataFrame
        Readings sorted into batches (readings_in_batches).
    points : polars.DataFrame
        ROPE_BATCHES; diameters are charted where all are of one product, else deviations from target.

    Returns
    -------
    list of RopeLimits
        Subgroup charts where batches have the same number of readings, 2 to 25; individuals and
        moving-range charts of the batch means from two batches on.

    Notes
    -----
    Source: iso-7870-2, nist-handbook
    """
    one = points["product"].n_unique() <= 1
    known = points if one else points.filter(pl.col("deviation_mm").is_not_null())
    out = _subgroup_charts(core, known, deviations=not one)
    values = known["diameter_mm" if one else "deviation_mm"].to_numpy().astype(np.float64)
    if values.size < 2:
        return out
    names = known["batch"].to_list()
    single, moving = individuals_limits(values)
    takes = "batches independent of each other"
    alone = bool((known["n"] == 1).all())
    single_name = "individuals" if alone else "batch means as individuals"
    out.append(_named(single_name, single, names, 1, takes))
    out.append(_named("moving range", moving, names[1:], 1, takes))
    return out


def _named(chart: str, limits: Limits, names: list[str], readings: int, takes: str) -> RopeLimits:
    return RopeLimits(chart, limits, len(names), readings, tuple(names[i] for i in limits.outside), takes)


def _subgroup_charts(core: pl.DataFrame, points: pl.DataFrame, *, deviations: bool) -> list[RopeLimits]:
    if points.is_empty():
        return []
    size = int(np.bincount(points["n"].to_numpy()).argmax())
    alike = float((points["n"] == size).mean() or 0.0)  # type: ignore[arg-type]  # polars types a mean loosely
    if not 2 <= size <= LARGEST or alike < ALIKE:
        return []
    whole = core.filter(pl.len().over("nr") == size).sort("nr", "at")
    groups = whole["value"].to_numpy().astype(np.float64).reshape(-1, size)
    names = whole["batch"].gather_every(size).to_list()
    if deviations:
        target = dict(zip(points["batch"], points["diameter_mm"] - points["deviation_mm"], strict=True))
        kept = [i for i, name in enumerate(names) if target.get(name) is not None]
        groups = groups[kept] - np.array([target[names[i]] for i in kept])[:, None]
        names = [names[i] for i in kept]
    if groups.shape[0] < 2:
        return []
    means, ranges, sds = subgroup_limits(groups)
    takes = "readings within a batch independent of each other"
    return [
        _named("batch mean", means, names, size, takes),
        _named("range in a batch", ranges, names, size, takes),
        _named("standard deviation in a batch", sds, names, size, takes),
    ]
