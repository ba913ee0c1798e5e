"""Formats of date and time, zones, the repeated and the missing hour, clocks that are ahead."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from lineview.core.errors import IntakeError
from lineview.intake.cells.timestamp_columns import localise
from tests.intake.invented_works import layout_of, reasons, utc, values


def one(cell: str, read, time_format: str = "auto", **settings: object) -> str:
    export = read(f"when;n\n{cell};1\n", layout_of({"n": "pieces"}, time="when", time_format=time_format, **settings))
    return utc(export)[0]


@pytest.mark.parametrize(
    ("cell", "moment"),
    [
        ("2026-06-08 06:00:00", "2026-06-08 04:00:00"),
        ("2026-06-08T06:00:00", "2026-06-08 04:00:00"),
        ("2026-06-08T06:00", "2026-06-08 04:00:00"),
        ("2026/06/08 06:00:00", "2026-06-08 04:00:00"),
        ("2026-06-08T06:00:00.250", "2026-06-08 04:00:00"),
        ("2026-06-08 06:00:00,250", "2026-06-08 04:00:00"),
        ("2026-06-08T06:00:00Z", "2026-06-08 06:00:00"),
        ("2026-06-08T06:00:00+05:30", "2026-06-08 00:30:00"),
        ("2026-06-08 06:00:00 -0700", "2026-06-08 13:00:00"),
        ("2026-06-08T06:00:00+02", "2026-06-08 04:00:00"),
        ("08.06.2026 06:00:00", "2026-06-08 04:00:00"),
        ("8.6.2026 6:00", "2026-06-08 04:00:00"),
        ("08.06.26 06:00", "2026-06-08 04:00:00"),
        ("13/06/2026 06:00:00", "2026-06-13 04:00:00"),
        ("06/13/2026 6:00:00 PM", "2026-06-13 16:00:00"),
        ("06/13/26 12:30 am", "2026-06-12 22:30:00"),
        ("06-06-2026 06:00", "2026-06-06 04:00:00"),
        ("8 Jun 2026 06:00", "2026-06-08 04:00:00"),
        ("08-JUN-26 06:00:00", "2026-06-08 04:00:00"),
        ("Jun 8, 2026 06:00:00", "2026-06-08 04:00:00"),
        ("8. Juni 2026 06:00", "2026-06-08 04:00:00"),
        ("8 août 2026 06:00", "2026-08-08 04:00:00"),
        ("Fri 8 May 2026 06:00", "2026-05-08 04:00:00"),
        ("Mon 08.06.2026 06:00", "2026-06-08 04:00:00"),
        ("20260608 060000", "2026-06-08 04:00:00"),
        ("20260608T060000", "2026-06-08 04:00:00"),
        ("20260608060000", "2026-06-08 04:00:00"),
        ("2026-06-08 24:00:00", "2026-06-08 22:00:00"),
        ("2026-06-08  06:00:00", "2026-06-08 04:00:00"),
        ("1780898400", "2026-06-08 06:00:00"),
        ("1780898400000", "2026-06-08 06:00:00"),
        ("46181.25", "2026-06-08 04:00:00"),
        ("46181,25", "2026-06-08 04:00:00"),
    ],
)
def test_a_cell_tells_its_own_format(read, cell, moment):
    assert one(cell, read) == moment


@pytest.mark.parametrize(
    ("form", "cell"),
    [
        ("%d/%m/%Y %H:%M", "08/06/2026 06:00"),
        ("%m/%d/%Y %I:%M %p", "06/08/2026 06:00 AM"),
        ("%y-%m-%d %H:%M", "26-06-08 06:00"),
        ("%d.%m.%Y %H:%M:%S", "08.06.2026 06:00:00"),
        ("%d.%m.%Y %H:%M:%S", "08.06.2026 06:00"),
        ("iso", "2026-06-08T06:00:00"),
        ("excel", "46181,25"),
        ("epoch s", "1780891200"),
        ("epoch ms", "1780891200000"),
    ],
)
def test_a_declared_format_is_kept_to(read, form, cell):
    assert one(cell, read, form) == "2026-06-08 04:00:00"


def test_day_or_month_first_is_asked_where_no_cell_decides(read):
    with pytest.raises(IntakeError, match=r"day first or month first.*time_format"):
        one("05/06/2026 06:00", read)


def test_one_cell_decides_for_all(read):
    text = "when;n\n05/06/2026 06:00;1\n13/06/2026 06:00;2\n"
    export = read(text, layout_of({"n": "pieces"}, time="when", time_format="auto"))
    assert utc(export) == ["2026-06-05 04:00:00", "2026-06-13 04:00:00"]
    text = "when;n\n05/06/2026 06:00;1\n06/13/2026 06:00;2\n"
    export = read(text, layout_of({"n": "pieces"}, time="when", time_format="auto"))
    assert utc(export) == ["2026-05-06 04:00:00", "2026-06-13 04:00:00"]


def test_a_layout_with_the_wrong_format_is_told_the_right_one(read):
    with pytest.raises(IntakeError, match=r"written as 'iso'.*%d\.%m\.%Y %H:%M"):
        one("08.06.2026 06:00", read, "iso")


def test_date_and_clock_in_two_columns(read):
    layout = layout_of({"n": "pieces"}, time=("Datum", "Uhrzeit"), time_format="%d.%m.%Y %H:%M:%S")
    export = read("Datum;Uhrzeit;n\n08.06.2026;06:00:00;1\n", layout)
    assert utc(export) == ["2026-06-08 04:00:00"]


def test_serials_in_two_columns(read):
    layout = layout_of({"n": "pieces"}, time=("d", "t"), time_format="excel")
    assert utc(read("d;t;n\n46181;0.25;1\n", layout)) == ["2026-06-08 04:00:00"]


def test_the_layouts_zone_and_clock_come_before_the_plants(read):
    assert one("2026-06-08 06:00:00", read, "iso", zone="UTC") == "2026-06-08 06:00:00"
    assert one("2026-06-08 06:00:42", read, "iso", clock_offset_s=42) == "2026-06-08 04:00:00"
    assert one("2026-06-08T06:00:42Z", read, "iso", clock_offset_s=42) == "2026-06-08 06:00:00"


@pytest.mark.parametrize("zone", ["Z", "+02:00", " CEST"])
def test_among_times_with_a_zone_a_cell_that_is_none_is_refused_alone(read, zone):
    text = (
        f"when;n\n2026-06-08 06:00:00{zone};1\nyesterday;2\n2026-02-30 06:00:00{zone};3\n2026-06-08 06:01:00{zone};4\n"
    )
    export = read(text, layout_of({"n": "pieces"}, time="when", time_format="auto"))
    assert set(reasons(export)) == {(3, ""), (4, "")}
    hour = "06" if zone == "Z" else "04"
    assert utc(export) == [f"2026-06-08 {hour}:00:00", f"2026-06-08 {hour}:01:00"]


def test_rows_without_a_time_are_refused_with_the_reason(read):
    text = "when;n\n2026-06-08 06:00:00;1\nyesterday;2\n;3\n2026-02-30 06:00:00;4\n"
    export = read(text, layout_of({"n": "pieces"}, time="when"))
    assert reasons(export) == {
        (3, ""): "'yesterday' is not a time as 'iso'",
        (4, ""): "no time",
        (5, ""): "'2026-02-30 06:00:00' is not a time as 'iso'",
    }


def night(first: datetime, minutes: int, step_min: int = 10, zone: str = "Europe/Berlin") -> list[datetime]:
    """Give true moments, as a clock in that zone shows them."""
    start = first.replace(tzinfo=ZoneInfo("UTC"))
    times = [start + timedelta(minutes=m) for m in range(0, minutes, step_min)]
    return [t.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for t in times]


AUTUMN = datetime(2026, 10, 24, 22, 0)  # noqa: DTZ001 - night() gives it its zone


def spaced(at: pl.Series) -> set[timedelta]:
    return set(at.diff().drop_nulls().to_list())


def test_the_repeated_hour_by_row_order():
    wall = pl.Series(night(AUTUMN, 360))
    assert spaced(localise(wall, "Europe/Berlin").at) == {timedelta(minutes=10)}


def test_the_repeated_hour_written_newest_first():
    wall = pl.Series(night(AUTUMN, 360)).reverse()
    assert spaced(localise(wall, "Europe/Berlin").at) == {timedelta(minutes=-10)}


def test_the_repeated_hour_in_two_machines_interleaved():
    wall = night(AUTUMN, 360)
    both = pl.Series([t for t in wall for _ in range(2)])
    key = pl.Series(["a", "b"] * len(wall))
    at = localise(both, "Europe/Berlin", key).at
    assert spaced(at.filter(key == "a")) == spaced(at.filter(key == "b")) == {timedelta(minutes=10)}


def test_the_repeated_hour_in_machines_one_after_the_other():
    wall = night(AUTUMN, 360)
    at = localise(pl.Series(wall + wall), "Europe/Berlin").at
    assert spaced(at[: len(wall)]) == spaced(at[len(wall) :]) == {timedelta(minutes=10)}


def test_a_log_with_jitter_keeps_one_step_back():
    wall = night(AUTUMN, 360, 5)
    wall[10], wall[11] = wall[11], wall[10]
    at = localise(pl.Series(wall), "Europe/Berlin").at
    assert at.sort().diff().drop_nulls().unique().to_list() == [timedelta(minutes=5)]


@pytest.mark.parametrize(
    ("before", "minute", "after", "hour"),
    [("00:50", 30, "03:00", 1), ("01:40", 0, "03:30", 0)],
    ids=["second", "first"],
)
def test_without_a_step_back_the_smaller_gap_is_left(before, minute, after, hour):
    """In UTC 02:30 after the change is 01:30, ten minutes before 03:00; 02:00 before it is 00:00."""
    wall = [t for t in night(AUTUMN, 360) if not before < f"{t:%H:%M}" < after]
    place = next(k for k, t in enumerate(wall) if t.hour >= 3)
    three = [datetime(2026, 10, 25, 2, minute + m) for m in (0, 10, 20)]  # noqa: DTZ001 - wall clock
    placed = localise(pl.Series([*wall[:place], *three, *wall[place:]]), "Europe/Berlin")
    assert placed.by_gap == 3
    assert {at.hour for at in placed.at[place : place + 3]} == {hour}


def test_the_missing_hour_is_refused(read):
    text = "when;n\n2026-03-29 01:59:00;1\n2026-03-29 02:30:00;2\n2026-03-29 03:00:00;3\n"
    export = read(text, layout_of({"n": "pieces"}, time="when"))
    assert utc(export) == ["2026-03-29 00:59:00", "2026-03-29 01:00:00"]
    assert reasons(export) == {(3, ""): (
        "'2026-03-29 02:30:00' does not exist in Europe/Berlin: the clocks went forward"
    )}  # fmt: skip


def test_an_offset_in_the_cell_needs_no_order(read):
    rows = ["2026-10-25T02:30:00+01:00;3", "2026-10-25T02:30:00+02:00;2", "2026-10-25T01:30:00+02:00;1"]
    export = read("when;n\n" + "\n".join(rows) + "\n", layout_of({"n": "pieces"}, time="when"))
    assert utc(export) == ["2026-10-25 01:30:00", "2026-10-25 00:30:00", "2026-10-24 23:30:00"]
    assert values(export, "pieces") == [3, 2, 1]


def test_a_long_file_of_several_names_through_the_repeated_hour(read):
    wall = night(AUTUMN, 240)
    lines = [f"{t:%Y-%m-%d %H:%M:%S};{name};5" for t in wall for name in ("A", "B")]
    layout = layout_of({"A": "pieces", "B": "rejects"}, shape="long", name_column="name", value_column="v", time="when")
    export = read("when;name;v\n" + "\n".join(lines) + "\n", layout)
    for channel in ("pieces", "rejects"):
        at = export.parts[0].tidy.filter(pl.col("channel") == channel)["at"]
        assert spaced(at) == {timedelta(minutes=10)}
