"""Mean times of stops and the shift's projection, from exports to JSON, on weeks of shifts off the textbook."""

from functools import cache

import pytest

from tests.simulate.odd_shifts import CONDITIONS, mean_run_min, mean_stop_min, odd_weeks
from tests.truth.stated import Coverage

stop_min = cache(mean_stop_min)


def holds(condition: str, lines: int, first: int, hours: tuple[float, ...]) -> None:
    odd = CONDITIONS[condition]
    # A pace off the usual is projected for its lasting and for its not lasting: this is stated as "at least 90 %".
    changed = odd.worsened != 1.0
    means, projected = Coverage(), Coverage(at_least=("projected",) if changed else ())
    for seed in range(first, first + lines):
        weeks = odd_weeks(seed, odd)
        for hour in hours:
            projected.add(weeks.answer(hour), {"projected_pieces": weeks.made(8.0)}, at=f" at {hour:g} h")
        means.add(weeks.answer(8.0), {"mttr_min": stop_min(odd), "mtbf_min": mean_run_min(odd)})
    means.assert_holds(condition)
    projected.assert_holds(condition, level=0.9)


@pytest.mark.parametrize("condition", ["breakdowns in 4 % of stops"])
def test_stops_and_projection_hold_on_60_lines(condition: str) -> None:
    holds(condition, 60, 10_000, (4.0,))


@pytest.mark.long
@pytest.mark.parametrize("condition", CONDITIONS)
def test_stops_and_projection_hold_on_300_lines(condition: str) -> None:
    holds(condition, 300, 0, (2.0, 4.0, 6.0))


def test_without_past_shifts_no_interval_is_stated_and_it_is_said_why() -> None:
    answer = odd_weeks(3, CONDITIONS["plain"], days=4).answer(4.0)
    said = {f.name: (f.low, f.interval_kind) for f in answer.figures}
    assert said["projected_pieces"] == (None, "no interval: needs 8 whole shifts of the four weeks before, has 3")
    assert said["mtbf_min"][0] is None
    assert said["mtbf_min"][1].endswith("has 4")
