"""A counter that reads 0 for a while and then resumes, in and over a shift: its JSON from records."""

import json

import numpy as np
import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.core.figure import Period
from lineview.core.frames import BATCHES, PLAN, REELS, STOP_LOG, empty
from lineview.plant import Counter, Machine
from lineview.report.answer import Scope, to_json
from lineview.shift.answer import ShiftInputs, answer_shift
from tests.from_frames import Frames, FrameStore, keeper
from tests.records import week
from tests.records.week import HOUR, PIECES_PER_S, channel, moment

DAY = 86_400
PIECES = np.cumsum(week.runs(5) * PIECES_PER_S)
REJECTED = 0.012
LATE = (14 * HOUR, 22 * HOUR)
#: When the counters read 0 [s of the day]; the first break of the late shift ends at 14:20.
HELD = {
    "within the shift": (16 * HOUR, 16 * HOUR + 1800),
    "over its start": (14 * HOUR - 900, 14 * HOUR + 2100),
    "from its start on": (14 * HOUR - 5, 14 * HOUR + 3000),
    "up to its end": (22 * HOUR - 1800, 22 * HOUR),
    "over its end": (22 * HOUR - 900, 22 * HOUR + 600),
    "to the last reading": (22 * HOUR - 900, 24 * HOUR),
}


def figures(
    held: tuple[float, float], modulus: int | str, *, every_s: int = 10, set_back: bool = False
) -> tuple[dict, float]:
    """The figures in the JSON of the late shift, and its true good pieces.

    With `set_back` the counters start from 0 at the beginning of `held` instead of reading 0 in it.
    """
    counters = (
        Counter(id="made", counts="pieces", modulus=modulus, fastest_per_min=450),
        Counter(id="bad", counts="rejects", modulus=modulus, fastest_per_min=450),
    )
    machine = Machine(id="wrap", kind="cut-and-wrap machine", line="1", counters=counters)
    plant = week.plant().model_copy(update={"machines": (machine,)})
    at = np.arange(DAY + 6 * HOUR - 897, DAY + 22 * HOUR + 900, every_s)
    zero = (at >= DAY + held[0]) & (at < DAY + held[1])
    rows = []
    for name, share in (("made", 1.0), ("bad", REJECTED)):
        count = np.floor(PIECES[at] * share)
        base = np.floor(PIECES[DAY + int(held[0])] * share)
        shown = np.where(at >= DAY + held[0], count - base, count) if set_back else np.where(zero, 0, count)
        rows.append(channel("wrap", name, at.astype(float), shown))
    fetcher = Fetcher(FrameStore(Frames({"wrap": pl.concat(rows)})), keeper(), plant, Measured())  # type: ignore[arg-type]
    period = Period(moment(DAY + LATE[0]), moment(DAY + LATE[1]))
    given = ShiftInputs(
        fetcher.counts(machine, (period.start, period.end)),
        empty(BATCHES), empty(STOP_LOG), empty(REELS), empty(PLAN), [],
    )  # fmt: skip
    answer = answer_shift(plant, Scope("1", "wrap", period, period.end, "late"), given)
    start, end = (PIECES[DAY + edge] for edge in LATE)
    true = np.floor(end) - np.floor(start) - (np.floor(end * REJECTED) - np.floor(start * REJECTED))
    return json.loads(to_json(answer))["figures"], float(true)


@pytest.mark.parametrize("modulus", [10**6, 2**32, "unknown"])
@pytest.mark.parametrize("held", HELD.values(), ids=HELD)
def test_bounds_hold_what_was_made_and_no_minute_of_it_stood(
    held: tuple[float, float], modulus: int | str
) -> None:
    found, true = figures(held, modulus)
    good, (plain, _) = found["good_pieces"], figures((0.0, 0.0), modulus)
    assert good["low"] - 1 <= true
    assert good["high"] is None or true <= good["high"] + 1
    stops = [found[name]["value"] for name in ("stop_min", "short_stop_min")]
    whole = [plain[name]["value"] for name in ("stop_min", "short_stop_min")]
    assert sum(stops) <= sum(whole) + 0.5, "minutes in which the counter read 0 are no standstill"
    # The break from 14:00 to 14:20 is none of the shift's planned minutes.
    unread = min(held[1], LATE[1]) - max(held[0], LATE[0] + 1200)
    assert found["unseen_min"]["value"] == pytest.approx(unread / 60, abs=1)


def test_a_run_of_0_within_a_shift_loses_no_piece_to_speak_of() -> None:
    found, true = figures(HELD["within the shift"], 2**32)
    assert found["good_pieces"]["value"] == pytest.approx(true, abs=1)
    assert found["good_pieces"]["high"] - found["good_pieces"]["low"] < 150


def test_a_counter_set_back_at_a_standstill_at_the_end_of_a_shift_stood() -> None:
    """Beside the machine: it stands from 22:03:20 on, and is set back five minutes later."""
    found, true = figures((22 * HOUR + 500, 22 * HOUR + 500), 2**32, set_back=True)
    assert found["good_pieces"]["value"] == pytest.approx(true, abs=10)
    assert found["unseen_min"]["value"] < 0.5
