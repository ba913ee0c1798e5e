"""One shift of one machine, every stop, slow stretch and changeover put in by hand, to the shift's JSON."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, PLAN, REELS, STOP_LOG
from lineview.plant import Break, Counter, Gauge, Line, Machine, Plant, Shift, Web
from lineview.report.answer import Scope, to_json
from tests import factories
from tests.from_frames import Frames, answered

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
LENGTH_MIN, EVERY_S = 480, 6.0
SET, SLOW, DESIGN = 340.0, 250.0, 420.0
BREAK = (180, 205)
#: Minutes of the shift: from, to, what the log says.
STOPS = ((40, 52, "jam"), (90, 93, ""), (110, 114, ""), (240, 247, "film break"), (260, 270, "jam"))
CHANGEOVER, SLOWED = (300, 315), (340, 370)
REJECT_EVERY, SHORT_MIN, BATCH_KG = 50, 5, 220.0
PLANNED = LENGTH_MIN - (BREAK[1] - BREAK[0])
STOOD = {
    "stop": sum(b - a for a, b, _ in STOPS if b - a >= SHORT_MIN),
    "short stop": sum(b - a for a, b, _ in STOPS if b - a < SHORT_MIN),
    "changeover": CHANGEOVER[1] - CHANGEOVER[0],
}
SLOW_MIN = SLOWED[1] - SLOWED[0]
RAN = PLANNED - sum(STOOD.values())
MADE = (RAN - SLOW_MIN) * SET + SLOW_MIN * SLOW
REJECTS = MADE // REJECT_EVERY
GOOD = MADE - REJECTS


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


def works() -> Plant:
    counters = tuple(
        Counter(id=name, counts=name, modulus=65_536, fastest_per_min=450) for name in ("pieces", "rejects")
    )
    machine = Machine(
        id="w1", kind="cut-and-wrap machine", line="1", set_per_min=SET, design_per_min=DESIGN,
        nominal_per_min=(300, 400), counters=counters,
    )  # fmt: skip
    film = Web(
        id="film", kind="film", cut_length_mm=56, width_mm=90, reel_outer_mm=300, reel_core_mm=76, reel_length_m=2876,
        start_m=6, end_m=4, running_waste_percent=2,
    )  # fmt: skip
    return Plant(
        shop="Invented Sweets",
        shifts=(Shift(id="early", start="06:00", end="14:00", breaks=(Break(start="09:00", end="09:25"),)),),
        lines=(Line(id="1"),),
        machines=(machine,),
        webs=(film,),
        products=tuple(factories.product(name) for name in ("lime", "mint")),
    )


def counted() -> tuple[np.ndarray, np.ndarray]:
    """Seconds from an hour before the shift to an hour after it, and the pieces up to each."""
    at_s = np.arange(-3600.0, 60 * LENGTH_MIN + 3600, EVERY_S)
    minute = at_s / 60
    rate = np.where((minute >= 0) & (minute < LENGTH_MIN), SET, 0.0)
    rate[(minute >= SLOWED[0]) & (minute < SLOWED[1])] = SLOW
    for a, b in (BREAK, CHANGEOVER, *((a, b) for a, b, _ in STOPS)):
        rate[(minute >= a) & (minute < b)] = 0.0
    return at_s, np.concatenate([[0.0], np.cumsum(rate * EVERY_S / 60)[:-1]])


def asked(
    now_min: float,
    untold: int = 0,
    *,
    unread: tuple[float, float] = (0, 0),
    period: tuple[float, float] = (0, LENGTH_MIN),
    logged: tuple[tuple[float, float, str], ...] = STOPS,
    **more: pl.DataFrame,
) -> dict[str, Any]:
    """The shift's JSON at a minute: without the first `untold` reasons, without readings within `unread`."""
    at_s, pieces = counted()
    seen = (at_s <= 60 * now_min) & ~((at_s > 60 * unread[0]) & (at_s < 60 * unread[1]))
    moments = factories.moments(START.timestamp() + at_s[seen])
    values = {"pieces": pieces[seen], "rejects": np.floor(pieces[seen] / REJECT_EVERY)}
    read = pl.concat([factories.readings("w1", name, moments, value % 65_536) for name, value in values.items()])
    log = [{"start": at(a), "end": at(b), "reason": reason} for a, b, reason in logged if reason][untold:]
    sheet = [{"batch": "b1", "product": "lime", "start": at(0)}, {"batch": "b2", "product": "mint", "start": at(315)}]
    frames = Frames(
        {"w1": read},
        batches=factories.rows(BATCHES, sheet, line="1", mass_in_kg=BATCH_KG),
        stop_log=factories.rows(STOP_LOG, log, machine="w1"),
        **more,
    )
    return shown_of(frames, works(), period, now_min)


def shown_of(frames: Frames, plant: Plant, period: tuple[float, float], now_min: float) -> dict[str, Any]:
    scope = Scope("1", "w1", Period(*map(at, period)), at(now_min))
    return dict(json.loads(to_json(answered("shift", plant, scope, frames))))


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    return asked(LENGTH_MIN)


#: Running minutes up to each stop: minutes of the shift less breaks, stops and the changeover before it.
UP_TO = np.array([a - sum(d - c for c, d in (BREAK, *((c, d) for c, d, _ in STOPS)) if d <= a) for a, _, _ in STOPS])


def test_every_figure_is_the_one_worked_out(shown) -> None:
    n = 2 * 10 * LENGTH_MIN  # readings of two counters, each six seconds
    stood = STOOD["stop"] + STOOD["short stop"]
    lost = {state: minutes * SET for state, minutes in STOOD.items()}
    logs = np.log(RAN / UP_TO).sum()
    expected = {
        "good_pieces": (GOOD, "pieces", n),
        "pieces_made": (MADE, "pieces", n),
        "rejects": (REJECTS, "pieces", n),
        "effective_rate_per_min": (GOOD / PLANNED, "pieces/min", n),
        "running_rate_per_min": (MADE / RAN, "pieces/min", n),
        "nominal_low_per_min": (300, "pieces/min", 0),
        "nominal_high_per_min": (400, "pieces/min", 0),
        "set_per_min": (SET, "pieces/min", 0),
        "design_per_min": (DESIGN, "pieces/min", 0),
        "planned_min": (PLANNED, "min", n),
        "short_stop_min": (STOOD["short stop"], "min", n),
        "stop_min": (STOOD["stop"], "min", n),
        "changeover_min": (STOOD["changeover"], "min", n),
        "break_min": (BREAK[1] - BREAK[0], "min", n),
        "unseen_min": (0, "min", n),
        "own_stop_min": (stood, "min", n),
        "outside_min": (0, "min", n),
        "uptime_percent": (100 * RAN / PLANNED, "%", n),
        "pieces_lost_changeover": (lost["changeover"], "pieces", n),
        "pieces_lost_stop": (lost["stop"], "pieces", n),
        "pieces_lost_short_stop": (lost["short stop"], "pieces", n),
        "pieces_lost_slow": (SLOW_MIN * (SET - SLOW), "pieces", n),
        "pieces_lost_running": (0, "pieces", n),
        "pieces_lost_unseen": (0, "pieces", n),
        "pieces_lost_rejects": (REJECTS, "pieces", n),
        "stops": (3, "", 0),
        "short_stops": (2, "", 0),
        "changeovers": (1, "", 0),
        "mtbf_min": (RAN / 5, "min", 5),
        "mttr_min": (stood / 5, "min", 5),
        # ISO 22400-2 as OPC UA for Machine Tools repeats it: times in minutes of those above.
        "iso_availability_percent": (100 * RAN / PLANNED, "%", n),
        "iso_effectiveness_percent": (100 * MADE / SET / RAN, "%", n),
        "iso_quality_ratio_percent": (100 * GOOD / MADE, "%", n),
        "iso_oee_index_percent": (100 * GOOD / SET / PLANNED, "%", n),
        "iso_nee_index_percent": (100 * (RAN + STOOD["changeover"]) / PLANNED * GOOD / SET / RAN, "%", n),
        "iso_allocation_efficiency_percent": (100, "%", n),
        "iso_utilization_efficiency_percent": (100 * RAN / PLANNED, "%", n),
        "iso_technical_efficiency_percent": (100 * RAN / (RAN + stood), "%", n),
        "iso_setup_ratio_percent": (100 * STOOD["changeover"] / (RAN + STOOD["changeover"]), "%", n),
        "iso_scrap_ratio_percent": (100 * REJECTS / MADE, "%", n),
        "tpm_availability_percent": (100 * (RAN + STOOD["short stop"]) / PLANNED, "%", n),
        "tpm_performance_percent": (100 * MADE / SET / (RAN + STOOD["short stop"]), "%", n),
        # The NIST handbook's tests of trend (8.2.3.4) and the power law's shape, by running minutes at each stop.
        "stops_trend_laplace": (math.sqrt(12 * 5) * (UP_TO.mean() - RAN / 2) / RAN, "", 5),
        "stops_trend_handbook": (2 * logs, "", 5),
        "stops_power_law_shape": (4 / logs, "", 5),
        "efficiency_all_causes_percent": (100 * GOOD / SET / (PLANNED - STOOD["changeover"]), "%", 0),
        "efficiency_machine_only_percent": (100 * GOOD / SET / (PLANNED - STOOD["changeover"]), "%", 0),
    }
    for name, (value, unit, count) in expected.items():
        assert shown["figures"][name]["value"] == pytest.approx(value, rel=1e-6, abs=1e-6), name
        assert (shown["figures"][name]["unit"], shown["figures"][name]["n"]) == (unit, count), name
    shape = shown["figures"]["stops_power_law_shape"]
    assert (shape["low"], shape["high"]) == pytest.approx(tuple(chi2.ppf([0.025, 0.975], 10) / (2 * logs)), rel=1e-4)
    assert shown["figures"]["pieces_lost_slow"]["working"].endswith(" made in them")
    slow, ran = (shown["figures"][name] for name in ("slow_min", "running_min"))
    assert (
        slow["low"] <= SLOW_MIN <= slow["high"] <= SLOW_MIN + 1.5
    )  # a reading or two at either end, and half a minute
    assert slow["value"] + ran["value"] == pytest.approx(RAN)


def test_the_ladder_goes_down_from_all_planned_minutes_to_good_pieces(shown) -> None:
    rows = shown["tables"]["ladder"]["rows"]
    assert [row["pieces"] for row in rows] == [
        PLANNED * SET, -15 * SET, -29 * SET, -7 * SET, -30 * (SET - SLOW), 0, -REJECTS, GOOD
    ]  # fmt: skip
    assert [row["minutes"] for row in rows][:4] == [PLANNED, 15, 29, 7]


def test_reasons_are_summed_the_longest_first(shown) -> None:
    rows = shown["tables"]["reasons"]["rows"]
    assert [(r["reason"], r["stops"], r["minutes"]) for r in rows] == [
        ("jam", 2, 22), ("changeover", 1, 15), ("film break", 1, 7), ("reason not set", 2, 7)
    ]  # fmt: skip
    assert [r["share_percent"] for r in rows] == pytest.approx([100 * m / 51 for m in (22, 15, 7, 7)])
    assert [r["so_far_percent"] for r in rows] == pytest.approx([100 * m / 51 for m in (22, 37, 44, 51)])
    (change,) = shown["tables"]["changeovers"]["rows"]
    assert (change["before"], change["after"], change["count"], change["median_min"]) == ("lime", "mint", 1, 15)
    stops = [(r["start"], r["end"]) for r in shown["tables"]["stops"]["rows"]]
    assert stops == [(shown_at(a), shown_at(b)) for a, b in sorted([*((a, b) for a, b, _ in STOPS), CHANGEOVER])]


def shown_at(minute: float) -> str:
    return at(minute).strftime("%Y-%m-%dT%H:%M:%SZ")


def test_the_words_say_what_the_figures_say(shown) -> None:
    assert shown["sentence"] == (
        f"This shift made {GOOD:,.0f} good pieces, {GOOD / PLANNED:,.0f} a minute over its 455 planned minutes; "
        "the nominal band is 300 to 400."
    )
    assert shown["soft"] == (
        f"While running it made {MADE / RAN:,.0f} a minute. It stood for 51 minutes: 15 in one changeover, 29 in three "
        "stops, 7 in two short stops under 5 minutes."
    )


@pytest.mark.parametrize(("more", "said"), [(0, "0 over"), (1000, "1,000 short"), (-1000, "1,000 over")])
def test_a_shift_that_is_over_is_held_to_its_plan(more: int, said: str) -> None:
    plan = [{"product": "mint", "start": START, "end": at(LENGTH_MIN), "pieces": GOOD + more}]
    shown = asked(LENGTH_MIN, plan=factories.rows(PLAN, plan, line="1"))
    assert f"The plan for it was {GOOD + more:,.0f}: {said}." in shown["soft"]


@pytest.mark.parametrize(
    ("untold", "words"),
    [
        (1, "29 in three stops, one of them without a reason, 7 in two"),
        (2, "29 in three stops, two of them without a reason, 7 in two"),
        (3, "29 in three stops without a reason, 7 in two"),
    ],
)
def test_stops_without_a_reason_are_told(untold: int, words: str) -> None:
    assert words in asked(LENGTH_MIN, untold)["soft"]


#: Asked at this minute, with a plan and a reel put on at the other.
NOW, PUT_ON, REEL_M, PLAN_PIECES = 400, 320, 1700.0, 150_000


def test_a_shift_that_goes_on_says_what_comes_and_when() -> None:
    plan = [{"product": "mint", "start": START, "end": at(LENGTH_MIN), "pieces": PLAN_PIECES}]
    reel = [{"web": "film", "reel": "r1", "at": at(PUT_ON), "length_m": REEL_M, "splices": 0}]
    shown = asked(NOW, plan=factories.rows(PLAN, plan, line="1"), reels=factories.rows(REELS, reel, machine="w1"))
    figures = shown["figures"]
    past, left = NOW - 25, LENGTH_MIN - NOW
    ran = past - sum(STOOD.values())
    made = ran * SET - SLOW_MIN * (SET - SLOW)
    good = made - made // REJECT_EVERY
    assert figures["planned_min"]["value"] == past
    assert figures["pace_needed_per_min"]["value"] == pytest.approx((PLAN_PIECES - good) / left)
    assert figures["projected_pieces"]["value"] == pytest.approx(good + good / past * left)
    # Pieces since the reel was put on, and those that its rest still wraps, 56 mm and 2 % each.
    since, each_m = 20 * SET + 30 * SLOW + 30 * SET, 0.056 * 1.02
    rest = {"reel_end_film": (REEL_M - 6 - 4 - since * each_m) / each_m}
    rest["batch_end"] = BATCH_KG * 1000 / 6.8 - (since + 5 * SET)
    for name, pieces in rest.items():
        usual, soonest = (pieces / (made / minutes) for minutes in (past, ran))
        ends = [datetime.fromisoformat(figures[name][key]) for key in ("value", "low")]
        expected = [at(NOW + usual), at(NOW + soonest)]
        assert all(abs(a - b) < timedelta(seconds=1) for a, b in zip(ends, expected, strict=True)), name
        assert figures[name]["high"] is None
    pace = f"{(PLAN_PIECES - good) / left:,.0f}"
    assert (
        f"To reach the plan of 150,000 the rest must run at {pace}, more than the nominal band allows." in shown["soft"]
    )
    assert shown["sentence"].startswith(f"This shift has made {good:,.0f} good pieces so far, ")


UNREAD = (420, 440)

UNSEEN = UNREAD[1] - UNREAD[0]


def cells(shown: dict[str, Any], name: str) -> list[tuple[Any, ...]]:
    """A table's rows, each in the order of its columns."""
    table = shown["tables"][name]
    return [tuple(row[column["key"]] for column in table["columns"]) for row in table["rows"]]


@pytest.fixture(scope="module")
def with_gap() -> dict[str, Any]:
    """Twenty minutes without readings while it ran: what was counted over them stays, its minutes do not."""
    plan = [{"product": "mint", "start": START, "end": at(LENGTH_MIN), "pieces": PLAN_PIECES}]
    return asked(LENGTH_MIN, unread=UNREAD, plan=factories.rows(PLAN, plan, line="1"))


def test_a_shift_with_a_gap_word_for_word_and_cell_for_cell(with_gap) -> None:
    shown = with_gap
    ran, seen, delay = RAN - UNSEEN, PLANNED - UNSEEN, STOOD["stop"] + STOOD["short stop"]
    seen_pieces = MADE - UNSEEN * SET
    assert shown["sentence"] == (
        f"This shift made {GOOD:,.0f} good pieces, {GOOD / PLANNED:,.0f} a minute over its 455 planned minutes; "
        "the nominal band is 300 to 400."
    )
    assert shown["needs_a_person"] == [f"{GOOD / PLANNED:,.0f} a minute"]
    assert shown["soft"] == (
        f"While running it made {seen_pieces / ran:,.0f} a minute. It stood for 51 minutes: 15 in one changeover, 29 "
        f"in three stops, 7 in two short stops under 5 minutes. 20 minutes have no readings, so uptime is between "
        f"{100 * ran / PLANNED:.1f} and {100 * RAN / PLANNED:.1f} %. The plan for it was 150,000: "
        f"{PLAN_PIECES - GOOD:,.0f} short."
    )
    assert shown["notes"] == ["No reel log: the next reel change is not known."]
    assert cells(shown, "ladder") == [
        ("all planned minutes at 340 a minute", PLANNED, PLANNED * SET),
        ("changeovers", 15, -15 * SET),
        ("stops", 29, -29 * SET),
        ("short stops", 7, -7 * SET),
        ("not seen", UNSEEN, 0),
        ("slow stretches", pytest.approx(SLOW_MIN, abs=0.5), -SLOW_MIN * (SET - SLOW)),
        ("running above or below that rate", pytest.approx(ran - SLOW_MIN, abs=0.5), 0),
        ("rejects", None, -REJECTS),
        ("good pieces", None, GOOD),
    ]
    stands = [(a, b, "stop" if b - a >= SHORT_MIN else "short stop", why or None) for a, b, why in STOPS]
    assert cells(shown, "stops") == [
        (shown_at(a), shown_at(b), b - a, state, why)
        for a, b, state, why in [*stands, (*CHANGEOVER, "changeover", None)]
    ]
    legs = [(0, SLOWED[0], SET), (*SLOWED, SLOW), (SLOWED[1], LENGTH_MIN, SET)]
    for (start, end, run, pieces, rate), (a, b, pace) in zip(cells(shown, "legs"), legs, strict=True):
        outside = sum(d - c for c, d in (BREAK, CHANGEOVER, UNREAD, *(s[:2] for s in STOPS)) if a <= c < b)
        assert all(abs(datetime.fromisoformat(x) - at(y)) <= timedelta(seconds=6) for x, y in ((start, a), (end, b)))
        assert run == pytest.approx(b - a - outside, abs=0.21)
        assert pieces == pytest.approx(run * pace, abs=0.21 * (SET - SLOW))
        assert rate == pytest.approx(pieces / run)
    assert cells(shown, "changeovers") == [("lime", "mint", 1, 15, 15, 15)]
    slow = pytest.approx(SLOW_MIN, abs=0.5)
    minutes = [pytest.approx(ran - SLOW_MIN, abs=0.5), slow, 15, 7, 29, UNSEEN, BREAK[1] - BREAK[0]]
    assert [row[2] for row in cells(shown, "key figures")] == [None] * 13 + minutes + [None] * 7
    good_share = GOOD / MADE
    effective, setup = seen_pieces / SET / ran, STOOD["changeover"]
    percents = [
        ran / seen, effective, good_share, seen_pieces * good_share / SET / seen,
        (ran + setup) / seen * effective * good_share, 1, ran / seen, ran / (ran + delay), setup / (ran + setup),
        REJECTS / MADE, None, (ran + 7) / seen, seen_pieces / SET / (ran + 7),
    ]  # fmt: skip
    assert [row[1] for row in cells(shown, "key figures")] == [
        None if share is None else pytest.approx(100 * share) for share in percents + [None] * 14
    ]


def test_every_working_has_the_numbers_worked_out(with_gap) -> None:
    """A slow stretch is found from the reading before it to the one after it: two steps of six seconds longer."""
    ran, seen, delay, edges = RAN - UNSEEN, PLANNED - UNSEEN, STOOD["stop"] + STOOD["short stop"], 2 * EVERY_S / 60
    slow, made = SLOW_MIN + edges, MADE - UNSEEN * SET
    slow_made, good = SLOW_MIN * SLOW + edges * SET, made * GOOD / MADE
    iso, looked = "(map of states 2026-11)", "p 1.000 corrected for the looks"
    trend = f"5 stops in {ran} running minutes: no trend shown"
    stops = f", of {delay:.1f} min of stops"
    machine = f"{good:,.0f} good ÷ ({ran + delay:.1f} operating min × 340 a minute); 0.0 min stood by causes outside"
    whole = {
        "good_pieces": "pieces less rejects",
        "pieces_made": "increments of the piece counter",
        "rejects": "increments of the reject counter",
        "effective_rate_per_min": f"{GOOD:,.0f} good pieces ÷ {PLANNED:.1f} planned minutes",
        "running_rate_per_min": f"{made:,.0f} pieces ÷ {ran:.1f} running and slow minutes",
        "planned_min": f"{ran - slow:.1f} running + {slow:.1f} slow + 7.0 short stop + 29.0 stop + 15.0 changeover + "
        "20.0 unseen min",
        "running_min": "running",
        "slow_min": "below the nominal band's low end for a minute or longer",
        "own_stop_min": "stops without another known cause" + stops,
        "blocked_min": "stops in which the next machine could not take product" + stops,
        "starved_min": "stops in which the one before could not send product" + stops,
        "outside_min": "stops by a cause outside the machine" + stops,
        "uptime_percent": f"{ran:.1f} running and slow minutes ÷ {seen:.1f} planned minutes seen; 20.0 of "
        f"{PLANNED:.1f} planned minutes were not seen",
        "pieces_lost_changeover": "15.0 min × 340 a minute − 0 pieces made in them",
        "pieces_lost_stop": "29.0 min × 340 a minute − 0 pieces made in them",
        "pieces_lost_short_stop": "7.0 min × 340 a minute − 0 pieces made in them",
        "pieces_lost_unseen": f"20.0 min × 340 a minute − {UNSEEN * SET:,.0f} pieces made in them",
        "pieces_lost_slow": f"{slow:.1f} min × 340 a minute − {slow_made:,.0f} pieces made in them",
        "pieces_lost_running": f"{ran - slow:.1f} min × 340 a minute − {made - slow_made:,.0f} pieces made in them",
        "mtbf_min": f"{ran:.1f} running minutes ÷ 5 stops that began while it ran",
        "mttr_min": f"{delay:.1f} minutes ÷ 5 stops that ended",
        "iso_availability_percent": f"APT / PBT = {ran:.1f} ÷ {seen:.1f} {iso}",
        "iso_effectiveness_percent": f"PRI × PQ / APT = {made / SET:.1f} ÷ {ran:.1f} {iso}",
        "iso_quality_ratio_percent": f"GQ / PQ = {good:,.0f} ÷ {made:,.0f} {iso}",
        "iso_oee_index_percent": f"Availability × Effectiveness × Quality ratio = {good / SET:.1f} ÷ {seen:.1f} {iso}",
        "iso_nee_index_percent": f"AUPT / PBT × Effectiveness × Quality ratio = {good / SET:.1f} ÷ "
        f"{seen * ran / (ran + 15):.1f} {iso}",
        "iso_allocation_efficiency_percent": f"AUBT / PBT = {seen:.1f} ÷ {seen:.1f} {iso}",
        "iso_utilization_efficiency_percent": f"APT / AUBT = {ran:.1f} ÷ {seen:.1f} {iso}",
        "iso_technical_efficiency_percent": f"APT / (APT + ADET) = {ran:.1f} ÷ {ran + delay:.1f} {iso}",
        "iso_setup_ratio_percent": f"AUST / AUPT = 15.0 ÷ {ran + 15:.1f} {iso}",
        "iso_scrap_ratio_percent": f"SQ / PQ = {made - good:,.0f} ÷ {made:,.0f} {iso}",
        "tpm_availability_percent": f"(APT + short stops) / PBT = {ran + 7:.1f} ÷ {seen:.1f} {iso}",
        "tpm_performance_percent": f"PRI × PQ / (APT + short stops) = {made / SET:.1f} ÷ {ran + 7:.1f} {iso}",
        "stops_trend_laplace": trend,
        "stops_trend_handbook": trend,
        "stops_power_law_shape": f"(5 − 1) ÷ Σ ln(T ÷ t) over {trend}",
        "stops_after_changeover_ratio": f"(0 stops ÷ 10 min) ÷ (5 ÷ {ran - 10} min); {looked}",
        "stops_after_restart_ratio": f"(0 stops ÷ 15 min) ÷ (5 ÷ {ran - 15} min); {looked}",
        "efficiency_all_causes_percent": machine,
        "efficiency_machine_only_percent": machine,
    }
    assert {name: with_gap["figures"][name]["working"] for name in whole} == whole
    bounds = {"running_min": (ran - slow, UNSEEN), "stop_min": (29, UNSEEN), "changeover_min": (15, UNSEEN)}
    for name, (low, more) in bounds.items():
        figure = with_gap["figures"][name]
        assert (figure["value"], figure["low"], figure["high"]) == pytest.approx((low, low, low + more)), name
        assert figure["interval"] == "bounds: unseen minutes"
    uptime = with_gap["figures"]["uptime_percent"]
    shares = (ran / seen, ran / PLANNED, RAN / PLANNED)
    assert (uptime["value"], uptime["low"], uptime["high"]) == pytest.approx(tuple(100 * share for share in shares))


@pytest.mark.parametrize(
    ("period", "unread", "words"),
    [
        ((232, 240.3), (235, 239), "It did not stop for longer than a moment. 4 minutes have no"),
        ((241, 241.2), (0, 0), "It stood the whole time."),
        ((232, 241), (0, 0), "It stood for 1 minute: 1 in one short stop under 5 minutes."),
    ],
)
def test_a_moment_of_standing_is_told_from_standing_throughout(
    period: tuple[float, float], unread: tuple[float, float], words: str
) -> None:
    assert words in asked(LENGTH_MIN, unread=unread, period=period)["soft"]


def test_stops_caused_elsewhere_are_rungs_of_their_own() -> None:
    shown = asked(LENGTH_MIN, logged=((40, 52, "blocked by the packer"), (240, 247, "waiting for rope")))
    rungs = [rung for rung in cells(shown, "ladder") if rung[0].startswith("stops")]
    assert rungs == [
        ("stops: the machine's own", 10, -10 * SET), ("stops: blocked", 12, -12 * SET),
        ("stops: caused elsewhere", 7, -7 * SET),
    ]  # fmt: skip
    minutes = {name: shown["figures"][f"{name}_min"]["value"] for name in ("own_stop", "blocked", "starved", "outside")}
    assert minutes == pytest.approx({"own_stop": 17, "blocked": 12, "starved": 0, "outside": 7})
    assert not {"cleaning_min", "maintenance_min"} & shown["figures"].keys()  # said where there were some


#: At most 450 a minute and a twentieth.
PART_UNREAD = f"part of the period was not read; at least 0, at most {LENGTH_MIN * 450 * 1.05:,.0f}"
NOWHERE = "no counter in plant.toml counts them"


@pytest.mark.parametrize(
    ("counters", "good", "rejects"),
    [
        ((), NOWHERE, NOWHERE),
        (("pieces",), PART_UNREAD, NOWHERE),
        (("good pieces",), PART_UNREAD, NOWHERE),
        (("rejects",), NOWHERE, PART_UNREAD),
        (("pieces", "good pieces"), PART_UNREAD, PART_UNREAD),  # rejects are what the one counts more than the other
        (("film", "pieces", "good pieces"), PART_UNREAD, PART_UNREAD),
    ],
)
def test_pieces_that_were_not_read_are_told_from_those_that_nothing_counts(counters, good: str, rejects: str) -> None:
    plant = works()
    machine = plant.machines[0].model_copy(
        update={"counters": tuple(Counter(id=name, counts=name, fastest_per_min=450) for name in counters)}
    )
    shown = shown_of(Frames({}), plant.model_copy(update={"machines": (machine,)}), (0, LENGTH_MIN), LENGTH_MIN)
    whys = {name: figure["why_none"].removeprefix("not known: ") for name, figure in shown["figures"].items()}
    assert [whys[name] for name in ("good_pieces", "pieces_made", "rejects")] == [good, good, rejects]


def test_a_machine_that_only_its_own_states_tell_of() -> None:
    stands = [BREAK, CHANGEOVER, *((a, b) for a, b, _ in STOPS)]
    states = ["Stopped" if any(a <= m < b for a, b in stands) else "Execute" for m in range(LENGTH_MIN + 1)]
    read = factories.readings("w1", "state", [at(m) for m in range(LENGTH_MIN + 1)], text=states)
    plant = works()
    machine = plant.machines[0].model_copy(update={"gauges": (Gauge(id="state", measures="state"),)})
    own = plant.model_copy(update={"machines": (machine,)})
    shown = shown_of(Frames({"w1": read}), own, (0, LENGTH_MIN), LENGTH_MIN)
    assert shown["sentence"] == (
        f"No counter of w1 was read, so its pieces are not known; by its own states it ran {RAN} of {PLANNED} planned "
        f"minutes, {100 * RAN / PLANNED:.0f} %."
    )
    assert (
        shown["soft"]
        == "It stood for 51 minutes: 44 in four stops without a reason, 7 in two short stops under 5 minutes."
    )


def test_a_shift_that_has_stood_so_far_may_yet_run_as_fast_as_any_before_it_and_no_faster() -> None:
    """Twenty days before it at 300 to 357 a minute, each third three faster after four hours; an hour of none."""
    minute = np.arange(-20 * 1440, 61)
    day, of_day = minute // 1440 + 20, minute % 1440
    pace = 300 + 3.0 * day + np.where((day % 3 == 0) & (of_day > 240), 3.0, 0.0)
    runs = (minute < 0) & (of_day < LENGTH_MIN) & ~((of_day >= BREAK[0]) & (of_day < BREAK[1]))
    made = np.concatenate([[0.0], np.cumsum(np.where(runs, pace, 0.0))[:-1]])
    moments = factories.moments(START.timestamp() + 60.0 * minute)
    values = {"pieces": made, "rejects": np.floor(made / REJECT_EVERY)}
    read = pl.concat([factories.readings("w1", name, moments, value % 65_536) for name, value in values.items()])
    shown = shown_of(Frames({"w1": read}), works(), (0, LENGTH_MIN), 60)
    projected, left = shown["figures"]["projected_pieces"], PLANNED - 60
    assert shown["figures"]["good_pieces"]["value"] == projected["low"] == 0
    assert projected["value"] < projected["high"]
    assert 300 * left <= projected["high"] <= 357 * left
