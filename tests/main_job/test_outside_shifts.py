"""Pieces made outside every shift: shift, wrap and week say the same number of them, and none loses minutes by them."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.core.figure import Period
from lineview.plant import Counter, Line, Machine, Plant, Shift, Web
from lineview.report.answer import Answer, Scope
from lineview.week.account import LineInputs, MachineInputs, WeekInputs, line_week
from lineview.week.answer import answer_week
from tests import factories
from tests.factories import value
from tests.from_frames import Frames, answered, counted

FRIDAY = datetime(2026, 6, 12, tzinfo=UTC)
EARLY = Shift(id="early", start="06:00", end="14:00")
MACHINE = Machine(
    id="w1",
    kind="cut-and-wrap machine",
    line="1",
    counters=(
        Counter(id="pieces", counts="pieces", modulus=1e6, fastest_per_min=450),
        Counter(id="film", counts="film", modulus=1e7, fastest_per_min=2600, unit_value=0.01),
    ),
)
FILM = Web(id="film", kind="film", cut_length_mm=56, width_mm=76, grammage_g_m2=30, reel_outer_mm=400, reel_core_mm=76)
PLANT = Plant(shop="Invented Sweets", shifts=(EARLY,), lines=(Line(id="1"),), machines=(MACHINE,), webs=(FILM,))
#: On Friday's shift 300 a minute, on Saturday from eight to noon 350: that is in no shift.
IN_SHIFT, OUTSIDE = 8 * 60 * 300, 4 * 60 * 350
WEEKEND = Period(FRIDAY, FRIDAY + timedelta(days=2))


def read() -> pl.DataFrame:
    """Counters from Friday's start to Saturday's end, every ten seconds."""
    at = np.arange(0, 48 * 3600 + 1, 10.0)
    hour = at / 3600
    made = np.interp(hour, [6, 14, 32, 36], [0, IN_SHIFT, IN_SHIFT, IN_SHIFT + OUTSIDE])
    moments = factories.moments(FRIDAY.timestamp() + at)
    parts = [("pieces", np.floor(made)), ("film", np.floor(np.floor(made) * 5.6))]
    return pl.concat([factories.readings("w1", name, moments, counts) for name, counts in parts])


READ = read()


def answer_to(question: str, period: Period = WEEKEND, plant: Plant = PLANT, frame: pl.DataFrame = READ) -> Answer:
    scope = Scope(line="1", machine="w1", period=period, now=WEEKEND.end)
    if question != "week":
        return answered(question, plant, scope, Frames({"w1": frame}))
    frames = Frames()
    counts = counted(plant, MACHINE, frame, (period.start, period.end))
    machine = MachineInputs(counts, frames.batches, frames.stop_log, frames.reels, FRIDAY)
    rope = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64})
    line = LineInputs("1", frames.batches, frames.weights, rope, rope)
    whole = (period.start, period.end)
    return answer_week(plant, scope, WeekInputs([line_week(plant, [machine], line, whole, scope.now)], []))


@pytest.mark.parametrize("question", ["shift", "wrap", "week"])
def test_each_says_how_many(question: str) -> None:
    answer = answer_to(question)
    assert value(answer, "good_pieces_outside_shifts") == OUTSIDE
    assert f"{OUTSIDE:,}" in answer.soft
    assert value(answer, "good_pieces") == (IN_SHIFT if question == "shift" else IN_SHIFT + OUTSIDE)


@pytest.mark.parametrize("question", ["shift", "wrap", "week"])
def test_readings_missing_over_the_edge_of_a_shift_leave_an_interval_that_holds(question: str) -> None:
    unread = pl.col("at").is_between(FRIDAY + timedelta(hours=13), FRIDAY + timedelta(hours=33))
    answer = answer_to(question, frame=READ.filter(~unread))
    outside = answer.figure("good_pieces_outside_shifts")
    assert outside.low <= OUTSIDE <= outside.high <= OUTSIDE + 60 * 301
    assert outside.low >= OUTSIDE - 60 * 350
    assert f"({round(outside.low):,} to {round(outside.high):,}) more good pieces" in answer.soft or question == "wrap"


def test_film_per_thousand_counts_them() -> None:
    assert value(answer_to("wrap"), "film_m_per_thousand") == pytest.approx(56, abs=0.01)


def test_no_minutes_are_lost_by_them_and_the_rows_add_up() -> None:
    answer = answer_to("week")
    ledger = next(t for t in answer.tables if t.name == "ledger of losses").rows
    *rows, total, outside = ledger
    assert outside["cause"] == "made outside every shift, in no sum"
    assert outside["pieces"] == -OUTSIDE
    assert "minutes" not in outside
    lost = 480 * 350 - IN_SHIFT
    assert total["pieces"] == sum(row["pieces"] for row in rows if row.get("pieces") is not None) == lost
    assert total["minutes"] == pytest.approx(lost / 350, abs=1)
    assert f"{IN_SHIFT:,} good pieces of {480 * 350:,} possible" in answer.soft


def test_a_day_without_a_shift_has_no_planned_minute_and_says_what_was_made() -> None:
    saturday = Period(FRIDAY + timedelta(days=1), FRIDAY + timedelta(days=2))
    shift, week = (answer_to(question, saturday) for question in ("shift", "week"))
    assert shift.text.startswith("No planned minutes in this period: no shift of plant.toml lies in it")
    assert week.text.startswith("No planned minute of ")
    for answer in (shift, week):
        assert f"Outside every shift {OUTSIDE:,} more good pieces were made: check the shifts" in answer.soft
        assert answer.figure("good_pieces_outside_shifts").value == OUTSIDE


def test_a_shift_says_that_the_weeks_around_it_were_made_outside_every_shift() -> None:
    monday = Period(FRIDAY + timedelta(days=3, hours=6), FRIDAY + timedelta(days=3, hours=14))
    scope = Scope(line="1", machine="w1", period=monday, now=monday.end)
    late = factories.readings("w1", "pieces", [monday.start, monday.end], [IN_SHIFT + OUTSIDE, IN_SHIFT + OUTSIDE + 9])
    answer = answered("shift", PLANT, scope, Frames({"w1": pl.concat([READ, late])}))
    assert f"In the weeks around it, {OUTSIDE:,} of {IN_SHIFT + OUTSIDE:,} good pieces were made outside" in answer.soft


def test_without_shifts_in_the_plant_nothing_lies_outside_them() -> None:
    always = PLANT.model_copy(update={"shifts": ()})
    for question in ("shift", "wrap", "week"):
        answer = answer_to(question, plant=always)
        assert answer.figure("good_pieces_outside_shifts") is None
        assert "utside every shift" not in answer.soft
