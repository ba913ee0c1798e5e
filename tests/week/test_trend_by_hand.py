"""Causes against their weeks before: means, change, slope, levels and chances, by Student's law from scipy."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy.stats import linregress, t, ttest_ind

from lineview.week.tables import trend_table, window_table
from lineview.week.trend import History, Trends, cause_trends, history_of
from lineview.week.trial import _Series
from tests.simulate.shift_losses import Drawn, draw

MONDAY = datetime(2026, 6, 8, tzinfo=UTC)
PERIOD = (MONDAY, MONDAY + timedelta(weeks=1))
#: Nineteen shifts, two a week, the last four in the period and the week before it are apart: taken as independent.
AT = [MONDAY + timedelta(days=d, hours=6) for d in (*(-63 + 4.0 * k for k in range(15)), 0, 1, 2, 3)]
NOW = np.array([moment >= MONDAY for moment in AT])
WEEKS_BEFORE_END = np.array([(moment - PERIOD[1]) / timedelta(weeks=1) for moment in AT])
WAVE = np.array([0.4, -0.3, 0.1, -0.5, 0.2, 0.5, -0.2, 0.0, -0.4, 0.3, 0.6, -0.6, 0.1, -0.1, 0.2, 0.3, -0.4, 0.5, -0.3])
RISE = 2 + 0.2 * WAVE + 0.15 * (WEEKS_BEFORE_END + 10)
#: Minutes lost in an hour: one jumps in the period, one by less than one, one falls all the time, one rose until then,
#: one does neither.
LOST = {
    "stops: jam": 4 + WAVE + 2 * NOW,
    "changeovers": 3 + 0.1 * WAVE + 0.5 * NOW,
    "rejects": 2 + 0.5 * WAVE[::-1] - 0.15 * WEEKS_BEFORE_END,
    "short stops": np.where(NOW, RISE[~NOW].mean() + 0.2 * WAVE, RISE),
    "slow running": 3 + WAVE**2,
}


@pytest.fixture(scope="module")
def found() -> Trends:
    start = np.array([round(moment.timestamp() * 1e6) for moment in AT])
    names, planned = ["early"] * 19, np.full(19, 455.0)
    history = History(start, [m.date() for m in AT], names, planned, LOST, np.zeros((19, 0)), [])
    return cause_trends(history, PERIOD, list(LOST))


def chances(name: str) -> tuple[float, float]:
    """Of the change and of the slope, of the minutes or of their roots, whichever is greater."""
    both = (LOST[name], np.sqrt(LOST[name]))
    return (
        max(ttest_ind(y[NOW], y[~NOW]).pvalue for y in both),
        max(linregress(WEEKS_BEFORE_END, y).pvalue for y in both),
    )


def false_discoveries() -> dict[str, tuple[float, float]]:
    """Benjamini and Hochberg's adjusted chances over all rows together: the least of p × m ÷ rank from there on."""
    p = np.array([chance for name in LOST for chance in chances(name)])
    q = np.array([min(p[p >= own] * p.size / np.array([(p <= other).sum() for other in p[p >= own]])) for own in p])
    return {name: (q[2 * k], q[2 * k + 1]) for k, name in enumerate(LOST)}


def ends(estimate) -> tuple[float, float, float]:
    return estimate.value, estimate.low, estimate.high


@pytest.mark.parametrize("name", LOST)
def test_change_slope_and_chances(found: Trends, name: str) -> None:
    trend, y = found.of(name), LOST[name]
    assert trend is not None
    assert (trend.now, trend.before) == pytest.approx((y[NOW].mean(), y[~NOW].mean()))
    test = ttest_ind(y[NOW], y[~NOW])
    interval = test.confidence_interval(0.95)
    assert ends(trend.change) == pytest.approx((y[NOW].mean() - y[~NOW].mean(), interval.low, interval.high))
    line = linregress(WEEKS_BEFORE_END, y)
    half = t.ppf(0.975, 17) * line.stderr
    assert ends(trend.slope) == pytest.approx((line.slope, line.slope - half, line.slope + half))
    assert trend.p == pytest.approx(chances(name))
    assert trend.q == pytest.approx(false_discoveries()[name])
    assert (trend.change.n, trend.slope_weeks, found.shifts_now, found.shifts_before) == (19, 10, 4, 15)


def test_verdicts_and_their_words(found: Trends) -> None:
    words = {trend.cause: trend.words for trend in found.causes}
    assert words["stops: jam"] == words["changeovers"] == "worse than before"
    assert words["slow running"] == "no change beyond chance"
    of_change, of_slope = false_discoveries()["short stops"]
    assert (of_change > 0.05, of_slope <= 0.05, words["short stops"]) == (True, True, "worse over 10 weeks")
    of_change, of_slope = false_discoveries()["rejects"]
    assert words["rejects"] == ("better than before" if of_change <= 0.05 else "better over 10 weeks")


def test_the_tables_show_them_to_a_hundredth(found: Trends) -> None:
    for row, trend in zip(trend_table(found).rows, found.causes, strict=True):
        shown = [row[key] for key in ("now", "before", "change", "low", "high", "slope", "slope_low", "slope_high")]
        assert shown == [round(v, 2) for v in (trend.now, trend.before, *ends(trend.change), *ends(trend.slope))]
        assert row["chance"] == round(100 * min(false_discoveries()[trend.cause]), 1)


@pytest.mark.parametrize("weeks", [4, 8])
def test_levels_and_slopes_of_the_last_weeks(found: Trends, weeks: int) -> None:
    """A level is the mean of its shifts, as unsure as the line through them leaves it."""
    inside = -weeks <= WEEKS_BEFORE_END
    x, n = WEEKS_BEFORE_END[inside], int(inside.sum())
    rows = [row for row in window_table(found).rows if row["weeks"] == weeks]
    assert len(rows) == len(LOST)
    for row, y in zip(rows, (of[inside] for of in LOST.values()), strict=True):
        line = linregress(x, y)
        rest = y - line.intercept - line.slope * x
        half = t.ppf(0.975, n - 2) * np.sqrt(rest @ rest / (n - 2) / n)
        slope_half = t.ppf(0.975, n - 2) * line.stderr
        expected = {
            "level": y.mean(), "level_low": y.mean() - half, "level_high": y.mean() + half, "slope": line.slope,
            "slope_low": line.slope - slope_half, "slope_high": line.slope + slope_half,
        }  # fmt: skip
        assert {key: row[key] for key in expected} == {key: pytest.approx(v, abs=0.0051) for key, v in expected.items()}


@pytest.mark.parametrize("n", [9, 10])
def test_a_line_over_weeks_counts_the_mix_where_there_are_four_shifts_more_than_coefficients(n: int) -> None:
    """At the mean mix the slope is that of least squares with the shares beside the time."""
    mix = np.random.default_rng(1).uniform(size=(n, 4))
    at, lost = AT[-n:], LOST["stops: jam"][-n:]
    start = np.array([round(moment.timestamp() * 1e6) for moment in at])
    history = History(start, [m.date() for m in at], ["e"] * n, np.full(n, 455.0), {"jam": lost}, mix, list("abcd"))
    trend = cause_trends(history, PERIOD, ["jam"]).of("jam")
    assert trend is not None
    x = np.column_stack([np.ones(n), WEEKS_BEFORE_END[-n:], *([mix] if n >= 6 + 4 else [])])
    assert trend.slope.value == pytest.approx(np.linalg.lstsq(x, lost, rcond=None)[0][1])


def test_of_few_weeks_there_is_no_level_of_thirteen(found: Trends) -> None:
    assert {row["weeks"] for row in window_table(found).rows} == {4, 8}
    assert {w.level.why_none for trend in found.causes for w in trend.windows if w.weeks == 13} == {
        "too few weeks: needs 13"
    }


def test_a_shifts_spread_is_that_which_makes_a_difference_as_unsure_as_it_is() -> None:
    """Independent shifts of a spread of 2, 200 before and 40 since: their means differ by √(2² ÷ 200 + 2² ÷ 40)."""
    rng, before, since = np.random.default_rng(4), 200, 40
    value, n = rng.normal(30, 2, before + since), before + since
    rows = pl.DataFrame({"since": np.arange(n) >= before})
    shifts = SimpleNamespace(rows=rows, share=np.zeros((n, 0)), names=[])
    series = _Series(value, value, np.sqrt(value), np.ones(n), shifts)
    assert series.unit_sd(before, since) == pytest.approx(2, rel=0.12)
    assert series.unit_sd(before, 0) == pytest.approx(2, rel=0.12)


@pytest.mark.parametrize(("unread", "judged"), [(0.5, False), (0.001, True)])
def test_rejects_that_were_not_read_have_no_trend(unread: float, judged: bool) -> None:
    part, mix = draw(np.random.default_rng(4), Drawn(weeks=6))
    last = pl.col("start") == pl.col("start").max()
    shifts = part.shifts.with_columns(open_rejects=pl.when(last).then(unread * pl.col("good")).otherwise(0.0))
    history = history_of([replace(part, shifts=shifts)], [mix])
    assert ("rejects" in history.losses) is judged
    assert "blank wraps" in history.losses
