"""The timeline: partial intervals, jogs, stops, changeovers, reasons, what spans a break or a shift's end."""

from datetime import UTC, datetime, time, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.core.frames import BATCHES, READINGS, STOP_LOG, UTC_US, empty
from lineview.machine.calendar import calendar
from lineview.machine.changeovers import _planned_us, with_planned_minutes
from lineview.machine.timeline import classify_intervals, timeline_of
from lineview.plant import Break, Counter, Gauge, Machine, Shift
from tests.one_count import clock, count_machine, increments

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
NOTHING = pl.DataFrame(schema={"start": UTC_US, "end": UTC_US})


def counted(steps: list[float], every_s: int = 10) -> pl.DataFrame:
    values = [0.0]
    for step in steps:
        values.append(values[-1] + step)
    at = [START + timedelta(seconds=every_s * k) for k in range(len(values))]
    return pl.DataFrame({"at": at, "value": values})


def laid(steps: list[float], every_s: int = 10, shifts: tuple[Shift, ...] = (), **more: object) -> pl.DataFrame:
    found = increments(counted(steps, every_s), modulus=None, fastest_per_min=450)
    end = START + timedelta(seconds=every_s * len(steps))
    settings = {"changeovers": NOTHING, "stop_log": empty(STOP_LOG), "gap_s": 120.0} | more
    cal = calendar(shifts, "UTC", START, end)
    return timeline(found, cal, **settings)


def timeline(found: pl.DataFrame, cal: pl.DataFrame, *, gap_s: float, **logs: pl.DataFrame) -> pl.DataFrame:
    seen = clock(found, band_low_per_min=300, gap_s=gap_s)
    return classify_intervals(seen, cal, short_stop_min=5, **logs)


def short(frame: pl.DataFrame) -> list[tuple[str, float, float | None]]:
    seconds = (frame["end"] - frame["start"]).dt.total_microseconds() / 1e6
    return list(zip(frame["state"], seconds.round(2), frame["pieces"], strict=True))


def test_partial_intervals_at_a_stops_edges_are_resolved_by_the_legs_own_rate() -> None:
    assert short(laid([60] * 12 + [24] + [0] * 10 + [45] + [60] * 12)) == [
        ("running", 124.0, 744),
        ("short stop", 6.0 + 100 + 2.5, 0),
        ("running", 127.5, 765),
    ]


def test_a_partial_interval_counts_at_the_rate_of_the_minute_beside_the_stop() -> None:
    """Half an interval's pieces of the last two minutes, 6.6 a second, not of the ten minutes at 5.4 before them."""
    found = short(laid([54] * 60 + [66] * 12 + [33] + [0] * 10 + [33] + [66] * 12 + [54] * 60))
    assert [row[:2] for row in found] == [("running", 725), ("short stop", 110), ("running", 725)]


@pytest.mark.parametrize("pieces", [7, 30])  # a tenth of a minute at the band's lower end
def test_a_jog_of_a_few_pieces_does_not_cut_a_stop_in_two(pieces: int) -> None:
    found = laid([60] * 12 + [0] * 10 + [pieces] + [0] * 10 + [60] * 12)
    assert short(found) == [("running", 120.0, 720.0), ("short stop", 210.0, pieces), ("running", 120.0, 720.0)]


def test_what_is_read_first_and_last_is_between_nothing() -> None:
    """A few pieces there are no jog within a stop, and a moment without one no jitter of a machine that runs."""
    assert [row[::2] for row in short(laid([7] + [0] * 20 + [7]))] == [
        ("running", 7),
        ("short stop", 0),
        ("running", 7),
    ]
    assert short(laid([0] * 3 + [6] * 120 + [0] * 3, every_s=1)) == [
        ("short stop", 3.0, 0), ("running", 120.0, 720), ("short stop", 3.0, 0),
    ]  # fmt: skip


def test_a_stop_shorter_than_an_interval_is_found_where_it_takes_the_count_down() -> None:
    for low, stood_s, first, last in (
        ([24], 6.0, 12, 12),
        ([36, 30], 9.0, 12, 12),
        ([24], 6.0, 0, 12),
        ([24], 6.0, 12, 0),
    ):
        before, stop, after = short(laid([60] * first + low + [60] * last))
        assert stop == ("short stop", stood_s, 0)
        assert (before[2], after[2]) == pytest.approx((6 * before[1], 6 * after[1]))  # six a second on either side


def test_a_ramp_of_several_intervals_is_no_stop() -> None:
    assert [row[0] for row in short(laid([60] * 12 + [40, 38, 41, 39] + [60] * 12))] == ["running"]


def test_slow_needs_a_minute_below_the_band() -> None:
    assert [row[0] for row in short(laid([58] * 30 + [45] * 4 + [58] * 30))] == ["running"]
    found = short(laid([58] * 30 + [45] * 30 + [58] * 30))
    assert [row[0] for row in found] == ["running", "slow", "running"]
    assert abs(found[1][1] - 300) <= 20
    minutes = short(laid([350] * 10 + [200] * 10 + [350] * 10, every_s=60))  # an interval is a window by itself
    assert minutes == [("running", 600.0, 3500), ("slow", 600.0, 2000), ("running", 600.0, 3500)]


@pytest.mark.parametrize(("seconds", "state"), [(120, "running"), (121, "slow")])
def test_one_interval_by_itself_may_hold_a_stop_unless_it_is_longer_than_two_minutes(seconds: int, state: str) -> None:
    assert short(laid([4 * seconds], every_s=seconds, gap_s=300.0)) == [(state, seconds, 4 * seconds)]


def test_five_minutes_make_a_stop() -> None:
    assert short(laid([60] * 12 + [0] * 29 + [60] * 12))[1][0] == "short stop"
    assert short(laid([60] * 12 + [0] * 30 + [60] * 12))[1][0] == "stop"


def test_a_break_overrides_and_keeps_its_pieces() -> None:
    pause = Break(start=time(6, 1), end=time(6, 2))
    shift = Shift(id="s", start=time(6), end=time(14), days=("tue",), breaks=(pause,))
    found = short(laid([60] * 30, shifts=(shift,)))
    assert found == [("running", 60.0, 360), ("break", 60.0, 360), ("running", 180.0, 1080)]


def test_a_stop_over_a_break_is_measured_by_its_planned_minutes() -> None:
    pause = Break(start=time(6, 4), end=time(6, 34))
    shift = Shift(id="s", start=time(6), end=time(14), days=("tue",), breaks=(pause,))
    steps = [60] * 12 + [0] * 204 + [60] * 12  # stands from 6:02 to 6:36, 30 of it in the break
    assert [row[0] for row in short(laid(steps, shifts=(shift,)))] == [
        "running", "short stop", "break", "short stop", "running",
    ]  # fmt: skip


def test_a_standing_that_touches_the_edge_of_a_shift_is_not_within_it() -> None:
    """Ten minutes on either side of a break, of a shift's end and up to it, and from the next shift's begin."""
    shifts = (
        Shift(id="a", start=time(6), end=time(14), days=("tue",), breaks=(Break(start=time(9), end=time(9, 25)),)),
        Shift(id="b", start=time(14), end=time(22), days=("tue",)),
    )
    cal = calendar(shifts, "UTC", START, START + timedelta(hours=16))
    spans = [(170, 215), (470, 490), (470, 480), (480, 490), (30, 40)]
    begins, ends = np.array(spans).T * 60_000_000 + int(START.timestamp() * 1e6)
    planned, inside = _planned_us(begins, ends, cal)
    assert (planned / 6e7).tolist() == [20, 20, 10, 10, 10]
    assert inside.tolist() == [True, False, False, False, True]


def test_a_standing_over_the_night_is_in_no_shift_and_its_night_is_no_minute_of_a_changeover() -> None:
    """One shift a day, from 6:00 to 14:00: the machine stands from 13:50 to 6:10 of the next day."""
    cal = calendar([Shift(id="a", start=time(6), end=time(14))], "UTC", START, START + timedelta(days=2))
    stands = START + timedelta(minutes=470), START + timedelta(hours=24, minutes=10)
    planned, inside = _planned_us(*(np.array([moment.timestamp() * 1e6]) for moment in stands), cal)
    assert ((planned / 6e7).tolist(), inside.tolist()) == ([20], [False])
    over = pl.DataFrame({"start": stands[:1], "end": stands[1:]})
    timeline = cal.select("start", "end", state=pl.lit("changeover"))
    assert with_planned_minutes(over, timeline)["minutes"].to_list() == [20.0]
    assert with_planned_minutes(over, timeline.clear())["minutes"].to_list() == [16 * 60 + 20.0]


def test_a_stop_over_two_shifts_is_one_stop_in_both() -> None:
    shifts = (
        Shift(id="a", start=time(6), end=time(6, 5), days=("tue",)),
        Shift(id="b", start=time(6, 5), end=time(14), days=("tue",)),
    )
    steps = [60] * 12 + [0] * 36 + [60] * 12  # 6:02 to 6:08, three minutes in each
    assert [row[0] for row in short(laid(steps, shifts=shifts))] == ["running", "stop", "stop", "running"]


def test_no_reading_for_longer_than_the_gap_is_unseen_and_its_pieces_are_bounds() -> None:
    frame = counted([60] * 60).filter(
        ~pl.col("at").is_between(START + timedelta(minutes=3), START + timedelta(minutes=6))
    )
    found = increments(frame, modulus=None, fastest_per_min=450)
    cal = calendar((), "UTC", START, START + timedelta(minutes=10))
    row = timeline(found, cal, gap_s=120, changeovers=NOTHING, stop_log=empty(STOP_LOG)).row(1, named=True)
    assert row["state"] == "unseen"
    assert row["pieces"] is None
    assert row["pieces_low"] == row["pieces_high"] == 20 * 60


def test_time_before_the_first_and_after_the_last_reading_is_unseen_without_bound() -> None:
    found = increments(counted([60] * 12), modulus=None, fastest_per_min=450)
    cal = calendar((), "UTC", START - timedelta(minutes=1), START + timedelta(minutes=4))
    rows = timeline(found, cal, gap_s=120, changeovers=NOTHING, stop_log=empty(STOP_LOG))
    assert rows["state"].to_list() == ["unseen", "running", "unseen"]
    assert rows["pieces_high"].to_list() == [None, 720, None]


def test_reasons_come_from_the_log_and_a_reason_can_make_a_changeover() -> None:
    log = pl.DataFrame(
        {
            "machine": "w",
            "start": [START + timedelta(seconds=150), START + timedelta(minutes=15)],
            "end": [START + timedelta(minutes=7), None],
            "reason": ["film broke", "change of flavour"],
            "intake": 1,
            "row": [1, 2],
        }
    ).cast(dict(STOP_LOG))
    found = laid([60] * 12 + [0] * 32 + [60] * 40 + [0] * 12 + [60] * 12, stop_log=log)
    told = found.select("state", "reason").rows()
    assert told[1] == ("stop", "film broke")
    assert told[3] == ("changeover", "change of flavour")


def readings(steps: list[float], texts: list[tuple[float, str]] = ()) -> pl.DataFrame:
    frame = counted(steps).with_columns(channel=pl.lit("p"), text=pl.lit(None, pl.String))
    rows = [(START + timedelta(minutes=m), None, "flavour", t) for m, t in texts]
    columns = {"at": UTC_US, "value": pl.Float64, "channel": pl.String, "text": pl.String}
    marks = pl.DataFrame(rows, schema=columns, orient="row")
    both = pl.concat([frame.cast({"at": UTC_US}).select(marks.columns), marks])
    return both.with_columns(
        machine=pl.lit("w"), quality=pl.lit("good"), intake=pl.lit(1, pl.Int64), row=pl.lit(1, pl.Int64)
    ).select(list(READINGS))


WRAPPER = Machine(
    id="w",
    kind="cut-and-wrap machine",
    line="1",
    counters=(Counter(id="p", counts="pieces", fastest_per_min=450),),
    gauges=(Gauge(id="flavour", measures="product"),),
)
STEPS = [60] * 60 + [0] * 12 + [60] * 60 + [0] * 36 + [60] * 60


def of_machine(frame: pl.DataFrame, batches: pl.DataFrame) -> list[str]:
    cal = calendar((), "UTC", START, START + timedelta(seconds=10 * len(STEPS)))
    counts = count_machine(WRAPPER, frame, gap_s=120)
    found = timeline_of(counts, batches, empty(STOP_LOG), cal, short_stop_min=5)
    return found["state"].to_list()


def sheet(*rows: tuple[float, str]) -> pl.DataFrame:
    frame = pl.DataFrame(
        {
            "line": "1",
            "batch": [f"b{k}" for k in range(len(rows))],
            "product": [name for _, name in rows],
            "start": [START + timedelta(minutes=m) for m, _ in rows],
        }
    ).cast({"start": UTC_US})
    return pl.concat([empty(BATCHES), frame], how="diagonal")


def test_standing_between_batches_of_two_products_is_a_changeover_though_the_sheet_is_off() -> None:
    # stands 10:00-12:00 and 22:00-28:00; the sheet says 13:30 and 21:00
    batches = sheet((0, "mint"), (13.5, "lime"), (21, "Lime"))
    assert of_machine(readings(STEPS), batches) == ["running", "changeover", "running", "stop", "running"]


def test_the_standing_that_ends_at_the_mark_is_the_changeover_though_a_longer_one_is_near() -> None:
    # stands 10:00-12:00 and 13:00-19:00; the new product's first piece came at 12:00, or a minute off
    steps = [60.0] * 60 + [0.0] * 12 + [60.0] * 6 + [0.0] * 36 + [60.0] * 114
    told = ["running", "changeover", "running", "stop", "running"]
    for mark in (11.0, 12.0, 12.5):
        assert of_machine(readings(steps), sheet((0, "mint"), (mark, "lime"))) == told


def test_a_logged_changeover_does_not_reach_the_short_stop_after_it() -> None:
    steps = [60.0] * 60 + [0.0] * 36 + [60.0] * 6 + [0.0] * 6 + [60.0] * 60
    log = pl.DataFrame(
        {
            "machine": ["w"],
            "start": [START + timedelta(minutes=10)],
            "end": [START + timedelta(minutes=16)],
            "reason": ["change of flavour"],
        }
    ).cast({"start": UTC_US, "end": UTC_US})
    found = laid(steps, stop_log=pl.concat([empty(STOP_LOG), log], how="diagonal"))
    assert list(zip(found["state"], found["reason"], strict=True))[1::2] == [
        ("changeover", "change of flavour"),
        ("short stop", None),
    ]


def test_the_machines_own_product_channel_is_preferred() -> None:
    frame = readings(STEPS, [(0, "mint"), (24, "lime")])
    assert of_machine(frame, sheet((0, "mint"), (11, "lime"))) == [
        "running", "short stop", "running", "changeover", "running",
    ]  # fmt: skip


def test_without_products_no_changeover_is_told() -> None:
    assert "changeover" not in of_machine(readings(STEPS), empty(BATCHES))


@pytest.mark.parametrize("every_s", [1, 60])
def test_other_reading_intervals_give_the_same_minutes(every_s: int) -> None:
    per_s = [6.0] * 1200 + [0.0] * 130 + [6.0] * 1190 + [0.0] * 600 + [6.0] * 1200
    steps = [sum(per_s[k : k + every_s]) for k in range(0, len(per_s), every_s)]
    found = short(laid(steps, every_s))
    assert [row[0] for row in found] == ["running", "short stop", "running", "stop", "running"]
    assert found[1][1] == pytest.approx(130, abs=1)
    assert found[3][1] == pytest.approx(600, abs=1)


def test_uncertain_readings_are_not_counted() -> None:
    frame = readings(STEPS).with_columns(
        quality=pl.when(pl.col("at").is_between(START + timedelta(minutes=2), START + timedelta(minutes=6)))
        .then(pl.lit("uncertain"))
        .otherwise(pl.lit("good"))
    )
    assert "unseen" in of_machine(frame, empty(BATCHES))
