"""Season, levels, new flavours and pace, against series whose truth is known."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.core.frames import PLAN
from lineview.order.demand import Need, pace, plan_cover, planned_pieces, week_starts
from lineview.order.forecast import WEEKS_A_YEAR, Season, _base, _by_week, history_weeks, learn_season, weekly_forecast
from lineview.plant import Plant
from tests import factories


def level(then: int, ahead: int, factors=None) -> Season:
    """A season that is known for sure; flat unless factors are given."""
    return Season(np.ones(then), np.ones(ahead) if factors is None else np.array(factors), np.zeros(ahead))


def test_season_is_recovered_from_two_years() -> None:
    rng = np.random.default_rng(1)
    weeks = np.arange(130)
    true = 1 + 0.4 * np.sin(2 * np.pi * weeks / WEEKS_A_YEAR)
    season = learn_season(1e6 * true[:104] * rng.lognormal(0, 0.08, 104), 26)
    assert season.past == pytest.approx(true[:104], abs=0.08)
    assert season.ahead == pytest.approx(true[104:], abs=0.08)
    assert (season.ahead_cv > 0.005).all()
    assert (season.ahead_cv < 0.06).all()


def test_no_season_is_found_where_there_is_none_or_too_little() -> None:
    rng = np.random.default_rng(2)
    flat = learn_season(1e6 * rng.lognormal(0, 0.1, 104), 52)
    assert flat.ahead == pytest.approx(np.ones(52), abs=0.12)
    assert learn_season(np.ones(40), 2).ahead.tolist() == [1.0, 1.0]


def test_weeks_that_nobody_saw_do_not_bend_the_season() -> None:
    weeks = np.arange(130)
    true = 1e6 * np.exp(0.3 * np.sin(2 * np.pi * weeks / WEEKS_A_YEAR))
    missing = np.where((weeks > 40) & (weeks < 46), np.nan, true)
    assert learn_season(missing[:104], 26).ahead == pytest.approx(learn_season(true[:104], 26).ahead)


def test_level_and_spread_of_a_steady_series() -> None:
    rng = np.random.default_rng(3)
    out = weekly_forecast(rng.normal(100, 10, (20, 104)), level(104, 8), ["a"] * 20)
    assert out.mean.mean() == pytest.approx(100, abs=2)
    assert out.sd.mean() == pytest.approx(10, abs=1)
    assert (out.level_cv < 0.06).all()


def smoothed(series: np.ndarray) -> tuple[float, float, float]:
    """From the mean of the first eight weeks on, by the weight with the least squared one-step errors (first)."""
    tried = []
    for alpha in (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5):
        smooth, errors = series[:8].mean(), []
        for value in series:
            errors.append(value - smooth)
            smooth += alpha * errors[-1]
        tried.append((sum(e**2 for e in errors), alpha, smooth))
    return min(tried)


@pytest.mark.parametrize("seed", range(3))
def test_smoothing_is_the_one_written_out(seed: int) -> None:
    series = np.random.default_rng(seed).normal(100, 12, 26) + 3.0 * np.arange(26)
    squared, alpha, last = smoothed(series)
    rmse = (squared / 25) ** 0.5
    wanders = max(alpha * (1 - alpha), 1 / 26) + alpha**2 * 12 / 3  # over thirteen weeks
    out = weekly_forecast(series[None, :], level(26, 4), ["a"])
    assert (out.mean[0, 0], out.sd[0, 0]) == pytest.approx((last, rmse))
    assert out.level_cv[0] == pytest.approx(rmse * wanders**0.5 / last)


def test_season_carries_into_the_coming_weeks() -> None:
    out = weekly_forecast(np.full((1, 104), 50.0), level(104, 2, [1.0, 2.0]), ["a"])
    assert out.mean[0] == pytest.approx([50, 100])


def test_a_series_that_comes_now_and_then_has_its_mean() -> None:
    rng = np.random.default_rng(4)
    series = np.where(rng.random((1, 200)) < 0.2, 50.0, 0.0)
    out = weekly_forecast(series, level(200, 4), ["a"])
    assert out.mean[0, 0] == pytest.approx(series.mean(), rel=0.35)
    assert out.sd[0, 0] == pytest.approx(20, rel=0.2)


def test_what_comes_every_fifth_week_has_croston_s_level_and_its_spread() -> None:
    """50 ÷ 5 less a twentieth; squared, a fifth of the weeks are 40.5 and four fifths 9.5 off it."""
    out = weekly_forecast(np.tile([0, 0, 0, 0, 50.0], 40)[None, :], level(200, 4), ["a"])
    assert (out.mean[0, 0], out.sd[0, 0]) == pytest.approx((9.5, 400.25**0.5))
    assert out.level_cv[0] == pytest.approx((400.25 / 200) ** 0.5 / 9.5)


def test_a_new_flavour_borrows_from_its_base() -> None:
    rng = np.random.default_rng(5)
    old = rng.normal(100, 10, (4, 60))
    other = rng.normal(1000, 50, (4, 60))
    new = np.full((1, 60), np.nan)
    new[0, -2:] = 140.0
    history = np.vstack([old, other, new])
    out = weekly_forecast(history, level(60, 4), ["fruit"] * 4 + ["nut"] * 4 + ["fruit"])
    assert out.is_borrowed.tolist() == [False] * 8 + [True]
    assert 100 < out.mean[8, 0] < 120
    assert out.level_cv[8] > out.level_cv[0]


@pytest.mark.parametrize(("names", "base"), [("ab", "soft"), ("abc", "several"), ("c", "hard"), ("d", "several")])
def test_a_webs_kin_are_those_of_the_base_of_all_its_products(names: str, base: str) -> None:
    bases = {"a": "soft", "b": "soft", "c": "hard"}
    products = tuple(factories.product(name, base=of) for name, of in bases.items())
    assert _base(Plant(shop="Invented", products=products), dict.fromkeys(names, 1.0)) == base


def test_a_flavour_never_made_yet_takes_its_base_mean() -> None:
    history = np.vstack([np.full((2, 40), 100.0), np.full((1, 40), np.nan)])
    out = weekly_forecast(history, level(40, 2), ["fruit", "fruit", "fruit"])
    assert out.mean[2] == pytest.approx([100, 100])


@pytest.mark.parametrize(("kin", "apart"), [((100.0,), 50.0), ((80.0, 120.0), 20.0)])
@pytest.mark.parametrize("weeks", [0, 2])
def test_what_is_borrowed_is_as_unsure_as_its_kin_lie_apart_or_half_of_the_only_one(
    kin: tuple[float, ...], apart: float, weeks: int
) -> None:
    """Its own weeks count against eight of the kin's; steady series, so that nothing else is unsure."""
    history = np.vstack([*(np.full(40, each) for each in kin), np.full(40, np.nan)])
    history[-1, 40 - weeks :] = 140.0
    out = weekly_forecast(history, level(40, 2), ["fruit"] * len(history))
    own = weeks / (weeks + 8)
    mean = own * 140 + (1 - own) * 100
    assert (out.mean[-1, 0], out.level_cv[-1]) == pytest.approx((mean, (1 - own) * apart / mean))


def test_pace_sums_amounts_over_sums_of_minutes() -> None:
    learned = pace([480, 480, 240, 480, 480, 480], [480, 480, 240, 480, 480, 480])
    assert learned is not None
    assert (learned.per_planned_min, learned.day_sd, learned.is_learned) == (1.0, 0.0, True)
    short = pace([480.0], [480.0])
    assert short is not None
    assert not short.is_learned
    assert pace([], []) is None


def test_need_adds_up_and_never_goes_below_nothing() -> None:
    need = Need(np.array([7.0, 14.0]), np.array([1.0, 2.0]), 0.0)
    assert need.mean([0, 7, 10.5, 14, 21]) == pytest.approx([0, 7, 14, 21, 35])
    assert need.sd(14.0) == pytest.approx(np.sqrt(5))
    assert need.quantile(14.0, 0.5) == pytest.approx(21, abs=0.2)
    assert need.exceeds(14.0, need.quantile(14.0, 0.9)) == pytest.approx(0.1)
    wild = Need(np.array([1.0]), np.array([5.0]), 0.3)
    assert (wild.quantile([1.0, 7.0, 70.0], 0.01) >= 0).all()
    sure = Need(np.array([7.0]), np.array([0.0]), 0.0)
    assert [float(sure.exceeds(7.0, x)) for x in (6.9, 7.1)] == [1.0, 0.0]


def test_a_plan_covers_its_weekends_but_not_the_weeks_that_nobody_planned() -> None:
    now = datetime(2026, 6, 19, 22, tzinfo=UTC)
    starts = week_starts(now, 5)
    day = timedelta(days=1)
    rows = [
        ("line1", "plum", now + 2 * day, now + 7 * day, 1000.0, 1, 1),
        ("line1", "plum", now + 23 * day, now + 28 * day, 1000.0, 1, 2),
    ]
    plan = pl.DataFrame(rows, schema=PLAN, orient="row")
    # The first week whole, two weeks not at all, then the five days from the plan's own row on.
    assert plan_cover(plan, "line1", starts) == pytest.approx([1, 0, 0, 5 / 7, 0])
    assert plan_cover(plan, "line2", starts).tolist() == [0.0] * 5


def test_a_row_of_a_plan_without_an_end_is_of_a_day() -> None:
    starts = week_starts(datetime(2026, 6, 8, tzinfo=UTC), 3)
    row = {"line": "line1", "product": "mint", "start": starts[1] - timedelta(hours=6), "pieces": 8_000.0}
    shares = planned_pieces(pl.DataFrame([row], schema=PLAN), starts)["line1", "mint"]
    assert shares.tolist() == pytest.approx([2_000, 6_000, 0])


def test_a_level_that_wanders_is_as_unsure_as_its_next_quarter_shows() -> None:
    rng = np.random.default_rng(7)
    series, weeks, ahead = 300, 104, 13
    walk = 1000 + np.cumsum(rng.normal(0, 10, (series, weeks + ahead)), axis=1)
    out = weekly_forecast((walk + rng.normal(0, 20, walk.shape))[:, :weeks], level(weeks, ahead), ["a"] * series)
    off = (walk[:, weeks:].mean(axis=1) - out.mean[:, 0]) / (out.level_cv * out.mean[:, 0])
    print(f"error of a quarter's level over the one stated: {off.std():.2f}")  # without the growth 2
    assert 0.85 < float(off.std()) < 1.2


@pytest.mark.parametrize(
    ("unseen", "dark", "seen"), [((60, 50, 0), [True, False, False], 0.9), ((60, 150, 200), 3 * [True], 1.0)]
)
def test_weeks_mostly_not_seen_are_left_out_of_the_share_that_was_seen(unseen, dark: list[bool], seen: float) -> None:
    """100, 200 and 300 good pieces in the three weeks before Monday the 29th, of which a part is made."""
    made = [
        (8, "mint", 100, unseen[0]),
        (15, "mint", 150, unseen[1]),
        (21, "mint", 50, 0),
        (22, "mint", 260, unseen[2]),
    ]
    rows = [(date(2026, 6, day), "1", *rest) for day, *rest in [*made, (28, "nut", 40, 0), (29, "nut", 999, 0)]]
    rows += [(date(2026, 6, 20), "2", "mint", 999, 0), (date(2026, 6, 7), "1", "mint", 999, 0)]
    past = pl.DataFrame(rows, schema=["date", "line", "product", "good", "unseen"], orient="row")
    found = _by_week(past, "1", date(2026, 6, 29), 3)
    assert (found.products, found.good.tolist()) == (["mint", "nut"], [[100, 200, 260], [0, 0, 40]])
    assert (found.dark.tolist(), found.seen_share) == (dark, pytest.approx(seen))
    assert [history_weeks(past, date(2026, 6, day)) for day in (29, 27, 13, 1)] == [3, 2, 0, 0]
    assert history_weeks(past.clear(), date(2026, 6, 29)) == 0
