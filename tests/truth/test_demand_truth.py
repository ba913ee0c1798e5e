"""Demand whose truth is known: hours nobody saw leave it unbiased, forecasts hold as often as they say."""

from datetime import timedelta
from functools import cache

import numpy as np
import polars as pl
import pytest

from lineview.machine.products import good_by_product
from lineview.order.demand import Need
from lineview.order.forecast import WEEKS_A_YEAR, learn_season, weekly_forecast
from tests.from_frames import Frames, counted, output
from tests.simulate.webs import START, WrapRun, wrap_line

#: Of ten hours, one has no readings: what stands in it must be reckoned, not lost.
HOLES = 0.1


def with_holes(readings: pl.DataFrame, seed: int, *, modulus: int, resets: bool) -> pl.DataFrame:
    """Take whole hours out, and let counters turn sooner or start again at 0 in each of them."""
    rng = np.random.default_rng(seed)
    hour = pl.col("at").dt.truncate("1h")
    hours = readings.select(hour.unique().sort())["at"]
    gone = hours.filter(pl.Series(rng.random(len(hours)) < HOLES))
    kept = readings.filter(~hour.is_in(gone.implode())).sort("channel", "at")
    if resets:
        block = (pl.col("at").diff() > timedelta(minutes=30)).fill_null(value=False).cum_sum().over("channel")
        value = pl.col("value") + 65536 * (pl.col("value").diff() < 0).fill_null(value=False).cum_sum().over("channel")
        kept = kept.with_columns(value=value, block=block)
        kept = kept.with_columns(value=pl.col("value") - pl.col("value").first().over("channel", "block"))
        kept = kept.drop("block")
    return kept.with_columns(value=pl.col("value") % modulus)


@cache
def line(seed: int) -> WrapRun:
    return wrap_line(seed, days=12.0, every_s=60)


def bias(seed: int, *, modulus: int, resets: bool) -> tuple[float, float]:
    """Share by which pieces by day, and pieces since a count, differ from what was made."""
    made = line(seed)
    counters = tuple(
        c.model_copy(update={"modulus": modulus, "fastest_per_min": 450.0}) if c.unit_value == 1 else c
        for c in made.plant.machines[0].counters
    )
    machine = made.plant.machines[0].model_copy(update={"counters": counters})
    pieces = made.readings.filter(pl.col("channel").is_in(["pieces", "rejects", "blanks"]))
    holed = with_holes(pieces, seed, modulus=modulus, resets=resets)
    plant = made.plant.model_copy(update={"machines": (machine,)})
    told = output(plant, [machine], Frames({"wrap1": holed}, batches=made.batches), made.end)
    names = {product.id: product.id for product in plant.products}
    since = good_by_product(made.batches, counted(plant, machine, holed), names, START, made.end)
    return told["good"].sum() / made.truth.good - 1.0, sum(since.values()) / made.truth.good - 1.0


@pytest.mark.parametrize(
    ("modulus", "resets", "within"), [(65536, False, 0.002), (10_000, False, 0.01), (10**9, True, 0.02)]
)
def test_hours_that_nobody_saw_leave_demand_unbiased(modulus: int, resets: bool, within: float) -> None:
    told = np.array([bias(seed, modulus=modulus, resets=resets) for seed in range(4)])
    print(
        f"1 hour in 10 without readings, modulus {modulus}, {'set back' if resets else 'running on'}: "
        f"pieces by day {told[:, 0].mean():+.2%} ± {told[:, 0].std(ddof=1) / 2:.2%}, "
        f"since a count {told[:, 1].mean():+.2%}"
    )
    assert abs(told.mean(axis=0)).max() < within


def demand(rng: np.random.Generator, kind: str, weeks: int, products: int) -> np.ndarray:
    """Weekly pieces of so many products: a season, weeks good or bad for all, levels that wander."""
    week = (rng.uniform(0, WEEKS_A_YEAR) + np.arange(weeks)) % WEEKS_A_YEAR
    season = {
        "no season": np.ones(weeks),
        "one wave": 1 + 0.5 * np.sin(2 * np.pi * week / WEEKS_A_YEAR),
        "summer and Christmas": 0.6 + 1.2 * np.exp(-(((week - 28) / 7) ** 2))
        + 0.6 * np.exp(-(((week - 50) / 2.5) ** 2)),
    }[kind]  # fmt: skip
    wander = np.cumsum(rng.normal(0, 0.01, (products, weeks)), axis=1)
    mean = rng.lognormal(9, 0.7, products)[:, None] * np.exp(wander + rng.normal(0, 0.06, weeks)) * season
    return rng.gamma(1 / 0.09, mean * 0.09)


def held(kind: str, runs: int, first: int = 0) -> tuple[float, float, float]:
    """How often a week and the 95 % of a quarter's need hold, and the bias of the quarter."""
    week, quarter, off = [], [], []
    for seed in range(first, first + runs):
        made = demand(np.random.default_rng(seed), kind, 130, 12)
        past, coming = made[:, :104], made[:, 104:]
        out = weekly_forecast(past, learn_season(past.sum(axis=0), 26), ["a"] * 12)
        for k in range(12):
            need = Need(out.mean[k], out.sd[k], float(out.level_cv[k]))
            for w in (0, 3, 7, 15, 25):
                low, high = (float(need.week(w).quantile(7.0, q)) for q in (0.05, 0.95))
                week.append(low <= coming[k, w] <= high)
            total = coming[k, :13].sum()
            quarter.append(total <= need.quantile(91.0, 0.95))
            off.append((out.mean[k, :13].sum() - total) / past[k].mean() / 13)
    return float(np.mean(week)), float(np.mean(quarter)), float(np.mean(off))


@pytest.mark.parametrize("kind", ["no season", "one wave", "summer and Christmas"])
def test_forecast_intervals_hold_as_often_as_they_say(kind: str) -> None:
    week, quarter, off = held(kind, 8)
    print(f"{kind}: 90 % of a week held in {week:.1%}, 95 % of a quarter in {quarter:.1%}, bias {off:+.1%}")
    # 96 series, correlated within a run: only a gross fault shows.
    assert 0.84 < week < 0.97
    assert quarter > 0.87
    assert abs(off) < 0.05


@pytest.mark.long
@pytest.mark.parametrize("kind", ["no season", "one wave", "summer and Christmas"])
def test_forecast_intervals_hold_over_many_works(kind: str) -> None:
    week, quarter, off = held(kind, 150, first=1000)
    print(f"{kind}: 90 % of a week held in {week:.1%}, 95 % of a quarter in {quarter:.1%}, bias {off:+.1%}")
    assert 0.88 < week < 0.93
    assert 0.93 < quarter < 0.97
    assert abs(off) < 0.02
