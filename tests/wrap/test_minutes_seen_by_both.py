"""Use a thousand pieces rests on the minutes in which the feed counter and the pieces were both read."""

import json
from datetime import timedelta

import polars as pl
import pytest

from lineview.core.figure import Period
from lineview.report.answer import to_json
from tests.from_frames import answered
from tests.simulate.webs import START, frames_of, scope_of, wrap_line

MADE = wrap_line(2, days=1, every_s=30)
MIDDLE = START + (MADE.end - START) / 2
#: Metres of film a thousand good pieces that were fed.
TRUE_M = 1000 * MADE.truth.fed_m["film"] / MADE.truth.good


def figures(missing: pl.Expr, *, described: bool = True, period: Period | None = None) -> dict:
    """The figures in the JSON of the wrap answer without some readings, of a film in plant.toml or not."""
    plant = MADE.plant
    if not described:
        webs = tuple(web for web in plant.webs if web.kind != "film")
        products = tuple(product.model_copy(update={"webs": ("wax",)}) for product in plant.products)
        plant = plant.model_copy(update={"webs": webs, "products": products})
    scope = scope_of(MADE)
    if period is not None:
        scope = type(scope)(scope.line, scope.machine, period, scope.now, "a part of them")
    frames = frames_of(MADE, readings={"wrap1": MADE.readings.filter(~missing)})
    return json.loads(to_json(answered("wrap", plant, scope, frames)))["figures"]


def of(names: list[str], start, end) -> pl.Expr:
    return pl.col("channel").is_in(names) & pl.col("at").is_between(start, end, closed="none")


MISSING = {
    "pieces from the middle on": of(["pieces", "rejects"], START - timedelta(1), MIDDLE),
    "pieces up to the middle": of(["pieces", "rejects"], MIDDLE, MADE.end + timedelta(1)),
    "film from the middle on": of(["film"], START - timedelta(1), MIDDLE),
    "film up to the middle": of(["film"], MIDDLE, MADE.end + timedelta(1)),
    "film but for two hours": of(["film"], MIDDLE, MIDDLE + timedelta(hours=2)),
    "pieces but for two hours": of(["pieces"], MIDDLE, MIDDLE + timedelta(hours=2)),
    "nothing is missing": pl.lit(False),
}


@pytest.mark.parametrize("described", [True, False])
@pytest.mark.parametrize("missing", MISSING.values(), ids=MISSING)
def test_metres_a_thousand_are_those_of_common_minutes(missing: pl.Expr, described: bool) -> None:
    fed = figures(missing, described=described)["film_m_per_thousand_fed"]
    assert fed["value"] == pytest.approx(TRUE_M, rel=2e-3)
    assert fed["low"] <= fed["value"] <= fed["high"]
    assert fed["high"] - fed["low"] < 0.02 * TRUE_M


@pytest.mark.parametrize("missing", MISSING.values(), ids=MISSING)
def test_the_use_with_its_causes_is_that_of_common_minutes(missing: pl.Expr) -> None:
    by_name = figures(missing)
    use, geometry = by_name["film_m_per_thousand"], by_name["film_m_per_thousand_geometry"]
    assert geometry["value"] == pytest.approx(56)
    assert use["low"] <= TRUE_M * 1.003
    assert use["high"] >= TRUE_M
    assert use["value"] == pytest.approx(TRUE_M, rel=0.01)


@pytest.mark.parametrize("minutes", [3, 10, 60])
@pytest.mark.parametrize("offset_s", [0, 7, 22])
def test_bounds_of_a_short_period_include_its_edges(minutes: float, offset_s: float) -> None:
    """Readings 30 s apart: what lies over the period's edges may be in it or not, of pieces and of film."""
    start = MIDDLE + timedelta(minutes=90, seconds=offset_s)
    period = Period(start, start + timedelta(minutes=minutes))
    figure = figures(pl.lit(False), period=period)["film_m_per_thousand_fed"]
    narrow = figure["high"] - figure["low"]
    assert figure["low"] <= figure["value"] <= figure["high"]
    if offset_s:
        assert narrow > 0.2 / minutes * figure["value"], "the intervals over the edges are in doubt"
    assert figure["low"] > 0


def test_film_and_pieces_never_read_together_give_no_metres_fed() -> None:
    missing = MISSING["film from the middle on"] | MISSING["pieces up to the middle"]
    by_name = figures(missing)
    assert by_name["film_m_per_thousand_fed"]["value"] is None
    assert by_name["film_m_per_thousand_geometry"]["value"] == pytest.approx(56)
