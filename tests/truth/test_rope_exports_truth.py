"""Every figure of the rope with an interval, from exports to JSON, on ropes whose truth is known."""

import json
from datetime import datetime

import pytest

from lineview.report.answer import to_json
from tests.simulate.exported_rope import ExportedRope, exported_rope
from tests.truth.stated import Coverage

#: Figures of the model, whose intervals also hold a level that wanders.
AT_LEAST = ("drift", "level", "deviation", "effect", "adjustment", "temperature", "batch_to_batch")


def seconds(at: str | datetime | None) -> float | None:
    """A moment as a number, so that it lies in an interval or not."""
    return None if at is None else (datetime.fromisoformat(at) if isinstance(at, str) else at).timestamp()


def add_moment(coverage: Coverage, rope: ExportedRope, figure: dict) -> None:
    low, high, true = (seconds(at) for at in (figure["low"], figure["high"], rope.leaves_at))
    coverage.add_interval("leaves_tolerance_at", low, high, true)


def holds(lines: int, first: int) -> None:
    """Whether the figures hold their truths; wider ones say "at least", so that the least is what is held."""
    at_95, at_90 = Coverage(AT_LEAST), Coverage(("",))
    for seed in range(first, first + lines):
        rope = exported_rope(seed)
        answer = rope.answer()
        at_95.add(answer, rope.at_95)
        at_90.add(answer, rope.at_90)
        add_moment(at_90, rope, json.loads(to_json(answer))["figures"]["leaves_tolerance_at"])
    at_95.assert_holds("rope, exports to JSON")
    at_90.assert_holds("rope, exports to JSON", level=0.9)


def test_rope_figures_hold_on_24_lines() -> None:
    holds(24, 10_000)


@pytest.mark.long
def test_rope_figures_hold_on_300_lines() -> None:
    holds(300, 0)
