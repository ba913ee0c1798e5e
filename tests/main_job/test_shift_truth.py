"""The invented week's shifts against what really happened, from export to answer; prints figures."""

import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import Answer
from tests.main_job.invented_week import truth

STANDS = ("stop", "short stop", "changeover")
SHIFTS = list(truth("shifts").iter_rows(named=True))


def ids(row: dict) -> str:
    return f"{row['machine']}-{row['date']}-{row['shift']}"


def asked(week: Works, row: dict) -> Answer:
    return week.ask(read_question("shift", machine=row["machine"], period=f"{row['date']}.{row['shift']}"))


def value(answer: Answer, name: str) -> float:
    figure = answer.figure(name)
    assert figure is not None and figure.value is not None, name
    return float(figure.value)


@pytest.mark.parametrize("row", SHIFTS, ids=ids)
def test_good_pieces_are_exact_or_bounded(week: Works, row: dict) -> None:
    figure = asked(week, row).figure("good_pieces")
    assert figure is not None
    if figure.value is None:  # a counter was reset: what was made before it is only bounded
        assert figure.low <= row["good"] <= figure.high
    else:
        assert figure.value == row["good"]


def test_most_shifts_have_an_exact_count(week: Works) -> None:
    exact = [row for row in SHIFTS if asked(week, row).figure("good_pieces").value is not None]
    assert len(exact) >= len(SHIFTS) - 1


@pytest.mark.parametrize("row", [r for r in SHIFTS if r["unseen_s"] == 0], ids=ids)
def test_running_minutes_are_within_half_a_percent(week: Works, row: dict) -> None:
    answer = asked(week, row)
    runs = value(answer, "running_min") + value(answer, "slow_min")
    true = (row["running_s"] + row["slow_s"]) / 60
    print(f"{ids(row)}: running {runs:.2f} min, truth {true:.2f}, off {100 * (runs / true - 1):+.3f} %")
    assert abs(runs / true - 1) < 0.005


@pytest.mark.parametrize("row", SHIFTS, ids=ids)
def test_unseen_minutes_leave_bounds_that_hold(week: Works, row: dict) -> None:
    answer = asked(week, row)
    planned = value(answer, "planned_min")
    true = 100 * (row["running_s"] + row["slow_s"]) / 60 / planned
    uptime = answer.figure("uptime_percent")
    assert uptime is not None
    low = uptime.low if uptime.low is not None else uptime.value
    high = uptime.high if uptime.high is not None else uptime.value
    assert low - 0.5 <= true <= high + 0.5


@pytest.mark.parametrize("row", SHIFTS, ids=ids)
def test_stops_of_a_minute_and_longer_are_all_found_and_none_invented(week: Works, row: dict) -> None:
    timeline = asked(week, row).series["timeline"]
    ours = timeline.filter(pl.col("state").is_in(STANDS))
    known = truth("stops").filter(
        (pl.col("machine") == row["machine"]) & (pl.col("date") == row["date"]) & (pl.col("shift") == row["shift"])
    )
    unseen = timeline.filter(pl.col("state") == "unseen")
    for stop in known.filter(pl.col("state").is_in(STANDS) & (pl.col("seconds") >= 60)).iter_rows(named=True):
        seen = pl.concat([ours, unseen]).filter((pl.col("start") < stop["end"]) & (pl.col("end") > stop["start"]))
        assert seen.height, f"not found: {stop['reason']} at {stop['start']}"
    long = (pl.col("end") - pl.col("start")).dt.total_seconds() >= 60
    for found in ours.filter(long).iter_rows(named=True):
        true = known.filter((pl.col("start") < found["end"]) & (pl.col("end") > found["start"]))
        assert true.height, f"invented: {found['state']} at {found['start']}"


@pytest.mark.parametrize("row", SHIFTS, ids=ids)
def test_the_states_add_up_to_the_shift_exactly(week: Works, row: dict) -> None:
    answer = asked(week, row)
    timeline = answer.series["timeline"]
    assert (timeline["end"] - timeline["start"]).sum() == row["end"] - row["start"]
    assert (timeline["start"][1:] == timeline["end"][:-1]).all()


@pytest.mark.parametrize("row", SHIFTS, ids=ids)
def test_the_ladder_adds_up_to_the_good_pieces(week: Works, row: dict) -> None:
    answer = asked(week, row)
    loss_waterfall = next(t for t in answer.tables if t.name == "ladder")
    pieces = [r["pieces"] for r in loss_waterfall.rows]
    if None in pieces:
        pytest.skip("a reset left the count to bounds, so the ladder cannot be closed")
    assert sum(pieces[:-1]) == pytest.approx(pieces[-1], abs=1e-6)


def changeover_min(row: dict) -> float:
    """Give the true minutes of changeover."""
    return (
        truth("stops")
        .filter(
            (pl.col("machine") == row["machine"])
            & (pl.col("date") == row["date"])
            & (pl.col("shift") == row["shift"])
            & (pl.col("state") == "changeover")
        )["seconds"]
        .sum()
        / 60
    )


@pytest.mark.parametrize("row", [r for r in SHIFTS if r["unseen_s"] == 0], ids=ids)
def test_changeover_minutes_are_within_a_quarter_of_a_minute_where_all_is_read(week: Works, row: dict) -> None:
    timeline = asked(week, row).series["timeline"].filter(pl.col("state") == "changeover")
    ours = (timeline["end"] - timeline["start"]).dt.total_microseconds().sum() / 6e7
    true = changeover_min(row)
    off = ours - true
    print(f"{ids(row)}: changeover {ours:.2f} min, truth {true:.2f}, {off:+.2f}")
    assert abs(off) < 0.25
