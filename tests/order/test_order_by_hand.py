"""A plan and a stock count, to the figures a buyer gets: each worked out here by the gamma law alone.

A plan is met to within 10 % a week (the project's assumption), so that everything else follows from it.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy.optimize import brentq
from scipy.stats import gamma

from lineview.core.figure import Period
from lineview.core.frames import PLAN, STOCK
from lineview.order.demand import Need
from lineview.order.orders import names_of
from lineview.order.policy import Supply, chance_before_open
from lineview.order.words import chance_words
from lineview.plant import Line, Machine, Plant, Web
from lineview.records.output import DAILY_OUTPUT
from lineview.report.answer import Scope, to_json
from tests import factories
from tests.from_frames import Frames, answered
from tests.order.test_forecasts import smoothed

NOW = datetime(2026, 6, 12, 9, 30, tzinfo=UTC)
A_WEEK, WEEKS = 300_000.0, 60
LEAD, ON_HAND, COMING, COMING_DAYS = 21.0, 34.4, 39.2, 20.5
REEL_M, UNDER = 1500.0, 0.10
#: Reels that a week takes: a delivery may come 10 % short, and each reel holds its label less what it loses.
LOST_M, RUNNING = 12.0, 0.02
PRICE, CHEAPER, FROM_REELS, FREIGHT, HOLDING = 9.4, 9.0, 600, 60.0, 0.2


def works() -> Plant:
    wax = Web(
        id="wax", kind="wax paper", cut_length_mm=50, width_mm=40, grammage_g_m2=38, reel_outer_mm=300,
        reel_core_mm=76, reel_length_m=REEL_M, start_m=7, end_m=5, running_waste_percent=100 * RUNNING,
        price_per_reel=PRICE, lead_time_days=LEAD, lead_time_sd_days=0, minimum_reels=48, multiple_reels=24,
        under_delivery_percent=100 * UNDER, freight_per_order=FREIGHT, holding_percent_per_year=100 * HOLDING,
        price_breaks=({"from_reels": FROM_REELS, "price_per_reel": CHEAPER},), supplier="Invented Paper",
    )  # fmt: skip
    machine = Machine(id="wrap1", kind="cut-and-wrap machine", line="1")
    mint = factories.product("mint", webs=("wax",))
    return Plant(
        shop="Invented Sweets",
        currency="EUR",
        lines=(Line(id="1"),),
        machines=(machine,),
        webs=(wax,),
        products=(mint,),
    )


def order_of(
    *planned: tuple[int, int, float], coming_days: float = COMING_DAYS, on_hand: float = ON_HAND
) -> dict[str, Any]:
    """The order's JSON by a plan: from week, to week, pieces; an open delivery comes in so many days."""
    week = timedelta(weeks=1)
    plan = [{"start": NOW + a * week, "end": NOW + b * week, "pieces": pieces} for a, b, pieces in planned]
    count = {"web": "wax", "at": NOW, "whole_reels": on_hand, "on_order_reels": COMING if on_hand else 0}
    frames = Frames(
        plan=factories.rows(PLAN, plan, line="1", product="mint"),
        stock=factories.rows(STOCK, [count], expected_on=NOW + timedelta(days=coming_days)),
    )
    return shown_of(frames)


def shown_of(frames: Frames) -> dict[str, Any]:
    scope = Scope("1", "wrap1", Period(NOW - timedelta(days=1), NOW), NOW)
    return dict(json.loads(to_json(answered("order", works(), scope, frames))))


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    return order_of((0, WEEKS, A_WEEK * WEEKS))


#: Reels a week: net length and running waste, by what can be drawn from a reel.
WEEK = A_WEEK * 0.050 * (1 + RUNNING) / (REEL_M - LOST_M)


def law(days: float, week: float = WEEK) -> Any:
    """The need up to a day: a gamma law, its weeks independent, 10 % each."""
    mean, sd = week * days / 7, 0.1 * week * math.sqrt(days / 7)
    return gamma((mean / sd) ** 2, scale=sd**2 / mean)


def there(days: float) -> float:
    return ON_HAND + (COMING if days > COMING_DAYS else 0.0)


def chance(order_in_days: float) -> float:
    return float(law(order_in_days + LEAD).sf(there(order_in_days + LEAD)))


def last_day(risk: float) -> int:
    return next(day for day in range(400) if chance(day) > risk) - 1


def point() -> float:
    """Reorder point: a day's need, the overshoot of a sum past a level (renewal theory), 5 % chance."""
    day = law(1.0)
    mean, third = day.mean(), day.moment(3)
    under = (day.var() + mean**2) / (2 * mean)
    m, v = LEAD * mean + under, LEAD * day.var() + third / (3 * mean) - under**2
    return float(gamma.ppf(0.95, m**2 / v, scale=v / m))


def days_until(share: float) -> float:
    """When the need that is passed with a chance of 1 − share takes all that is there."""
    return float(brentq(lambda d: law(d).ppf(share) - ON_HAND - COMING, 10, 200))


def figure(shown: dict[str, Any], name: str) -> dict[str, Any]:
    return dict(shown["figures"][f"{name}_wax"])


def test_every_figure_is_the_one_worked_out(shown) -> None:
    due, half = last_day(0.05), last_day(0.025)
    assert 0 < half < due
    expected = {
        "use_reels_per_week": (WEEK, "reels/week"),
        "reels_on_hand": (ON_HAND, "reels"),
        "reels_needed": (math.ceil(A_WEEK * WEEKS * 0.050 * (1 + RUNNING) / (REEL_M * (1 - UNDER) - LOST_M)), "reels"),
        "reorder_point": (point(), "reels"),
        "chance_of_running_out": (chance(due), ""),
        "chance_waiting_a_week": (chance(due + 7), ""),
        "chance_if_ordered_today": (chance(0), ""),
        "chance_before_open_delivery": (float(law(COMING_DAYS).sf(ON_HAND)), ""),
        "days_of_cover": ((ON_HAND + COMING) / WEEK * 7, "days"),
        "safety_reels": (ON_HAND + COMING - law(due + LEAD).mean(), "reels"),
        "halving_reels": ((due - half) * WEEK / 7, "reels"),
        "halving_money": ((due - half) * WEEK / 7 * PRICE, "EUR"),
    }
    for name, (value, unit) in expected.items():
        assert figure(shown, name)["value"] == pytest.approx(value, rel=1e-6), name
        assert figure(shown, name)["unit"] == unit, name
    assert figure(shown, "order_by")["value"] == (NOW + timedelta(days=due)).isoformat().replace("+00:00", "Z")


def test_an_open_delivery_that_comes_with_todays_order_does_not_last_until_it() -> None:
    now = figure(order_of((0, WEEKS, A_WEEK * WEEKS), coming_days=LEAD), "chance_if_ordered_today")
    assert now["value"] == pytest.approx(float(law(LEAD).sf(ON_HAND)), rel=1e-6)


def test_a_plan_of_nothing_has_no_reorder_point() -> None:
    shown = order_of((0, WEEKS, 0.0))
    assert figure(shown, "reorder_point")["why_none"] == "not known: no need of wax, or no lead_time_days in plant.toml"
    assert shown["sentence"] == "Nothing has to be ordered: what is on hand and on order lasts beyond a year."
    (row,) = shown["tables"]["order"]["rows"]
    assert (row["use"], row["reorder"], row["order"], row["by"]) == (0, None, None, None)


def test_the_least_need_has_its_reorder_point() -> None:
    """The gamma law of a need a few thousandths as large is as much smaller, its point too."""
    small = figure(order_of((0, WEEKS, A_WEEK * WEEKS / 4000)), "reorder_point")
    assert small["value"] == pytest.approx(point() / 4000, rel=1e-5)


def test_every_working_has_the_numbers_worked_out(shown) -> None:
    due, economic = last_day(0.05), math.sqrt(2 * FREIGHT * WEEK * 365.25 / 7 / (HOLDING * PRICE))
    reels, lead = 24 * math.ceil(economic / (1 - UNDER) / 24), "21 ± 0 days"
    need, half = law(LEAD).mean(), (due - last_day(0.025)) * WEEK / 7
    whole = {
        "use_reels_per_week": "from plan; a reel holds 1,500 m",
        "reels_on_hand": f"34.4 whole reels and 0 m in part reels = {ON_HAND * REEL_M:,.0f} m, less use since the "
        "count, ÷ 1,500 m",
        "reorder_point": f"need of {need:.1f} reels in a lead time of {lead}, with {point() - need:.1f} reels of "
        "safety stock: 5 % chance of running out in a cycle",
        "order_by": f"latest day with at most 5 % chance, lead time {lead}",
        "order_quantity": f"the economic quantity, {economic:.1f} reels, {economic / (1 - UNDER):.1f} as a delivery "
        "may come 10 % short, raised to at least 48 reels and a multiple of 24",
        "chance_of_running_out": f"need beyond what is there within {lead}",
        "chance_waiting_a_week": f"need within 7 days + {lead}",
        "chance_if_ordered_today": f"need within {lead}",
        "chance_before_open_delivery": f"need beyond what is there within {COMING_DAYS} days",
        "days_of_cover": "until the expected need first exceeds what is on hand and delivered by then",
        "safety_reels": "reels there less the expected need",
        "order_money": f"{reels} reels × {PRICE} EUR",
        "halving_reels": "need in the days that the order must go out earlier for a chance of 2.5 %",
        "halving_money": f"{half:.3f} reels × {PRICE} EUR",
    }
    assert {name: figure(shown, name)["working"] for name in whole} == whole
    needed = shown["tables"]["reels for pieces"]["rows"][0]["working"]
    assert figure(shown, "reels_needed")["working"] == f"the plan: {needed}"


def test_of_two_open_deliveries_the_one_that_is_likelier_too_late_counts() -> None:
    """Five reels come in a week, ninety in four: the second is the greater risk, whichever is listed first."""
    need = Need(np.full(WEEKS, WEEK), np.full(WEEKS, 0.1 * WEEK), 0.0)
    for coming in (((7.0, 5.0), (28.0, 90.0)), ((28.0, 90.0), (7.0, 5.0))):
        found = chance_before_open(need, Supply(ON_HAND, coming))
        assert found == (pytest.approx(law(28).sf(ON_HAND + 5)), 28.0)
    assert chance_before_open(need, Supply(ON_HAND)) is None


def test_without_a_reel_there_is_no_day_of_cover() -> None:
    cover = figure(order_of((0, WEEKS, A_WEEK * WEEKS), on_hand=0), "days_of_cover")
    assert (cover["value"], cover["low"], cover["high"]) == (0, 0, 0)


def test_limits_are_those_of_one_chance_in_twenty_a_side(shown) -> None:
    use, cover = figure(shown, "use_reels_per_week"), figure(shown, "days_of_cover")
    assert (use["low"], use["high"]) == pytest.approx((law(7).ppf(0.05), law(7).ppf(0.95)), rel=1e-6)
    assert (cover["low"], cover["high"]) == pytest.approx((days_until(0.95), days_until(0.05)), rel=1e-4)
    week = next(row for row in shown["series"]["fan"] if row["week"] == 1.0)
    shares = {"low90": 0.95, "low50": 0.75, "mid": 0.5, "high50": 0.25, "high90": 0.05}
    assert {k: week[k] for k in shares} == pytest.approx({k: ON_HAND - law(7).ppf(s) for k, s in shares.items()})
    delivered = (NOW + timedelta(days=COMING_DAYS)).isoformat().replace("+00:00", "Z")
    before, after = (row["mid"] for row in shown["series"]["fan"] if row["at"] == delivered)
    left = ON_HAND - law(COMING_DAYS).ppf(0.5)
    assert (before, after) == pytest.approx((left, left + COMING))
    row = shown["tables"]["demand"]["rows"][0]
    of_week = law(7, A_WEEK)
    assert (row["pieces"], row["low"], row["high"]) == pytest.approx((A_WEEK, of_week.ppf(0.05), of_week.ppf(0.95)))


def test_the_quantity_is_the_economic_one_of_the_cheaper_price(shown) -> None:
    yearly = WEEK * 365.25 / 7

    def cost(reels: float, price: float) -> float:
        return price * yearly + FREIGHT * yearly / reels + HOLDING * price * reels / 2

    economic = math.sqrt(2 * FREIGHT * yearly / (HOLDING * PRICE))
    assert cost(economic, PRICE) < cost(FROM_REELS, CHEAPER)
    reels = 24 * math.ceil(economic / (1 - UNDER) / 24)
    assert figure(shown, "order_quantity")["value"] == reels
    assert figure(shown, "order_money")["value"] == pytest.approx(reels * PRICE)
    total = shown["tables"]["order sheet"]["rows"][-1]
    assert total["money"] == pytest.approx(reels * PRICE + FREIGHT)


def test_the_table_says_what_the_figures_say(shown) -> None:
    columns = [column["key"] for column in shown["tables"]["order"]["columns"]]
    assert (columns[0], columns[-1]) == ("web", "money")  # neither a declaration nor a reason why not is told
    (row,) = shown["tables"]["order"]["rows"]
    due = last_day(0.05)
    assert row["by"] == str(date(2026, 6, 12) + timedelta(days=due))
    assert row["arrives"] == str(date(2026, 6, 12) + timedelta(days=due + LEAD))
    assert (row["on_hand"], row["on_order"], row["use"]) == pytest.approx((ON_HAND, COMING, WEEK))
    assert row["reorder"] == pytest.approx(point())
    for name, days in (("chance", due), ("chance_week_later", due + 7)):
        assert row[name] == round(100 * chance(days), 1)
    assert row["before_open"] == round(100 * law(COMING_DAYS).sf(ON_HAND), 1)
    assert (row["order"], row["money"]) == (
        figure(shown, "order_quantity")["value"],
        figure(shown, "order_money")["value"],
    )
    (reels,) = shown["tables"]["reels for pieces"]["rows"]
    net = A_WEEK * WEEKS * 0.050
    assert (reels["net"], reels["proportional"]) == pytest.approx((net, net * RUNNING))
    assert reels["fixed"] == pytest.approx(reels["reels"] * LOST_M)
    assert reels["gross"] == pytest.approx(net * (1 + RUNNING) + reels["fixed"])
    assert reels["order"] == 24 * math.ceil(reels["reels"] / 24)
    assert (reels["basis"], reels["pieces"], reels["reel"]) == ("the plan", A_WEEK * WEEKS, REEL_M)
    assert reels["working"] == (
        f"18,000,000 pieces × 50 mm = 900,000 m net; + 2 % = 18,000 m in proportion; + 0 m at 0 starts; ÷ (1,350 m a "
        f"reel − 12 m lost with each) → {reels['reels']} whole reels (a delivery may come 10 % short)"
    )
    weeks = shown["tables"]["demand"]["rows"]
    assert [row["week"] for row in weeks] == [f"{NOW + timedelta(weeks=k):%FT%TZ}" for k in range(4)]
    assert all(row | {"week": ""} == weeks[0] | {"week": ""} for row in weeks)


def test_the_sheet_and_the_notes_word_for_word(shown) -> None:
    """One web of its supplier, so that its freight is not shared."""
    economic = math.sqrt(2 * FREIGHT * WEEK * 365.25 / 7 / (HOLDING * PRICE))
    reels = 24 * math.ceil(economic / (1 - UNDER) / 24)
    shared = ("Invented Paper", str(date(2026, 6, 12) + timedelta(days=last_day(0.05))))
    why = (
        f"The economic quantity, {economic:.1f} reels, {economic / (1 - UNDER):.1f} as a delivery may come 10 % short; "
        f"raised to {reels}, a multiple of 24"
    )
    sheet = shown["tables"]["order sheet"]
    keys = [column["key"] for column in sheet["columns"]]
    assert keys == ["supplier", "by", "web", "reels", "price", "money", "pallets", "why"]
    assert [tuple(row[key] for key in keys) for row in sheet["rows"]] == [
        (*shared, "wax", reels, PRICE, pytest.approx(reels * PRICE), None, why),
        (*shared, "freight", None, None, FREIGHT, None, ""),
        (*shared, "total", reels, None, pytest.approx(reels * PRICE + FREIGHT), None, ""),
    ]
    assert shown["notes"] == [
        "Days count weekends too, with the need spread evenly over the week; what cannot be wrapped while a web is "
        "out is assumed to be wrapped once it arrives.",
        "No date of a food-contact declaration in plant.toml for wax: ask the supplier for it before ordering.",
    ]


def test_the_use_a_week_is_that_of_the_coming_week() -> None:
    shown = order_of((0, 1, A_WEEK / 3), (1, WEEKS, A_WEEK * (WEEKS - 1)))
    assert figure(shown, "use_reels_per_week")["value"] == pytest.approx(WEEK / 3)


def test_a_delivery_that_may_come_too_late_is_said_with_its_chance() -> None:
    more = 1.2
    shown = order_of((0, WEEKS, more * A_WEEK * WEEKS))
    risk = float(law(COMING_DAYS, more * WEEK).sf(ON_HAND))
    assert 0.75 < risk < 0.85  # so that a hundredth of it shows in two figures
    day = NOW + timedelta(days=COMING_DAYS)
    assert f"may run out before its delivery of {day:%A} {day.day} July ({100 * risk:.2g} % risk)" in shown["sentence"]
    assert figure(shown, "reorder_point")["working"].endswith(": 5 % chance of running out in a cycle")
    assert figure(shown, "order_by")["working"].startswith("latest day with at most 5 % chance")


#: By how much more a week takes, and the reels on hand: the sentence and the list below it.
SAID = {
    (1.0, ON_HAND): (
        "Order 216 reels of wax by Wednesday 8 July; waiting a week means a risk above 95 % of running out.",
        "order 216 reels by Wednesday 8 July. 34.4 reels on hand, 39 on order, at the expected need out in 50 days",
    ),
    (1.2, ON_HAND): (
        "Order 672 reels of wax by Monday 29 June; it may run out before its delivery of Thursday 2 July (79 % risk).",
        "ask the supplier to bring forward the delivery of Thursday 2 July, before which it may run out; "
        "order 672 reels by Monday 29 June. 34.4 reels on hand, 39 on order, at the expected need out in 20 days",
    ),
    (3.1, ON_HAND): (
        "As of Friday 12 June, order 672 reels of wax at once; it will almost surely run out before its delivery of "
        "Thursday 2 July.",
        "ask the supplier to bring forward the delivery of Thursday 2 July, before which it will almost surely run "
        "out; order 672 reels at once, although it may run out before they come (a risk above 95 %). 34.4 reels on "
        "hand, 39 on order, at the expected need out in 8 days",
    ),
    (1.0, 0.0): (
        "As of Friday 12 June, order 216 reels of wax at once; even so it may run out before they come, with a risk "
        "above 95 %.",
        "order 216 reels at once, although it may run out before they come (a risk above 95 %). 0.0 reels on hand, "
        "runs out within a day",
    ),
    (0.01, ON_HAND): ("Nothing has to be ordered: what is on hand and on order lasts beyond a year.", ""),
}  # fmt: skip


@pytest.mark.parametrize(("more", "on_hand"), SAID)
def test_what_to_do_is_said_by_the_chances_worked_out(more: float, on_hand: float) -> None:
    """At once where even today's order comes too late with a chance above the accepted one; else by that day."""
    shown = order_of((0, WEEKS, more * A_WEEK * WEEKS), on_hand=on_hand)
    sentence, point = SAID[more, on_hand]
    assert shown["sentence"] == sentence
    assert shown["points"] == ([f"wax: {point}, lead time 21 ± 0 days."] if point else [])
    assert shown["soft"] == "Accepted: a 5 % chance of running out before a delivery."
    if on_hand and more > 0.1:
        late = float(law(LEAD, more * WEEK).sf(there(LEAD)))
        assert ("at once" in sentence) == (late > 0.05)
        alone, together = (reels / (more * WEEK) * 7 for reels in (ON_HAND, ON_HAND + COMING))
        assert f"at the expected need out in {alone if alone < COMING_DAYS else together:.0f} days" in point


def test_a_chance_is_said_in_two_figures_between_its_ends() -> None:
    assert [chance_words(chance) for chance in (0.95, 0.949, 0.0123, 0.001, 0.0009)] == [
        "a risk above 95 %", "a risk of 95 %", "a risk of 1.2 %", "a risk of 0.1 %", "a risk below 0.1 %"
    ]  # fmt: skip


def order_after(weeks: list[float]) -> dict[str, Any]:
    """The order's JSON after 88 days and a bit of today: how many times a usual week each 7 days made, latest first."""
    days = [(NOW.date() - timedelta(days=k), A_WEEK / 7 * weeks[(k - 1) // 7]) for k in range(1, 89)]
    days.append((NOW.date(), A_WEEK / 70))
    made = pl.DataFrame(
        [("1", day, "mint", pieces, pieces, pieces, 0.0, 480.0) for day, pieces in days],
        schema=DAILY_OUTPUT,
        orient="row",
    )
    count = {"web": "wax", "at": NOW, "whole_reels": ON_HAND, "on_order_reels": COMING}
    stock = factories.rows(STOCK, [count], expected_on=NOW + timedelta(days=COMING_DAYS))
    return shown_of(Frames(made=made, stock=stock))


def test_the_oldest_whole_week_counts_and_the_days_before_it_do_not() -> None:
    use = figure(order_after([1.0] * 11 + [2.0, 9.0]), "use_reels_per_week")
    assert use["value"] == pytest.approx(WEEK * smoothed(np.array([2.0] + [1.0] * 11))[2])


def test_a_history_that_never_changes_is_the_forecast() -> None:
    """Twelve weeks and a half of it: the days before the first whole week are in no week of their own."""
    shown = order_after([1.0] * 13)
    use, cover = figure(shown, "use_reels_per_week"), figure(shown, "days_of_cover")
    assert (use["value"], use["low"], use["high"]) == pytest.approx((WEEK, WEEK, WEEK))
    assert cover["value"] == pytest.approx((ON_HAND + COMING) / WEEK * 7)
    due = math.floor((ON_HAND + COMING) / WEEK * 7 - LEAD)
    assert figure(shown, "order_by")["value"] == (NOW + timedelta(days=due)).isoformat().replace("+00:00", "Z")
    assert figure(shown, "chance_of_running_out")["value"] == 0.0
    assert figure(shown, "chance_waiting_a_week")["value"] == 1.0


def test_a_log_may_call_a_web_by_its_kind_where_there_is_one_of_it() -> None:
    one = {"cut_length_mm": 50, "width_mm": 40, "reel_outer_mm": 300, "reel_core_mm": 76}
    kinds = {"clear": "film", "white": "wax paper", "brown": "wax paper"}
    webs = tuple(Web(id=name, kind=kind, name=f"{name} web", **one) for name, kind in kinds.items())
    plant = Plant(shop="Invented", webs=webs)
    assert [names_of(plant, web) for web in webs] == [
        ["clear", "clear web", "film"], ["white", "white web"], ["brown", "brown web"]
    ]  # fmt: skip
