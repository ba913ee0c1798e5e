"""Charts that watch for drift: EWMA and CUSUM of batch residuals, limits from a wanted false-alarm rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.language import mark, tr
from lineview.rope.drift_model import SHAPES, RopeModel
from lineview.stats.capability import shape_of
from lineview.stats.control_charts import (
    Limits,
    RunRule,
    individuals_limits,
    nelson_test,
    run_rule_length,
    subgroup_limits,
)
from lineview.stats.correlated_regression import Noise, innovation_form, innovations
from lineview.stats.run_lengths import QUICK, SLOW, Widths, cusum, cusum_limit, ewma, joint_widths
from lineview.stats.serial_correlation import LjungBox, ljung_box

Floats = NDArray[np.float64]

#: Running hours to a false alarm, on average [h].
FALSE_ALARM_H = 200.0
#: Allowance k of the CUSUM, in standard deviations of a batch.
ALLOWANCE = 0.25


@dataclass(frozen=True)
class Watch:
    """The charts and what they say.

    `ewma`, `quick`, `single`, `cusum`: the slow EWMA, the quick one, the residuals with Shewhart limits, and the
    CUSUM; `run_length`: batches to a false alarm of the first three together, on average, and of the CUSUM;
    `widths`: L of the slow and the quick EWMA, and the Shewhart limits' distance in standard deviations; `limit`:
    decision interval h of the CUSUM; `signal`: first batch of the run of signals of the first three that reaches
    the last batch; `since`: first batch after the last recorded adjustment, at which the charts start anew;
    `by_rank`: whether residuals have heavier tails than a normal law, so that their ranks are charted.
    """

    ewma: pl.DataFrame
    quick: pl.DataFrame
    single: pl.DataFrame
    cusum: pl.DataFrame
    run_length: float
    widths: Widths
    limit: float
    signal: int | None
    since: int = 0
    by_rank: bool = False


def fresh_residuals(model: RopeModel) -> Floats:
    """Each batch's surprise, given only the batches before it, as a standard normal value.

    Steps and temperature are taken out; wear, and a level that wanders, are left in, for they are watched for. The
    level is learnt as the batches come, anew after each step; its uncertainty widens the early surprises' scale.

    Source: quesenberry-1991, derived-rope
    """
    mode = model.fit.staying_mode
    noise = model.fit.noises[mode]
    scale = innovation_form(noise)[1] * float(np.sqrt(model.fit.variance[mode]))
    beta = model.fit.weight @ model.fit.beta
    usual = slice(2, model.columns.shape[1] - SHAPES)  # a slow change of pace is watched for as wear is
    usual_mm = model.columns[:, usual] @ beta[usual]
    residual = model.deviation - usual_mm
    edges = [0, *(a.first for a in model.adjustments), model.n]
    return np.concatenate(
        [_segment(residual[a:b], noise, scale, float(model.fit.df[mode])) for a, b in pairwise(edges)]
    )


def _segment(y: Floats, noise: Noise, scale: float, df: float) -> Floats:
    """Recursive residuals of a constant in filtered noise, brought from t to normal."""
    from scipy.special import ndtri, stdtr

    if y.size == 0:
        return y
    white = innovations(noise, np.column_stack([y, np.ones(y.size)]))
    e, x = white[1:, 0], white[1:, 1]
    first = innovation_form(noise)[1] ** 2  # what the first shows of the level, its noise being of unit variance
    xx = np.cumsum(np.r_[first, x**2])[:-1]
    xe = np.cumsum(np.r_[first * y[0], x * e])[:-1]
    t = (e - x * xe / xx) / (scale * np.sqrt(1 + x**2 / xx))
    z = ndtri(np.clip(stdtr(df, t), 1e-15, 1 - 1e-15))
    return np.asarray(np.r_[0.0, z], dtype=np.float64)


def watch(model: RopeModel, false_alarm_h: float = FALSE_ALARM_H) -> Watch:
    """Chart the batches' surprises.

    Gives [mm].

    Source: iso-7870-4, iso-7870-6, lucas-saccucci-1990, zhao-2005, derived-joint-charts, lucas-crosier-1982
    """
    z, by_rank = _normal_scores(fresh_residuals(model))
    spacing = float(np.ptp(model.hours)) / max(1, model.n - 1)
    run_length = max(20.0, false_alarm_h / spacing)
    widths, limit = joint_widths(run_length), cusum_limit(ALLOWANCE, round(run_length, 1))
    starts = [0, *(a.first for a in model.adjustments if a.recorded)]
    cuts = list(pairwise([*starts, model.n]))
    slow, quick, single = (
        _ewma_chart(model, [z[a:b] for a, b in cuts], smoothing, width, starts[-1])
        for smoothing, width in zip((SLOW, QUICK, 1.0), widths, strict=True)
    )
    sums = _cusum_chart(model, [z[a:b] for a, b in cuts], limit, starts[-1])
    outside = np.any([chart["signal"].to_numpy() for chart in (slow, quick, single)], axis=0)
    return Watch(slow, quick, single, sums, run_length, widths, limit, _last_signal(outside), starts[-1], by_rank)


#: Surprises of batches whose offsets are normal look heavy-tailed in this share of lines.
HEAVY = 0.01


def _normal_scores(z: Floats) -> tuple[Floats, bool]:
    """Surprises as charts take them: their normal scores where their tails are heavier than a normal law's."""
    from scipy.special import ndtri

    if float(np.ptp(z)) == 0:
        return z, False
    shape = shape_of(z)
    if shape.p_normal >= HEAVY or shape.kurtosis <= 0:
        return z, False
    rank = np.empty(z.size)
    rank[np.argsort(z)] = np.arange(z.size)
    return np.asarray(ndtri((rank + 0.5) / z.size)), True


def _ewma_chart(model: RopeModel, parts: list[Floats], smoothing: float, width: float, since: int) -> pl.DataFrame:
    charts = [ewma(z, smoothing=smoothing, centre=0.0, sd=1.0, width=width, exact=False) for z in parts]
    mm = model.fit.sd()
    return model.points.select("running_h", "at").with_columns(
        value=np.concatenate([chart.value for chart in charts]) * mm,
        low=np.concatenate([chart.low for chart in charts]) * mm,
        high=np.concatenate([chart.high for chart in charts]) * mm,
        **_signal_columns(np.concatenate([chart.outside for chart in charts]), since),
    )


def _cusum_chart(model: RopeModel, parts: list[Floats], limit: float, since: int) -> pl.DataFrame:
    charts = [cusum(z, target=0.0, allowance=ALLOWANCE, limit=limit) for z in parts]
    mm = model.fit.sd()
    return model.points.select("running_h", "at").with_columns(
        upper=np.concatenate([chart.upper for chart in charts]) * mm,
        lower=np.concatenate([chart.lower for chart in charts]) * mm,
        limit=pl.lit(limit * mm),
        **_signal_columns(np.concatenate([chart.outside for chart in charts]), since),
    )


def _signal_columns(outside: NDArray[np.bool_], since: int) -> dict[str, NDArray[np.bool_]]:
    return {"signal": outside, "stands": outside & (np.arange(outside.size) >= since)}


def _last_signal(outside: NDArray[np.bool_]) -> int | None:
    """First point of the run of signals that reaches the last point, or None."""
    if outside.size == 0 or not outside[-1]:
        return None
    inside = np.flatnonzero(~outside)
    return int(inside[-1]) + 1 if inside.size else 0


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
    """The limits of the charts of batch means, ranges, standard deviations and individuals.

    Source: iso-7870-2, nist-handbook
    """
    one_product = points["product"].n_unique() <= 1
    usable = points if one_product else points.filter(pl.col("deviation_mm").is_not_null())
    out = _subgroup_charts(core, usable, deviations=not one_product)
    values = usable["diameter_mm" if one_product else "deviation_mm"].to_numpy().astype(np.float64)
    if values.size < 2:
        return out
    names = usable["batch"].to_list()
    single, moving = individuals_limits(values)
    assumption = mark("batches independent of each other")
    alone = bool((usable["n"] == 1).all())
    single_name = mark("individuals") if alone else mark("batch means as individuals")
    out.append(_limits_with_names(single_name, single, names, 1, assumption))
    out.append(_limits_with_names(mark("moving range"), moving, names[1:], 1, assumption))
    return out


def _limits_with_names(chart: str, limits: Limits, names: list[str], readings: int, takes: str) -> RopeLimits:
    return RopeLimits(chart, limits, len(names), readings, tuple(names[i] for i in limits.outside), takes)


def _subgroup_charts(core: pl.DataFrame, points: pl.DataFrame, *, deviations: bool) -> list[RopeLimits]:
    if points.is_empty():
        return []
    size = int(np.bincount(points["n"].to_numpy()).argmax())
    same_size = float((points["n"] == size).mean() or 0.0)  # type: ignore[arg-type]  # polars types a mean loosely
    if not 2 <= size <= LARGEST or same_size < ALIKE:
        return []
    full_groups = core.filter(pl.len().over("nr") == size).sort("nr", "at")
    groups = full_groups["value"].to_numpy().astype(np.float64).reshape(-1, size)
    names = full_groups["batch"].gather_every(size).to_list()
    if deviations:
        target = dict(zip(points["batch"], points["diameter_mm"] - points["deviation_mm"], strict=True))
        with_target = [i for i, name in enumerate(names) if target.get(name) is not None]
        groups = groups[with_target] - np.array([target[names[i]] for i in with_target])[:, None]
        names = [names[i] for i in with_target]
    if groups.shape[0] < 2:
        return []
    means, ranges, sds = subgroup_limits(groups)
    assumption = mark("readings within a batch independent of each other")
    return [
        _limits_with_names(mark("batch mean"), means, names, size, assumption),
        _limits_with_names(mark("range in a batch"), ranges, names, size, assumption),
        _limits_with_names(mark("standard deviation in a batch"), sds, names, size, assumption),
    ]


#: Residuals that are independent fail the test in this share of lines.
FAILS = 0.05
#: Autocorrelations pooled, and batches needed for them.
LAGS, LEAST = 10, 30
#: The tests whose run length together can be worked out.
LENGTHS = {
    1: RunRule(1, 1, 3.0, np.inf),
    2: RunRule(9, 9, 0.0, np.inf),
    5: RunRule(2, 3, 2.0, np.inf),
    6: RunRule(4, 5, 1.0, np.inf),
}


@dataclass(frozen=True)
class RunRules:
    """The tests asked for and where each signals; `refused` says why none was applied, "" where they were.

    `run_length` is how many batches pass to a false alarm of all of them together, on average; None where
    it cannot be worked out.
    """

    signals: dict[int, NDArray[np.bool_]]
    run_length: float | None
    refused: str = ""


def run_rules(model: RopeModel, tests: Sequence[int]) -> RunRules:
    """Apply run rules to a rope's residuals.

    Source: nelson-1984, champ-woodall-1987, nist-handbook
    """
    chosen = sorted(set(tests))
    if model.n < LEAST:
        return RunRules(
            {}, None, tr("too few batches to see whether residuals are independent: needs {needs}", needs=LEAST)
        )
    portmanteau = left_over(model)
    if portmanteau.p < FAILS:
        return RunRules(
            {},
            None,
            tr(
                "the residuals still depend on each other (Ljung–Box {statistic:.1f} on {df} degrees of "
                "freedom, chance {p:.1%})",
                statistic=portmanteau.statistic,
                df=portmanteau.df,
                p=portmanteau.p,
            ),
        )
    z = fresh_residuals(model)
    length = _length(tuple(chosen)) if set(chosen) <= set(LENGTHS) else None
    return RunRules({test: nelson_test(z, test) for test in chosen}, length)


def left_over(model: RopeModel) -> LjungBox:
    """Test whether the residuals about the whole model, wear taken out too, still depend on each other.

    By the likeliest noise, or the likeliest whose level stays, whichever leaves less.
    Source: nist-handbook
    """
    fit, residuals = model.fit, model.deviation - model.expected()

    def box(noise: Noise) -> LjungBox:
        white = innovations(noise, residuals)
        return ljung_box(white[1:], LAGS, (noise.phi != 0.0) + (noise.white != 0.0))

    return max((box(noise) for noise in {fit.noises[fit.mode], fit.noises[fit.staying_mode]}), key=lambda law: law.p)


#: Residuals that depend on each other so surely, and so much (squared correlations summed over lags), that no
#: model tried is theirs.
SURE, MUCH = 1e-4, 0.15


def disagreement(model: RopeModel) -> str:
    """Why no model tried is that of the readings, or ""."""
    if model.bend_h is not None and any(not a.recorded for a in model.adjustments):
        return tr(
            "the readings disagree with every model tried: a change of pace and a jump that nobody "
            "recorded were both seen, and each may be the other"
        )
    if model.n < LEAST:
        return ""
    portmanteau = left_over(model)
    if portmanteau.p >= SURE or portmanteau.statistic / model.n < MUCH:
        return ""
    return tr(
        "the readings disagree with every model tried: what wear, steps, a level that wanders "
        "and memory leave still depends on itself (Ljung–Box {statistic:.0f} on {df} degrees of "
        "freedom)",
        statistic=portmanteau.statistic,
        df=portmanteau.df,
    )


@lru_cache(maxsize=32)
def _length(tests: tuple[int, ...]) -> float:
    return run_rule_length(tuple(LENGTHS[test] for test in tests))
