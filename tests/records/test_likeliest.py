"""The likeliest count where readings leave it open, against a machine whose count is known."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.core.estimate import Estimate
from lineview.core.frames import READINGS
from lineview.machine.likeliest import PlannedTime
from lineview.plant import Counter, Machine
from tests.one_count import count_machine

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
HOUR = 3600
PER_S = 6.0
#: The machine stands from 2:00 to 2:20.
STANDS = (2 * HOUR, 2 * HOUR + 1200)


def made(at: np.ndarray, rate: float = PER_S) -> np.ndarray:
    """The true count at seconds from the start on."""
    stood = np.clip(at - STANDS[0], 0, STANDS[1] - STANDS[0])
    return np.floor((at - stood) * rate)


def counted(
    at: np.ndarray, value: np.ndarray, *, modulus: int | str = 65536, planned: PlannedTime | None = None
) -> Estimate:
    """Pieces between the first and the last of these readings."""
    counter = Counter(id="p", counts="pieces", modulus=modulus, fastest_per_min=450)
    machine = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(counter,))
    rows = [
        ("w", "p", START + timedelta(seconds=float(t)), float(v), None, "good", 1, k)
        for k, (t, v) in enumerate(zip(at, value, strict=True))
    ]
    readings = pl.DataFrame(rows, schema=READINGS, orient="row")
    whole = planned or PlannedTime(np.array([START.timestamp()]), np.array([START.timestamp() + 48 * HOUR]))
    counts = count_machine(machine, readings, gap_s=120, planned=whole)
    ends = (START + timedelta(seconds=float(at[0])), START + timedelta(seconds=float(at[-1])))
    found = counts.between(ends).total
    assert found is not None
    return found.at(0)


def exact(found: Estimate) -> bool:
    return found.low == found.value == found.high


def read(*gaps: tuple[float, float], until: float = 4 * HOUR) -> np.ndarray:
    """Readings every ten seconds, none within the gaps [s]."""
    at = np.arange(0, until + 1, 10.0)
    for begin, end in gaps:
        at = at[(at <= begin) | (at >= end)]
    return at


def set_back(at: np.ndarray, moment: float) -> np.ndarray:
    """A counter that starts again at 0 at a moment."""
    return np.where(at >= moment, made(at) - made(np.array([moment]))[0], made(at) % 65536)


def test_a_reset_at_speed_goes_on_at_the_pace() -> None:
    at = read()
    found = counted(at, set_back(at, HOUR + 4))
    true = made(at[-1:])[0]
    assert found.value == pytest.approx(true, abs=2)
    assert found.low <= true <= found.high
    assert not exact(found)
    assert found.high - found.low <= 450 / 60 * 1.05 * 12 + 1


def test_a_reset_at_a_standstill_adds_nothing() -> None:
    at = read()
    found = counted(at, set_back(at, STANDS[0] + 604))
    true = made(at[-1:])[0]
    assert found.value == true
    assert found.low == true <= found.high


@pytest.mark.parametrize(("begin_s", "end_s"), [(200, 500), (10, 1190)])  # five pieces are due in a second
def test_a_reset_within_an_unread_gap_at_a_standstill_adds_nothing(begin_s: float, end_s: float) -> None:
    at = read((STANDS[0] + begin_s, STANDS[0] + end_s))
    found = counted(at, set_back(at, STANDS[0] + 300))
    assert found.value == made(at[-1:])[0]


def test_an_unread_gap_at_a_standstill_is_decided() -> None:
    at = read((STANDS[0] + 100, STANDS[0] + 900))
    found = counted(at, made(at) % 65536)
    assert exact(found)
    assert found.value == made(at[-1:])[0]


@pytest.mark.parametrize("minutes", [10, 50])
def test_an_unread_gap_at_speed_is_decided_where_one_turn_at_most_fits(minutes: float) -> None:
    at = read((HOUR - 60 * minutes, HOUR))
    found = counted(at, made(at) % 65536)
    assert exact(found)
    assert found.value == made(at[-1:])[0]


def test_a_rollover_in_a_gap_is_decided() -> None:
    turn = 65536 / PER_S  # the counter turns three hours and two minutes on, and once more for the standstill
    at = read((turn + 1200 - 300, turn + 1200 + 300))
    value = made(at) % 65536
    assert (np.diff(value) < 0).sum() == 1
    found = counted(at, value)
    assert exact(found)
    assert found.value == made(at[-1:])[0]


#: From and to [h], and the size: by what is next to a short gap, and by all that is read around a long one.
@pytest.mark.parametrize(("gap", "modulus"), [((2.6, 3.1), 1000), ((2.5, 3.1), 10_000), ((3.0, 3.7), 10_000)])
def test_several_turns_in_a_gap_are_those_nearest_the_pace(gap: tuple[float, float], modulus: int) -> None:
    at = read((gap[0] * HOUR, gap[1] * HOUR), until=6 * HOUR)
    if gap[0] >= 3:  # what is read first, up to another gap, stands
        at = at[(at >= STANDS[0]) & ((at <= STANDS[1]) | (at >= STANDS[1] + 300))]
    found = counted(at, made(at) % modulus, modulus=modulus)
    true = made(at[-1:])[0] - made(at[:1])[0]
    assert found.value == true
    assert found.low <= true - modulus
    assert (found.high - found.low) % modulus == 0


def test_a_counter_that_stands_where_it_stood_did_not_turn() -> None:
    at = read((STANDS[0] + 10, STANDS[1] - 10))
    found = counted(at, made(at) % 1000, modulus=1000)
    assert found.value == made(at[-1:])[0]
    rest = at[at <= STANDS[1]]
    assert counted(rest, made(rest) % 1000, modulus=1000).value == made(rest[-1:])[0]


@pytest.mark.parametrize(("modulus", "over_night"), [(65536, 0), (65536, 40), ("unknown", 40)])
def test_a_night_without_readings_adds_what_its_counter_shows(modulus: int | str, over_night: int) -> None:
    """Two days of 16 hours with a night between that nobody reads."""
    first = np.arange(0, 16 * HOUR + 1, 60.0)
    begin = START.timestamp()
    planned = PlannedTime(begin + np.array([0.0, 24.0 * HOUR]), begin + np.array([16.0 * HOUR, 40.0 * HOUR]))
    total = np.concatenate((first * PER_S, (first + 16 * HOUR) * PER_S + over_night))
    at = np.concatenate((first, first + 24 * HOUR))
    value = total if modulus == "unknown" else total % 65536
    found = counted(at, value, modulus=modulus, planned=planned)
    assert found.value == total[-1]
    assert found.low == total[-1]
    assert exact(found) == (modulus == "unknown" or over_night == 0)


def test_a_counter_set_back_in_a_night_adds_nothing() -> None:
    first = np.arange(0, 16 * HOUR + 1, 60.0)
    begin = START.timestamp()
    planned = PlannedTime(begin + np.array([0.0, 24.0 * HOUR]), begin + np.array([16.0 * HOUR, 40.0 * HOUR]))
    at = np.concatenate((first, first + 24 * HOUR))
    value = np.concatenate((first * PER_S, first * PER_S))
    found = counted(at, value, modulus=10**9, planned=planned)
    assert found.value == found.low == 2 * 16 * HOUR * PER_S
    assert found.high > found.value, "nobody saw that the machine stood"


@pytest.mark.parametrize("modulus", [65536, "unknown"])
def test_a_slow_counter_is_not_taken_to_stand_by_one_interval_of_nothing(modulus: int | str) -> None:
    """Of rejects, four a minute, two of three intervals of ten seconds count none."""
    at = read((HOUR, HOUR + 600), until=2 * HOUR - 10)
    slow = made(at, 4 / 60)
    value = np.where(at > HOUR, slow - made(np.array([HOUR + 1.0]), 4 / 60)[0], slow)
    found = counted(at, value, modulus=modulus)
    assert found.value == pytest.approx(slow[-1], abs=4)
    assert found.low <= slow[-1] <= found.high
