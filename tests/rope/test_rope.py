"""The rope answer, from readings to sentence, figures and tables."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from pydantic import ValidationError

from lineview.core.errors import AskError
from lineview.core.figure import Period
from lineview.plant import Gauge, Plant
from lineview.report.answer import Answer, Scope
from lineview.rope.answer import answer_rope
from lineview.rope.drift_model import RopeModel, fit_rope
from lineview.rope.watch import left_over, run_rules
from lineview.stats.run_lengths import QUICK, SLOW
from tests.factories import holds
from tests.published.piston_rings import RINGS, VISCOSITY
from tests.simulate.rope import GAUGE, START, adjusted, ask, readings, rope, sheet, works
from tests.simulate.rope_batches import line


def test_drifting():
    answer = ask(rope(wear=-0.006, seed=2), sheet(120, 10))
    assert answer.text.startswith("The rope of sizer 2 is thinning 0.0053 mm an hour; at this pace it leaves tolerance")
    assert [span.call for span in answer.sentence] == [False, True, False, True, False]  # the pace, and when
    assert holds(answer, "drift_mm_per_h", -0.006)
    hours, drawn = answer.figure("hours_to_tolerance"), answer.series["forecast"]["running_h"]
    assert drawn[-1] - drawn[0] == pytest.approx(hours.high)
    assert holds(answer, "taper_mm", -0.05)
    assert holds(answer, "batch_to_batch_sd_mm", 0.03)
    assert holds(answer, "within_batch_sd_mm", 0.03)
    assert answer.figure("leaves_tolerance_at").value > answer.scope.now
    assert {"batches", "ewma", "cusum", "forecast", "adjustments"} <= set(answer.series)
    assert len(answer.cautions) == 3


def test_steady():
    answer = ask(rope(), sheet(120, 10))
    assert "holds steady" in answer.text
    assert not any(span.call for span in answer.sentence)
    assert holds(answer, "drift_mm_per_h", 0.0)
    ahead, behind = (np.ptp(answer.series[name]["running_h"].to_numpy()) for name in ("forecast", "batches"))
    assert ahead == pytest.approx(behind / 2)  # it leaves no tolerance within the horizon


def test_a_drift_that_stays_in_tolerance_calls_by_its_pace_alone():
    answer = ask(rope(wear=0.002), sheet(120, 10), plant=works(tolerance=3.0))
    assert "; at this pace it will not leave tolerance within 200 hours of running." in answer.text
    assert [span.call for span in answer.sentence] == [False, True, False]


def test_a_drift_that_is_likely_but_not_shown_is_not_called_steady():
    answer = ask(rope(wear=0.001, seed=1), sheet(120, 10))
    assert answer.figure("drift_mm_per_h").low < 0
    assert answer.text.startswith("The rope of sizer 2 may be thickening 0.0012 mm an hour, or hold steady; at")
    assert not any(span.call for span in answer.sentence)
    off, pace, hours = (answer.figure(n) for n in ("deviation_mm", "drift_mm_per_h", "hours_to_tolerance"))
    course = np.interp(
        hours.value, *answer.series["forecast"].select(pl.col("running_h") - pl.col("running_h").min(), "mid")
    )
    assert (course, off.value + hours.value * pace.value) == pytest.approx((0.3, 0.3))  # as drawn, and as said
    lead = next(table for table in answer.tables if any("what" in row and "said" in row for row in table.rows))
    assert {row["what"]: row["said"] for row in lead.rows}["likely cause"] == "not settled: it may drift or hold"


def test_stepped():
    answer = ask(rope(step=(70, 0.15), level=0.0), sheet(120, 10))
    assert "jumped up 0.1" in answer.text
    assert "no adjustment was recorded" in answer.text
    assert holds(answer, "adjustment_1_mm", 0.15)
    assert answer.series["adjustments"]["recorded"].to_list() == [False]


def test_repaired():
    answer = ask(rope(step=(70, -0.13), level=0.15), sheet(120, 10), adjusted(701))
    assert answer.text.startswith("The adjustment of Monday 15:41 corrected 0.1")
    assert holds(answer, "adjustment_1_mm", -0.13)
    row = next(t for t in answer.tables if t.name == "adjustments").rows[0]
    assert "corrected" in row["verdict"]


def test_the_drift_is_unchanged_since_the_last_of_two_adjustments():
    done = pl.concat([adjusted(301), adjusted(701)])
    answer = ask(rope(wear=-0.006), sheet(120, 10), done)
    assert answer.figure("drift_since").value == done["at"][1]


def test_an_adjustment_after_the_last_batch_is_shown_and_not_judged():
    answer = ask(rope(wear=-0.006), sheet(120, 10), adjusted(60 * 24 * 30))
    row = next(t for t in answer.tables if t.name == "adjustments").rows[-1]
    assert row["verdict"] == "no batch since, so not judged yet"
    assert row["size"] is None
    shown = answer.series["adjustments"].tail(1).to_dicts()[0]
    assert shown["running_h"] == answer.series["batches"]["running_h"].max()
    assert shown["recorded"]
    plain = ask(rope(wear=-0.006), sheet(120, 10))
    assert answer.figures == plain.figures


def test_one_batch_is_too_few():
    answer = ask(rope(1), sheet(1, 10))
    assert "not known: too few batches: needs 8, has 1" in answer.text
    assert answer.figure("drift_mm_per_h").why_none == "too few: needs 8, has 1"


def test_no_batch_marks_and_no_pauses_are_said_to_be_unknown():
    answer = ask(rope(wear=-0.006))
    assert any("Batches are unknown" in note for note in answer.notes)
    block_min = works().batch_kg * 1000 / works().products[0].mass_g / 350  # a batch at 350 pieces a minute
    assert answer.series["batches"].height == math.ceil(120 * 10 / block_min)
    assert holds(answer, "drift_mm_per_h", -0.006)
    assert answer.figure("taper_mm").value is None


def test_batches_are_found_from_pauses():
    frame = rope(wear=-0.006)
    paused = frame.with_columns(at=pl.col("at") + pl.duration(minutes=2) * (pl.int_range(pl.len()) // 30))
    answer = ask(paused)
    assert answer.series["batches"].height == 120
    assert any("found from pauses" in note for note in answer.notes)
    assert holds(answer, "drift_mm_per_h", -0.006)


def test_dead_gauge():
    answer = ask(rope().with_columns(value=pl.lit(14.02)), sheet(120, 10))
    assert "gauge dia is dead" in answer.text
    for n, dead in ((4, False), (5, True)):  # fewer may be alike by chance
        answer = ask(rope(1).head(n).with_columns(value=pl.lit(14.02)), sheet(1, 10))
        assert ("gauge dia is dead: it shows 14.02 and does not move" in answer.text) is dead
        why = "not known: gauge dia is dead: it shows 14.02 and does not move" if dead else "too few: needs 8, has 1"
        assert answer.figure("drift_mm_per_h").why_none == why
        (row,) = next(t for t in answer.tables if t.name == "gauges").rows
        used = ("no", 0, 5, "dead") if dead else ("yes", 4, 0, "")
        assert (row["used"], row["readings"], row["frozen"], row["found"]) == used


def test_gauge_dead_for_a_while_is_told_and_left_out():
    frame = rope(wear=-0.006)
    stuck = frame.with_columns(
        value=pl.when(pl.int_range(pl.len()).is_between(1500, 1800)).then(14.2).otherwise(pl.col("value"))
    )
    answer = ask(stuck, sheet(120, 10))
    assert any("was stuck for 301 readings" in note for note in answer.notes)
    assert holds(answer, "drift_mm_per_h", -0.006)


@pytest.mark.parametrize(
    ("factor", "unit"), [(1 / 25.4, "inches"), (100, "hundredths"), (80, "hundredths"), (1000, "micrometres")]
)
def test_wrong_unit(factor, unit):
    answer = ask(rope().with_columns(pl.col("value") * factor), sheet(120, 10))
    assert f"as if it were in {unit}" in answer.text
    (row,) = next(t for t in answer.tables if t.name == "gauges").rows
    assert (row["used"], row["readings"], row["found"].startswith(f"seems to be in {unit}")) == ("no", 0, True)
    assert answer.figure("drift_mm_per_h").value is None


def test_two_gauges_that_drift_apart():
    second = Gauge(id="dia2", measures="rope diameter", unit="mm", position_mm=900)
    frame = rope(wear=0.0)
    hours = (frame["at"] - START).dt.total_seconds() / 3600
    other = frame.with_columns(channel=pl.lit("dia2"), value=pl.col("value") + 0.1 + hours * 0.01)
    answer = ask(pl.concat([frame, other]), sheet(120, 10), plant=works(gauges=(GAUGE, second)))
    assert any("may be a gauge's and not the rope's" in note for note in answer.notes)
    used = next(t for t in answer.tables if t.name == "gauges").rows
    assert [row["gauge"] for row in used if row["used"] == "yes"] == ["dia2"]


def test_machine_that_is_no_sizer():
    scope = Scope("1", "wrap1", Period(START, START + timedelta(hours=1)), START)
    with pytest.raises(AskError, match="not a sizer"):
        answer_rope(works(), scope, None)


def limits_of(answer: Answer) -> dict[str, dict]:
    return {row["chart"]: row for row in next(t for t in answer.tables if t.name == "limits").rows}


def test_piston_rings_give_the_published_limits():
    times = [START + timedelta(minutes=30 * i + j) for i in range(25) for j in range(5)]
    answer = ask(readings(times, RINGS[:25].ravel()), sheet(25, 30), plant=works(diameter=74.0, tolerance=0.05))
    limits = limits_of(answer)
    mean, spread = limits["batch mean"], limits["standard deviation in a batch"]
    assert (mean["low"], mean["high"]) == pytest.approx((73.98805, 74.0143), abs=8e-6)
    assert limits["range in a batch"]["high"] == pytest.approx(0.04812533, abs=1e-6)
    assert (spread["centre"], spread["high"]) == pytest.approx((0.009240037, 0.01930242), abs=6e-9)


def test_viscosities_give_the_published_limits():
    times = [START + timedelta(minutes=30 * i + 5) for i in range(20)]
    answer = ask(readings(times, VISCOSITY[:20]), sheet(20, 30), plant=works(diameter=34.0, tolerance=2.0))
    single = limits_of(answer)["individuals"]
    assert (single["centre"], single["low"], single["high"]) == pytest.approx((34.088, 32.56504, 35.61096), abs=6e-6)
    assert single["which"] == "B4"


def with_rules(*tests: int) -> Plant:
    return works().model_copy(update={"run_rules": tests})


def waves(batches: int = 200) -> RopeModel:
    """Batches that swing to and fro every eight: no noise of the model is like that."""
    points, _ = line(np.random.default_rng(8), wear=0.0, phi=0.0, batches=batches, recorded=0)
    swing = 0.08 * np.sin(np.arange(batches) * 2 * np.pi / 8)
    return fit_rope(points.with_columns(deviation_mm=pl.col("deviation_mm") + pl.Series(swing)), [])


def test_off_by_default():
    answer = ask(rope(), sheet(120, 10))
    assert not any(t.name == "run_rules" for t in answer.tables)
    assert not any("un rules" in note for note in answer.notes)


def test_on_where_asked_for_with_the_run_length_they_bring():
    answer = ask(rope(wear=-0.02, seed=2), sheet(120, 10), plant=with_rules(1, 2))
    table = next(t for t in answer.tables if t.name == "run_rules")
    assert "once in 217 batches" in table.title  # 216.7 by the Markov chain of the source
    assert [row["rule"][:2] for row in table.rows] == ["1:", "2:"]
    assert table.rows[1]["signals"] > 0
    assert any("add false alarms" in note for note in answer.notes)


def test_refused_where_residuals_stay_correlated():
    found = run_rules(waves(), (1, 2))
    assert found.signals == {}
    assert "still depend on each other" in found.refused


def test_a_swing_that_no_model_tried_has_is_said_to_be_one():
    i = np.arange(200 * 30)
    swing = 0.08 * np.sin(2 * np.pi * (i // 30) / 8)
    answer = ask(rope(200).with_columns(value=pl.col("value") + pl.Series(swing)), sheet(200, 10))
    assert "is not known: the readings disagree with every model tried" in answer.text
    assert answer.figure("drift_mm_per_h").value is None
    assert answer.figure("hours_to_tolerance").value is None


def test_refused_with_few_batches():
    answer = ask(rope(20), sheet(20, 10), plant=with_rules(2))
    assert any("not applied: too few batches" in note for note in answer.notes)
    assert not any(t.name == "run_rules" for t in answer.tables)


def test_lines_the_model_fits_are_hardly_ever_refused():
    rng = np.random.default_rng(12)
    models = [fit_rope(line(rng, batches=200, recorded=0)[0], []) for _ in range(40)]
    refused = float(np.mean([left_over(model).p < 0.05 for model in models]))
    print(f"refused {refused:.3f} of lines that the model fits")
    assert refused <= 0.2


def test_a_rule_that_does_not_exist_is_a_fault():
    with pytest.raises(ValidationError):
        Plant(shop="Invented", run_rules=(9,))


def test_each_chart_smooths_the_surprises_by_its_own_weight():
    """Roberts' mean: z × weight + the mean before × (1 - weight), from 0 on."""
    series = ask(rope(step=(70, 0.15), level=0.0), sheet(120, 10)).series
    for name, weight in (("ewma", SLOW), ("quick", QUICK)):
        mean, expected = 0.0, []
        for surprise in series["residuals"]["value"]:
            mean = weight * surprise + (1 - weight) * mean
            expected.append(mean)
        assert series[name]["value"].to_list() == pytest.approx(expected)
