"""One day of one machine, every loss put in by hand, to the rows of the week's JSON."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, REELS, STOP_LOG, WEIGHTS
from lineview.plant import Break, Counter, Line, Machine, Plant, Shift, Web
from lineview.report.answer import Scope, to_json
from lineview.week.account import LineInputs, MachineInputs, WeekInputs, line_week
from lineview.week.answer import answer_week
from lineview.week.words import _unexplained_words
from tests import factories
from tests.from_frames import counted

START = datetime(2026, 6, 8, tzinfo=UTC)
END = START + timedelta(days=1)
SET, SLOW, EVERY_S = 340.0, 250.0, 6.0
WORTH, PRICE, MASS_G, CUT_M, REEL_M, REEL_PRICE = 2.5, 3.0, 6.8, 0.056, 2875.0, 34.0
#: Minutes of the day: from, to, what.
BREAK = (540, 565)
STOPS = ((400, 412, "jam"), (450, 453, ""), (470, 474, ""), (600, 607, "film break"), (610, 620, "jam"))
SLOWED = (700, 730)
REJECT_EVERY, BLANK_EVERY = 50, 200


def minutes(what: str) -> float:
    return float(sum(b - a for a, b, reason in STOPS if reason == what))


def count() -> tuple[np.ndarray, np.ndarray]:
    """Seconds of the day, and cycles up to each."""
    at = np.arange(0.0, 86_400.0, EVERY_S)
    minute = at / 60
    rate = np.where((minute >= 360) & (minute < 840), SET, 0.0)
    rate = np.where((minute >= SLOWED[0]) & (minute < SLOWED[1]), SLOW, rate)
    for a, b in (BREAK, *((a, b) for a, b, _ in STOPS)):
        rate = np.where((minute >= a) & (minute < b), 0.0, rate)
    return at, np.concatenate([[0.0], np.cumsum(rate * EVERY_S / 60)[:-1]])


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    at_s, cycles = count()
    blanks = np.floor(cycles / BLANK_EVERY)
    values = {
        "pieces": np.floor(cycles) - blanks, "rejects": np.floor(cycles / REJECT_EVERY), "blank": blanks,
        "film": np.floor(cycles * CUT_M * 10),
    }  # fmt: skip
    at = factories.moments(START.timestamp() + at_s)
    readings = pl.concat([factories.readings("w1", name, at, value % 65_536) for name, value in values.items()])
    plant = works()
    moment = {k: START + timedelta(minutes=k) for k in range(1441)}
    log = [{"start": moment[a], "end": moment[b], "reason": reason} for a, b, reason in STOPS if reason]
    batch = [{"batch": "b", "product": "mint", "start": moment[350]}]
    sheet = factories.rows(BATCHES, batch, line="1")
    counts = counted(plant, plant.machines[0], readings, (START, END))
    machine = MachineInputs(
        counts, sheet, factories.rows(STOP_LOG, log, machine="w1"), factories.rows(REELS, []), START
    )
    nothing = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64})
    line = LineInputs("1", sheet, factories.rows(WEIGHTS, []), nothing, nothing)
    week = line_week(plant, [machine], line, (START, END), END)
    scope = Scope("1", "", Period(START, END), END)
    return dict(json.loads(to_json(answer_week(plant, scope, WeekInputs([week], ())))))


def works() -> Plant:
    counters = tuple(
        Counter(id=counts.split()[0], counts=counts, modulus=65_536, fastest_per_min=450)
        for counts in ("pieces", "rejects", "blank wraps")
    )
    feed = Counter(id="film", counts="film", modulus=65_536, fastest_per_min=800, unit_value=0.1)
    film = Web(
        id="film", kind="film", cut_length_mm=1000 * CUT_M, width_mm=76, grammage_g_m2=30, reel_outer_mm=300,
        reel_core_mm=76, reel_length_m=REEL_M, price_per_reel=REEL_PRICE,
    )  # fmt: skip
    breaks = (Break(start="09:00", end="09:25"),)
    return Plant(
        shop="Invented Sweets",
        shifts=(Shift(id="early", start="06:00", end="14:00", breaks=breaks),),
        lines=(Line(id="1"),),
        machines=(
            Machine(
                id="w1", kind="cut-and-wrap machine", line="1", set_per_min=SET, nominal_per_min=(300, 400),
                counters=(*counters, feed),
            ),
        ),
        webs=(film,),
        products=(factories.product("mint", mass_g=MASS_G, price_per_kg=PRICE, webs=("film",)),),
        worth_per_kg_sold=WORTH,
    )  # fmt: skip


PLANNED = 480.0 - (BREAK[1] - BREAK[0])
RAN = PLANNED - sum(b - a for a, b, _ in STOPS) - (SLOWED[1] - SLOWED[0])
CYCLES = RAN * SET + (SLOWED[1] - SLOWED[0]) * SLOW
REJECTS, BLANKS = CYCLES // REJECT_EVERY, CYCLES // BLANK_EVERY
GOOD = CYCLES - REJECTS - BLANKS
#: By row: minutes at the set rate, how often, metres of film, kilograms of candy used and not sold.
ROWS = {
    "stops__jam": (minutes("jam"), 2, 0.0, 0.0),
    "stops__film_break": (minutes("film break"), 1, 0.0, 0.0),
    "short_stops_without_a_reason": (minutes(""), 2, 0.0, 0.0),
    "rejects": (REJECTS / SET, 0, REJECTS * CUT_M, REJECTS * MASS_G / 1000),
    "blank_wraps": (BLANKS / SET, 0, BLANKS * CUT_M, 0.0),
}


@pytest.mark.parametrize("row", ROWS)
def test_a_row_in_minutes_pieces_kilograms_metres_and_money(shown, row: str) -> None:
    lost_min, times, film_m, candy_kg = ROWS[row]
    pieces = lost_min * SET
    kg = pieces * MASS_G / 1000
    expected = {
        "lost_min": (lost_min, "min"), "not_made_pieces": (pieces, "pieces"), "not_made_kg": (kg, "kg"),
        "cost_money": (kg * WORTH + candy_kg * PRICE + film_m * REEL_PRICE / REEL_M, "EUR"),
    }  # fmt: skip
    expected |= {"film_lost_m": (film_m, "m")} if film_m else {}
    expected |= {"candy_lost_kg": (candy_kg, "kg")} if candy_kg else {}
    for name, (value, unit) in expected.items():
        figure = shown["figures"][f"{row}_{name}"]
        assert figure["value"] == pytest.approx(value, rel=1e-9), name
        assert figure["unit"] == unit, name
    assert shown["figures"][f"{row}_lost_min"]["n"] == times
    written = next(r for r in shown["tables"]["ledger of losses"]["rows"] if _key(r["cause"]) == row)
    assert (written["minutes"], written["pieces"]) == (round(lost_min), pytest.approx(pieces))
    assert (written["kg"], written["money"]) == (round(kg, 1), round(expected["cost_money"][0]))


def _key(cause: str) -> str:
    return cause.replace(": ", "__").replace(" ", "_")


def test_slow_minutes_cost_what_the_set_rate_would_have_made(shown) -> None:
    lasts = SLOWED[1] - SLOWED[0]
    figure = shown["figures"]["slow_running_lost_min"]
    assert figure["value"] == pytest.approx(lasts * (1 - SLOW / SET), abs=0.2)  # a reading or two at its ends
    assert figure["working"].startswith(f"{lasts}.")
    rest = shown["figures"]["running_off_the_nominal_rate_lost_min"]["value"]
    assert figure["value"] + rest == pytest.approx(lasts * (1 - SLOW / SET), abs=0.01)


def test_all_rows_are_what_the_planned_minutes_would_have_given(shown) -> None:
    figures = shown["figures"]
    assert figures["good_pieces"]["value"] == GOOD
    assert figures["planned_min"]["value"] == PLANNED
    expected = {
        "lost_min": PLANNED - GOOD / SET,
        "not_made_pieces": PLANNED * SET - GOOD,
        "not_made_kg": (PLANNED * SET - GOOD) * MASS_G / 1000,
        "film_lost_m": math.floor(CYCLES * CUT_M * 10) / 10 - GOOD * CUT_M,
    }
    for name, value in expected.items():
        assert figures[f"all_rows_{name}"]["value"] == pytest.approx(value, abs=1e-6), name
    assert figures["all_rows_cost_money"]["value"] is None  # nothing was weighed
    # Film is sure to half a percent either way, k = 2: the feed counter's scale, which no reel log checks.
    film, half = figures["all_rows_film_lost_m"], 2 * 0.005 * CYCLES * CUT_M
    assert (film["high"] - film["value"], film["value"] - film["low"]) == pytest.approx((half, half), rel=1e-3)


def test_the_week_word_for_word_and_cell_for_cell(shown) -> None:
    def money(row: str) -> float:
        lost_min, _, film_m, candy_kg = ROWS[row]
        return lost_min * SET * MASS_G / 1000 * WORTH + candy_kg * PRICE + film_m * REEL_PRICE / REEL_M

    lost, lasts = PLANNED * SET - GOOD, SLOWED[1] - SLOWED[0]
    a_piece = MASS_G / 1000 * WORTH
    #: By the ends of the slow stretch, and by what its two readings ran at the set rate.
    slow_pieces, off = lasts * (SET - SLOW), 2 * EVERY_S / 60
    known = sum(map(money, ROWS)) + slow_pieces * a_piece
    assert shown["sentence"] == (
        f"Stops for jam cost most: {money('stops__jam'):.0f} EUR and 22 minutes of {lost / SET:.0f} lost; too few "
        "shifts to say whether that is better or worse."
    )
    assert shown["soft"] == (
        f"{GOOD:,.0f} good pieces of {PLANNED * SET:,.0f} possible in {PLANNED:.0f} planned minutes at the nominal "
        f"rate, {100 * GOOD / PLANNED / SET:.1f} %. Lost in all: at least {known:.0f} EUR."
    )
    weighed = ["rope off its target diameter", "pieces over target mass", "batch mass not accounted for"]
    no_mass = "no piece was weighed in this period"
    assert shown["notes"] == [
        f"Not known: {weighed[0]} (no readings of the rope's diameter).",
        f"Not known: {weighed[1]} ({no_mass}).",
        f"Not known: {weighed[2]} (the mean mass of a piece is not known: {no_mass}).",
        "Not known: rush freight and shortage (nothing records rush orders; see the order's risk).",
        "Better or worse is not known: too few shifts: needs 3 in the period and 3 before it, has 0 and 0.",
    ]
    ledger = shown["tables"]["ledger of losses"]["rows"]
    assert [row["cause"] for row in ledger] == [
        "stops: jam", "rejects", "slow running", "short stops without a reason", "stops: film break", "blank wraps",
        *weighed, "running off the nominal rate", "rush freight and shortage", "not explained", "rounding", "all rows",
    ]  # fmt: skip
    whole = ledger[-1]
    film_m = math.floor(CYCLES * CUT_M * 10) / 10 - GOOD * CUT_M
    assert (whole["minutes"], whole["pieces"], whole["kg"]) == (round(lost / SET), lost, round(lost * MASS_G / 1000, 1))
    assert (whole["candy_kg"], whole["film_m"], whole["money"]) == (
        round(REJECTS * MASS_G / 1000, 1), round(film_m), round(known)
    )  # fmt: skip
    for key in ("minutes", "pieces", "kg", "candy_kg", "film_m", "money"):
        assert sum(row[key] or 0 for row in ledger[:-1]) == pytest.approx(whole[key]), key
    good_kg, rejects_kg = GOOD * MASS_G / 1000, REJECTS * MASS_G / 1000
    possible = {"min": PLANNED, "pieces": PLANNED * SET, "kg": PLANNED * SET * MASS_G / 1000}
    was = {"min": GOOD / SET, "pieces": GOOD, "kg": good_kg}
    rows = [(unit, possible[unit], was[unit]) for unit in possible]
    rows += [("kg", good_kg + rejects_kg, good_kg), ("m", film_m + GOOD * CUT_M, GOOD * CUT_M)]
    balance = shown["tables"]["balance"]["rows"]
    assert [row["unit"] for row in balance] == [unit for unit, _, _ in rows]
    for row, (_, first, second) in zip(balance, rows, strict=True):
        expected = (first, second, first - second, first - second)
        assert [row[key] for key in ("possible", "was", "lost", "rows")] == pytest.approx(expected)
    assert [row["open"] for row in balance] == ["", "", "", ", ".join(weighed), ""]
    workings = {
        "planned_min": "of 1 shifts, breaks left out",
        "all_rows_lost_min": f"sum of the rows = {PLANNED:.1f} possible − {GOOD / SET:.1f} made or sold",
        "all_rows_not_made_pieces": f"sum of the rows = {PLANNED * SET:,.1f} possible − {GOOD:,.1f} made or sold",
        "stops__jam_lost_min": "22.0 min by the clock, 2 times",
        "stops__film_break_cost_money": "7.0 min by the clock, 1 time",
        "slow_running_not_made_kg": f"{lasts + off:.1f} min by the clock",
        "running_off_the_nominal_rate_lost_min": f"{RAN - off:.1f} min by the clock",
        "rejects_lost_min": "its pieces at the nominal rate",
        "rejects_cost_money": "its kilograms and metres at the prices in plant.toml",
    }
    assert {name: shown["figures"][name]["working"] for name in workings} == workings
    why = f"not known: {', '.join(weighed)}, rush freight and shortage; the other rows add up to {known:.1f} EUR"
    assert shown["figures"]["all_rows_cost_money"]["why_none"] == why


def test_more_or_fewer_pieces_than_explained_are_told_apart() -> None:
    rest = "counted {}than the states and the other counters explain."
    assert _unexplained_words(-1200) == f"1,200 more pieces were {rest.format('')}"
    assert _unexplained_words(1200) == f"1,200 pieces fewer were {rest.format('as good ')}"
