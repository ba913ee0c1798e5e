"""Weight figures off the textbook, from exports to JSON: memory, heavy tails, outliers, uneven batches, steps."""

import pytest

from tests.from_frames import answered
from tests.simulate.odd_weights import CONDITIONS, odd_line
from tests.simulate.weighed_line import scope
from tests.truth.stated import Coverage


def holds(condition: str, lines: int, first: int) -> Coverage:
    coverage = Coverage()
    for seed in range(first, first + lines):
        line = odd_line(seed, CONDITIONS[condition])
        coverage.add(answered("weight", line.plant, scope(), line.frames), line.truth)
    coverage.assert_holds(condition)
    return coverage


@pytest.mark.parametrize("condition", ["memory 0.6", "t3 pieces", "one in a thousand heavy"])
def test_weight_figures_hold_on_60_lines(condition: str) -> None:
    holds(condition, 60, 10_000)


@pytest.mark.long
@pytest.mark.parametrize("condition", CONDITIONS)
def test_weight_figures_hold_on_300_lines(condition: str) -> None:
    holds(condition, 300, 0)
