"""The offset of a reel log by the machine's standings."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lineview.wrap.learning import AFTER, BEFORE, log_offset
from lineview.wrap.waste import WrapEvents

START, WHOLE = datetime(2026, 6, 8, tzinfo=UTC), timedelta(days=4)


def standings(rng: np.random.Generator) -> list[tuple[datetime, datetime]]:
    """One of two to five minutes about every quarter of an hour."""
    at = np.sort(rng.uniform(0, WHOLE.total_seconds(), 380))
    return [(moment(a), moment(a + rng.uniform(120, 300))) for a in at]


def moment(at_s: float) -> datetime:
    return START + timedelta(seconds=float(at_s))


@pytest.mark.parametrize("late_min", [-12.0, 0.0, 8.0, 15.0])
def test_a_log_that_is_late_or_early_is_set_right(late_min: float) -> None:
    rng = np.random.default_rng(8)
    stretches = standings(rng)
    late = timedelta(minutes=late_min)
    mounted = [begin + (end - begin) / 2 + late for begin, end in stretches[::10]]
    offset, before, after = log_offset(mounted, WrapEvents((), (), tuple(stretches)), WHOLE)
    assert abs((offset - late).total_seconds()) <= 60
    assert (before, after) == (BEFORE, AFTER)


def test_a_log_that_nothing_explains_gets_windows_that_reach_over_any_offset() -> None:
    rng = np.random.default_rng(9)
    mounted = [moment(at) for at in np.sort(rng.uniform(0, WHOLE.total_seconds(), 38))]
    offset = log_offset(mounted, WrapEvents((), (), tuple(standings(rng))), WHOLE)
    assert offset == (timedelta(0), timedelta(minutes=20), timedelta(minutes=20))


def test_too_few_reels_tell_no_offset() -> None:
    rng = np.random.default_rng(10)
    stretches = standings(rng)
    mounted = [begin + timedelta(minutes=8) for begin, _ in stretches[:7]]
    assert log_offset(mounted, WrapEvents((), (), tuple(stretches)), WHOLE)[0] == timedelta(0)


@pytest.mark.parametrize(("every_s", "told"), [(1000, True), (800, False)])
def test_eight_reels_of_eight_tell_an_offset_where_chance_would_hardly_put_them_into_standings(
    every_s: int, told: bool
) -> None:
    """By hand: 200 s of standing and near it in so many; all eight at one of 121 offsets by chance: 121 p⁸ ≤ 1/1000."""
    assert (121 * (200 / every_s) ** 8 <= 1e-3) is told
    rng = np.random.default_rng(11)
    begins = every_s * np.arange(80) + rng.uniform(0, every_s - 200, 80)
    stretches = tuple((moment(at), moment(at + 160)) for at in begins)
    mounted = [begin + timedelta(seconds=80 + 480) for begin, _ in stretches[::10]]
    late, *around = log_offset(mounted, WrapEvents((), (), stretches), timedelta(seconds=80 * every_s))
    assert (abs(late.total_seconds() - 480) <= 60) is told
    assert around == ([BEFORE, AFTER] if told else [timedelta(minutes=20)] * 2)
