"""What reaches the buyer: shares of possible demand, and what a delivery that comes short does."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import gamma

from lineview.order.demand import Need
from lineview.order.policy import Supply, cover_bounds, cover_days, lead_time_values, reels_to_order
from lineview.order.reels_needed import reels_needed
from lineview.plant import Plant, Web
from lineview.report.answer import to_json
from lineview.report.tables import column_decimals
from tests.from_frames import answered
from tests.order.test_order_answer import counted, with_webs
from tests.simulate.webs import frames_of, scope_of, wrap_line


def film(**changes: object) -> Web:
    usual = {
        "id": "film",
        "kind": "film",
        "cut_length_mm": 50,
        "width_mm": 76,
        "reel_outer_mm": 300,
        "reel_core_mm": 76,
    }
    return Web.model_validate(usual | changes)


@pytest.fixture(scope="module")
def shown() -> tuple[dict, dict]:
    line = wrap_line(1, days=6, every_s=60)
    answer = json.loads(
        to_json(answered("order", with_webs(line), scope_of(line), frames_of(line, stock=counted(line))))
    )
    return answer["figures"], answer["series"]["fan"]


def law(mean: float, sd: float, share: float) -> float:
    """A quantile of the gamma law of that mean and spread."""
    return float(gamma.ppf(share, (mean / sd) ** 2, scale=sd**2 / mean))


def test_a_weeks_use_has_the_limits_of_90_percent_of_demand(shown) -> None:
    figures, fan = shown
    use, there = figures["use_reels_per_week_film"], figures["reels_on_hand_film"]["value"]
    week = next(row for row in fan if row["web"] == "film" and row["week"] == 1)
    half = week["low50"], week["high50"]  # what is left after a high and after a low week
    width = half[1] - half[0]
    sd = brentq(lambda s: law(use["value"], s, 0.75) - law(use["value"], s, 0.25) - width, 1e-3, 2 * use["value"])
    expected = law(use["value"], sd, 0.05), law(use["value"], sd, 0.95)
    assert (use["low"], use["high"]) == pytest.approx(expected, rel=0.01)
    assert (there - week["high90"], there - week["low90"]) == pytest.approx(expected, rel=0.01)


def test_cover_ends_where_demand_is_high_or_low_with_one_chance_in_twenty() -> None:
    need, there = Need(np.full(26, 4.0), np.full(26, 1.2), 0.08), 30.0
    days = np.arange(365)

    def runs_out(share: float) -> float:
        means, sds = need.mean(days), need.sd(days)
        used = [0.0, *(law(m, s, share) for m, s in zip(means[1:], sds[1:], strict=True))]
        return float(np.interp(there, used, days))

    assert cover_bounds(need, Supply(there, ())) == pytest.approx((runs_out(0.95), runs_out(0.05)), abs=0.01)


@pytest.mark.parametrize(
    ("there", "coming", "days"),
    [
        (0.5, ((0.8, 40.0),), 0.5),  # between two days, before the delivery of that day
        (0.5, ((0.3, 40.0),), 40.5),
        (0.0, ((2.0, 1.0),), 0.0),
        (3.0, ((9.0, 5.0), (2.0, 4.0)), 7.0),  # one delivery is in time, the next is not
        (3.0, ((-1.0, 2.0),), 5.0),  # overdue: expected at once
        (2000.0, (), math.inf),
    ],
)
def test_cover_ends_before_a_delivery_that_comes_too_late(
    there: float, coming: tuple[tuple[float, float], ...], days: float
) -> None:
    need = Need(np.full(26, 7.0), np.full(26, 0.1), 0.0)  # one reel a day: by hand
    assert cover_days(need, Supply(there, coming)) == pytest.approx(days)


def test_a_delivery_that_may_come_10_percent_short_takes_a_ninth_more() -> None:
    need = Need(np.full(26, 10.0), np.full(26, 1.0), 0.05)
    reels, basis = reels_to_order(film(under_delivery_percent=10, lead_time_days=14), need, 4)
    assert reels == pytest.approx(40 / 0.9)
    assert "44.4 as a delivery may come 10 % short" in basis
    short = reels_needed(film(), 1e6, reel_m=1000, under_delivery_percent=10)
    assert short.reels == 56  # 50,000 m on reels of 900 m


def test_lead_times_are_equally_likely_and_spread_as_stated() -> None:
    values = lead_time_values(20.0, 5.0, values=2001)
    assert (values.mean(), values.std()) == pytest.approx((20.0, 5.0), rel=0.01)
    assert values[1000] == pytest.approx(law(20.0, 5.0, 0.5))
    for mean, sd in ((20.0, 0.0), (0.0, 5.0), (0.0, 0.0)):
        assert lead_time_values(mean, sd).tolist() == [mean]  # at once is at once, however uneven


def test_reels_begun_keep_a_tenth_beside_hundreds() -> None:
    assert column_decimals([3.61, 131.0, None], "reels", Plant(shop="Invented Sweets")) == 1
    assert column_decimals([24, 672], "reels", Plant(shop="Invented Sweets")) == 0
