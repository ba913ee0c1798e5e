"""The order answer on a simulated works: what it says, and what when something is missing or wrong."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, PLAN, STOCK, empty
from lineview.order.words import day_words, later_counts
from lineview.plant import Web
from lineview.report.tables import table_text
from tests.from_frames import answered
from tests.simulate.webs import frames_of, scope_of, wrap_line


@pytest.fixture(scope="module")
def works():
    return wrap_line(1, days=6, every_s=60)


def with_webs(works, **changes):
    webs = tuple(
        web.model_copy(update={"lead_time_days": 21.0, "lead_time_sd_days": 4.0, "minimum_reels": 12,
                               "multiple_reels": 4} | changes)
        for web in works.plant.webs
    )  # fmt: skip
    return works.plant.model_copy(update={"webs": webs})


def counted(works, film=300.0, wax=700.0, **others) -> pl.DataFrame:
    at = works.end
    rows = [
        {"at": at, "web": "film", "whole_reels": film, "part_reel_outer_mm": None, "on_order_reels": None,
         "expected_on": None, "intake": 1, "row": 1},
        {"at": at, "web": "Wax", "whole_reels": wax, "part_reel_outer_mm": None, "on_order_reels": None,
         "expected_on": None, "intake": 1, "row": 2},
    ]  # fmt: skip
    if others:
        rows.append({**rows[0], "whole_reels": None, "row": 3} | others)
    return pl.DataFrame(rows, schema=STOCK)


def planned(works, product: str, pieces: float, weeks: int = 4) -> pl.DataFrame:
    row = {
        "line": "line1", "product": product, "start": works.end, "end": works.end + timedelta(weeks=weeks),
        "pieces": pieces, "intake": 1, "row": 1,
    }  # fmt: skip
    return pl.DataFrame([row], schema=PLAN)


def value(answer, name):
    figure = answer.figure(name)
    assert figure is not None, name
    return figure.value


def test_it_says_what_to_order_by_when_and_what_waiting_risks(works) -> None:
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=counted(works)))
    assert answer.text.startswith("Order ")
    assert "; waiting a week means a risk of " in answer.text
    quantity = value(answer, "order_quantity_film")
    assert quantity % 4 == 0
    assert quantity >= 12
    assert value(answer, "chance_of_running_out_film") <= 0.05
    assert value(answer, "chance_waiting_a_week_film") > value(answer, "chance_of_running_out_film")
    assert value(answer, "order_by_film") >= works.end
    cover = answer.figure("days_of_cover_film")
    assert cover.low < cover.value < cover.high
    assert all(figure.value is not None or figure.why_none for figure in answer.figures)
    fan = answer.series["fan"]
    assert fan.columns == ["web", "week", "at", "low90", "low50", "mid", "high50", "high90"]
    for low, high in (("low90", "low50"), ("low50", "mid"), ("mid", "high50"), ("high50", "high90")):
        assert (fan[low] <= fan[high] + 1e-9).all()
    assert {t.name for t in answer.tables} == {"order", "order sheet", "reels for pieces", "demand"}


def test_reels_on_hand_are_the_count_less_what_was_wrapped_since(works) -> None:
    day = timedelta(days=1)
    earlier = counted(works).with_columns(pl.col("at") - day)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=earlier))
    week = value(answer, "use_reels_per_week_film")
    assert 300 - value(answer, "reels_on_hand_film") == pytest.approx(week / 7, rel=0.25)


def test_without_a_stock_count_it_gives_the_need_and_cannot_tell_when(works) -> None:
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works))
    assert value(answer, "reels_needed_film") > 0
    assert value(answer, "order_by_film") is None
    assert "no stock count" in answer.figure("order_by_film").why_none
    assert "no order date: no stock count was entered" in answer.text
    assert any(note.startswith("No stock count of ") for note in answer.notes)


def test_without_a_price_no_money_is_told(works) -> None:
    plant = with_webs(works, price_per_reel=None)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works)))
    assert value(answer, "order_money_film") is None
    assert "no price" in answer.figure("order_money_film").why_none
    assert value(answer, "order_quantity_film") is not None
    assert any(note.startswith("No price in plant.toml") for note in answer.notes)


def test_a_lead_time_of_nothing_is_allowed(works) -> None:
    plant = with_webs(works, lead_time_days=0.0, lead_time_sd_days=0.0)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=90.0)))
    days = (value(answer, "order_by_film") - works.end) / timedelta(days=1)
    low, high = answer.figure("days_of_cover_film").low, answer.figure("days_of_cover_film").high
    assert low - 1 <= days <= high


def test_without_a_lead_time_the_day_cannot_be_told(works) -> None:
    plant = with_webs(works, lead_time_days=None)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works)))
    assert "no lead_time_days" in answer.figure("order_by_film").why_none
    assert "; no order date: no lead_time_days in plant.toml for wax." in answer.text  # it said that none was counted


def test_a_plan_comes_before_history(works) -> None:
    plan = planned(works, "Plum", 4_000_000)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=counted(works), plan=plan))
    needed = answer.figure("reels_needed_film")
    assert needed.working.startswith("the plan")
    assert value(answer, "use_reels_per_week_film") == pytest.approx(1_000_000 * 0.056 / 2875, rel=0.05)


def test_demand_is_told_by_product_and_week_as_a_distribution(works) -> None:
    plan = planned(works, "Plum", 4_000_000)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=counted(works), plan=plan))
    rows = next(t for t in answer.tables if t.name == "demand").rows
    plum = [row for row in rows if row["product"] == "plum"]
    assert len(plum) == 4
    assert plum[0]["pieces"] == pytest.approx(1_000_000)
    assert all(row["low"] < row["pieces"] < row["high"] for row in plum)


def test_a_plan_with_a_flavour_nobody_knows_names_it(works) -> None:
    plan = planned(works, "Quince", 1_000_000)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=counted(works), plan=plan))
    assert any("Quince" in note and "not in plant.toml" in note for note in answer.notes)


def test_a_plan_with_a_flavour_that_has_no_web_names_it(works) -> None:
    plant = with_webs(works)
    bare = plant.products[0].model_copy(update={"webs": ("wax",)})
    plant = plant.model_copy(update={"products": (bare, *plant.products[1:])})
    plan = planned(works, "plum", 1_000_000)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works), plan=plan))
    assert any("plum has no film" in note for note in answer.notes)


def test_a_part_reel_thicker_than_new_is_refused_with_its_reason(works) -> None:
    stock = counted(works, part_reel_outer_mm=320.0)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=stock))
    assert value(answer, "reels_on_hand_film") == pytest.approx(300)
    assert any("thicker than new" in note for note in answer.notes)


def test_a_part_reel_counts_by_its_diameter(works) -> None:
    stock = counted(works, part_reel_outer_mm=200.0)
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=stock))
    share = (200**2 - 76**2) / (300**2 - 76**2)
    assert value(answer, "reels_on_hand_film") == pytest.approx(300 + share)


def test_a_shortage_before_an_open_delivery_is_told_apart(works) -> None:
    stock = counted(works, film=20.0, on_order_reels=400.0, expected_on=works.end + timedelta(days=10))
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=stock))
    assert value(answer, "chance_before_open_delivery_film") > 0.5
    assert value(answer, "chance_of_running_out_film") <= 0.05
    assert " before its delivery of" in answer.text


def test_history_without_anything_cannot_tell(works) -> None:
    answer = answered("order", with_webs(works), scope_of(works), frames_of(works, readings={}))
    assert answer.text == "No order advice yet: there is neither a plan nor a history."


def test_without_batches_webs_that_are_alone_of_their_kind_are_still_told(works) -> None:
    frames = frames_of(works, stock=counted(works), batches=empty(BATCHES))
    answer = answered("order", with_webs(works), scope_of(works), frames)
    with_batches = answered("order", with_webs(works), scope_of(works), frames_of(works, stock=counted(works)))
    use = value(answer, "use_reels_per_week_film")
    assert use == pytest.approx(value(with_batches, "use_reels_per_week_film"), rel=1e-3)


def test_costs_make_the_quantity_economic(works) -> None:
    plant = with_webs(works, freight_per_order=60.0, holding_percent_per_year=20.0, price_per_reel=34.0)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works)))
    yearly = value(answer, "use_reels_per_week_film") * 365.25 / 7
    economic = (2 * 60 * yearly / (0.2 * 34)) ** 0.5
    assert value(answer, "order_quantity_film") == pytest.approx(economic, abs=5)
    assert "economic quantity" in answer.figure("order_quantity_film").working


def test_shelf_life_caps_the_order(works) -> None:
    plant = with_webs(works, shelf_life_days=7.0, minimum_reels=1, multiple_reels=1)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works)))
    assert value(answer, "order_quantity_film") == pytest.approx(value(answer, "use_reels_per_week_film"), abs=1.01)


def test_the_order_sheet_adds_up_by_supplier(works) -> None:
    plant = with_webs(works, reels_per_pallet=48)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=100, wax=180)))
    sheet = next(t for t in answer.tables if t.name == "order sheet")
    rows = [r for r in sheet.rows if r["web"] not in ("total without freight", "freight")]
    total = next(r for r in sheet.rows if r["web"] == "total without freight")
    assert len(rows) == 2
    assert total["reels"] == sum(r["reels"] for r in rows)
    assert total["pallets"] == pytest.approx(total["reels"] / 48)
    # Nobody wrote a freight down, so the total says that it is not in it.
    assert total["money"] == pytest.approx(sum(r["money"] for r in rows))


def test_one_freight_stands_in_a_suppliers_total(works) -> None:
    plant = with_webs(works, reels_per_pallet=48, freight_per_order=75.0)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=100, wax=180)))
    sheet = next(t for t in answer.tables if t.name == "order sheet")
    freight = [r for r in sheet.rows if r["web"] == "freight"]
    total = next(r for r in sheet.rows if r["web"] == "total")
    assert [(r["money"], r["why"]) for r in freight] == [(75.0, "Once for the whole order")]
    rows = [r for r in sheet.rows if r["web"] not in ("total", "freight")]
    assert total["money"] == pytest.approx(sum(r["money"] for r in rows) + 75.0)


def test_the_sheet_says_why_so_many(works) -> None:
    breaks = ({"from_reels": 40, "price_per_reel": 8.0},)
    plant = with_webs(works, reels_per_pallet=48, minimum_reels=40, multiple_reels=8)
    webs = tuple(Web.model_validate({**web.model_dump(), "price_breaks": breaks}) for web in plant.webs)
    plant = plant.model_copy(update={"webs": webs})
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=100, wax=180)))
    sheet = next(t for t in answer.tables if t.name == "order sheet")
    first = sheet.rows[0]
    assert "8.00 EUR a reel from 40 reels on" in first["why"]
    assert first["reels"] % 8 == 0
    if first["reels"] > 40:
        assert "would do; " in first["why"] or "multiple of 8" in first["why"]


def test_order_day_is_shown_in_the_plants_zone(works) -> None:
    from lineview.order.words import day_words

    plant = works.plant.model_copy(update={"zone": "Pacific/Auckland"})
    assert day_words(datetime(2026, 6, 24, 20, tzinfo=UTC), plant) == "Thursday 25 June"


def test_a_flavour_never_made_borrows_from_its_base(works) -> None:
    plant = with_webs(works)
    plum, birch = (p.model_copy(update={"base": "milk"}) for p in plant.products)
    film = plant.webs[0].model_copy(update={"id": "film-quince", "name": "Film Quince"})
    quince = plum.model_copy(update={"id": "quince", "flavour": "Quince", "webs": ("film-quince", "wax")})
    plant = plant.model_copy(update={"webs": (*plant.webs, film), "products": (plum, birch, quince)})
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works)))
    lent, of_base = value(answer, "use_reels_per_week_film_quince"), value(answer, "use_reels_per_week_film")
    assert lent == pytest.approx(of_base / 2, rel=0.01)
    figure = answer.figure("use_reels_per_week_film_quince")
    assert figure.low < 0.5 * figure.value
    assert any(note.startswith("Film Quince: its flavour was never made") for note in answer.notes)
    # What the plan names borrows from nobody.
    plan = planned(works, "quince", 400_000)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works), plan=plan))
    assert value(answer, "use_reels_per_week_film_quince") == pytest.approx(100_000 * 0.056 / 2875, rel=0.1)
    assert not any("never made" in note for note in answer.notes)


def test_an_orders_money_is_written_alike_in_both_tables(works) -> None:
    plant = with_webs(works, price_per_reel=35.5, minimum_reels=1, multiple_reels=1)
    plant = plant.model_copy(update={"webs": tuple(w.model_copy(update={"price_breaks": ()}) for w in plant.webs)})
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=2, wax=2)))
    shown = {t.name: table_text(t, plant) for t in answer.tables}
    money = {n: [row[t.headings.index("total, EUR")] for row in t.rows] for n, t in shown.items() if "order" in n}
    assert re.fullmatch(r"[\d,]+\.\d\d", money["order"][0])
    assert set(money["order"]) <= set(money["order sheet"])


def test_what_may_come_over_is_told_beside_the_quantity(works) -> None:
    plant = with_webs(works, over_delivery_percent=10)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=100, wax=180)))
    row = next(t for t in answer.tables if t.name == "order sheet").rows[0]
    most = int(row["reels"] * 1.1 + 1e-9)
    assert f"up to {most} reels may come and be charged, {most * row['price']:,.2f} EUR" in row["why"]


def test_the_history_is_the_whole_works_and_the_period_sets_only_today(works) -> None:
    plant, frames = with_webs(works), frames_of(works, stock=counted(works))
    first = answered("order", plant, scope_of(works), frames)
    late = replace(scope_of(works), period=Period(works.end - timedelta(days=1), works.end))
    second = answered("order", plant, late, frames)
    for name in ("use_reels_per_week_film", "order_quantity_film", "order_by_film"):
        assert value(first, name) == value(second, name)
    assert "History: 7 days up to " in second.soft
    # Looked at from the past, a count that came later is not known yet.
    past = replace(scope_of(works), period=Period(scope_of(works).period.start, works.end - timedelta(days=2)))
    assert "no stock count" in answered("order", plant, past, frames).figure("order_by_film").why_none


def test_an_order_that_is_due_names_the_day_it_is_due_on(works) -> None:
    plant = with_webs(works)
    answer = answered("order", plant, scope_of(works), frames_of(works, stock=counted(works, film=3.0, wax=3.0)))
    assert answer.text.startswith(f"As of {day_words(works.end, plant)}, order ")
    assert " at once; " in answer.text
    assert "today" not in answer.text


def test_the_order_of_a_day_that_is_over_names_that_day(works) -> None:
    midnight = works.end.astimezone(works.plant.tz).replace(hour=0, minute=0, second=0, microsecond=0)
    day = Period((midnight - timedelta(days=1)).astimezone(UTC), midnight.astimezone(UTC))
    late = replace(scope_of(works), period=day, now=works.end + timedelta(days=2))
    stock = counted(works, film=3.0, wax=3.0).with_columns(at=pl.lit(day.start))
    answer = answered("order", with_webs(works), late, frames_of(works, stock=stock))
    assert answer.text.startswith(f"As of {day_words(day.start, works.plant)}, order ")


def test_counts_that_are_to_come_are_named_from_the_first_of_them_on(works) -> None:
    stock = counted(works).with_columns(at=pl.Series([works.end + timedelta(days=3), works.end + timedelta(days=9)]))
    (note,) = later_counts(stock, works.plant)
    assert note == (
        f"Stock counts of Wax, film from {day_words(works.end + timedelta(days=3), works.plant)} on are not used: "
        "that is to come."
    )
