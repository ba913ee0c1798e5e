"""The offset of a reel log by the machine's standings."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lineview.wrap.learning import AFTER_US, BEFORE_US, _edges, log_offset
from lineview.wrap.reels import ReelSpan
from lineview.wrap.waste import WrapEvents

START, WHOLE_S = datetime(2026, 6, 8, tzinfo=UTC), 4 * 86_400
MINUTE_US = 60_000_000


def standings(rng: np.random.Generator) -> list[tuple[int, int]]:
    """One of two to five minutes about every quarter of an hour."""
    return [(micros(a), micros(a + rng.uniform(120, 300))) for a in np.sort(rng.uniform(0, WHOLE_S, 380))]


def micros(at_s: float) -> int:
    return (moment(at_s) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def moment(at_s: float) -> datetime:
    return START + timedelta(seconds=float(at_s))


@pytest.mark.parametrize("late_min", [-12.0, 0.0, 8.0, 15.0])
def test_a_log_that_is_late_or_early_is_set_right(late_min: float) -> None:
    rng = np.random.default_rng(8)
    stretches = standings(rng)
    late = int(late_min * MINUTE_US)
    mounted = np.array([(begin + end) // 2 + late for begin, end in stretches[::10]])
    offset, before, after = log_offset(mounted, WrapEvents((), (), tuple(stretches)), WHOLE_S * 1_000_000)
    assert abs(offset - late) <= MINUTE_US
    assert (before, after) == (BEFORE_US, AFTER_US) == (5 * MINUTE_US, 10 * MINUTE_US)


def test_a_log_that_nothing_explains_gets_windows_that_reach_over_any_offset() -> None:
    rng = np.random.default_rng(9)
    mounted = np.array([micros(at) for at in np.sort(rng.uniform(0, WHOLE_S, 38))])
    offset = log_offset(mounted, WrapEvents((), (), tuple(standings(rng))), WHOLE_S * 1_000_000)
    assert offset == (0, 20 * MINUTE_US, 20 * MINUTE_US)


def test_too_few_reels_tell_no_offset() -> None:
    rng = np.random.default_rng(10)
    stretches = standings(rng)
    mounted = np.array([begin + 8 * MINUTE_US for begin, _ in stretches[:7]])
    assert log_offset(mounted, WrapEvents((), (), tuple(stretches)), WHOLE_S * 1_000_000)[0] == 0


@pytest.mark.parametrize(("every_s", "told"), [(1000, True), (800, False)])
def test_eight_reels_of_eight_tell_an_offset_where_chance_would_hardly_put_them_into_standings(
    every_s: int, told: bool
) -> None:
    """By hand: 200 s of standing and near it in so many; all eight at one of 121 offsets by chance: 121 p⁸ ≤ 1/1000."""
    assert (121 * (200 / every_s) ** 8 <= 1e-3) is told
    rng = np.random.default_rng(11)
    begins = every_s * np.arange(80) + rng.uniform(0, every_s - 200, 80)
    stretches = tuple((micros(at), micros(at + 160)) for at in begins)
    mounted = np.array([begin + (80 + 480) * 1_000_000 for begin, _ in stretches[::10]])
    late, *around = log_offset(mounted, WrapEvents((), (), stretches), 80 * every_s * 1_000_000)
    assert (abs(late - 8 * MINUTE_US) <= MINUTE_US) is told
    assert around == ([BEFORE_US, AFTER_US] if told else [20 * MINUTE_US] * 2)


def test_without_a_reel_a_period_is_plain_stretches_of_an_hour_that_end_with_it() -> None:
    """From the end of the first hour it stood for two minutes, and another settled."""
    hour = 60 * MINUTE_US
    stood = WrapEvents((), (), ((hour - MINUTE_US, hour + MINUTE_US),))
    edges, changes = _edges([0, 3 * hour], np.array([], dtype=np.int64), [], stood)
    assert (edges, changes) == ([0, hour + 2 * MINUTE_US, 2 * hour + 2 * MINUTE_US, 3 * hour], [False] * 3)


@pytest.mark.parametrize("late_s", [480, -480])
@pytest.mark.parametrize(("start_s", "changes"), [(0, 8), (500, 7)])
def test_a_change_lies_where_it_was_made_and_not_where_it_was_logged(late_s: int, start_s: int, changes: int) -> None:
    """Eight reels, the first changed 280 s in: before a period that starts 500 s in, whatever the log says."""
    begins = 1000 * np.arange(80) + np.r_[200, np.random.default_rng(11).uniform(0, 800, 79)]
    changed = [moment(at + 80) for at in begins[::10]]
    none = dict.fromkeys(("taken_off", "full_m", "label_m", "held_m", "left_m", "fed", "wraps"))
    known = {
        "kind": "film",
        "web": "film",
        "cut_length_mm": 32.0,
        "is_returned": False,
        "splices": 0,
        "origin": "",
    } | none
    reels = [ReelSpan(reel=f"r{k}", mounted=at + timedelta(seconds=late_s), **known) for k, at in enumerate(changed)]
    events = WrapEvents((), (), tuple((micros(at), micros(at + 160)) for at in begins))
    mounts_us = np.array([micros(at + 80 + late_s) for at in begins[::10]])
    edges, is_change = _edges([micros(start_s), micros(80_000)], mounts_us, reels, events)
    windows = [(a, b) for a, b, change in zip(edges[:-1], edges[1:], is_change, strict=True) if change]
    assert len(windows) == changes
    for at, (opens, closes) in zip((mounts_us - late_s * 1_000_000)[-changes:], windows, strict=True):
        assert opens <= max(at - BEFORE_US + MINUTE_US, micros(start_s))
        assert at + AFTER_US - MINUTE_US <= closes
