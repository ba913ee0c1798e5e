"""Times that would be read wrongly in silence: far-off dates, half clocks, zones that a header names."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
import xlsxwriter

from lineview.core.errors import IntakeError
from lineview.intake.exports import Export
from lineview.intake.layout.survey import survey_export
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up, layout_of, reasons, utc
from tests.intake.small_works import MADE, START, SmallWorks, rows, stamps, total

NOW = datetime(2026, 6, 9, 12, tzinfo=UTC)


def export_of(tmp_path, text, layout, name="export.csv", now=NOW):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    export = read_export(path, WORKS, layout=layout, now=now)
    assert isinstance(export, Export)
    adds_up(export)
    return export


PIECES = layout_of({"n": "pieces"})
QUIET = rows(stamps(20, 10), total)


@pytest.mark.parametrize("stamp", ["2062-06-08 06:01:00", "2000-01-01 00:00:10", "2026-12-08 06:00:00"])
def test_a_row_far_from_the_others_is_refused(tmp_path, stamp):
    export = export_of(tmp_path, f"time;n\n{QUIET}{stamp};9\n", PIECES)
    assert (export.rows, export.rows_refused) == (21, 1)
    assert "is far from the file's other times, 2026-06-08" in reasons(export)[22, ""]


def test_one_far_row_is_not_now(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + rows(stamps(2881, 10), total) + "2062-01-01 00:00:00;5\n"
    assert works.take(text, answers={}).receipt.refused == 1
    assert works.made() == (MADE, MADE, MADE)


def test_a_file_of_a_clock_that_lost_its_time_is_refused(tmp_path):
    late = rows(stamps(20, 10, START + timedelta(days=700)), total)
    for text, said in (
        (late, "lie in the future"),
        (QUIET.replace("2026-06-08", "2000-01-01"), "clock that lost its time"),
        (QUIET + QUIET.replace("2026-06-08", "2000-01-01"), "lie far apart"),
    ):
        with pytest.raises(IntakeError, match=said):
            export_of(tmp_path, f"time;n\n{text}", PIECES)
        meant = layout_of({"n": "pieces"}, any_times=True)
        assert export_of(tmp_path, f"time;n\n{text}", meant).rows_refused == 0


@pytest.mark.parametrize(("days", "noted"), [(40, True), (4, True), (3, False), (1.5, False)])
def test_times_more_than_two_days_ahead_are_noted(tmp_path, days, noted):
    times = stamps(9, 10, START + timedelta(days=days))
    export = export_of(tmp_path, f"time;n\n{rows(times, total)}", PIECES)
    note = f"its times lie ahead of this computer's clock, up to {times[-1]:%Y-%m-%d}"
    assert (note in export.notes) is noted


@pytest.mark.parametrize(("named", "refused"), [("06-07", True), ("06-09", True), ("06-10", False), ("08-07", False)])
def test_times_of_the_day_in_the_name_but_for_a_swap_are_refused(tmp_path, named, refused):
    """Read as 6 August; a file may be named by the day before or after its times."""
    text = f"time;n\n{rows(stamps(9, 10, START.replace(month=8, day=6)), total)}"
    if refused:
        with pytest.raises(IntakeError, match=f"begin on 2026-08-06, its name says 2026-{named}: day and month may be"):
            export_of(tmp_path, text, PIECES, f"wrap_2026-{named}.csv", now=None)
    else:
        assert export_of(tmp_path, text, PIECES, f"wrap_2026-{named}.csv", now=None).rows_refused == 0


def test_a_day_ahead_that_month_first_is_not(tmp_path):
    layout = layout_of({"n": "pieces"}, time_format="%d/%m/%Y %H:%M:%S")
    month_first = rows(stamps(9, 10, START.replace(day=7)), total, form="%m/%d/%Y %H:%M:%S")
    with pytest.raises(IntakeError, match="in the future, on 2026-07-06: day and month may be swapped, it would be 20"):
        export_of(tmp_path, f"time;n\n{month_first}", layout)
    meant = layout.model_copy(update={"any_times": True})
    assert utc(export_of(tmp_path, f"time;n\n{month_first}", meant))[0] == "2026-07-06 04:00:00"
    ahead = rows(stamps(9, 10, START.replace(month=8)), total, form="%d/%m/%Y %H:%M:%S")  # 8 August is so both ways
    assert export_of(tmp_path, f"time;n\n{ahead}", layout).rows_refused == 0


def test_a_stretch_of_time_is_no_offset_from_utc(tmp_path):
    """`06:00-06:15` had been read as 12:15 UTC."""
    quarters = stamps(9, 900)
    lines = "".join(f"{a:%d.%m.%Y %H:%M}-{b:%H:%M};{k}\n" for k, (a, b) in enumerate(pairwise(quarters)))
    path = tmp_path / "export.csv"
    path.write_text(f"time;n\n{lines}", encoding="utf-8")
    with pytest.raises(IntakeError, match="no rows with times were found"):
        read_export(path, WORKS, now=NOW)
    export = export_of(tmp_path, f"time;n\n{lines}", layout_of({"n": "pieces"}, time_format="auto"))
    assert (export.rows_refused, reasons(export)[2, ""]) == (8, "'08.06.2026 06:00-06:15' is not a time")


def test_a_date_in_the_first_row_of_a_day_is_that_of_the_rows_below(tmp_path):
    days = [f"{stamp:%d.%m.%Y};{stamp:%H:%M:%S}" for stamp in stamps(2 * 144, 600, START.replace(hour=0))]
    lines = [f"{line if k % 144 == 0 else ';' + line[11:]};{17 * k}\n" for k, line in enumerate(days)]
    layout = layout_of({"n": "pieces"}, time=["day", "time"], time_format="%d.%m.%Y %H:%M:%S")
    export = export_of(tmp_path, "day;time;n\n" + "".join(lines), layout)
    assert (export.rows_refused, utc(export)[145]) == (0, "2026-06-08 22:10:00")
    night = [line.removeprefix("09.06.2026") for line in lines]  # over midnight under one date: whose day is open
    export = export_of(tmp_path, "day;time;n\n" + "".join(night), layout)
    assert export.rows_refused == 144
    assert reasons(export)[146, ""] == "'00:00:00' is not a time as '%d.%m.%Y %H:%M:%S'"


@pytest.mark.parametrize("form", ["%d.%m.%Y %I:%M:%S", "%Y-%m-%d %I:%M"])
@pytest.mark.parametrize("newest_first", [False, True])
def test_a_clock_of_twelve_hours_is_refused(tmp_path, form, newest_first):
    lines = rows(stamps(48, 600), total, form=form).splitlines(keepends=True)
    text = "time;n\n" + "".join(reversed(lines) if newest_first else lines)
    with pytest.raises(IntakeError, match="twelve hours and no AM or PM"):
        export_of(tmp_path, text, layout_of({"n": "pieces"}, time_format="auto"))


def test_a_morning_on_a_clock_of_24_hours_is_read(tmp_path):
    text = "time;n\n" + rows(stamps(40, 600, START.replace(hour=1)), total)
    assert export_of(tmp_path, text, PIECES).rows_refused == 0


@pytest.mark.parametrize(
    ("top", "time", "hour"),
    [
        ("", "Zeit (UTC)", 6),
        ("", "time_utc", 6),
        ("", "Timestamp UTC", 6),
        ("", "time [GMT]", 6),
        ("", "time (UTC+3)", 3),
        ("", "time [EST]", 11),
        ("All times in UTC\n", "time", 6),
        ("Zeitzone: America/New_York\n", "time", 10),
        ("Exported 2026-06-08 14:00 UTC\n", "time", 4),
        ("", "time (local)", 4),
        ("", "time [MESZ]", 4),
    ],
)
def test_a_zone_that_the_file_names(tmp_path, top, time, hour):
    text = f"{top}{time};n\n{QUIET}"
    export = export_of(tmp_path, text, layout_of({"n": "pieces"}, time=time))
    assert utc(export)[0] == f"2026-06-08 {hour:02}:00:00"
    assert any("its times are read in" in note for note in export.notes) == (hour != 4)
    wall = export_of(tmp_path, text, layout_of({"n": "pieces"}, time=time, zone="Europe/Berlin"))
    assert utc(wall)[0] == "2026-06-08 04:00:00"


def test_standard_time_in_summer_is_asked_about(tmp_path):
    text = f"Zeit [MEZ];n\n{QUIET}"
    with pytest.raises(IntakeError, match=r"marked 'MEZ'.*zone = 'Europe/Berlin' or zone = 'Etc/GMT-1'"):
        export_of(tmp_path, text, layout_of({"n": "pieces"}, time="Zeit [MEZ]"))
    winter = text.replace("2026-06-08", "2026-01-08")
    assert utc(export_of(tmp_path, winter, layout_of({"n": "pieces"}, time="Zeit [MEZ]")))[0] == "2026-01-08 05:00:00"
    works = SmallWorks(tmp_path / "works")
    text = "Zeit [MEZ];Stück\n" + rows(stamps(2881, 10, START - timedelta(hours=1)), lambda m: total(m + 60))
    assert {q.about for q in works.take(text).proposal.questions} == {"zone"}
    works.take(text, answers={"zone": "Etc/GMT-1"})
    assert works.made() == (MADE, MADE, MADE)


def test_standard_time_in_summer_is_asked_about_where_each_cell_names_it(tmp_path):
    """05:30 CEST is 03:30 UTC; a clock that says CET all year may mean 04:30, or stand an hour behind."""
    lines = rows(stamps(2881, 10), total, form="%Y-%m-%d %H:%M:%S CET")
    with pytest.raises(IntakeError, match=r"marked 'CET'.*zone = 'Europe/Berlin' or zone = 'Etc/GMT-1'"):
        export_of(tmp_path, f"time;n\n{lines}", layout_of({"n": "pieces"}, time_format="auto"))
    for zone, hour in (("Europe/Berlin", 4), ("Etc/GMT-1", 5)):
        layout = layout_of({"n": "pieces"}, time_format="auto", zone=zone)
        assert utc(export_of(tmp_path, f"time;n\n{lines}", layout))[0] == f"2026-06-08 {hour:02}:00:00"
    true = export_of(
        tmp_path, f"time;n\n{lines.replace('CET', 'CEST')}", layout_of({"n": "pieces"}, time_format="auto")
    )
    assert utc(true)[0] == "2026-06-08 04:00:00"
    works = SmallWorks(tmp_path / "works")
    assert {q.about for q in works.take(f"Zeit;Stück\n{lines}").proposal.questions} == {"zone"}
    works.take(f"Zeit;Stück\n{lines}", answers={"zone": "Europe/Berlin"})
    assert works.made() == (MADE, MADE, MADE)


def test_a_zone_in_a_header_is_proposed(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "Zeit (UTC);Stück\n" + rows(stamps(2881, 10, START - timedelta(hours=2)), lambda m: total(m + 120))
    assert works.take(text, answers={}).accepted.zone == "UTC"
    assert works.made() == (MADE, MADE, MADE)


@pytest.mark.parametrize("stamp", ["Mo 08.06.2026 08:24:00", "08 Juni 2026 08:24:00", "08.06.2026  08:24:00"])
def test_minute_24_is_no_midnight(tmp_path, stamp):
    text = f"time;n\n08.06.2026 06:00:00;1\n{stamp};2\n08.06.2026 24:00:00;3\n"
    export = export_of(tmp_path, text, layout_of({"n": "pieces"}, time_format="auto"))
    assert utc(export) == ["2026-06-08 04:00:00", "2026-06-08 06:24:00", "2026-06-08 22:00:00"]


def test_a_year_of_two_digits_in_front_is_asked_about(tmp_path):
    layout = layout_of({"n": "pieces"}, time_format="auto")
    with pytest.raises(IntakeError, match=r"'26-06-09 06:00' can be read day first or .*year first"):
        export_of(tmp_path, "time;n\n26-06-09 06:00;1\n26-06-09 06:10;2\n", layout)
    year = layout_of({"n": "pieces"}, time_format="%y-%m-%d %H:%M")
    assert utc(export_of(tmp_path, "time;n\n26-06-09 06:00;1\n", year))[0] == "2026-06-09 04:00:00"
    day = export_of(tmp_path, "time;n\n08.06.26 06:00;1\n13.06.26 06:10;2\n", layout)
    assert utc(day)[0] == "2026-06-08 04:00:00"


def counted(start: int):
    """A counter whose values could be a spreadsheet's days, or seconds since 1970."""
    return lambda minute: start + total(minute)


@pytest.mark.parametrize("start", [28_000, 1_780_000_000])
@pytest.mark.parametrize("header", ["pieces", "pieces counted", "counted", "count since start"])
def test_a_counter_beside_times_is_not_the_time(tmp_path, header, start):
    text = f"stamp;{header}\n" + rows(stamps(300, 10), counted(start))
    (tmp_path / "wrap1.csv").write_text(text, encoding="utf-8")
    proposal = read_export(tmp_path / "wrap1.csv", WORKS)
    assert proposal.layout.time == "stamp"
    assert survey_export(tmp_path / "wrap1.csv").times == ("stamp",)


@pytest.mark.parametrize("start", [28_000, 1_780_000_000])
@pytest.mark.parametrize(
    "header",
    [
        "row;pieces",  # no time at all
        "time;pieces",  # a time that nothing reads
        "clock;pieces counted",
        "date;pieces",
    ],
)
def test_a_file_without_times_that_can_be_read_is_declined(tmp_path, header, start):
    cells = {
        "row": lambda minute: round(minute * 6),
        "time": lambda minute: f"2026/159-{minute:.2f}",
        "clock": lambda minute: f"06.{minute:05.2f}",
        "date": lambda minute: f"day {minute:.0f}",
    }
    cell = cells[header.split(";")[0]]
    count = counted(start)
    text = "".join(f"{cell(k / 6)};{count(k / 6)}\n" for k in range(300))
    (tmp_path / "wrap1.csv").write_text(f"{header}\n{text}", encoding="utf-8")
    for read in (lambda path: read_export(path, WORKS), survey_export):
        with pytest.raises(IntakeError, match="no rows with times"):
            read(tmp_path / "wrap1.csv")


@pytest.mark.parametrize("header", ["time;pieces", "ts;n", "x;pieces"])
@pytest.mark.parametrize("serial", [True, False])
def test_numbers_that_can_be_moments_alone_are_the_time(tmp_path, header, serial):
    moments = [f"{46_181.25 + k / 8640:.6f}" if serial else 1_780_891_200 + 10 * k for k in range(300)]
    text = "".join(f"{moment};{40_000 + 58 * k}\n" for k, moment in enumerate(moments))
    (tmp_path / "wrap1.csv").write_text(f"{header}\n{text}", encoding="utf-8")
    assert survey_export(tmp_path / "wrap1.csv").times == (header.split(";")[0],)


@pytest.mark.parametrize("header", ["Menge", "Stückzahl"])
def test_a_counter_is_no_time_beside_a_clock_whose_day_the_sheets_name(tmp_path, header):
    # Low counts read as clocks ("723"), high ones as a spreadsheet's days ("56278"): invented, a sheet a day.
    path = tmp_path / "wrapper_7.xlsx"
    made, book = 0, xlsxwriter.Workbook(path)
    for day in (2, 3):
        sheet = book.add_worksheet(f"{day:02d}.03.2026")
        sheet.write_row(0, 0, ["Uhrzeit", header, "Folie m"])
        for minute in range(480):
            sheet.write_row(
                minute + 1, 0, [f"{6 + minute // 60:02d}:{minute % 60:02d}:00", made % 100_000, f"{made * 0.057:.2f}"]
            )
            made += 350
    book.close()
    survey = survey_export(path)
    assert survey.times == ("Uhrzeit",)
    assert ("pieces" in {column.meaning for column in survey.columns}) is (header == "Stückzahl")


def set_back_at(row: int, by_s: int = 3_600) -> list[str]:
    """Rows of a day of 340 pieces a minute whose clock somebody sets back before one of them."""
    times = (START + timedelta(minutes=i, seconds=-by_s if i >= row else 0) for i in range(480))
    return [f"{at:%Y-%m-%d %H:%M:%S};{4711 + 340 * i}\n" for i, at in enumerate(times)]


@pytest.mark.parametrize("by_s", [90, 3_570, 3_600])
@pytest.mark.parametrize("newest_first", [False, True])
def test_a_clock_set_back_while_the_counter_goes_on_is_not_taken(tmp_path, by_s, newest_first):
    lines = set_back_at(240, by_s)
    text = "time;n\n" + "".join(reversed(lines) if newest_first else lines)
    said = "line 242 to line 241" if newest_first else "line 241 to line 242"
    with pytest.raises(IntakeError, match=rf"goes back from 2026-06-08 09:59:00 .*{said}\) while 'n' counts on"):
        export_of(tmp_path, text, PIECES)
    assert export_of(tmp_path, text, layout_of({"n": "pieces"}, any_times=True)).rows == 480


def test_a_clock_that_goes_on_an_hour_and_rows_out_of_order_are_taken(tmp_path):
    quiet = set_back_at(480)
    on_and_off = set_back_at(240, -3_600)
    shuffled = [quiet[i * 7 % 480] for i in range(480)]
    turned = [f"{row.split(';')[0]};{int(row.split(';')[1]) % 65_536}\n" for row in shuffled]
    hour_again = [*quiet[:240], *quiet[180:]]
    later_day_first = [*(row.replace("06-08", "06-09") for row in quiet), *quiet]
    for lines in (quiet, on_and_off, shuffled, turned, hour_again, later_day_first):
        assert export_of(tmp_path, "time;n\n" + "".join(lines), PIECES).rows_refused == 0


@pytest.mark.parametrize("mark", [":", "."])
def test_hundredths_of_an_hour_in_the_place_of_minutes_are_not_taken(tmp_path, mark):
    """A quarter of the rows had been refused, and 06:25 had been read as 25 minutes past six."""
    works = SmallWorks(tmp_path / "works")
    times = stamps(60, 900)
    text = "time;pieces\n" + "".join(
        f"{at:%Y-%m-%d %H}{mark}{at.minute * 5 // 3:02};{5_000 + 5_250 * k}\n" for k, at in enumerate(times)
    )
    error = works.take(text, answers={}).error
    assert "has more than 59 minutes: hundredths of an hour may be meant" in str(error)
