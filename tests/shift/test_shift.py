"""The shift's answer: its sentence in every case, a ladder that adds up, the same numbers everywhere."""

import json
import re
from datetime import timedelta
from itertools import pairwise
from types import SimpleNamespace

import polars as pl
import pytest

from lineview.core.errors import AskError
from lineview.core.figure import Period
from lineview.core.frames import REELS, STOP_LOG
from lineview.plant import Gauge, Shift
from lineview.report.answer import Scope, to_json
from lineview.shift.account import whole_parts
from lineview.shift.answer import answer_shift
from lineview.shift.words import sentence
from tests import factories
from tests.factories import value
from tests.from_frames import Frames, inputs
from tests.simulate.shift import END, FRAME, RUN, ask, hours, made, plan, sheet, table, works
from tests.simulate.wrapper import START, machine


@pytest.mark.parametrize("cut", [None, 3, 6])
def test_ladder_and_minutes_add_up_exactly(cut: int | None) -> None:
    frame = FRAME
    if cut is not None:
        frame = frame.filter(~pl.col("at").is_between(START + timedelta(hours=cut), START + timedelta(hours=cut + 1)))
    answer = ask(frame)
    rungs = table(answer, "ladder")
    assert sum(r["pieces"] for r in rungs[:-1]) == rungs[-1]["pieces"]
    assert sum(r["minutes"] or 0 for r in rungs[1:]) == pytest.approx(455, abs=1e-9)
    assert rungs[0]["pieces"] == 455 * 350
    if cut is None:
        assert rungs[-1]["pieces"] == value(answer, "good_pieces")
    names = ("running", "slow", "short_stop", "stop", "changeover", "unseen")
    assert sum(value(answer, f"{n}_min") for n in names) == pytest.approx(455, abs=1e-9)


def test_a_shift_that_goes_on_tells_pace_projection_and_what_comes_next() -> None:
    now = START + timedelta(hours=5)
    reels = pl.DataFrame(
        {
            "machine": ["w1"],
            "at": [now - timedelta(minutes=60)],
            "web": ["film"],
            "reel": ["r1"],
            "length_m": [2876.0],
            "left_m": [None],
            "splices": [0],
            "intake": [1],
            "row": [1],
        }
    ).cast(dict(REELS))
    answer = ask(
        FRAME.filter(pl.col("at") <= now),
        now=now,
        plan=plan(("mint", 0, 8, 140_000)),
        batches=sheet((0, "lime"), (4.95, "mint")),
        reels=reels,
    )
    so_far = made(RUN, 0, 5 * 3600)
    assert answer.text.startswith(f"This shift has made {so_far:,} good pieces so far, ")
    assert value(answer, "planned_min") == 275
    assert value(answer, "pace_needed_per_min") == pytest.approx((140_000 - so_far) / 180)
    projected = answer.figure("projected_pieces")
    assert projected is not None
    # What was made over the break is no part of the pace of planned minutes.
    planned = so_far - made(RUN, 3 * 3600, 3 * 3600 + 25 * 60)
    assert projected.value == pytest.approx(so_far + planned * 180 / 275, rel=1e-3)
    # One shift alone does not tell how far off that may be.
    assert (projected.low, projected.high) == (None, None)
    assert projected.interval_kind == "no interval: needs 8 whole shifts of the four weeks before, has 0"
    events = {row["event"]: row for row in table(answer, "next")}
    assert events["shift ends"]["at"] == END
    reel = events["film reel ends"]
    wraps = int(((RUN.pieces > 4 * 3600) & (RUN.pieces <= 5 * 3600)).sum())
    left = 2876 / 0.056 - wraps
    truth = START + timedelta(seconds=float(RUN.pieces[RUN.pieces > 5 * 3600][int(left)])) if left < len(
        RUN.pieces[RUN.pieces > 5 * 3600]
    ) else None  # fmt: skip
    assert reel["earliest"] <= reel["at"]
    if truth is not None and reel["latest"] is not None:
        assert reel["earliest"] - timedelta(minutes=5) <= truth <= reel["latest"] + timedelta(minutes=5)
    assert "batch ends, mint" in events


def test_no_pace_is_needed_for_a_plan_of_nothing_or_once_no_planned_minute_is_left() -> None:
    for pieces, now, why in ((0, 5, "the plan is 0 pieces"), (140_000, 9, "no planned minute is left")):
        answer = ask(plan=plan(("mint", 0, 8, pieces)), now=START + timedelta(hours=now))
        assert answer.figure("pace_needed_per_min").why_none == f"not known: {why}"


def test_the_next_reel_of_a_kind_takes_the_last_one_off_the_list() -> None:
    now = START + timedelta(hours=5)
    film = works().webs[0]
    webs = [(f"film {name}", f"Film {name}", "film") for name in ("lime", "mint", "nut")]
    webs.append(("wax", "Wax paper", "wax paper"))
    plant = works().model_copy(
        update={"webs": tuple(film.model_copy(update={"id": i, "name": n, "kind": k}) for i, n, k in webs)}
    )
    changes = [("film lime", 200), ("wax", 150), ("film mint", 120), ("film nut", 45)]
    mounted = [
        {"web": web, "reel": f"r{k}", "at": now - timedelta(minutes=before)} for k, (web, before) in enumerate(changes)
    ]
    reels = factories.rows(REELS, mounted, machine="w1", length_m=2876.0, splices=0)
    answer = ask(FRAME.filter(pl.col("at") <= now), now=now, plant=plant, reels=reels)
    listed = [row["event"] for row in table(answer, "next")]
    assert [event for event in listed if "reel" in str(event)] == ["Wax paper reel ends", "Film nut reel ends"]
    assert answer.figure("reel_end_Film_lime") is None


@pytest.mark.parametrize(
    ("rows", "compared"),
    [
        ([("mint", 0, 8, 140_000)], True),
        ([("mint", -24, 24, 900_000)], True),
        ([("mint", 0, 3, 60_000), ("lime", 4, 8, 70_000)], True),
        ([("mint", 4, 8, 70_000)], False),
        ([("mint", -40, 2, 900_000)], False),
    ],
)
def test_a_plan_is_compared_only_with_periods_that_it_covers(
    rows: list[tuple[str, float, float, float]], compared: bool
) -> None:
    answer = ask(plan=plan(*rows))
    assert ("The plan for it was" in answer.soft) is compared
    assert ("The plan covers only part of this period" in answer.soft) is not compared
    going_on = ask(FRAME.filter(pl.col("at") <= hours(5)), now=hours(5), plan=plan(*rows))
    pace = going_on.figure("pace_needed_per_min")
    assert pace is not None
    assert (pace.value is not None) is compared
    assert ("covers only part" in pace.why_none) is not compared


def test_weeks_are_not_compared_with_the_plan_of_one_of_them() -> None:
    one_week = plan(("mint", -30, 90, 1_215_000))
    answer = ask(start=hours(-24 * 56), end=hours(9), plan=one_week)
    assert "1,215,000" not in to_json(answer)
    assert "The plan covers only part of this period" in answer.soft


@pytest.mark.parametrize(("share", "called"), [(None, False), (0.98, False), (1.01, False), (1.04, True)])
@pytest.mark.parametrize("until", [5, 8])
def test_a_slow_rate_calls_where_the_plan_is_missed_and_not_for_the_band(
    share: float | None, called: bool, until: int
) -> None:
    now, minutes = hours(until), {5: 275, 8: 455}[until]
    reached = made(RUN, 0, until * 3600) / minutes * 455
    fast = works(machine(name="Cut-and-wrap 1").model_copy(update={"nominal_per_min": (500.0, 600.0)}))
    planned = {} if share is None else {"plan": plan(("mint", 0, 8, share * reached))}
    answer = ask(FRAME.filter(pl.col("at") <= now), now=now, plant=fast, **planned)
    assert any(span.call for span in answer.sentence) is called
    if share is not None:  # what is over for more than a day can be acted on by nobody
        old = ask(FRAME, now=hours(8 + 25), plant=fast, **planned)
        assert not any(span.call for span in old.sentence)


def test_what_was_made_outside_every_shift_is_said() -> None:
    short = works().model_copy(update={"shifts": (Shift(id="early", start="06:00", end="07:00"),)})
    answer = ask(plant=short)
    outside = re.search(r"Outside every shift ([\d,]+) more good pieces were made: check the shifts", answer.soft)
    assert outside, answer.soft
    counted = made(RUN, 3600, 8 * 3600)
    assert abs(int(outside[1].replace(",", "")) - counted) <= 60  # readings are ten seconds apart
    assert "Outside every shift" not in ask().soft


def test_no_readings_future_break_and_mostly_unseen_each_have_their_sentence() -> None:
    none = ask(FRAME.clear())
    assert none.text.startswith("There are no readings of Cut-and-wrap 1 in the 455 planned minutes")
    assert none.sentence[0].call
    assert none.figure("good_pieces").value is None
    assert none.figure("uptime_percent").value is None
    future = ask(FRAME, now=START - timedelta(hours=1))
    assert future.text.startswith("This shift has not begun")
    between = ask(FRAME, now=START, start=START + timedelta(hours=9), end=START + timedelta(hours=12))
    assert between.text.startswith("No planned minutes in this period: no shift of plant.toml lies in it")
    pause = ask(start=START + timedelta(hours=3), end=START + timedelta(hours=3, minutes=25))
    assert pause.text.startswith("No planned minutes in this period: it lies in a break")
    little = ask(FRAME.filter(pl.col("at") < START + timedelta(hours=2)))
    assert little.text.startswith("335 of 455 planned minutes have no readings; what was seen shows at least ")
    for answer in (none, future, pause, little):
        to_json(answer)
        assert not re.search(r"\bnan\b", to_json(answer).lower())


def test_missing_readings_leave_bounds_that_hold() -> None:
    gone = pl.col("at").is_between(START + timedelta(hours=1), START + timedelta(hours=1, minutes=20))
    answer = ask(FRAME.filter(~gone))
    uptime = answer.figure("uptime_percent")
    assert uptime is not None
    truth = 100 * (RUN.running_s(0, 10800) + RUN.running_s(12300, 28800)) / (455 * 60)
    assert uptime.low - 0.3 <= truth <= uptime.high + 0.3
    assert uptime.interval_kind == "bounds: unseen minutes"
    # The counter went on counting, so the pieces are exact all the same.
    assert value(answer, "good_pieces") == made(RUN, 0, 8 * 3600)
    end = ask(FRAME.filter(pl.col("at") < START + timedelta(hours=7)))
    good = end.figure("good_pieces")
    assert good is not None
    assert good.value is None
    assert good.low <= made(RUN, 0, 8 * 3600) <= good.high
    assert "at least" in end.text


def test_several_shifts_are_summed_and_ratios_never_averaged() -> None:
    answer = ask(end=START + timedelta(hours=32), now=START + timedelta(hours=32))
    assert answer.text.startswith("These two shifts")
    rows = table(answer, "shifts")
    assert [row["shift"] for row in rows] == ["early", "early", "all"]
    assert rows[2]["planned"] == 910
    # The second has no readings, so all that was seen is the first.
    assert rows[0]["uptime"] == pytest.approx(rows[2]["uptime"])
    assert rows[1]["uptime"] is None


@pytest.mark.parametrize(
    ("pieces", "said"), [(0, "The plan is 0 pieces"), (150_000, "the rest must run at"), (10, "is reached")]
)
def test_every_plan_has_its_words(pieces: float, said: str) -> None:
    now = START + timedelta(hours=5)
    answer = ask(FRAME.filter(pl.col("at") <= now), now=now, plan=plan(("mint", 0, 8, pieces)))
    assert said in answer.soft


def test_notes_say_what_other_exports_would_add() -> None:
    answer = ask()
    for word in ("batch sheet", "stop log", "plan", "reel log"):
        assert any(word in note for note in answer.notes)
    assert len(answer.cautions) == 3


def test_changeovers_are_told_from_flavour_to_flavour_and_an_order_is_advised() -> None:
    a, b = next((a, b) for a, b in RUN.stops if b - a > 90 and 3600 < a < 9000)
    batches = sheet((0, "lime"), ((a + b) / 7200, "mint"))
    based = tuple(
        p.model_copy(update={"base": "hard" if p.id == "mint" else "soft", "flavour": f"sour {p.id}"})
        for p in works().products
    )
    answer = ask(
        plant=works().model_copy(update={"products": based}),
        batches=batches,
        now=START + timedelta(hours=6),
        plan=plan(("nut", 5, 8, 1000), ("almond", 5, 8, 1000), ("lime", 5, 8, 1000)),
    )
    assert value(answer, "changeovers") == 1
    assert value(answer, "changeover_min") == pytest.approx((b - a) / 60, abs=0.1)
    row = table(answer, "changeovers")[0]
    assert (row["before"], row["after"], row["count"]) == ("sour lime", "sour mint", 1)
    assert table(answer, "bases") == [row | {"before": "soft", "after": "hard"}]
    order = [r["product"] for r in table(answer, "order")]
    assert order[0] == "sour mint"
    assert set(order[2:]) == {"sour nut", "sour almond"}
    assert any("validated clean-down" in caution for caution in answer.cautions)


@pytest.mark.parametrize(
    ("planned", "needed"), [("lime", "1 validated clean-down"), ("almond", "2 validated clean-downs")]
)
def test_an_advised_order_says_its_clean_downs(planned: str, needed: str) -> None:
    """After nut lime needs one, and mint after it none; mint, of milk, and almond, of eggs, need one each."""
    allergens = {"lime": (), "mint": ("milk",), "nut": ("nuts",), "almond": ("eggs",)}
    plant = works().model_copy(update={"products": tuple(factories.product(k, *v) for k, v in allergens.items())})
    a, b = next((a, b) for a, b in RUN.stops if b - a > 90 and 3600 < a < 9000)
    answer = ask(
        plant=plant,
        batches=sheet((0, "lime"), ((a + b) / 7200, "nut")),
        now=START + timedelta(hours=6),
        plan=plan(("mint", 6, 8, 1000), (planned, 6, 8, 1000)),
    )
    (found,) = [t for t in answer.tables if t.name == "order"]
    assert found.title.endswith(f" min of changeovers, and needs {needed}")


def test_what_a_log_says_within_a_changeover_is_said_of_a_part_of_it() -> None:
    a, b = next((a, b) for a, b in RUN.stops if b - a > 90 and 3600 < a < 9000)
    stop = {"start": START + timedelta(seconds=a), "end": START + timedelta(seconds=b), "reason": "jam"}
    log = factories.rows(STOP_LOG, [stop], machine="w1")
    answer = ask(batches=sheet((0, "lime"), ((a + b) / 7200, "mint")), stop_log=log)
    reasons = {row["state"]: row["reason"] for row in table(answer, "stops") if row["reason"]}
    assert reasons == {"changeover": "in part: jam"}


def test_logged_stops_where_the_counter_went_on_are_said() -> None:
    """A log an hour late gave no stop its reason, and nothing said why."""
    gaps = pairwise([one for one in RUN.stops if one[0] > 0])
    (a, b), (next_stop, _) = next((one, then) for one, then in gaps if then[0] - one[1] > 600 + one[1] - one[0])

    def said(late_s: float, reason: str = "jam") -> list[str]:
        at = START + timedelta(seconds=a + late_s)
        stop = {"start": at, "end": at + timedelta(seconds=150), "reason": reason}
        answer = ask(stop_log=factories.rows(STOP_LOG, [stop], machine="w1"))
        return [note for note in answer.notes if "is the log's clock right?" in note]

    assert said(0) == []
    assert len(said((b + next_stop) / 2 - a - 75)) == 1
    assert said((b + next_stop) / 2 - a - 75, "adjusted pair 2") == []


def test_a_count_that_gaps_leave_wide_open_is_said_with_its_bounds() -> None:
    seen = FRAME.filter(~pl.col("at").is_between(START + timedelta(hours=2), START + timedelta(hours=4)))
    reset = pl.when(pl.col("at") > START + timedelta(hours=3)).then(pl.col("value") * 0 + 5).otherwise("value")
    assert "made about " in ask(seen.with_columns(value=reset)).text
    assert " about " not in ask().text


def test_blocked_and_starved_minutes_are_left_out_of_the_machines_own_efficiency() -> None:
    a, b = max(((a, b) for a, b in RUN.stops if 0 < a < 28000), key=lambda s: s[1] - s[0])
    own = machine(name="Cut-and-wrap 1", gauges=(Gauge(id="state", measures="state"),))
    marks = factories.readings(
        "w1",
        "state",
        [START - timedelta(minutes=5), START + timedelta(seconds=a), START + timedelta(seconds=b)],
        text=["Execute", "Suspended", "Execute"],
    )
    answer = ask(pl.concat([FRAME, marks]), plant=works(own))
    assert value(answer, "efficiency_machine_only_percent") > value(answer, "efficiency_all_causes_percent")
    assert any(row["reason"] == "outside" for row in table(answer, "reasons"))
    numbers = marks.with_columns(text=pl.Series(["6", "5", "6"]))
    told = ask(pl.concat([FRAME, numbers]), plant=works(own))
    assert any("number is not guessed" in note for note in told.notes)
    assert value(told, "efficiency_machine_only_percent") == value(told, "efficiency_all_causes_percent")


@pytest.mark.parametrize("minutes", [0, 1])
def test_before_a_planned_minute_is_over_no_rate_is_told(minutes: int) -> None:
    now = START + timedelta(minutes=minutes)
    answer = ask(FRAME.filter(pl.col("at") <= now), now=now)
    for name in ("uptime_percent", "effective_rate_per_min"):
        figure = answer.figure(name)
        assert figure is not None
        assert (figure.value is None, figure.why_none) == (
            (False, "") if minutes else (True, "not known: no planned minute is over")
        )


def test_running_above_nominal_is_flagged_and_not_capped() -> None:
    answer = ask(plant=works(machine(name="Cut-and-wrap 1", set_per_min=250)))
    assert value(answer, "iso_effectiveness_percent") > 100
    assert any("above 100 %" in note for note in answer.notes)


def test_the_series_draw_the_whole_timeline() -> None:
    answer = ask()
    timeline, rate = answer.series["timeline"], answer.series["rate"]
    assert (timeline["end"].max() - timeline["start"].min()) == timedelta(hours=8)
    assert rate["at"].is_sorted()
    steps = rate.with_columns(long=(pl.col("at").shift(-1) - pl.col("at")).dt.total_microseconds() / 6e7)
    drawn = float((steps["long"] * steps["rate_per_min"]).sum())
    assert drawn == pytest.approx(value(answer, "pieces_made"), rel=1e-9)


def test_an_unknown_machine_is_named_with_those_there_are() -> None:
    known, unknown = (Scope("1", name, Period(START, END), END) for name in ("w1", "w9"))
    given = inputs("shift", works(), known, Frames())
    with pytest.raises(AskError, match=r"w9.*w1"):
        answer_shift(works(), unknown, given)


def test_pieces_counted_in_maintenance_are_told() -> None:
    own = machine(name="Cut-and-wrap 1", gauges=(Gauge(id="state", measures="state", codes={"m": "maintenance"}),))
    marks = factories.readings(
        "w1", "state", [START, START + timedelta(hours=1), START + timedelta(hours=2)], text=["Execute", "M", "Execute"]
    )
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
    assert good.low <= truth if good.low is not None else good.value <= truth
    assert sum(r["pieces"] for r in table(told, "ladder")[:-1]) == table(told, "ladder")[-1]["pieces"]


def test_a_step_of_the_ladder_is_rounded_as_its_figure_and_not_by_those_before_it() -> None:
    assert whole_parts([100.0, -10.4, -8.34, -20.6]) == [100, -10, -8, -21]


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
    assert good.value is None or good.value >= 0
    later = ask(few, START + timedelta(hours=5), START + timedelta(hours=6), START + timedelta(hours=6))
    assert later.figure("good_pieces").value is None


def test_rejects_alone_tell_no_good_pieces_and_no_state() -> None:
    answer = ask(FRAME.filter(pl.col("channel") == "rejects"))
    assert value(answer, "rejects") > 0
    assert answer.figure("good_pieces").value is None
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
    good = both.with_columns(channel=pl.lit("good"), value=pl.col("value") - pl.col("rejects")).drop("rejects")
    own = machine(name="Cut-and-wrap 1")
    counters = [c.model_copy(update={"modulus": None}) for c in own.counters if c.counts == "pieces"]
    counters.append(counters[0].model_copy(update={"id": "good", "counts": "good pieces"}))
    answer = ask(pl.concat([pieces, good]), plant=works(own.model_copy(update={"counters": tuple(counters)})))
    assert value(answer, "rejects") == value(whole, "rejects")
    assert value(answer, "good_pieces") == value(whole, "good_pieces")


def test_an_hour_that_nobody_saw_is_out_of_what_ratios_divide_by_and_in_their_bounds() -> None:
    gone = (START + timedelta(hours=5), START + timedelta(hours=6))
    figures = json.loads(to_json(ask(FRAME.filter(~pl.col("at").is_between(*gone)))))["figures"]
    got = {name: figures[f"{name}_min"]["value"] for name in ("planned", "running", "slow", "unseen")}
    ran, seen = got["running"] + got["slow"], got["planned"] - got["unseen"]
    assert got["unseen"] == pytest.approx(60, abs=0.5)
    uptime = figures["uptime_percent"]
    assert uptime["value"] == pytest.approx(100 * ran / seen)
    bounds = (100 * ran / got["planned"], 100 * (ran + got["unseen"]) / got["planned"])
    assert (uptime["low"], uptime["high"]) == pytest.approx(bounds)
    assert uptime["interval"] == "bounds: unseen minutes"
    assert figures["iso_availability_percent"]["value"] == pytest.approx(100 * ran / seen)
    running = figures["running_min"]
    assert (running["low"], running["high"]) == pytest.approx((got["running"], got["running"] + got["unseen"]))


@pytest.mark.parametrize(("shifts", "said"), [(1, "This shift has not begun"), (2, "These two shifts have not begun")])
def test_shifts_to_come_are_spoken_of_as_many_as_they_are(shifts: int, said: str) -> None:
    windows = pl.DataFrame({"start": [START] * shifts})
    measured = SimpleNamespace(so_far=None, windows=windows, cuts_shift=False, left_min=480.0)
    scope = Scope("1", "w1", Period(START, START + timedelta(hours=8 * shifts)), START - timedelta(hours=1), "")
    (span,) = sentence(measured, scope, 0)
    assert span.text.startswith(said)


def test_pieces_whose_rejects_were_not_read_are_neither_good_nor_missing_from_the_plan() -> None:
    read = FRAME.filter((pl.col("channel") == "pieces") | (pl.col("at") < START - timedelta(minutes=5)))
    answer = ask(read, plan=plan(("mint", 0, 8, 100_000)))
    assert "its rejects were not read, so good pieces are not known" in answer.text
    assert "The plan for it was 100,000." in answer.soft
    assert "short." not in answer.soft
    for name in ("iso_quality_ratio_percent", "iso_oee_index_percent", "iso_scrap_ratio_percent"):
        assert answer.figure(name).why_none == "not known: good pieces are not known"
    assert answer.figure("efficiency_all_causes_percent").value is None
    lost = answer.figure("pieces_lost_rejects")
    assert (lost.low, lost.interval_kind) == (0, "bounds: rejects without readings")
    assert lost.high == lost.value > 100_000
