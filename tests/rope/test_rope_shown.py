"""The intervals that reach a reader of the rope, against quantiles of draws: level, side, unit, divisor and sign."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lineview.core.figure import Period
from lineview.plant import Counter, Line, Machine
from lineview.report.answer import Scope, to_json
from lineview.rope.account import rope_account
from tests import factories
from tests.from_frames import Frames, answered, rope_seen
from tests.simulate.rope import START, adjusted, rope, sheet, works

PIECES = Counter(id="pieces", counts="pieces", fastest_per_min=500)
WRAPPER = Machine(id="wrap", kind="cut-and-wrap machine", line="1", counters=(PIECES,))
TARGET_MM, TOLERANCE_MM, MASS_G, PRICE, PER_MIN = 14.0, 0.3, 6.8, 5.0, 300
DRAWS = 60_000


@pytest.fixture(scope="module")
def shown() -> tuple[dict, dict]:
    """Figures as JSON, and draws of what they are figures of."""
    bare = works()
    mint = bare.products[0].model_copy(update={"price_per_kg": PRICE})
    plant = bare.model_copy(
        update={"machines": (*bare.machines, WRAPPER), "products": (mint,), "lines": (Line(id="1"),)}
    )
    gauge = rope(wear=-0.006, step=(70, 0.13), level=-0.05, seed=2)
    at = gauge["at"].gather_every(3)
    end = gauge["at"].max() + (gauge["at"][1] - gauge["at"][0])
    made = factories.readings("wrap", "pieces", at, PER_MIN * np.arange(len(at), dtype=float))
    frames = Frames({"sizer2": gauge, "wrap": made}, batches=sheet(120, 10), adjustments=adjusted(701))
    scope = Scope("1", "sizer2", Period(START, end), end)
    figures = json.loads(to_json(answered("rope", plant, scope, frames)))["figures"]
    sizer = plant.machines[0]
    account = rope_account(plant, sizer, rope_seen(plant, sizer, frames, (START, end)), (START, end))
    model = account.model
    beta, sd, _ = model.fit.draws(DRAWS, seed=7)
    now = float(model.hours[-1])
    level, wear = beta @ model.at(now), beta[:, 1]
    return figures, {
        "level": level,
        "wear": wear,
        "step": beta[:, 2],
        "sd": sd,
        "within": account.within.sampling_sd_mm,
    }


def agrees(figure: dict, draws: np.ndarray, level: float) -> None:
    """Both ends are the draws' quantiles, to a twentieth of the width: 90 % is narrower than 95 % by a sixth."""
    tail = (1 - level) / 2
    low, high = np.quantile(draws, [tail, 1 - tail])
    assert f"{100 * level:.0f} %" in figure["interval"]
    assert figure["low"] == pytest.approx(low, abs=0.04 * (high - low))
    assert figure["high"] == pytest.approx(high, abs=0.04 * (high - low))
    assert figure["low"] < figure["value"] < figure["high"]


def test_the_drift_the_level_and_the_step(shown):
    figures, draws = shown
    agrees(figures["drift_mm_per_h"], draws["wear"], 0.95)
    agrees(figures["deviation_mm"], draws["level"], 0.95)
    agrees(figures["level_mm"], TARGET_MM + draws["level"], 0.95)
    agrees(figures["adjustment_1_mm"], draws["step"], 0.95)
    assert figures["drift_mm_per_h"]["value"] == pytest.approx(-0.006, abs=0.003)
    assert figures["adjustment_1_mm"]["value"] == pytest.approx(0.13, abs=0.05)


def test_the_spread_between_batches(shown):
    figures, draws = shown
    apart = np.sqrt(np.maximum(draws["sd"] ** 2 - draws["within"] ** 2, 0.0))
    agrees(figures["batch_to_batch_sd_mm"], apart, 0.95)
    assert figures["batch_to_batch_sd_mm"]["low"] < 0.03 < figures["batch_to_batch_sd_mm"]["high"]


def test_the_hours_to_tolerance(shown):
    """From where the mean's own 90 % interval reaches out of tolerance to where it has left it whole."""
    figures, draws = shown
    hours = np.linspace(0, 200, 801)
    paths = draws["level"][:20_000, None] + draws["wear"][:20_000, None] * hours
    high, middle, low = np.quantile(paths, [0.95, 0.5, 0.05], axis=0)
    first, likely, last = (float(hours[np.argmax(line < -TOLERANCE_MM)]) for line in (low, middle, high))
    figure = figures["hours_to_tolerance"]
    assert "90 %" in figure["interval"]
    assert (figure["low"], figure["value"], figure["high"]) == pytest.approx((first, likely, last), rel=0.03)
    share = figures["hours_to_share_out"]
    assert share["low"] < figure["low"]
    assert share["value"] < figure["value"]


def test_the_hours_to_the_first_batch_out(shown):
    """Batches without memory lie normally about the mean's path: the first beyond the tolerance ends it."""
    figures, draws = shown
    rng = np.random.default_rng(3)
    ahead = np.arange(1, 1200) / 6
    few = slice(0, 4000)
    paths = draws["level"][few, None] + draws["wear"][few, None] * ahead
    paths += draws["sd"][few, None] * rng.standard_normal(paths.shape)
    out = np.abs(paths) > TOLERANCE_MM
    hours = np.where(out.any(axis=1), ahead[out.argmax(axis=1)], np.inf)
    figure = figures["hours_to_first_out"]
    expected = np.quantile(hours, [0.05, 0.5, 0.95])
    assert "90 %" in figure["interval"]
    assert (figure["low"], figure["value"], figure["high"]) == pytest.approx(tuple(expected), rel=0.1)
    assert figure["value"] < figures["hours_to_tolerance"]["value"]


def test_the_weight_it_moves_a_week(shown):
    figures, draws = shown
    grams = MASS_G * ((1 + draws["level"] / TARGET_MM) ** 2 - 1)
    week = 7 * 24 * 60 * PER_MIN  # planned around the clock, and it ran all the time
    agrees(figures["weight_effect_g_per_piece"], grams, 0.95)
    agrees(figures["weight_effect_kg_per_week"], grams * week / 1000, 0.95)
    agrees(figures["weight_effect_money_per_week"], grams * week / 1000 * PRICE, 0.95)
