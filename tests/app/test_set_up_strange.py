"""Exports as no other vendor writes them, set up by a stranger: right, or asked about, or declined with the reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from lineview.app.question import read_question
from lineview.app.setup import SetUp, set_up
from lineview.app.setup_layouts import survey_folder
from lineview.app.works import Works
from lineview.core.figure import Figure

START = datetime(2026, 6, 8, 6)  # noqa: DTZ001 - the works' wall clock
ANSWERS = {"zone": "Europe/Berlin", "shifts": "early 06:00-14:00 mon-sun"}
PER_MIN, MADE = 340, 340 * 480


def rows(cells: Callable[[int], str], form: str = "%Y-%m-%d %H:%M:%S", minutes: int = 481) -> str:
    """A row a minute of the shift: its time, and cells by the minutes since it began."""
    return "".join(f"{START + timedelta(minutes=k):{form}};{cells(k)}\n" for k in range(minutes))


def pieces(minute: int) -> int:
    return 4711 + PER_MIN * minute


def shown(folder: Path, text: str, name: str = "wrapper1.csv", **answers: str) -> SetUp:
    exports = folder / "exports"
    exports.mkdir(exist_ok=True)
    (exports / name).write_text(text, encoding="utf-8")
    return set_up(survey_folder([exports], "Invented", "Europe/Berlin"), ANSWERS | answers)


def made(folder: Path, came: SetUp, shift: str = "2026-06-08.early") -> Figure:
    """Pieces of the shift by the description as it was suggested."""
    assert came.text, (came.open, came.faults)
    works = folder / "works"
    works.mkdir()
    (works / "plant.toml").write_text(came.text, encoding="utf-8")
    with Works(works) as opened:
        assert all(taken.receipt for taken in opened.take([folder / "exports"]))
        answer = opened.ask(read_question("shift", machine=opened.plant.machines[0].id, period=shift))
    return next(figure for figure in answer.figures if figure.name == "pieces_made")


def test_a_header_repeated_for_each_machine_is_asked_about(tmp_path):
    text = ";Wrapper 1;;Wrapper 2;\nTime;Pieces;Rejects;Pieces;Rejects\n"
    came = shown(tmp_path, text + rows(lambda k: f"{pieces(k)};{k};{900 + 310 * k};{k // 2}"))
    asked = [question for question in came.open if question.key.startswith("columns of ")]
    assert ["could be pieces: 'Pieces', 'Pieces (2)'" in question.text for question in asked] == [True, False]
    assert "could be rejects: 'Rejects', 'Rejects (2)'" in asked[1].text
    assert not came.text


@pytest.mark.parametrize("header", ["Pieces x100", "Pieces (100s)", "Stück in 100"])
def test_a_header_that_counts_lots_says_what_one_count_is(tmp_path, header):
    figure = made(tmp_path, shown(tmp_path, f"Time;{header}\n" + rows(lambda k: f"{pieces(k) // 100}")))
    assert figure.value == pytest.approx(MADE, abs=100)


def test_pieces_shown_while_setting_up_are_pieces_and_no_lots(tmp_path):
    """3 a minute and 1,632 a day were shown beside a header that says hundreds, and beside the answer that does."""
    film = f"Time;{{}};Film\n{rows(lambda k: f'{pieces(k) // 100};{pieces(k) * 57 // 100}')}"
    for name, header, answers in (("said", "Pieces x100", {}), ("asked", "Pieces", {"count wrapper1/pieces": "100"})):
        (tmp_path / name).mkdir()
        came = shown(tmp_path / name, film.format(header), **answers)
        assert "while running they made 300 a minute" in next(q.why for q in came.questions if q.key == "band")
        assert came.by_day["pieces"].sum() == pytest.approx(MADE, abs=100)
        assert [(c.holds, c.count_m) for c in came.learned if c.holds == "film"] == [("film", 0.1)]
        assert "fastest_per_min = 5.0, unit_value = 100.0" in came.text  # it had been 450 counts
    assert [q.key for q in shown(tmp_path, film.format("Pieces"), **{"count wrapper1/pieces": "some"}).open] == [
        "count wrapper1/pieces"
    ]


def test_a_machine_a_hundred_times_too_slow_is_asked_about(tmp_path):
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k) // 100}")
    asked = shown(tmp_path, text).open
    assert [(question.key, question.why) for question in asked] == [
        ("count wrapper1/pieces", "by its counter it makes 3 a minute while it runs")
    ]
    figure = made(tmp_path, shown(tmp_path, text, **{asked[0].key: "100"}))
    assert figure.value == pytest.approx(MADE, abs=100)


def test_a_counter_of_what_is_left_counts_down(tmp_path):
    text = "Time;Pieces to go\n" + rows(lambda k: f"{900_000 - pieces(k - k % 7)}")
    assert made(tmp_path, shown(tmp_path, text)).value == pytest.approx(MADE, abs=7 * PER_MIN)


def test_hourly_totals_of_sixteen_bits_are_no_differences(tmp_path):
    days = [START - timedelta(hours=6) + timedelta(hours=k) for k in range(73)]
    total, text = 0, "Time;Pieces\n"
    for at in days:
        total += 20_100 + at.hour * at.day if 6 < at.hour <= 22 else 0
        text += f"{at:%d.%m.%Y %H:%M};{total % 65_536}\n"
    figure = made(tmp_path, shown(tmp_path, text))
    true = sum(20_100 + hour * 8 for hour in range(7, 15))
    assert figure.value is not None
    assert (figure.low or figure.value) <= true <= (figure.high or figure.value)


def test_thousands_that_hide_pieces_are_not_taken(tmp_path):
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k) / 1000:.1f}k"))
    assert not came.text
    assert "'4.7k' is rounded: its last digits are not written" in str(came.faults[0])


def test_good_and_bad_pieces_add_up_and_good_ones_alone_are_the_least(tmp_path):
    both = made(tmp_path, shown(tmp_path, "Time;Good;Bad\n" + rows(lambda k: f"{pieces(k)};{33 + 3 * k}")))
    assert (both.value, both.label) == (MADE + 3 * 480, "pieces made")
    other = tmp_path / "other"
    other.mkdir()
    alone = made(other, shown(other, "Time;Good\n" + rows(lambda k: f"{pieces(k)}")))
    assert (alone.value, alone.label) == (MADE, "pieces made, at least")


def test_a_column_of_clocks_takes_its_day_from_the_files_name(tmp_path):
    text = "Clock;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%H:%M:%S")
    assert made(tmp_path, shown(tmp_path, text, "wrapper1_2026-06-08.csv")).value == MADE


@pytest.mark.parametrize(
    "text",
    [
        "Date;Hour;Pieces\n" + "".join(f"08.06.2026;{h:02}-{h + 1:02};{20_000 + h * h}\n" for h in range(6, 14)),
        "Time;Pieces\n" + "".join(f"08.06.2026 06:{k // 6:02};{4711 + 57 * k}\n" for k in range(360)),
    ],
    ids=["an hour beside the day", "no seconds"],
)
def test_rows_that_share_their_time_are_declined_for_that(tmp_path, text):
    came = shown(tmp_path, text)
    for question in came.open:
        came = shown(tmp_path, text, **{question.key: question.options[0][0]})
    assert not came.text
    assert "several rows have one time and different values" in str(came.faults[0])


def test_a_later_file_whose_day_and_month_are_swapped_is_not_taken(tmp_path):
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%d/%m/%Y %H:%M:%S")
    came = shown(tmp_path, text, "wrapper1_2026-06-08.csv")
    assert made(tmp_path, came).value == MADE
    later = tmp_path / "wrapper1_2026-06-09.csv"
    later.write_text(text.replace("08/06/2026", "06/09/2026"), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        error = works.take([later])[0].error
    assert "its times begin on 2026-09-06, its name says 2026-06-09: day and month may be swapped" in str(error)


@pytest.mark.parametrize("none", ["", "-"])
def test_a_column_without_a_number_is_kept_for_later_and_what_hangs_on_it_is_not_known(tmp_path, none):
    came = shown(tmp_path, "Time;Pieces;Rejects\n" + rows(lambda k: f"{pieces(k)};{none}"))
    assert made(tmp_path, came).value == MADE
    with Works(tmp_path / "works") as works:
        answer = works.ask(read_question("shift", period="2026-06-08.early"))
        assert "its rejects were not read, so good pieces are not known" in "".join(
            span.text for span in answer.sentence
        )
        assert [f.value for f in answer.figures if f.name == "good_pieces"] == [None]
        counter = works.plant.machines[0].counter("rejects")
    assert counter is not None
    assert counter.fastest_per_min == 450
    assert "its column holds no number so far" in came.text


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ((6, 7, 8, 9), "lone days, the first on 2026-06-0"),  # 6 July reads as 7 June
        ((12, 13, 14), "rows have no time written as '%d/%m/%Y %H:%M:%S': the first is '07/13/2026"),
    ],
)
def test_a_later_file_with_the_month_first_is_not_taken(tmp_path, days, said):
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%d/%m/%Y %H:%M:%S")
    came = shown(tmp_path, text, "export.csv", **{"time_format csv Time": "%d/%m/%Y %H:%M:%S"})
    assert made(tmp_path, came).value == MADE
    later = tmp_path / "export.csv"
    lines = [f"07/{day:02}/2026 {k // 60:02}:{k % 60:02}:00;{900_000 + 340 * k}\n" for day in days for k in range(600)]
    later.write_text("Time;Pieces\n" + "".join(lines), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        assert said in str(works.take([later])[0].error)


def set_up_with_later(folder: Path, later: str) -> tuple[Works, Path]:
    """A works set up from one day's file of a name that says nothing, and a later file of that name and header."""
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}")
    assert made(folder, shown(folder, text, "export.csv")).value == MADE
    second = folder / "later" / "export.csv"
    second.parent.mkdir()
    second.write_text("Time;Pieces\n" + later, encoding="utf-8")
    return Works(folder / "works"), second


@pytest.mark.parametrize(("lot", "pace"), [(100, "3.4"), (1000, "0.3")])
def test_a_later_file_that_counts_in_lots_is_not_taken(tmp_path, lot, pace):
    later = rows(lambda k: f"{pieces(k + 1440) // lot}").replace("2026-06-08", "2026-06-09")
    works, second = set_up_with_later(tmp_path, later)
    with works:
        error = works.take([second])[0].error
    assert f"by 'Pieces' wrap makes {pace} pieces a minute" in str(error)
    assert "its nominal band is 300 to 400: one count may not be 1" in str(error)


def test_an_hour_of_single_pieces_is_no_other_pace(tmp_path):
    later = rows(lambda k: f"{pieces(480) + min(k, 60)}").replace("2026-06-08", "2026-06-09")
    works, second = set_up_with_later(tmp_path, later)
    with works:
        assert works.take([second])[0].receipt is not None


def of_shift(works: Works) -> tuple[Figure, str]:
    answer = works.ask(read_question("shift", machine="wrap", period="2026-06-08.early"))
    return next(f for f in answer.figures if f.name == "pieces_made"), " ".join((answer.text, *answer.notes))


def test_another_machines_file_of_the_same_name_and_moments_is_a_conflict(tmp_path):
    works, second = set_up_with_later(tmp_path, rows(lambda k: f"{90_000 + 310 * k}"))
    with works:
        receipt = works.take([second])[0].receipt
        assert receipt is not None
        assert receipt.conflicts == 481
        figure, words = of_shift(works)
    assert figure.value is None
    assert "480 readings are given in two versions, of which neither is used" in words


def test_another_machines_file_between_the_moments_is_not_counted_as_one(tmp_path):
    later = rows(lambda k: f"{90_000 + 310 * k}", "%Y-%m-%d %H:%M:30")
    works, second = set_up_with_later(tmp_path, later)
    with works:
        assert works.take([second])[0].receipt is not None
        figure, words = of_shift(works)
    assert figure.low is not None
    assert figure.high is not None
    assert figure.low < MADE < figure.high
    assert "planned minutes have no readings" in words


@pytest.mark.parametrize("copy", ["wrapper1 (1).csv", "wrapper1 - Copy.csv", "wrapper1-Kopie (2).csv"])
def test_a_second_download_is_of_the_same_machine(tmp_path, copy):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / copy).write_text("Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"), encoding="utf-8")
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}", minutes=300))  # an hour before its end
    figure = made(tmp_path, came)
    assert (figure.value, figure.low) == (MADE, None)
    with Works(tmp_path / "works") as opened:
        assert [machine.id for machine in opened.plant.machines] == ["wrapper1"]


def test_numbers_in_brackets_without_a_first_download_are_machines(tmp_path):
    shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"), "Wrapper (1).csv")
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{77 + 300 * k}"), "Wrapper (2).csv")
    assert came.text.count("[[machines]]") == 2


@pytest.mark.parametrize(("minutes", "each"), [(1, 340), (60, 20_400)])
def test_a_column_that_never_changes_is_asked_about(tmp_path, minutes, each):
    """A counter that stood all the while, or sums that happen to be equal: its cells do not say."""
    times = [START + timedelta(minutes=k) for k in range(minutes, 481, minutes)]
    text = "Time;Pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M:%S};{each}\n" for at in times)
    asked = {question.key: "end" for question in shown(tmp_path, text).open}
    assert [key.partition(" ")[0] for key in asked] == ["counting", *(["stamps"] if minutes > 1 else [])]
    answers = asked | {next(iter(asked)): "since last row"}
    assert made(tmp_path, shown(tmp_path, text, **answers)).value == pytest.approx(MADE, abs=each)


@pytest.mark.parametrize("ends", [";;;", ";"])
def test_rows_that_end_in_separators_of_columns_once_used(tmp_path, ends):
    text = f"Report of wrapper 1;{ends}\n;{ends}\nTime;Pieces{ends}\n"
    text += rows(lambda k: f"{pieces(k)}{ends}")
    assert made(tmp_path, shown(tmp_path, text)).value == MADE


def test_the_night_on_which_the_clock_goes_back_is_no_pause(tmp_path):
    """Nine hours between 22:00 and 06:00, two of them from 02:00 to 03:00."""
    begin, berlin = datetime(2026, 10, 24, 19, tzinfo=UTC), ZoneInfo("Europe/Berlin")
    times = [(begin + timedelta(minutes=k)).astimezone(berlin) for k in range(720)]
    text = "Time;Pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M:%S};{pieces(k)}\n" for k, at in enumerate(times))
    came = shown(tmp_path, text, shifts="night 22:00-06:00 mon-sun")
    assert made(tmp_path, came, "2026-10-24.night").value == PER_MIN * 540


@pytest.mark.parametrize(("first", "read", "lone"), [(8, "%m/%d/%Y", "2026-08-06"), (1, "%d/%m/%Y", "2026-01-06")])
def test_a_spreadsheet_that_swapped_the_first_twelve_days_is_declined(tmp_path, first, read, lone):
    """It takes 08/06 for the 6th of August, and leaves 13/06, which is no month, as it stands."""
    days = [datetime(2026, 6, day, 6) for day in range(first, 25)]  # noqa: DTZ001 - the works' wall clock
    kept, swapped = ("%m/%d/%Y", "%d/%m/%Y") if read == "%m/%d/%Y" else ("%d/%m/%Y", "%m/%d/%Y")
    text = "Time;Pieces\n"
    for k, at in enumerate(day + timedelta(minutes=m) for day in days for m in range(0, 960, 5)):
        text += f"{at:{swapped if at.day <= 12 else kept} %H:%M};{pieces(5 * k)}\n"
    came = shown(tmp_path, text, **{"on_change Time Pieces": "false"})
    assert f"some of its times lie on lone days, the first on {lone}: day and month may be swapped" in str(came.faults)


def test_a_status_of_small_numbers_is_of_the_machine_or_of_its_readings(tmp_path):
    text = "Time;Pieces;Status\n" + rows(lambda k: f"{pieces(k)};{int(k % 60 > 0)}")
    asked = {question.key: question.text for question in shown(tmp_path, text).open}
    assert list(asked) == ["quality_column Time Pieces Status"]
    assert "what do the numbers in 'Status' say?" in asked["quality_column Time Pieces Status"]
    judged = shown(tmp_path, text, **dict.fromkeys(asked, "Status"))
    assert "481 of 481 rows cannot be read" in str(judged.faults[0])
    assert made(tmp_path, shown(tmp_path, text, **dict.fromkeys(asked, "leave out"))).value == MADE


def test_a_status_of_classic_bytes_judges_the_readings(tmp_path):
    text = "Time;Pieces;Status\n" + rows(lambda k: f"{pieces(k) if k != 100 else 0};{192 if k != 100 else 0}")
    came = shown(tmp_path, text)
    assert not came.open
    assert made(tmp_path, came).value == MADE


def halves(folder: Path, first: str, second: str, on: int) -> None:
    """A shift in two files of its halves, whose counter goes on by so many counts from one to the next."""
    lines = rows(lambda k: f"{pieces(k) + (on if k > 240 else 0)}").splitlines()
    for name, part in ((first, lines[:241]), (second, lines[241:])):
        (folder / name).write_text("Time;Pieces\n" + "\n".join(part) + "\n", encoding="utf-8")


@pytest.mark.parametrize(("on", "suggested"), [(0, "one"), (200_000, "each"), (-86_000, None)])
def test_files_that_differ_in_the_end_of_their_names_are_asked_about(tmp_path, on: int, suggested: str | None) -> None:
    """Whether a counter goes on that begins anew near 0 nobody can say."""
    exports = tmp_path / "exports"
    exports.mkdir()
    halves(exports, "wrapper_a.csv", "wrapper_b.csv", on)
    surveyed = survey_folder([exports], "Invented", "Europe/Berlin")
    came = set_up(surveyed, ANSWERS)
    (asked,) = (question for question in came.questions if question.key.startswith("same "))
    assert (asked.key, asked.suggested) == ("same wrapper", suggested)
    assert "wrapper_a.csv, wrapper_b.csv" in asked.text
    joined = set_up(surveyed, ANSWERS | {"same wrapper": "one"})
    assert [machine.id for machine in joined.read.draft.machines] == ["wrapper"]
    apart = set_up(surveyed, ANSWERS | {"same wrapper": "each"})
    assert [machine.id for machine in apart.read.draft.machines] == ["wrapper a", "wrapper b"]
    if not on:
        assert made(tmp_path, joined).value == MADE


def test_files_of_one_counter_that_overlap_are_asked_about(tmp_path) -> None:
    lines = ("Time;Pieces\n" + rows(lambda k: f"{pieces(k)}")).splitlines()
    shown(tmp_path, "\n".join(lines[:300]) + "\n", "wrapper_a.csv")
    second = "\n".join([lines[0], *lines[200:]]) + "\n"
    assert [question.key for question in shown(tmp_path, second, "wrapper_b.csv").open] == ["same wrapper"]
    assert made(tmp_path, shown(tmp_path, second, "wrapper_b.csv", **{"same wrapper": "one"})).value == MADE


@pytest.mark.parametrize("missing", ["0", "-9999", "999999"])
def test_a_value_that_stands_for_minutes_without_readings_is_not_counted(tmp_path, missing: str) -> None:
    """Five minutes of each hour read as nothing: 340 pieces a minute all the same."""
    text = "Time;Pieces\n" + rows(lambda k: missing if 30 <= k % 60 < 35 else f"{pieces(k)}")
    assert made(tmp_path, shown(tmp_path, text)).value == MADE


def test_a_date_that_stays_over_midnight_is_not_taken(tmp_path) -> None:
    """The day a shift began, beside the clock: six hours of a night were counted in the morning before."""
    night = datetime(2026, 6, 8, 22)  # noqa: DTZ001 - the works' wall clock
    cells = "".join(
        f"2026-06-08;{night + timedelta(minutes=k):%H:%M:%S};{pieces(k - (k % 10 == 9))}\n" for k in range(481)
    )
    came = shown(tmp_path, f"Production day;Time;Pieces\n{cells}", shifts="night 22:00-06:00 mon-sun")
    assert not came.text
    (fault,) = came.faults  # beside it had stood that plant.toml points at a counter that is not there
    assert "its clock goes back from 2026-06-08 23:59:00 to 00:00:00" in str(fault)


def test_machines_that_run_at_once_are_not_asked_about(tmp_path) -> None:
    shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"), "wrapper_a.csv")
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{9_000 + 310 * k}"), "wrapper_b.csv")
    assert not [question for question in came.questions if question.key.startswith("same ")]
    assert len(came.read.draft.machines) == 2


def both_marks(minute: int) -> str:
    return f"{pieces(minute):,}".replace(",", "." if minute < 240 else ",")


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (lambda k: f"{pieces(k) // 1000}E3", "is rounded"),
        (lambda k: f"{pieces(k)}" if k < 3 else "#####", "placeholder"),
    ],
)
def test_what_can_hardly_be_read_sets_nothing_up(tmp_path, cells: Callable[[int], str], said: str) -> None:
    came = shown(tmp_path, "Time;Pieces\n" + rows(cells))
    assert not came.text
    assert any(said in str(fault) for fault in came.faults)


@pytest.mark.parametrize("mark", [".", ","])
def test_thousands_marked_in_two_ways_are_not_taken(tmp_path, mark: str) -> None:
    came = shown(tmp_path, "Time;Pieces\n" + rows(both_marks), **{"decimal csv Time": mark})
    assert not came.text
    assert any("a point here and a comma there" in str(fault) for fault in came.faults)


@pytest.mark.parametrize("top", [65_535, 999_999])
def test_a_counter_that_stops_at_its_top_leaves_open_what_was_made(tmp_path, top: int) -> None:
    text = "Time;Pieces\n" + rows(lambda k: f"{min(top - 5_000 + PER_MIN * k, top)}")
    figure = made(tmp_path, shown(tmp_path, text))
    assert figure.low is not None
    assert figure.high is not None
    assert figure.low <= MADE <= figure.high
    assert figure.high - figure.low > 100_000


@pytest.mark.parametrize("top", [65_535, 16_777_216])
def test_a_shift_after_a_counter_stopped_at_its_top_is_not_without_pieces(tmp_path, top: int) -> None:
    """A number of 32 bits with a point does not go on from 2^24 (numpy's float32 says so too)."""
    assert np.float32(16_777_216) + np.float32(1) == np.float32(16_777_216)
    text = "Time;Pieces\n" + rows(lambda k: f"{min(top - 5_000 + PER_MIN * k, top)}", minutes=1921)
    figure = made(tmp_path, shown(tmp_path, text), "2026-06-09.early")
    assert figure.low == 0
    assert figure.high is not None
    assert figure.high > MADE


def test_a_counter_at_rest_at_a_round_number_is_no_top(tmp_path) -> None:
    text = "Time;Pieces\n" + rows(lambda k: f"{min(4_711 + PER_MIN * k, 65_500)}")
    assert made(tmp_path, shown(tmp_path, text)).value == 65_500 - 4_711


@pytest.mark.parametrize("shows", [1, 10, 100])
def test_a_display_that_hides_its_last_digits_counts_to_within_them(tmp_path, shows: int) -> None:
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k) // shows * shows}"))
    figure = made(tmp_path, came)
    assert figure.value == pytest.approx(MADE, abs=shows)
    assert (figure.low, figure.high) == ((None, None) if shows == 1 else (figure.value - shows, figure.value + shows))
    assert (f"moves_by = {shows}" in came.text) == (shows > 1)


def test_a_display_of_thousands_is_declined_since_it_hides_stops(tmp_path) -> None:
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k) // 1000 * 1000}"))
    assert not came.text
    (fault,) = came.faults
    assert "move by 1,000 at a time" in str(fault)
