"""A counter that shows one value over a whole shift: what it did not count is open, or counted when it shows later.

All invented: a wrapper at a steady pace in two shifts, with breaks, on three days.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.plant import Break, Counter, Line, Machine, Plant, Shift
from tests.from_frames import Frames, FrameStore, keeper
from tests.records.week import HOUR, channel, moment

DAY = 86_400
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
BREAKS = {"early": 9.0, "late": 18.0}
SHIFTS = {"early": (6, 14), "late": (14, 22)}
BEGIN = DAY + 14 * HOUR


@dataclass(frozen=True)
class Frozen:
    """From BEGIN and `from_s` on until `until_s`; set back then, or counting on as if it had counted all along."""

    until_s: int
    reset: bool = False
    from_s: int = 0
    size: int = 10_000_000
    step_s: int = 60
    offset_s: int = 0
    night: bool = True
    stands: bool = False


CASES = {
    "to the night": Frozen(DAY + 22 * HOUR + 60),
    "to the night, size 65,536": Frozen(DAY + 22 * HOUR + 60, size=65_536, step_s=20),
    "to the next shift": Frozen(2 * DAY + 6 * HOUR, size=65_536),
    "to the next shift, no night readings": Frozen(2 * DAY + 6 * HOUR, night=False),
    "to the next shift, no night readings, size 65,536": Frozen(2 * DAY + 6 * HOUR, night=False, size=65_536),
    "set back in the morning": Frozen(2 * DAY + 6 * HOUR, reset=True),
    "set back in the morning, no night readings": Frozen(2 * DAY + 6 * HOUR, reset=True, night=False),
    "set back half an hour into the next shift": Frozen(2 * DAY + 6 * HOUR + 1800, reset=True),
    "the same of a machine that stood": Frozen(2 * DAY + 6 * HOUR + 1800, reset=True, stands=True),
    "from half a minute after the end": Frozen(2 * DAY + 6 * HOUR, reset=True, offset_s=30),
    "from a reading after the end": Frozen(DAY + 22 * HOUR + 60, from_s=60, size=1_000_000),
    "set back at the end": Frozen(DAY + 22 * HOUR, reset=True, size=1_000_000, night=False, step_s=120),
}


def made(case: Frozen) -> np.ndarray:
    """Pieces made up to each second."""
    clock = np.arange(3 * DAY) % DAY
    running = (clock >= 6 * HOUR) & (clock < 22 * HOUR)
    for hour in BREAKS.values():
        running &= (clock < hour * HOUR) | (clock >= hour * HOUR + 900)
    if case.stands:
        running[BEGIN : BEGIN + 8 * HOUR] = False
    return np.concatenate(([0.0], np.floor(np.cumsum(running * 5.75))))[:-1]


def by_shift(case: Frozen) -> dict[tuple[int, str], tuple[float, float, float]]:
    """What was made, and its bounds, in each shift."""
    whole = made(case)
    shown = whole.copy()
    shown[BEGIN + case.from_s : case.until_s] = whole[BEGIN + case.from_s]
    if case.reset:
        shown[case.until_s :] = whole[case.until_s :] - whole[case.until_s]
    shown = np.where(np.arange(3 * DAY) >= case.until_s, shown + (0 if case.reset else 700), shown + 700) % case.size
    at = np.arange(6 * HOUR + case.offset_s, 3 * DAY, case.step_s)
    if not case.night:
        at = at[(at % DAY >= 6 * HOUR) & (at % DAY < 22 * HOUR)]
    counter = Counter(id="p", counts="pieces", modulus=case.size, fastest_per_min=450)
    machine = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(counter,))
    shifts = tuple(
        Shift(
            id=name,
            start=f"{start:02}:00",
            end=f"{end:02}:00",
            days=DAYS,
            breaks=(Break(start=f"{int(BREAKS[name]):02}:00", end=f"{int(BREAKS[name]):02}:15"),),
        )
        for name, (start, end) in SHIFTS.items()
    )
    plant = Plant(shop="Invented", lines=(Line(id="1"),), shifts=shifts, machines=(machine,), gap_s=120.0)
    readings = pl.concat([channel("w", "p", at.astype(float), shown[at])])
    fetcher = Fetcher(FrameStore(Frames({"w": readings})), keeper(), plant, Measured())
    counts = fetcher.counts(machine, (moment(at[0]), moment(at[-1] + 1)))
    out = {}
    for day in range(3):
        for name, (start, end) in SHIFTS.items():
            first, last = DAY * day + start * HOUR, DAY * day + end * HOUR
            found = counts.between((moment(first), moment(last))).total
            assert found is not None
            out[day, name] = (whole[last] - whole[first], float(found.low[0]), float(found.high[0]))
    return out


@pytest.mark.parametrize("name", CASES)
def test_bounds_of_each_shift_hold_what_was_made(name: str) -> None:
    for shift, (true, low, high) in by_shift(CASES[name]).items():
        print(name, shift, true, low, high)
        assert low - 1 <= true <= high + 1, shift


def test_what_shows_later_at_the_machines_pace_is_counted_and_no_other_shift_is_open() -> None:
    shifts = by_shift(CASES["to the night"])
    true, low, high = shifts.pop((1, "late"))
    assert high - low < 0.01 * true
    assert all(high - low <= 2 * 345 + 2 for _, low, high in shifts.values())
