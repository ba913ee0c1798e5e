"""Two scopes compared: differences as they stand add up to the difference of the effective rates, exactly."""

from __future__ import annotations

import math
import re
from datetime import date

import numpy as np
import pytest

from lineview.app.question import read_question
from lineview.app.second_scope import SecondScope, read_second_scope
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.week.compare import RATE
from tests.simulate.shift_losses import Drawn
from tests.truth.test_week_truth import compared

CASES = [
    {"line": "line1", "against": "line=line2"},
    {"only": "shift=early", "against": "shift=late"},
    {"against": "before=2026-06-10"},
    {"only": "product=vanilla", "against": "product=lemon"},
    {"against": "machine=wrap2", "machine": "wrap1"},
]


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
