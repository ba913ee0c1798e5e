"""Counts of stretches that begin and end anywhere, through a gap in which the counter was set back: by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from lineview.core.frames import STATE_TIMELINE
from lineview.machine.activity import slow_bounds_min
from lineview.machine.calendar import running_hours
from lineview.machine.counter_repair import Limits, held_at_top
from lineview.machine.pieces import MachineCounts
from lineview.machine.speed import stamp_spread_s
from lineview.plant import Counter, Machine
from tests import factories
from tests.one_count import count_machine

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
#: A piece a second, read each ten; nothing read for 100 s from GAP on, after which the counter shows LEAST.
LAST_S, GAP_S, LONG_S, LEAST = 600, 300, 100, 120
#: The fastest rate with its twentieth on top [counts/s]; stamps may be off by two seconds and a count.
FASTEST = 400 * 1.05 / 60
MOST = FASTEST * (LONG_S + 2) + 1


@pytest.fixture(scope="module")
def counts() -> MachineCounts:
    before, after = np.arange(0.0, GAP_S + 1, 10), np.arange(GAP_S + LONG_S, LAST_S + 1, 10.0)
    value = np.concatenate([5000 + before, LEAST + after - after[0]])
    moments = factories.moments(START.timestamp() + np.concatenate([before, after]))
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=400)
    machine = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(counter,))
    return count_machine(machine, factories.readings("w", "pieces", moments, value), gap_s=60)


def counted(counts: MachineCounts, begin_s: float, end_s: float) -> tuple[float, float, float, float]:
    """Value, low, high and seconds that nobody knows of."""
    ends = [np.array([(START + timedelta(seconds=s)).timestamp() * 1e6]).astype(np.int64) for s in (begin_s, end_s)]
    made = counts.pieces(*ends).total
    assert made is not None
    return float(made.value[0]), float(made.low[0]), float(made.high[0]), float(made.missing_s[0])


@pytest.mark.parametrize(
    ("begin", "end", "low", "high", "missing"),
    [
        (0, 300, 300, 300, 0),
        (40, 60, 20, 20, 0),
        (44, 66, 10, 30, 0),  # of the readings at its edges none or all
        (51, 58, 0, 10, 0),
        (200, 500, 100 + LEAST + 100, 100 + MOST + 100, LONG_S),
        (200, 350, 100, 100 + 50 * FASTEST, LONG_S),  # all that the gap shows may have come after
        (200, 390, 100 + LEAST - 10 * FASTEST, 100 + 90 * FASTEST, LONG_S),  # ten seconds cannot hold all of it
        (305, 395, LEAST - 10 * FASTEST, 90 * FASTEST, LONG_S),
        (395, 500, 100, 100 + 5 * FASTEST, LONG_S),
        (310, 500, 100 + LEAST - 10 * FASTEST, 100 + 90 * FASTEST, LONG_S),
    ],
)
def test_bounds_are_what_the_readings_and_the_fastest_rate_allow(
    counts: MachineCounts, begin: float, end: float, low: float, high: float, missing: float
) -> None:
    value, *found, unknown_s = counted(counts, begin, end)
    assert found == pytest.approx([low, high])
    assert unknown_s == missing
    assert low - 1e-6 <= value <= high + 1e-6
    if missing == 0:
        assert value == pytest.approx(end - begin)  # a piece a second between readings too


@pytest.mark.parametrize(("begin", "end", "beyond"), [(-10, 100, 10), (500, 615, 15), (-30, 100, 30), (500, 640, 40)])
def test_beyond_the_readings_at_most_the_fastest_rate_is_open(
    counts: MachineCounts, begin: float, end: float, beyond: float
) -> None:
    """For one and a half usual intervals nothing is taken to have come; after that the count is not known."""
    value, low, high, missing = counted(counts, begin, end)
    assert (low, high, missing) == pytest.approx((100, 100 + beyond * FASTEST, beyond))
    assert value == (100 if beyond <= 15 else pytest.approx(float("nan"), nan_ok=True))


def test_running_hours_along_a_timeline() -> None:
    """Runs 30 minutes, stands 15, runs slowly for 30: before it starts nothing, after it ends no more."""
    edges = [START + timedelta(minutes=m) for m in (0, 30, 45, 75)]
    rows = [
        {"start": a, "end": b, "state": state}
        for a, b, state in zip(edges, edges[1:], ("running", "stop", "slow"), strict=False)
    ]
    timeline = factories.rows({k: v for k, v in STATE_TIMELINE.items() if k in ("start", "end", "state")}, rows)
    moments = pl.Series([None, *(START + timedelta(minutes=m) for m in (-5, 0, 10, 30, 40, 50, 75, 90))])
    hours = running_hours(timeline, moments.cast(pl.Datetime("us", "UTC"))).to_list()
    assert hours[0] is None
    assert hours[1:] == pytest.approx([h / 60 for h in (0, 0, 10, 30, 30, 35, 60, 60)])


@pytest.mark.parametrize(("extra_min", "held"), [(0, 0), (140, 150)])
def test_a_top_is_held_where_five_counts_would_have_come_meanwhile(extra_min: int, held: int) -> None:
    """One count in ten minutes read each minute, from 90 up to 99 and on from 0; 99 stays so much longer.

    With 140 minutes more there are 15 counts in 299 minutes, so that five take 100 of them: 149 are held.
    """
    value = np.concatenate([np.repeat(np.arange(90.0, 100), 10), np.full(extra_min, 99.0), np.arange(60) // 10])
    at_us = np.arange(value.size) * 60_000_000
    at_rest = held_at_top(at_us, value, Limits(100.0, 2.0, 0.05))
    assert at_rest.sum() == held
    assert set(value[at_rest]) <= {99.0}


def test_stamps_spread_by_what_they_are_off_the_mean_of_three() -> None:
    """Sixty pieces in 9, 10 and 11 seconds in turn: off by 1 s or none; the median of deviations, for a normal law."""
    length_s, every = np.tile([9.0, 10.0, 11.0], 20), np.ones(60, dtype=bool)
    spread_s = stamp_spread_s(np.full(60, 60.0), length_s, every)
    assert spread_s == pytest.approx(1.0 / norm.ppf(0.75) * np.sqrt(3 / 2), rel=1e-4)


def test_slow_minutes_are_at_most_what_is_no_break() -> None:
    """Ten stretches of a minute beside each other's ends came to 30 minutes of 20: 457 to 495 of a shift of 480."""
    at = [datetime(2026, 6, 9, 6, tzinfo=UTC) + timedelta(minutes=k) for k in range(23)]
    state = [*["slow", "running"] * 10, "break", "break"]
    assert slow_bounds_min(pl.DataFrame({"start": at[:-1], "end": at[1:], "state": state}), 1.0) == (0.0, 20.0)
