"""Capability and performance of piece weight against its tolerance, with limits that know the batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.stats.control_charts import control_constants, individuals_limits
from lineview.stats.generalized_intervals import percentiles
from lineview.stats.means import summarize
from lineview.weight.spread import Floats, WeightSpread


@dataclass(frozen=True)
class WeightCapability:
    """Cp and Cpk from the spread within batches, Pp and Ppk from the total, each with 95 % limits."""

    cp: Estimate
    cpk: Estimate
    pp: Estimate
    ppk: Estimate


def weight_capability(scaled: WeightSpread) -> WeightCapability:
    """The indices of values that are scaled so that the limits stand at -1 and 1.

    The limits are the percentiles of the index over draws of mean and spread, in which batches, not
    pieces, count as drawn at random.
    Source: iso-22514-2, weerahandi-1993
    """
    centred = 1 - abs(scaled.mean)
    no_mean = scaled.checks.why_no_mean
    cp, cpk = _pair(scaled.within, scaled.draws_within, centred, scaled.draws_mean, no_mean)
    pp, ppk = _pair(scaled.total, scaled.draws_total, centred, scaled.draws_mean, no_mean)
    return WeightCapability(cp, cpk, pp, ppk)


def _pair(sd: Estimate, variances: Floats, centred: float, means: Floats, no_mean: str) -> tuple[Estimate, Estimate]:
    if sd.value is None or not sd.value > 0 or not variances.size:
        none = Estimate.unknown(sd.why_none or tr("not known: the weights show no spread"))
        return none, none
    roots = 3 * np.sqrt(np.maximum(variances, 1e-300))
    wide = percentiles(1 / roots)
    # The index is the lesser of two, so its high limit is the lesser of theirs: draws on both sides of the
    # target would all fall short of a process that is centred.
    low = percentiles((1 - np.abs(means)) / roots)[0]
    high = min(percentiles((1 - side * means) / roots)[1] for side in (1, -1))
    potential, actual = 1 / (3 * sd.value), centred / (3 * sd.value)
    why = sd.interval or no_mean
    return (
        Estimate(potential, interval=sd.interval) if sd.interval else Estimate(potential, *wide),
        Estimate(actual, interval=why) if why else Estimate(actual, low, high),
    )


#: Fewer batches than this give no limits.
LEAST = 8
#: Chance of a batch of a stable process to be outside of one of the three charts: 0.3 % for its mean, 0.9 %
#: for the moving range, whose law is skewed, 0.3 % for the spread.
FALSE_ALARMS = 0.015


@dataclass(frozen=True)
class ChartLimits:
    """One chart: its centre and limits, and the batches beyond them."""

    chart: str
    unit: str
    centre: float
    low: float
    high: float
    outside: tuple[str, ...]


@dataclass(frozen=True)
class ThreeWay:
    """The three charts; empty where there are too few batches.

    `follow` is the lag-1 autocorrelation of the batch means: how closely each follows the one before.
    """

    charts: tuple[ChartLimits, ...]
    batches: int
    follow: float | None = None

    @property
    def outside(self) -> tuple[str, ...]:
        """Batches beyond any limit, each once."""
        return tuple(dict.fromkeys(name for chart in self.charts for name in chart.outside))

    @property
    def by_chance(self) -> float:
        """How many batches would be outside by chance if the process were stable."""
        return FALSE_ALARMS * self.batches

    @property
    def too_many(self) -> bool:
        """Whether more are outside than one stable process in a hundred would show."""
        from scipy.special import bdtrc

        k = len(self.outside)
        return k > 0 and float(bdtrc(k - 1, self.batches, FALSE_ALARMS)) < 0.01

    @property
    def drifting(self) -> bool:
        """Whether batch means follow each other more than chance allows (one side, 1 in 200)."""
        return self.follow is not None and self.follow * self.batches**0.5 > 2.576

    @property
    def stable(self) -> bool:
        """Whether nothing speaks against a stable process."""
        return not self.too_many and not self.drifting


def three_way(points: pl.DataFrame, weighings: pl.DataFrame) -> ThreeWay:
    """The limits of the three charts.

    The third chart is of standard deviations within batches, with limits that follow each batch's number of
    weighings; its `low` and `high` are those of the usual number.
    Source: nist-handbook, iso-7870-2
    """
    names = points["batch"].to_list()
    if len(names) < LEAST:
        return ThreeWay((), len(names))
    single, moving = individuals_limits(points["deviation_g"].to_numpy())
    off, moved = (tuple(names[i + k] for i in chart.outside) for k, chart in enumerate((single, moving)))
    charts = [
        ChartLimits(mark("batch means"), mark("g off target"), single.centre, single.low, single.high, off),
        ChartLimits(mark("moving range of batch means"), "g", moving.centre, moving.low, moving.high, moved),
    ]
    within = _within(weighings)
    follow = summarize(points["deviation_g"].to_list()).r1
    return ThreeWay((*charts, within) if within else tuple(charts), len(names), follow)


def _within(weighings: pl.DataFrame) -> ChartLimits | None:
    """Chart the spread within batches of single pieces (or of as many together as is usual)."""
    usual = weighings.group_by("pieces", maintain_order=True).len().sort("len", descending=True)["pieces"][0]
    known = weighings.filter((pl.col("pieces") == usual) & pl.col("batch").is_not_null())
    each = known.group_by("batch", maintain_order=True).agg(sd=pl.col("net_g").std(), n=pl.len())
    spread = each.filter(pl.col("n") > 1)
    if spread.height < LEAST:
        return None
    n, sd = spread["n"].to_numpy(), spread["sd"].to_numpy()
    pooled = float(np.sqrt(np.sum((n - 1) * sd**2) / np.sum(n - 1)))
    low, centre, high = _sd_limits(n, pooled)
    outside = (sd > high) | (sd < low)
    middle = int(np.argsort(n)[n.size // 2])
    return ChartLimits(
        mark("spread within batches"),
        "g",
        float(centre[middle]),
        float(low[middle]),
        float(high[middle]),
        tuple(b for b, out in zip(spread["batch"].to_list(), outside, strict=True) if out),
    )


def _sd_limits(n: Sequence[int] | np.ndarray, sd: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    c4 = {int(size): control_constants(int(size)).c4 for size in np.unique(n)}
    centre = np.array([c4[int(size)] for size in n])
    half = 3 * np.sqrt(1 - centre**2)
    return sd * np.maximum(centre - half, 0.0), sd * centre, sd * (centre + half)
