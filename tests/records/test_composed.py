"""A machine's counts put together from records are those of all its readings counted at once."""

from datetime import datetime

import numpy as np
import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.machine.activity import RUNNING, SLOW, STANDING, UNSEEN
from lineview.machine.calendar import calendar
from lineview.machine.pieces import MachineCounts, micros
from lineview.plant import Machine
from lineview.records.windows import cut, windows
from tests.from_frames import Frames, FrameStore, counted, keeper
from tests.records import week
from tests.records.week import HOUR, SIZER, WRAPPER, moment

PLANT = week.plant()
SEEDS = (1, 2)
#: Whole days, one shift, a stretch that cuts two shifts, and all of it.
PERIODS = {
    "week": (moment(0), moment(5 * 86_400)),
    "shift": (moment(86_400 + 6 * HOUR), moment(86_400 + 14 * HOUR)),
    "part": (moment(86_400 + 12 * HOUR + 1234), moment(86_400 + 16 * HOUR + 77)),
    "day": (moment(2 * 86_400), moment(3 * 86_400)),
}


def frames(seed: int, *, states: bool) -> Frames:
    wrapper = [week.wrapper_readings(seed), week.flavours(), *([week.states(seed)] if states else [])]
    return Frames(
        {"wrap": pl.concat(wrapper), "size": week.sizer_readings(seed)}, batches=week.batches(), reels=week.reels()
    )


def both(given: Frames, machine: Machine, name: str) -> tuple[MachineCounts, MachineCounts]:
    """Counts of a machine from records, and from its readings at once."""
    fetcher = Fetcher(FrameStore(given), keeper(), PLANT, Measured())
    period = PERIODS[name]
    return fetcher.counts(machine, period), counted(PLANT, machine, given.of(machine.id), period)


def moments(machine: Machine, period: tuple[datetime, datetime]) -> list[datetime]:
    """The moments that counts must be exact at: edges of shifts, breaks, days, batches and its own reels."""
    cal = calendar(PLANT.shifts, "UTC", *period)
    at = [*cal["start"], *cal["end"], *week.batches()["start"], *period]
    at += week.reels().filter(pl.col("machine") == machine.id)["at"].to_list()
    at += [moment(86_400 * k) for k in range(6)]
    return sorted({one for one in at if period[0] <= one <= period[1]})


def minutes(counts: MachineCounts, edges: list[datetime]) -> np.ndarray:
    """Minutes of each state between moments."""
    edge, code = counts.activity.edge, counts.activity.code
    at = micros(edges)
    rows = []
    for state in (RUNNING, SLOW, STANDING, UNSEEN):
        spent = np.concatenate(([0.0], np.cumsum(np.where(code == state, np.diff(edge), 0) / 6e7)))
        rows.append(np.diff(np.interp(at, edge, spent)))
    return np.array(rows)


CASES = [
    pytest.param(machine, seed, said, name, id=f"{machine.id} {seed} {name}{' states' if said else ''}")
    for machine, said in ((WRAPPER, False), (WRAPPER, True), (SIZER, False))
    for seed in SEEDS
    for name in PERIODS
]


def test_windows_are_cut_at_moments_within_them_alone() -> None:
    """Days, of which the first moment begins one, the next lies in it and the last ends it."""
    begin, noon, end = moment(0), moment(12 * HOUR), moment(24 * HOUR)
    days = windows((), "UTC", begin, noon)
    parts = cut(days, [begin, noon, end])
    assert parts["start"].to_list() == sorted({*days["start"], noon})
    assert parts["end"].to_list() == sorted({*days["end"], noon})


@pytest.mark.parametrize(("machine", "seed", "said", "name"), CASES)
def test_bounds_are_the_same_and_values_where_readings_decide_them(
    machine: Machine, seed: int, said: bool, name: str
) -> None:
    composed, whole = both(frames(seed, states=said), machine, name)
    at = micros(moments(machine, PERIODS[name]))
    for kind in composed.counters:
        one, other = (c.count(kind, at[:-1], at[1:]) for c in (composed, whole))
        assert one.low == pytest.approx(other.low, abs=1e-4), kind
        assert one.high == pytest.approx(other.high, abs=1e-4), kind
        assert one.missing_s == pytest.approx(other.missing_s, abs=1e-4), kind
        known = other.missing_s == 0
        assert known.sum() > 5
        # An interval over a moment is shared by the activity along it, which records keep in coarser steps.
        assert one.value[known] == pytest.approx(other.value[known], abs=3.0), kind
        there = ~np.isnan(one.value)
        assert there.tolist() == (~np.isnan(other.value)).tolist()
        assert (one.value >= one.low - 1e-6)[there].all()
        assert (one.value <= one.high + 1e-6)[there].all()


@pytest.mark.parametrize(("machine", "seed", "said", "name"), CASES)
def test_pieces_of_the_whole_period_are_the_same(machine: Machine, seed: int, said: bool, name: str) -> None:
    composed, whole = both(frames(seed, states=said), machine, name)
    one, other = (c.between(PERIODS[name]) for c in (composed, whole))
    assert (one.good is None) == (other.good is None) == (machine is SIZER)
    for found, true in ((one.good, other.good), (one.total, other.total), (one.rejects, other.rejects)):
        if found is not None and true is not None:
            assert found.low == pytest.approx(true.low, abs=1e-4)
            assert found.high == pytest.approx(true.high, abs=1e-4)
            # What readings leave open is counted at the pace of the windows beside it, not of all time.
            apart = max(1.0, 0.1 * float((true.high - true.low)[0]))
            assert found.value == pytest.approx(true.value, abs=apart, nan_ok=True)


@pytest.mark.parametrize(("machine", "seed", "said", "name"), CASES)
def test_minutes_by_state_are_the_same(machine: Machine, seed: int, said: bool, name: str) -> None:
    composed, whole = both(frames(seed, states=said), machine, name)
    edges = moments(machine, PERIODS[name])
    apart = np.abs(minutes(composed, edges) - minutes(whole, edges)) * 60
    # Over the one interval between two windows a stop's edge is set without the legs on either side.
    assert apart.max() < 5.0, f"{apart.max():.1f} s from {edges[int(apart.max(axis=0).argmax())]}"
    assert apart.sum() < 1e-3 * (PERIODS[name][1] - PERIODS[name][0]).total_seconds()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", PERIODS)
def test_what_the_channels_said_is_the_same(seed: int, name: str) -> None:
    composed, whole = both(frames(seed, states=True), WRAPPER, name)
    assert composed.readings == whole.readings > 1000
    assert composed.unknown_states == whole.unknown_states
    assert composed.usual_min == whole.usual_min
    start, end = micros(PERIODS[name])
    for part in ("start", "end", "meaning"):
        found, true = (getattr(c.spells.within(start, end), part) for c in (composed, whole))
        assert found.tolist() == true.tolist(), part
    inside = pl.col("at").is_between(*PERIODS[name], closed="left")
    assert composed.marks.filter(inside).equals(whole.marks.filter(inside))
    touches = (pl.col("end") > PERIODS[name][0]) & (pl.col("start") < PERIODS[name][1])
    for kind in ("pieces", "rejects", "blank wraps"):
        taken, true_taken = (float(c.aside[kind].filter(touches)["n"].sum()) for c in (composed, whole))
        assert taken == pytest.approx(true_taken, abs=1.0), kind


def test_an_open_gap_over_the_edge_of_a_shift_goes_on_at_the_pace_beside_it() -> None:
    """Set back in 45 minutes without readings, on a day at 350 a minute after one at 200; the break has none."""
    at = np.arange(6 * HOUR, 86_400 + 22 * HOUR + 1, 30.0)
    clock = at % 86_400
    stands = (clock >= 22 * HOUR) | (clock < 6 * HOUR)
    for begin, end in week.BREAKS_S:
        stands |= (clock >= begin) & (clock < end)
    per_s = np.where(stands, 0.0, np.where(at >= 86_400, 350.0, 200.0) / 60.0)
    made = np.concatenate(([0.0], np.cumsum(per_s[:-1] * 30.0)))
    back = at >= 86_400 + 14.5 * HOUR
    value = np.floor(np.where(back, made - made[back][0], made)) % week.MODULUS
    kept = (at <= 86_400 + 13.75 * HOUR) | back
    counters = {"made": value, "bad": np.zeros(len(at))}
    given = Frames({"wrap": pl.concat([week.channel("wrap", c, at[kept], v[kept]) for c, v in counters.items()])})
    fetcher = Fetcher(FrameStore(given), keeper(), PLANT, Measured())
    period = (moment(86_400), moment(86_400 + 22 * HOUR))
    found = fetcher.counts(WRAPPER, period).between(period).total
    assert found is not None
    assert found.at(0).value == pytest.approx(made[-1] - made[at < 86_400][-1], abs=20)
    assert found.at(0).high - found.at(0).low > 10_000


def test_a_sizer_whose_metres_are_set_back_at_the_edge_of_a_shift_is_seen_to_run() -> None:
    at = np.arange(6 * HOUR + 3, 22 * HOUR, 10)
    metres = np.floor(21 * at) % week.ROPE_MODULUS
    metres[at >= 14 * HOUR] -= metres[at >= 14 * HOUR][0]
    given = Frames({"size": week.channel("size", "metres", at, metres % week.ROPE_MODULUS)})
    fetcher = Fetcher(FrameStore(given), keeper(), PLANT, Measured())
    counts = fetcher.counts(SIZER, (moment(0), moment(86_400)))
    by_state = minutes(counts, [moment(13 * HOUR), moment(14 * HOUR), moment(15 * HOUR)])
    assert by_state[0].tolist() == pytest.approx([60, 60])
