"""The calendar: nights over a clock change, breaks, overlaps; running hours along a timeline."""

from datetime import UTC, date, datetime, time, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.core.errors import MeasureError
from lineview.core.frames import CALENDAR, STATE_TIMELINE, STOP_LOG, UTC_US, empty
from lineview.machine.calendar import calendar, running_hours, shift_windows
from lineview.machine.timeline import classify_intervals
from lineview.plant import Break, Shift
from tests.one_count import clock, increments

NIGHT = Shift(id="night", start=time(22), end=time(6), breaks=(Break(start=time(2), end=time(2, 30)),))
ALL_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_three_shifts_fill_the_day_with_the_breaks_within() -> None:
    shifts = [
        Shift(id="early", start=time(6), end=time(14), breaks=(Break(start=time(9), end=time(9, 25)),)),
        Shift(id="late", start=time(14), end=time(22)),
        NIGHT,
    ]
    cal = calendar(shifts, "Europe/Vienna", at("2026-06-08T22:00"), at("2026-06-09T22:00"))
    assert dict(cal.schema) == CALENDAR
    assert cal["start"][1:].equals(cal["end"][:-1])
    windows = shift_windows(cal)
    assert windows["shift"].to_list() == ["night", "early", "late", "night"]
    assert windows.row(1, named=True)["planned_min"] == 455


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 10, 24), 9), (date(2026, 3, 28), 7), (date(2026, 6, 1), 8)])
def test_a_night_over_the_clock_change_keeps_its_true_length(day: date, hours: int) -> None:
    night = NIGHT.model_copy(update={"days": ALL_WEEK})
    start = datetime.combine(day, time(12), tzinfo=UTC)
    windows = shift_windows(calendar([night], "Europe/Vienna", start, start + timedelta(hours=20)))
    row = windows.filter(pl.col("date") == day).row(0, named=True)
    assert row["end"] - row["start"] == timedelta(hours=hours)
    assert row["planned_min"] + row["break_min"] == hours * 60


def test_a_break_in_the_hour_that_spring_skips_ends_no_earlier_than_it_starts() -> None:
    pause = Break(start=time(2, 30), end=time(3))
    night = Shift(id="night", start=time(22), end=time(6), days=ALL_WEEK, breaks=(pause,))
    cal = calendar([night], "Europe/Vienna", at("2026-03-28T12:00"), at("2026-03-29T12:00"))
    assert (cal["end"] > cal["start"]).all()
    assert cal["start"][1:].equals(cal["end"][:-1])


def test_without_shifts_every_local_day_is_planned() -> None:
    cal = calendar([], "America/New_York", at("2026-11-01T00:00"), at("2026-11-03T00:00"))
    assert cal["shift"].unique().to_list() == ["all day"]
    assert shift_windows(cal)["planned_min"].sum() == 48 * 60
    assert 25 * 60 in shift_windows(cal)["planned_min"].to_list()


def test_overlapping_shifts_are_refused_by_name() -> None:
    shifts = [Shift(id="a", start=time(6), end=time(14)), Shift(id="b", start=time(13), end=time(20))]
    with pytest.raises(MeasureError, match="'a' and 'b' overlap"):
        calendar(shifts, "UTC", at("2026-06-08T00:00"), at("2026-06-10T00:00"))


def test_moments_without_offset_and_a_period_backwards_are_refused() -> None:
    with pytest.raises(MeasureError) as error:
        calendar([], "UTC", datetime(2026, 6, 8), datetime(2026, 6, 9))  # noqa: DTZ001 - that is the fault
    assert len(error.value.faults) == 2
    with pytest.raises(MeasureError, match="before its start"):
        calendar([], "UTC", at("2026-06-09T00:00"), at("2026-06-08T00:00"))


def test_running_hours_stand_still_where_the_machine_does() -> None:
    edges = [at(f"2026-06-09T{h:02}:00") for h in range(6, 11)]
    states = ["running", "stop", "slow", "unseen"]
    frame = pl.DataFrame({"start": edges[:-1], "end": edges[1:], "state": states}).cast(
        {"start": UTC_US, "end": UTC_US}
    )
    moments = [at("2026-06-09T05:00"), at("2026-06-09T06:30"), at("2026-06-09T07:30"), None, at("2026-06-09T12:00")]
    found = running_hours(frame, pl.Series(moments, dtype=UTC_US))
    assert found.to_list() == [0.0, 0.5, 1.0, None, 2.0]
    assert running_hours(empty(STATE_TIMELINE), pl.Series(moments[:1], dtype=UTC_US)).to_list() == [0.0]


CHANGES = [
    ("Europe/Vienna", date(2026, 10, 24)),
    ("Europe/Vienna", date(2026, 3, 28)),
    ("America/New_York", date(2026, 10, 31)),
]


@st.composite
def nights(draw: st.DrawFn) -> tuple[pl.DataFrame, pl.DataFrame]:
    """A counter over the night of a clock change, read at uneven moments, with gaps and falls."""
    zone, day = draw(st.sampled_from(CHANGES))
    night = Shift(id="night", start=time(22), end=time(6), days=ALL_WEEK, breaks=NIGHT.breaks)
    start = datetime.combine(day, time(18), tzinfo=UTC)
    cal = calendar([night], zone, start, start + timedelta(hours=20))
    pauses = draw(st.lists(st.sampled_from([1, 10, 10, 10, 60, 119, 121, 3000]), min_size=2, max_size=50))
    steps = draw(st.lists(st.integers(-50, 400), min_size=len(pauses), max_size=len(pauses)))
    moment, value, made = cal["start"].min() + timedelta(seconds=draw(st.integers(-900, 900))), 0.0, []
    for pause, step in zip(pauses, steps, strict=True):
        moment += timedelta(seconds=pause, microseconds=draw(st.integers(0, 999_999)))
        value = max(0.0, value + min(step, pause * 7))
        made.append((moment, value))
    frame = pl.DataFrame(made, schema={"at": UTC_US, "value": pl.Float64}, orient="row")
    return increments(frame, modulus=10_000, fastest_per_min=450), cal


@settings(max_examples=60, deadline=None)
@given(nights())
def test_states_add_up_to_the_shift_over_the_clock_change(case: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    steps, cal = case
    nothing = pl.DataFrame(schema={"start": UTC_US, "end": UTC_US})
    seen = clock(steps, band_low_per_min=300, gap_s=120)
    found = classify_intervals(seen, cal, short_stop_min=5, changeovers=nothing, stop_log=empty(STOP_LOG))
    assert dict(found.select(list(STATE_TIMELINE)).schema) == STATE_TIMELINE
    length = (found["end"] - found["start"]).dt.total_microseconds()
    assert (length > 0).all()
    assert length.sum() == (cal["end"] - cal["start"]).dt.total_microseconds().sum()
    assert (found["start"][1:] >= found["end"][:-1]).all()
    seen = found.filter(pl.col("pieces").is_not_null())
    assert (seen["pieces"] >= 0).all()
    assert float(seen["pieces"].sum()) <= float(steps["n"].sum()) + 1e-3
    # breaks override whatever the machine did
    pauses = cal.filter(pl.col("part") == "break").select("start", "end")
    assert found.filter(pl.col("state") == "break").select("start", "end").equals(pauses)


def test_a_shift_that_starts_in_the_hour_that_autumn_repeats_starts_at_its_first_coming() -> None:
    night = Shift(id="night", start=time(2, 30), end=time(6), days=ALL_WEEK)
    cal = calendar([night], "Europe/Vienna", at("2026-10-24T12:00"), at("2026-10-25T12:00"))
    assert (cal["start"][0], cal["end"][0]) == (at("2026-10-25T00:30"), at("2026-10-25T05:00"))
