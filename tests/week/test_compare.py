"""Two scopes compared: differences as they stand add up to the difference of the effective rates, exactly."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.second_scope import SecondScope, read_second_scope
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.core.estimate import Estimate
from lineview.core.frames import BATCHES, WEIGHTS, empty
from lineview.plant import Plant
from lineview.report import show
from lineview.week.compare import MEASURES, NO_DIFFERENCE, RATE, Comparison, Difference, judged
from lineview.week.material import weighed_off_target
from lineview.week.side_by_side import compared_sentence, difference_series
from lineview.week.trend import BETTER, WORSE
from tests import factories
from tests.simulate.shift_losses import PLANNED_MIN, Drawn, draw
from tests.truth.test_week_truth import compared

CASES = [
    {"line": "line1", "against": "line=line2"},
    {"only": "shift=early", "against": "shift=late"},
    {"against": "before=2026-06-10"},
    {"only": "product=vanilla", "against": "product=lemon"},
    {"against": "machine=wrap2", "machine": "wrap1"},
]


def test_more_pieces_and_uptime_are_better_and_more_of_all_else_is_worse() -> None:
    rows = [Difference(name, unit, 2.0, 1.0, Estimate(1.0, 0.5, 1.5), q=1e-6) for name, (unit, _) in MEASURES.items()]
    measures, (cause,) = judged(rows, [replace(rows[0], name="stops: jam")])
    better = [row.name for row in measures if row.verdict == BETTER]
    assert better == ["effective rate", "uptime"]
    assert {row.verdict for row in (*measures, cause) if row.name not in better} == {WORSE}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["against"])
def test_losses_add_up_to_the_difference_of_the_rates(week: Works, case: dict[str, str]) -> None:
    answer = week.ask(read_question("week", **case))
    table = next(table for table in answer.tables if table.name == "difference")
    *rows, total = table.rows
    assert total["what"] == RATE
    assert math.fsum(row["difference"] for row in rows) == pytest.approx(total["difference"], abs=1e-9)  # as printed
    assert total["difference"] == pytest.approx(total["first"] - total["second"], abs=0.0151)
    assert len(answer.text.split()) <= 30
    assert re.search(r"In all of .+, (all lines|Cut-and-wrap 1|Line 1), [a-z ]+ cost most: ", answer.soft), answer.soft
    assert answer.series["differences"].height


@pytest.mark.parametrize("seed", range(10))
def test_exact_before_rounding(seed: int) -> None:
    found = compared(seed, Drawn(drifting_mix=True), 5)
    rate = found.measure(RATE)
    assert rate.value == pytest.approx(
        found.nominal[0] - found.nominal[1] - math.fsum(row.value for row in found.causes), abs=1e-9
    )


def test_a_second_scope_is_read_with_all_its_faults() -> None:
    assert read_second_scope("line=line2, shift=late") == SecondScope(line="line2", shift="late")
    assert read_second_scope("before=2026-06-10").before == date(2026, 6, 10)
    with pytest.raises(AskError) as caught:
        read_second_scope("nonsense before=tomorrow")
    assert len(caught.value.faults) == 2


def test_a_second_scope_that_the_plant_lacks_is_named(week: Works) -> None:
    with pytest.raises(AskError, match="unknown shift 'dawn'"):
        week.ask(read_question("week", against="shift=dawn"))
    with pytest.raises(AskError, match="not within"):
        week.ask(read_question("week", against="before=2020-01-01"))
    with pytest.raises(AskError, match="'shift' is not compared"):
        read_question("shift", against="previous")


def test_a_shift_is_compared_with_the_same_hours_of_the_day_before(week: Works) -> None:
    answer = week.ask(read_question("week", line="line1", period="2026-06-11.early", against="previous"))
    assert "10 June, same hours" in answer.soft
    before = week.ask(read_question("shift", line="line1", period="2026-06-10.early"))
    assert f"against {before.figure('effective_rate_per_min').value:.1f}" in answer.text


def test_no_shift_on_one_side_says_so(week: Works) -> None:
    answer = week.ask(read_question("week", against="2026-05-04..2026-05-10"))
    assert "Nothing to compare" in answer.text


def test_a_jam_that_is_worse_makes_the_difference() -> None:
    n = 130
    found = compared(2, Drawn(factor={"stops: jam": (n - 10, 3.0)}), 10)
    worst = found.causes[0]
    assert worst.name == "stops: jam"
    assert worst.verdict == "worse"
    assert np.sign(found.measure(RATE).value) == -1
    # The picture shows what each cause takes off or adds, so that a loss of more stands below 0.
    drawn = difference_series(found).rows()
    assert [row[1:] for row in drawn] == [
        (-row.value, -row.same_mix.high, -row.same_mix.low, row.verdict) for row in found.causes
    ]
    assert drawn[0][1] < 0


def test_at_one_mix_a_difference_is_that_of_least_squares_with_the_share_of_a_product() -> None:
    """Twenty-five shifts against as many some weeks before, made on a mix that drifts; no history beside them."""
    drawn = Drawn(drifting_mix=True, on_second={"stops: jam": 3.0})
    found = compared(3, drawn, 25, with_history=False)
    part, mix = draw(np.random.default_rng(3), drawn)
    n = part.shifts.height
    assert (found.shifts, found.paired, len(found.mix)) == ((25, 25), 0, 1)
    product = found.mix[0].removeprefix("product ")
    shares = mix.filter(pl.col("product") == product)
    share = np.zeros(n)
    share[shares["place"].to_numpy()] = shares["share"].to_numpy()
    rows = np.r_[n - 25 : n, n - 60 : n - 35]
    x = np.column_stack([np.ones(50), np.repeat([1.0, 0.0], 25), share[rows]])
    for cause in ("stops: jam", "changeovers"):
        lost = part.losses.filter(pl.col("cause") == cause).sort("start")["pieces"].to_numpy()[rows] / PLANNED_MIN
        row = next(row for row in found.causes if row.name == cause)
        assert (row.first, row.second) == pytest.approx((lost[:25].mean(), lost[25:].mean()))
        assert row.same_mix.value == pytest.approx(np.linalg.lstsq(x, lost, rcond=None)[0][1])


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (9.93, "; stops for jam cost 0.3 a minute less; no difference beyond chance."),
        (9.96, " then; no difference beyond chance."),  # both are 10.0
    ],
)
def test_the_dearest_cause_is_named_where_rates_differ_by_a_twentieth(second: float, words: str) -> None:
    rate = Difference(RATE, "pieces/min", 10.0, second, Estimate(10.0 - second), 0.5, NO_DIFFERENCE)
    jam = Difference("stops: jam", "pieces/min", 0.2, 0.5, Estimate(-0.3), 0.5, NO_DIFFERENCE)
    spans = compared_sentence(Comparison("now", "then", (rate,), (jam,), (10.0, 10.0), (5, 5), 0))
    text = "".join(span.text for span in spans)
    assert text == f"Now: 10.0 good pieces a minute against {show.number(second, 1)}{words}"


@pytest.mark.parametrize("products", [1, 2])
def test_a_weight_that_no_batch_names_is_of_the_only_product(products: int) -> None:
    at = [datetime(2026, 6, 8, 6, minute, tzinfo=UTC) for minute in (0, 10, 20)]
    names = ("mint", "nut")[:products]
    plant = Plant(shop="Invented", products=tuple(factories.product(name, mass_g=6.8) for name in names))
    weighed = [{"at": moment, "mass_g": 6.9 + k / 100} for k, moment in enumerate(at)]
    frame = factories.rows(WEIGHTS, weighed, machine="w", pieces=1, gross=False, batch="", sample="s")
    off = weighed_off_target(plant, empty(BATCHES), frame, [(at[0], at[2])])["off_g"].to_list()
    assert off == (pytest.approx([0.1, 0.11]) if products == 1 else [])


@pytest.mark.parametrize(
    ("case", "shared"),
    [({"against": "2026-W24"}, 22), ({"against": "2026-06-09..2026-06-12"}, 18), ({"against": "line=line1"}, 11)],
)
def test_scopes_that_share_shifts_are_not_judged(week: Works, case: dict[str, str], shared: int) -> None:
    answer = week.ask(read_question("week", period="2026-W24", **case))
    assert answer.text.endswith("; not judged, since shifts are on both sides.")
    assert answer.notes[0] == f"not judged: {shared} shifts are on both sides."
    differences = answer.series["differences"]
    assert differences["low"].null_count() == differences.height > 0
    assert set(differences["verdict"]) == {""}


def test_a_night_shift_over_a_days_beginning_is_on_one_side(week: Works) -> None:
    answer = week.ask(read_question("week", period="2026-W24", against="before=2026-06-12"))
    assert "both sides" not in answer.text + " ".join(answer.notes)


def test_two_scopes_before_the_first_reading_have_nothing_to_compare(week: Works) -> None:
    for against in ("2025-W23", "line=line2", "before=2026-06-03"):
        answer = week.ask(read_question("week", period="2026-W23", line="line1", against=against))
        assert answer.text.startswith("Nothing to compare: no planned minute of ")
        assert ": 0 and 0 whole shifts. In all of" in answer.soft
