"""Roller ripple, slip, forecast and the order of sizers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.plant import Gauge, Machine
from lineview.rope.account import RopeAccount, no_points
from lineview.rope.forecast import Ahead, TimeToLeave, planned_moment
from lineview.rope.products import Target
from lineview.rope.ranking import rank_sizers
from lineview.rope.rollers import roller_ripples, slips
from tests.simulate.rope_batches import ar1

START = datetime(2026, 6, 8, 4, tzinfo=UTC)
GAUGES = (
    Gauge(id="d3", measures="rope diameter", unit="mm", pair=3),
    Gauge(id="d4", measures="rope diameter", unit="mm", pair=4),
    Gauge(id="v3", measures="roller speed", unit="mm/s", pair=3, roller_diameter_mm=150.0),
    Gauge(id="v4", measures="roller speed", unit="mm/s", pair=4, roller_diameter_mm=100.0),
)
SIZER = Machine(id="sizer1", kind="sizer", line="1", gauges=GAUGES)


def channel(name: str, values: np.ndarray, every_s: float) -> pl.DataFrame:
    at = [START + timedelta(seconds=every_s * i) for i in range(values.size)]
    return pl.DataFrame({"channel": [name] * values.size, "at": at, "value": values})


def speeds(rng: np.random.Generator, third: float = 101.72) -> pl.DataFrame:
    v3 = channel("v3", third + rng.normal(0, 0.3, 600), 5)
    return pl.concat([v3, channel("v4", 207.6 + rng.normal(0, 0.3, 600), 5)])


@pytest.mark.parametrize("amplitude", [0.006, 0.0])
def test_ripple_of_pair_4_is_named_and_none_is_invented(amplitude):
    rng = np.random.default_rng(4)
    t = np.arange(12_000) * 0.2
    value = 14 + 0.03 * ar1(t.size, 0.95, rng) + rng.normal(0, 0.01, t.size)
    gauge = channel("d4", value + amplitude * np.sin(2 * np.pi * t / 1.52), 0.2)
    found = roller_ripples(SIZER, speeds(rng), gauge)
    assert [one.pair for one in found if one.has_ripple] == ([4] if amplitude else [])
    assert found[1].turns_s == pytest.approx(np.pi * 100 / 207.6, rel=1e-3)
    if amplitude:
        assert found[1].ripple.amplitude == pytest.approx(0.006, abs=0.001)


def test_readings_too_slow_for_a_turn_are_said_so():
    rng = np.random.default_rng(5)
    found = roller_ripples(SIZER, speeds(rng), channel("d4", 14 + rng.normal(0, 0.01, 300), 10))
    assert {one.why_none for one in found} == {"readings too far apart to see a turn"}


@pytest.mark.parametrize(("speed", "share"), [(101.72, 0.0), (101.72 * 0.97, 0.03)])
def test_slip_shows_as_flow_missing(speed, share):
    rng = np.random.default_rng(6)
    d3 = channel("d3", 20 + rng.normal(0, 0.03, 600), 5)
    d4 = channel("d4", 14 + rng.normal(0, 0.03, 600), 5)
    (slip,) = slips(SIZER, pl.concat([speeds(rng, speed), d3, d4]))
    assert slip.low <= share <= slip.high
    assert (slip.low > 0) == (share > 0)


def test_each_pair_is_compared_with_the_last():
    """The second pair carries 4 % more than the fourth, the third 3 % less; the first was read for too few minutes."""
    ends = {1: (30, 45.0, 5.0), 2: (600, 26.0, 62.589), 3: (600, 20.0, 98.668), 4: (600, 14.0, 207.6)}
    gauges = tuple(
        Gauge(id=f"{what}{pair}", measures=measures, unit=unit, pair=pair)
        for pair in ends for what, measures, unit in (("d", "rope diameter", "mm"), ("v", "roller speed", "mm/s"))
    )  # fmt: skip
    rng = np.random.default_rng(7)
    read = [
        channel(f"{what}{pair}", value * (1 + rng.normal(0, 1e-3, n)), 5)
        for pair, (n, d, v) in ends.items()
        for what, value in (("d", d), ("v", v))
    ]
    found = slips(SIZER.model_copy(update={"gauges": gauges[2:]}), pl.concat(read))
    assert [(one.pair, one.against, round(one.share, 2), one.minutes) for one in found] == [
        (2, 4, -0.04, 50), (3, 4, 0.03, 50),
    ]  # fmt: skip
    assert slips(SIZER.model_copy(update={"gauges": gauges}), pl.concat(read)) == []


def test_planned_moment_passes_over_what_is_not_planned():
    day = START.replace(hour=6)
    rows = {"start": [day, day + timedelta(hours=8)], "end": [day + timedelta(hours=4), day + timedelta(hours=12)]}
    calendar = pl.DataFrame({**rows, "part": ["planned", "planned"]})
    assert planned_moment(3.0, calendar, day, 0.5) == day + timedelta(hours=10)
    assert planned_moment(5.0, calendar, day, 0.5) is None


def account(name: str, low_h: float | None, problem: str = "") -> RopeAccount:
    sizer = Machine(id=name, kind="sizer", line="1")
    time = TimeToLeave(low_h, low_h, None, 1.0)
    ahead = None if problem else Ahead(0.0, time, uptime=1.0, planned_h_per_week=80.0)
    return RopeAccount(sizer, Target(None, 14.0, 0.3, 0.3), (), problem, "", no_points(), ahead=ahead)


def test_sizers_are_ranked_by_how_soon_they_need_a_person():
    accounts = [account("a", None), account("b", 40.0), account("c", None, "gauge dia is dead"), account("d", 3.0)]
    assert [one.sizer for one in rank_sizers(accounts)] == ["d", "b", "c", "a"]
