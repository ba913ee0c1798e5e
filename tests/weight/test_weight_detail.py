"""What the weight answer says of sources, stability, sample plans, bags and money, on an invented line."""

from __future__ import annotations

import dataclasses
import json
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import f as f_law

from lineview.app.bags import net_contents_tables
from lineview.core.estimate import Estimate
from lineview.core.frames import READINGS
from lineview.plant import Plant
from lineview.report.answer import Answer, Table, to_json
from lineview.weight.giveaway import Giveaway, money_given
from tests import factories
from tests.from_frames import answered
from tests.simulate.weighed_line import START, batch_sheet, counted, frames, plant, product, scope, weights

RULES = net_contents_tables()


def table(answer: Answer, name: str) -> Table:
    return next(t for t in answer.tables if t.name == name)


def line_with_rope(sd_thick: float, sd_air: float, batches: int = 30) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give weights, and the sizer's readings, of batches whose rope and air differ by so much."""
    rng = np.random.default_rng(4)
    thick, air = rng.normal(0, sd_thick, batches), rng.normal(0, sd_air, batches)
    made = weights(batches=batches, between=0.0, within=0.05, digits=4)
    index = ((made["at"] - START).dt.total_minutes() // 12).to_numpy()
    factor = (1 + thick[index]) ** 2 * (1 + air[index])
    made = made.with_columns(mass_g=pl.col("mass_g") * pl.Series(factor))
    rows, rope_m = [], 0.0
    for i in range(batches * 72):
        at = START + timedelta(seconds=10 * i)
        mm = 14 * (1 + thick[i // 72]) + rng.normal(0, 0.01)
        rows.append(("sizer1", "diameter", at, float(mm), "", "good", 1, i))
        rope_m += 55 * 35 / 1000
        rows.append(("sizer1", "rope", at, float(int(rope_m * 100) % 1000000), "", "good", 1, i))
    return made, pl.DataFrame(rows, schema=READINGS, orient="row")


def ask(
    made: pl.DataFrame, sizer: pl.DataFrame | None = None, works: Plant | None = None, *, bags: bool = False
) -> Answer:
    readings = {"wrap1": counted()} | ({} if sizer is None else {"sizer1": sizer})
    given = frames(made, batch_sheet(30), readings)
    if bags:
        given = dataclasses.replace(given, net_contents=RULES)
    return answered("weight", works or plant(), scope(), given)


def test_a_thick_and_thin_rope_sends_to_the_sizer() -> None:
    answer = ask(*line_with_rope(sd_thick=0.01, sd_air=0.002))
    share = answer.figure("share_diameter")
    assert share is not None and share.value > 70 and share.low > 40
    assert any("look at the sizer" in note for note in answer.notes)
    to_json(answer)


def test_each_share_is_what_the_draws_put_in() -> None:
    """Twice the rope's own spread, the air's, and that of single pieces; every length was cut alike."""
    sd_thick, sd_air, piece = 0.006, 0.010, 0.05 / 6.62
    rng = np.random.default_rng(4)  # as line_with_rope draws them
    thick, air = ((2 * rng.normal(0, sd_thick, 30)).var(ddof=1), rng.normal(0, sd_air, 30).var(ddof=1))
    true = {"diameter": thick, "cut_length": 0.0, "density": air, "rest_between": air, "rest_within": piece**2}
    figures = json.loads(to_json(ask(*line_with_rope(sd_thick, sd_air))))["figures"]
    for name, part in true.items():
        figure, truth = figures[f"share_{name}"], 100 * part / (thick + air + piece**2)
        assert figure["value"] == pytest.approx(truth, abs=4), name
        assert figure["low"] <= truth <= figure["high"], name
        assert (figure["unit"], figure["n"]) == ("%", 30 * 3 * 5), name
    assert figures["share_diameter"]["working"] == "cov(ln m, 2 ln d) / var(ln m); 450 pairs in 30 batches"


def test_air_sends_to_pulling() -> None:
    answer = ask(*line_with_rope(sd_thick=0.001, sd_air=0.02))
    density = answer.figure("share_density")
    assert density is not None and density.value > 70
    assert any("look at pulling" in note for note in answer.notes)


def test_shares_add_up_to_all_of_the_spread() -> None:
    answer = ask(*line_with_rope(sd_thick=0.005, sd_air=0.008))
    names = ("share_diameter", "share_cut_length", "share_density", "share_rest_within")
    values = [answer.figure(n).value for n in names]
    assert sum(values) == pytest.approx(100, abs=1e-6)


def test_without_rope_metres_cut_length_and_density_stay_together() -> None:
    made, sizer = line_with_rope(sd_thick=0.005, sd_air=0.008)
    answer = ask(made, sizer.filter(pl.col("channel") == "diameter"))
    for name in ("share_cut_length", "share_density"):
        assert "no counter of rope metres" in answer.figure(name).why_none
    assert answer.figure("share_rest_between").value is not None


def test_without_a_rope_gauge_nothing_is_split() -> None:
    answer = ask(weights(batches=20))
    assert "no rope diameter" in answer.figure("share_diameter").why_none


def test_the_delay_from_sizer_to_scale_is_found_with_its_limits() -> None:
    """The rope swings every 433 s, and each piece weighs what it measured 100 s before, with a scatter of its own.

    A delay is within the limits where it leaves at most 1 + F(0.95; 1, n - 2) / (n - 2) times the least squares.
    """

    def swing(second):
        return 0.01 * np.sin(2 * np.pi * second / 433)

    made = weights(batches=30, samples=tuple(range(2, 10)), each=1, between=0.0, within=0.06, digits=6)
    at_s, rope_s = (made["at"] - START).dt.total_seconds().to_numpy(), 5.0 * np.arange(30 * 144)
    made = made.with_columns(mass_g=pl.col("mass_g") * pl.Series((1 + swing(at_s - 100)) ** 2))
    moments = factories.moments(START.timestamp() + rope_s)
    answer = ask(made, factories.readings("sizer1", "diameter", moments, 14 * (1 + swing(rope_s))))
    shown = json.loads(to_json(answer))["figures"]["transport_delay_s"]

    def within(values: np.ndarray) -> np.ndarray:
        of_batch = np.log(values).reshape(30, 8)
        return (of_batch - of_batch.mean(axis=1, keepdims=True)).ravel()

    delays, mass = range(0, 125, 5), within(made["mass_g"].to_numpy())
    r = {delay: np.corrcoef(mass, within(1 + swing(at_s - delay)))[0, 1] for delay in delays}
    best, n = max(r, key=lambda delay: r[delay]), 30 * (8 - 1)
    most = (1 - r[best] ** 2) * (1 + f_law.ppf(0.95, 1, n - 2) / (n - 2))
    near = [delay for delay in delays if 1 - r[delay] ** 2 < most]
    assert (near[0], near[-1]) != (best, best)
    assert [shown[part] for part in ("value", "low", "high", "unit", "n")] == [best, near[0], near[-1], "s", n]
    assert shown["working"] == f"greatest correlation within batches, r = {r[best]:.2f}"


def test_without_a_delay_it_is_said_why() -> None:
    steady, rope = line_with_rope(sd_thick=0.01, sd_air=0.002)
    why = [json.loads(to_json(ask(steady, r)))["figures"]["transport_delay_s"]["why_none"] for r in (None, rope)]
    assert why == [
        "not known: no rope diameter in this period",
        "not known: no delay stands out, so readings are paired without one",
    ]


def test_bags_are_planned_by_the_plants_own_rules_and_marked() -> None:
    metric = table(ask(weights(batches=30), bags=True), "bags")
    assert [row["label_g"] for row in metric.rows] == [100.0, 250.0, 500.0]
    for row in metric.rows:
        assert row["count_chance"] >= 94
        assert row["count_mean_g"] >= row["label_g"] and row["fill_mean_g"] >= row["label_g"]
    assert RULES["eu"].short_banner in metric.title and "76/211/EEC" in metric.title
    us = plant().model_copy(update={"units": "US"})
    pound = table(ask(weights(batches=30), works=us, bags=True), "bags")
    assert pound.rows[-1]["label_g"] == 454 and "Handbook 133" in pound.title


def test_a_lot_is_an_hours_bags_as_counted_or_else_at_350_pieces_a_minute() -> None:
    uncounted = dataclasses.replace(frames(weights(batches=30), readings={}), net_contents=RULES)
    for answer, per_min in (
        (ask(weights(batches=30), bags=True), 330),
        (answered("weight", plant(), scope(), uncounted), 350),
    ):
        for row in table(answer, "bags").rows:
            an_hour_g = 60 * per_min * row["count_mean_g"] / row["count"]
            assert row["lot"] == pytest.approx(an_hour_g / row["label_g"], rel=0.01)


def test_without_rules_no_bag_is_planned() -> None:
    answer = answered("weight", plant(), scope(), frames(weights(batches=10)))
    assert table(answer, "bags").rows == []


def test_the_legal_caution_is_always_there() -> None:
    assert any("not a legal test" in c for c in ask(weights(batches=10)).cautions)


def test_sample_plans_grow_as_more_is_wanted() -> None:
    rows = table(ask(weights(batches=30)), "plans").rows
    totals = [row["total"] for row in rows]
    assert totals == sorted(totals, reverse=True)
    assert all(row["batches"] >= 2 for row in rows)


def test_money_needs_a_price() -> None:
    told = ask(weights(batches=10))
    assert "price_per_kg" in told.figure("giveaway_money_per_week").why_none
    priced = ask(weights(batches=10), works=plant(product("mint", price_per_kg=4.0)))
    money, kg = priced.figure("giveaway_money_per_week"), priced.figure("giveaway_kg_per_week")
    assert money is not None and kg is not None
    assert money.value == pytest.approx(4.0 * kg.value)
    assert money.unit == "EUR"


def two_products(mint: float | None, rose: float | None) -> tuple[Plant, pl.DataFrame]:
    """Give a plant whose products differ in price, and a sheet on which they take turns."""
    works = plant(product("mint", 6.57, price_per_kg=mint), product("rose", 6.60, price_per_kg=rose, bag_g=(250,)))
    return works, batch_sheet(30, ("mint", "rose"))


def test_products_of_unlike_prices_are_summed_each_at_its_own() -> None:
    works, sheet = two_products(4.0, 9.0)
    answer = answered("weight", works, scope(), frames(weights(batches=30), sheet))
    rows = table(answer, "giveaway").rows
    assert [row["product"] for row in rows] == ["mint", "rose"]
    money = answer.figure("giveaway_money_per_week")
    assert money is not None and money.low is not None
    assert money.value == pytest.approx(4.0 * rows[0]["kg"] + 9.0 * rows[1]["kg"])
    kg = answer.figure("giveaway_kg_per_week")
    assert kg is not None and kg.value == pytest.approx(rows[0]["kg"] + rows[1]["kg"])
    to_json(answer)


def test_a_product_without_a_price_is_named_and_the_priced_part_is_no_total() -> None:
    works, sheet = two_products(4.0, None)
    answer = answered("weight", works, scope(), frames(weights(batches=30), sheet))
    whole, part = answer.figure("giveaway_money_per_week"), answer.figure("giveaway_money_priced_per_week")
    assert whole is not None and whole.value is None and whole.why_none.endswith("of rose")
    assert part is not None and part.value is not None
    assert "mint alone" in part.label and "not the total" in part.working and " × 4 a kg" in part.working
    assert answer.figure("giveaway_kg_per_week").value is not None
    assert any("no price_per_kg" in note and "rose" in note for note in answer.notes)


def test_unlike_prices_without_a_sheet_are_not_averaged() -> None:
    prices = {"mint": 4.0, "rose": 9.0}
    given = Giveaway(Estimate(0.1), Estimate(10.0, 8.0, 12.0))
    told = money_given(given, ["mint", "rose"], prices)
    assert told.value is None and "no batch sheet" in told.why_none
    assert money_given(given, ["mint"], prices).value == pytest.approx(40.0)


def test_each_product_with_a_bag_is_planned_and_the_most_weighed_comes_first() -> None:
    works, sheet = two_products(None, None)
    given = dataclasses.replace(frames(weights(batches=29), sheet), net_contents=RULES)
    rows = table(answered("weight", works, scope(), given), "bags").rows
    assert [(row["product"], row["label_g"]) for row in rows] == [
        ("mint", 100.0), ("mint", 250.0), ("mint", 500.0), ("rose", 250.0),
    ]  # fmt: skip
    assert all(row["count_mean_g"] >= row["label_g"] for row in rows)
    few = dataclasses.replace(frames(weights(batches=3), sheet), net_contents=RULES)
    rose = table(answered("weight", works, scope(), few), "bags").rows[-1]
    assert rose["product"] == "rose" and rose["count"] is None and "too few" in rose["why"]


def test_the_batch_scales_error_widens_the_yield_and_the_working_shows_it() -> None:
    """GUM 4.3.7 by hand: 30 batches, each up to 0.2 kg off alike, are 30 × 0.2 / √3 = 3.46 kg."""
    plain = ask(weights(batches=30))
    scaled = ask(weights(batches=30), works=plant().model_copy(update={"batch_scale_error_kg": 0.2}))
    for name in ("yield_percent", "unexplained_kg"):
        before, after = plain.figure(name), scaled.figure(name)
        assert before is not None and after is not None
        assert after.value == before.value
        assert after.high - after.low > before.high - before.low
        assert "not declared" in before.working and "30 × 0.2 kg / √3 = 3.46 kg" in after.working
    lost, wider = plain.figure("unexplained_kg"), scaled.figure("unexplained_kg")
    assert lost is not None and wider is not None
    half = [(f.high - f.low) / 2 for f in (lost, wider)]
    assert half[1] ** 2 - half[0] ** 2 == pytest.approx(4 * (30 * 0.2) ** 2 / 3)


def test_skewed_pieces_are_told_and_quantiles_used() -> None:
    made = weights(batches=30, each=15, digits=6)
    rng = np.random.default_rng(6)
    tail = made.with_columns(mass_g=pl.col("mass_g") - pl.Series(rng.exponential(0.4, made.height)))
    answer = ask(tail)
    assert any("not normal" in note for note in answer.notes)
    figure = answer.figure("ppk_quantile")
    assert figure is not None and figure.low < figure.value < figure.high
    assert figure.value < answer.figure("ppk").value


def test_more_mass_out_than_in_is_not_passed_over() -> None:
    given = frames(weights(batches=30), batch_sheet(30, mass_in_kg=15.0))
    answer = answered("weight", plant(), scope(), given)
    assert any("More mass came out than went in" in note for note in answer.notes)


def test_chart_table_names_the_three_charts() -> None:
    charts = [row["chart"] for row in table(ask(weights(batches=30)), "chart").rows]
    assert charts == [
        "batch means (g off target)", "moving range of batch means (g)", "spread within batches (g)",
    ]  # fmt: skip
