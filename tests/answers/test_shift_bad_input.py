"""The shift's answer where readings are wrong, few or missing: each case has its plain statement."""

from datetime import timedelta

import polars as pl
import pytest
from shift_scene import END, FRAME, RUN, START, ask, machine, table, value, works

from lineview.answers.answer import Scope
from lineview.answers.shift import answer_shift
from lineview.columns import READINGS
from lineview.errors import AskError
from lineview.figure import Period
from lineview.plant import Gauge
from tests.from_frames import Frames, inputs


def test_an_unknown_machine_is_named_with_those_there_are() -> None:
    known, unknown = (Scope("1", name, Period(START, END), END) for name in ("w1", "w9"))
    given = inputs("shift", works(), known, Frames())
    with pytest.raises(AskError, match=r"w9.*w1"):
        answer_shift(works(), unknown, given)


def test_pieces_counted_in_maintenance_are_told() -> None:
    own = machine(
        name="Cut-and-wrap 1", gauges=(Gauge(id="state", measures="state", codes={"m": "maintenance"}),)
    )
    marks = pl.DataFrame(
        {
            "machine": "w1",
            "channel": "state",
            "at": [START, START + timedelta(hours=1), START + timedelta(hours=2)],
            "value": None,
            "text": ["Execute", "M", "Execute"],
            "quality": "good",
            "intake": 1,
            "row": 1,
        }
    ).cast(dict(READINGS))  # type: ignore[arg-type]
    answer = ask(pl.concat([FRAME, marks]), plant=works(own))
    counted = int(((RUN.pieces > 3600) & (RUN.pieces <= 7200)).sum())
    assert any(note.startswith(f"{counted:,} pieces were counted while") for note in answer.notes)


def test_a_clock_that_jumps_forward_is_unseen_and_one_set_back_is_bridged() -> None:
    after = pl.col("at") >= START + timedelta(hours=4)
    ahead = FRAME.with_columns(at=pl.when(after).then(pl.col("at") + timedelta(minutes=30)).otherwise("at"))
    answer = ask(ahead)
    assert value(answer, "unseen_min") == pytest.approx(30, abs=0.5)
    back = FRAME.with_columns(at=pl.when(after).then(pl.col("at") - timedelta(minutes=2)).otherwise("at"))
    told = ask(back)
    good = told.figure("pieces_made")
    truth = int(((RUN.pieces > 0) & (RUN.pieces <= 8 * 3600)).sum())
    assert good is not None
    # Two values at each of the moments that came twice: both are left out, and the count goes on over them.
    assert good.low <= truth if good.low is not None else good.value <= truth  # type: ignore[operator]
    assert sum(r["pieces"] for r in table(told, "ladder")[:-1]) == table(told, "ladder")[-1]["pieces"]  # type: ignore[misc]


def test_a_stop_over_the_end_of_a_shift_is_in_both_and_counted_once_each() -> None:
    a, b = next((a, b) for a, b in RUN.stops if 13000 < a < 27000 and b - a > 60)
    middle = START + timedelta(seconds=(a + b) / 2)
    first = ask(end=middle, now=END)
    second = ask(start=middle)
    whole = ask()
    for name in ("stop_min", "short_stop_min", "running_min", "slow_min"):
        both = value(first, name) + value(second, name)
        assert both == pytest.approx(value(whole, name), abs=0.6), name
    assert value(first, "good_pieces") + value(second, "good_pieces") == value(whole, "good_pieces")


def test_a_period_beyond_the_readings_is_bounded_and_never_negative() -> None:
    few = FRAME.filter(pl.col("at") < START + timedelta(minutes=30))
    # The reject counter was read further than the piece counter.
    short = few.filter((pl.col("channel") == "rejects") | (pl.col("at") < START + timedelta(minutes=29)))
    start = START + timedelta(minutes=29, seconds=5)
    good = ask(short, start, start + timedelta(seconds=20)).figure("good_pieces")
    assert good is not None
    assert good.low is not None
    assert good.low >= 0
    assert good.value is None or good.value >= 0  # type: ignore[operator]
    later = ask(few, START + timedelta(hours=5), START + timedelta(hours=6), START + timedelta(hours=6))
    assert later.figure("good_pieces").value is None  # type: ignore[union-attr]


def test_rejects_alone_tell_no_good_pieces_and_no_state() -> None:
    answer = ask(FRAME.filter(pl.col("channel") == "rejects"))
    assert value(answer, "rejects") > 0
    assert answer.figure("good_pieces").value is None  # type: ignore[union-attr]
    assert value(answer, "unseen_min") == 455


def test_a_period_of_seconds_does_not_round_its_planned_minutes_to_none() -> None:
    a, b = START + timedelta(hours=1), START + timedelta(hours=1, seconds=20)
    told = ask(start=a, end=b, now=END)
    assert "over its 20 planned seconds" in told.text
    assert told.text.startswith("This period made ")


def test_without_a_counter_of_rejects_nothing_speaks_of_good_pieces_as_known() -> None:
    only = machine(name="Cut-and-wrap 1")
    only = only.model_copy(update={"counters": tuple(c for c in only.counters if c.counts == "pieces")})
    answer = ask(FRAME.filter(pl.col("channel") == only.counters[0].id), plant=works(only))
    assert "good pieces" not in answer.text
    assert "rejects" in str(table(answer, "ladder")[-1]["cause"])
    good = answer.figure("good_pieces")
    assert good is not None
    assert good.label == "good pieces, at most"
    for name in ("rejects", "pieces_lost_rejects", "iso_quality_ratio_percent", "iso_oee_index_percent"):
        figure = answer.figure(name)
        assert figure is not None
        assert figure.value is None, name
        assert "reject" in figure.why_none or "counts them" in figure.why_none
    assert value(answer, "iso_availability_percent") > 0


def test_rejects_are_the_pieces_made_that_are_not_good_where_both_are_counted() -> None:
    whole = ask()
    pieces, rejects = (FRAME.filter(pl.col("channel") == name) for name in ("pieces", "rejects"))
    both = pieces.join(rejects.select("at", rejects="value"), on="at").sort("at")
    good = both.with_columns(channel=pl.lit("good"), value=pl.col("value") - pl.col("rejects")).drop(
        "rejects"
    )
    own = machine(name="Cut-and-wrap 1")
    counters = [c.model_copy(update={"modulus": None}) for c in own.counters if c.counts == "pieces"]
    counters.append(counters[0].model_copy(update={"id": "good", "counts": "good pieces"}))
    answer = ask(pl.concat([pieces, good]), plant=works(own.model_copy(update={"counters": tuple(counters)})))
    assert value(answer, "rejects") == value(whole, "rejects")
    assert value(answer, "good_pieces") == value(whole, "good_pieces")
