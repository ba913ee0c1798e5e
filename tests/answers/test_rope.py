"""The rope answer, from readings to sentence, figures and tables."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.answers.answer import Answer, Scope
from lineview.answers.rope import answer_rope
from lineview.columns import ADJUSTMENTS, BATCHES, READINGS, empty
from lineview.errors import AskError
from lineview.figure import Period
from lineview.plant import Gauge, Line, Machine, Plant, Product
from tests.from_frames import Frames, answered
from tests.published.piston_rings import RINGS, VISCOSITY
from tests.truth.rope_lines import ar1

START = datetime(2026, 6, 8, 4, tzinfo=UTC)
GAUGE = Gauge(id="dia", measures="rope diameter", unit="mm")


def works(*, diameter: float = 14.0, tolerance: float = 0.3, gauges: tuple[Gauge, ...] = (GAUGE,)) -> Plant:
    sizer = Machine(id="sizer2", name="sizer 2", kind="sizer", line="1", gauges=gauges)
    mint = Product(
        id="mint", flavour="mint", mass_g=6.8, mass_tolerance_g=0.3, diameter_mm=diameter,
        diameter_tolerance_mm=tolerance, cut_length_mm=30,
    )  # fmt: skip
    return Plant(shop="Invented", lines=(Line(id="1"),), machines=(sizer,), products=(mint,))


def readings(times: list[datetime], values: np.ndarray, channel: str = "dia") -> pl.DataFrame:
    return pl.DataFrame({"at": times, "value": values.astype(float)}).select(
        machine=pl.lit("sizer2"), channel=pl.lit(channel), at=pl.col("at").dt.cast_time_unit("us"),
        value="value",
        text=pl.lit(None, dtype=pl.String), quality=pl.lit("good"),
        intake=pl.lit(1), row=pl.int_range(pl.len()),
    ).cast(READINGS)  # fmt: skip


def sheet(n: int, minutes: float) -> pl.DataFrame:
    rows = [
        ("1", f"B{i + 1}", "mint", START + timedelta(minutes=minutes * i), None, None, 1, i) for i in range(n)
    ]
    return pl.DataFrame(rows, schema=BATCHES, orient="row")


def rope(
    n: int = 120, *, wear: float = 0.0, step: tuple[int, float] = (0, 0.0), level: float = 0.05, seed: int = 1
):
    """Ten-minute batches of thirty readings: wear, one step, batch shifts, taper, noise with memory."""
    rng = np.random.default_rng(seed)
    i = np.arange(n * 30)
    value = 14 + level + wear * i / 180 + step[1] * (i // 30 >= step[0]) - 0.05 * (i % 30 / 30 - 0.5)
    value = value + np.repeat(rng.normal(0, 0.03, n), 30) + 0.03 * ar1(n * 30, 0.7, rng)
    return readings([START + timedelta(seconds=20 * int(k)) for k in i], value)


def ask(
    frame: pl.DataFrame, batches: pl.DataFrame | None = None, done: pl.DataFrame | None = None,
    plant: Plant | None = None,
) -> Answer:  # fmt: skip
    end = frame["at"].max() + timedelta(seconds=1)
    frames = Frames(
        {"sizer2": frame},
        batches=empty(BATCHES) if batches is None else batches,
        adjustments=empty(ADJUSTMENTS) if done is None else done,
    )
    return answered("rope", plant or works(), Scope("1", "sizer2", Period(START, end), end), frames)


def adjusted(minutes: float) -> pl.DataFrame:
    rows = [("sizer2", START + timedelta(minutes=minutes), "pair 3 adjusted", "")]
    return pl.DataFrame(rows, schema=ADJUSTMENTS, orient="row")


def value(answer: Answer, name: str) -> float:
    figure = answer.figure(name)
    assert figure is not None
    assert isinstance(figure.value, float)
    return figure.value


def covers(answer: Answer, name: str, truth: float) -> bool:
    figure = answer.figure(name)
    return figure.low <= truth <= figure.high


def test_drifting():
    answer = ask(rope(wear=-0.006, seed=2), sheet(120, 10))
    assert answer.text.startswith(
        "The rope of sizer 2 is thinning 0.0054 mm an hour; at this pace it leaves tolerance"
    )
    assert any(span.call for span in answer.sentence)
    assert covers(answer, "drift_mm_per_h", -0.006)
    assert covers(answer, "taper_mm", -0.05)
    assert covers(answer, "batch_to_batch_sd_mm", 0.03)
    assert covers(answer, "within_batch_sd_mm", 0.03)
    assert answer.figure("leaves_tolerance_at").value > answer.scope.now
    assert {"batches", "ewma", "cusum", "forecast", "adjustments"} <= set(answer.series)
    assert len(answer.cautions) == 3


def test_steady():
    answer = ask(rope(), sheet(120, 10))
    assert "holds steady" in answer.text
    assert not any(span.call for span in answer.sentence)
    assert covers(answer, "drift_mm_per_h", 0.0)


def test_stepped():
    answer = ask(rope(step=(70, 0.15), level=0.0), sheet(120, 10))
    assert "stepped up 0.1" in answer.text
    assert "nobody recorded an adjustment" in answer.text
    assert covers(answer, "adjustment_1_mm", 0.15)
    assert answer.series["adjustments"]["recorded"].to_list() == [False]


def test_repaired():
    answer = ask(rope(step=(70, -0.13), level=0.15), sheet(120, 10), adjusted(701))
    assert answer.text.startswith("The adjustment of Monday 15:41 took out 0.1")
    assert covers(answer, "adjustment_1_mm", -0.13)
    row = next(t for t in answer.tables if t.name == "adjustments").rows[0]
    assert "took out" in row["verdict"]


def test_one_batch_is_too_few():
    answer = ask(rope(1), sheet(1, 10))
    assert "cannot be told: too few batches: needs 8, has 1" in answer.text
    assert answer.figure("drift_mm_per_h").why_none == "too few: needs 8, has 1"


def test_no_batch_marks_and_no_pauses_are_said_to_be_unknown():
    answer = ask(rope(wear=-0.006))
    assert any("Batches are unknown" in note for note in answer.notes)
    assert covers(answer, "drift_mm_per_h", -0.006)
    assert answer.figure("taper_mm").value is None


def test_batches_are_found_from_pauses():
    frame = rope(wear=-0.006)
    paused = frame.with_columns(at=pl.col("at") + pl.duration(minutes=2) * (pl.int_range(pl.len()) // 30))
    answer = ask(paused)
    assert answer.series["batches"].height == 120
    assert any("found from pauses" in note for note in answer.notes)
    assert covers(answer, "drift_mm_per_h", -0.006)


def test_dead_gauge():
    answer = ask(rope().with_columns(value=pl.lit(14.02)), sheet(120, 10))
    assert "gauge dia is dead" in answer.text


def test_gauge_dead_for_a_while_is_told_and_left_out():
    frame = rope(wear=-0.006)
    stuck = frame.with_columns(
        value=pl.when(pl.int_range(pl.len()).is_between(1500, 1800)).then(14.2).otherwise(pl.col("value"))
    )
    answer = ask(stuck, sheet(120, 10))
    assert any("stood still for 301 readings" in note for note in answer.notes)
    assert covers(answer, "drift_mm_per_h", -0.006)


@pytest.mark.parametrize(
    ("factor", "unit"), [(1 / 25.4, "inches"), (100, "hundredths"), (1000, "micrometres")]
)
def test_wrong_unit(factor, unit):
    answer = ask(rope().with_columns(pl.col("value") * factor), sheet(120, 10))
    assert f"as if it were in {unit}" in answer.text
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
    answer = ask(
        readings(times, RINGS[:25].ravel()), sheet(25, 30), plant=works(diameter=74.0, tolerance=0.05)
    )
    limits = limits_of(answer)
    mean, spread = limits["batch mean"], limits["standard deviation in a batch"]
    assert (mean["low"], mean["high"]) == pytest.approx((73.98805, 74.0143), abs=8e-6)
    assert limits["range in a batch"]["high"] == pytest.approx(0.04812533, abs=1e-6)
    assert (spread["centre"], spread["high"]) == pytest.approx((0.009240037, 0.01930242), abs=6e-9)


def test_viscosities_give_the_published_limits():
    times = [START + timedelta(minutes=30 * i + 5) for i in range(20)]
    answer = ask(readings(times, VISCOSITY[:20]), sheet(20, 30), plant=works(diameter=34.0, tolerance=2.0))
    single = limits_of(answer)["individuals"]
    assert (single["centre"], single["low"], single["high"]) == pytest.approx(
        (34.088, 32.56504, 35.61096), abs=6e-6
    )
    assert single["which"] == "B4"
