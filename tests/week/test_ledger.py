"""The ledger's rows add up to what planned time at the nominal rate would have given and was not made."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.estimate import Estimate
from lineview.core.figure import Period
from lineview.core.frames import BATCHES, STOP_LOG, WEIGHTS
from lineview.plant import Break, Counter, Line, Machine, Plant, Shift
from lineview.report import show
from lineview.report.answer import Scope
from lineview.report.tables import cell, table_decimals
from lineview.week.account import LineInputs, MachineInputs, WeekAccount, WeekInputs, line_week, week_account
from lineview.week.figures import unit_of
from lineview.week.ledger import OUTSIDE, UNITS, Ledger, LedgerRow, _between
from lineview.week.losses import REJECTS
from lineview.week.tables import ledger_table
from lineview.week.trend import STEADY, WORSE, CauseTrend, Trends
from lineview.week.words import sentence, soft_line
from tests import factories
from tests.from_frames import Frames, counted

START = datetime(2026, 6, 8, tzinfo=UTC)
EARLY = Shift(id="early", start="06:00", end="14:00", breaks=(Break(start="09:00", end="09:25"),))
LATE = Shift(id="late", start="14:00", end="22:00", breaks=(Break(start="17:00", end="17:15"),))


def wrapper(name: str, line: str, **more: object) -> Machine:
    counters = tuple(
        Counter(id=counts.split()[0], counts=counts, modulus=65_536, fastest_per_min=450)
        for counts in ("pieces", "rejects", "blank wraps")
    )
    return Machine(
        id=name, kind="cut-and-wrap machine", line=line, nominal_per_min=(300, 400), counters=counters, **more
    )


def works(lines: int, *, worth: float | None = 2.5, **changes: object) -> Plant:
    names = [str(k + 1) for k in range(lines)]
    return Plant(
        shop="Invented Sweets",
        shifts=(EARLY, LATE),
        lines=tuple(Line(id=name) for name in names),
        machines=tuple(wrapper(f"w{name}", name, set_per_min=340 + 5 * k) for k, name in enumerate(names)),
        products=(
            factories.product("mint", mass_g=6.8, price_per_kg=3.0),
            factories.product("nut", mass_g=7.4, price_per_kg=3.4),
        ),
        worth_per_kg_sold=worth,
        **changes,
    )


def random_readings(rng: np.random.Generator, machine: str, days: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Counters of a machine that runs, stands, rejects and loses readings at random, and a log of some stops."""
    at = np.arange(0, days * 86_400, 20.0)
    hour = at % 86_400 / 3600
    rate = np.where((hour >= 5.8) & (hour < 22.1), rng.normal(345, 4), 0.0)
    stops = []
    moment = 6 * 3600.0
    while moment < days * 86_400:
        moment += rng.exponential(1500) + 60
        lasts = rng.lognormal(math.log(90), 1.2)
        inside = (at >= moment) & (at < moment + lasts)
        rate = np.where(inside, 0.0, rate)
        if rng.random() < 0.5:
            stops.append({"start": START + timedelta(seconds=moment), "end": START + timedelta(seconds=moment + lasts)})
        moment += lasts
    slow = rng.uniform(0, days * 86_400)
    rate = np.where((at > slow) & (at < slow + 2400), np.minimum(rate, 260), rate)
    made = np.floor(np.cumsum(rate / 3))
    values = {"pieces": made, "rejects": np.floor(made * rng.uniform(0, 0.03)), "blank": np.floor(made * 0.004)}
    kept = np.ones(len(at), dtype=bool)
    for _ in range(int(rng.integers(0, 4))):
        first = rng.uniform(0, days * 86_400)
        kept &= ~((at > first) & (at < first + rng.uniform(200, 20_000)))
    frames = [
        factories.readings(machine, name, factories.moments(START.timestamp() + at[kept]), value[kept] % 65_536)
        for name, value in values.items()
    ]
    reasons = [{**stop, "reason": ["jam", "film break", "no staff"][k % 3]} for k, stop in enumerate(stops)]
    return pl.concat(frames), factories.rows(STOP_LOG, reasons, machine=machine)


def batches(rng: np.random.Generator, line: str, days: int) -> pl.DataFrame:
    starts = np.sort(rng.uniform(6 * 3600, days * 86_400, 25))
    rows = [
        {"batch": f"{line}{k}", "product": ["mint", "nut"][int(rng.integers(2))], "start": START + timedelta(seconds=s)}
        for k, s in enumerate(starts.tolist())
    ]
    return factories.rows(BATCHES, rows, line=line, mass_in_kg=22.7)


def weighed(rng: np.random.Generator, machine: str, days: int) -> pl.DataFrame:
    rows = [
        {"at": START + timedelta(seconds=float(s)), "mass_g": float(rng.normal(7.1, 0.1)), "sample": str(k)}
        for k, s in enumerate(np.sort(rng.uniform(6 * 3600, days * 86_400, 60)))
    ]
    return factories.rows(WEIGHTS, rows, machine=machine, pieces=1, gross=False)


def random_account(seed: int, plant: Plant, days: int = 3, rejects_to: datetime | None = None) -> WeekAccount:
    rng = np.random.default_rng(seed)
    period = (
        START + timedelta(hours=float(rng.uniform(0, 9))),
        START + timedelta(days=days - float(rng.uniform(0, 1))),
    )
    lines = []
    for machine in plant.machines:
        readings, log = random_readings(rng, machine.id, days)
        if rejects_to is not None:
            readings = readings.filter((pl.col("channel") != "rejects") | (pl.col("at") < rejects_to))
        sheet = batches(rng, machine.line, days)
        counts = counted(plant, machine, readings, period)
        inputs = MachineInputs(counts, sheet, log, Frames().reels, START)
        nothing = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64})
        line = LineInputs(machine.line, sheet, weighed(rng, machine.id, days), nothing, nothing)
        lines.append(line_week(plant, [inputs], line, period, period[1]))
    return week_account(plant, WeekInputs(lines, ()), period, period[1])


def assert_adds_up(account: WeekAccount, plant: Plant) -> None:
    ledger = account.ledger
    assert ledger is not None
    for unit, balance in ledger.balances.items():
        rows = [row.amounts[unit] for row in ledger.rows if unit in row.amounts]
        known = math.fsum(amount.value for amount in rows if amount.value is not None)
        assert known == pytest.approx(balance.loss, abs=1e-6 * max(1.0, abs(balance.possible))), unit
    table = ledger_table(ledger, account.trends, plant, account.outside)
    *rows, total = (row for row in table.rows if row["cause"] != OUTSIDE)
    for unit in UNITS:
        written = [row.get(unit) for row in rows if row.get(unit) is not None]
        if written:
            assert math.fsum(written) == pytest.approx(total[unit], abs=1e-9), unit  # as printed


def test_what_is_taken_for_rejects_while_their_counter_is_not_read_is_a_bound() -> None:
    plant = works(1)
    whole, cut = (random_account(3, plant, 3, until) for until in (None, START + timedelta(days=1, hours=13)))
    assert_adds_up(cut, plant)
    (lost,) = (row.amounts["pieces"] for row in cut.ledger.rows if row.cause == REJECTS)
    (read,) = (row.amounts["pieces"] for row in whole.ledger.rows if row.cause == REJECTS)
    assert lost.interval == "bounds: rejects without readings"
    assert lost.low < read.value < lost.high == lost.value
    assert soft_line(cut, plant).startswith("At least ")
    assert not soft_line(whole, plant).startswith("At least ")


@pytest.mark.parametrize("seed", range(50))
def test_rows_of_random_works_add_up(seed: int) -> None:
    plant = works(1 + seed % 3, worth=None if seed % 4 == 0 else 2.5)
    account = random_account(seed, plant, days=2)
    assert_adds_up(account, plant)
    assert account.ledger.balances["pieces"].possible > account.ledger.balances["pieces"].was > 0
    # Planned minutes times the rate, by the calendar alone.
    assert {"minutes", "pieces", "kg", "candy_kg"} <= set(account.ledger.balances)


def test_the_demos_rows_add_up(week: Works) -> None:
    answer = week.ask(read_question("week"))
    balance = next(table for table in answer.tables if table.name == "balance")
    assert {row["unit"] for row in balance.rows} == {"min", "pieces", "kg", "m"}
    for row in balance.rows:
        assert row["rows"] == pytest.approx(row["lost"], abs=1e-6 * row["possible"]), row["what"]
    ledger = next(table for table in answer.tables if table.name == "ledger of losses")
    *rows, total = ledger.rows
    assert total["minutes"] == sum(row["minutes"] for row in rows if row.get("minutes") is not None)
    good = answer.figure("good_pieces").value
    shown = sum(
        week.ask(read_question("shift", machine=name, period="last-week")).figure("good_pieces").value
        for name in ("wrap1", "wrap2")
    )
    assert good == pytest.approx(shown, abs=2)


def test_the_sentence_names_what_got_worse_where_the_largest_loss_did_not_change() -> None:
    account, unknown = random_account(11, works(1)), Estimate.unknown("")
    assert account.ledger is not None and account.ledger.largest is not None
    verdicts = {account.ledger.largest.cause: STEADY, "stops: jam at knife": WORSE, "blank wraps": WORSE}
    rows = [CauseTrend(c, 1, 1, unknown, unknown, 8, (0, 0), (0, 0), verdict) for c, verdict in verdicts.items()]
    scope = Scope("", "", Period(START, START + timedelta(days=5)), START)
    spans = sentence(replace(account, trends=Trends(tuple(rows), 11, 77)), works(1), scope)
    text = "".join(span.text for span in spans)
    assert text.endswith("; not changed beyond chance, but stops for jam at knife are worse.")
    assert [span.text for span in spans if span.call] == ["stops for jam at knife are worse"]
    assert len(text.split()) <= 30
    steady = replace(account, trends=Trends(tuple(rows[:1]), 11, 77))
    assert "".join(span.text for span in sentence(steady, works(1), scope)).endswith("; not changed beyond chance.")


def test_rows_add_up_as_written_in_us_units_too() -> None:
    plant = works(2, units="US", currency="USD")
    account = random_account(11, plant)
    table = ledger_table(account.ledger, account.trends, plant, account.outside)
    places = table_decimals(table.columns, table.rows, plant)
    for key, _, unit in table.columns[1:-1]:
        cells = [cell(row.get(key), unit, plant, places[key]) for row in table.rows if row["cause"] != OUTSIDE]
        numbers = [float(c.replace(",", "").replace(show.MINUS, "-")) for c in cells if c != show.NOTHING]
        assert math.fsum(numbers[:-1]) == pytest.approx(numbers[-1], abs=1e-6), key


def test_without_a_worth_lost_time_has_no_money_and_says_what_would_add_it() -> None:
    plant = works(1, worth=None)
    ledger = random_account(3, plant).ledger
    lost = [row for row in ledger.rows if row.value("minutes")]
    assert all(row.amounts["money"].value is None for row in lost)
    assert all("worth_per_kg_sold" in row.amounts["money"].why_none for row in lost if row.cause != "rejects")
    assert ledger.ranked_by == "minutes"
    ranked = [
        row.least("minutes") for row in ledger.rows if row.cause not in ("not explained", "rush freight and shortage")
    ]
    assert ranked == sorted(ranked, reverse=True)


def test_money_is_worth_times_mass_and_price_times_candy() -> None:
    plant = works(1)
    ledger = random_account(5, plant).ledger
    rejects = next(row for row in ledger.rows if row.cause == "rejects")
    price = rejects.value("money") - 2.5 * rejects.value("kg")
    assert 3.0 <= price / rejects.value("candy_kg") <= 3.4
    changeovers = next(row for row in ledger.rows if row.cause.startswith("stops"))
    assert changeovers.value("money") == pytest.approx(2.5 * changeovers.value("kg"))


def test_a_line_that_came_within_the_week_is_not_blamed_for_the_days_before() -> None:
    plant = works(1)
    rng = np.random.default_rng(1)
    readings, log = random_readings(rng, "w1", 3)
    first = START + timedelta(days=1, hours=6)
    late = readings.filter(pl.col("at") >= first)
    period = (START, START + timedelta(days=3))
    counts = counted(plant, plant.machines[0], late, period)
    nothing = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64})
    machine = MachineInputs(counts, Frames().batches, log, Frames().reels, first)
    line = LineInputs("1", Frames().batches, Frames().weights, nothing, nothing)
    inputs = WeekInputs([line_week(plant, [machine], line, period, period[1])], ())
    account = week_account(plant, inputs, period, period[1])
    assert account.ledger.planned_min == pytest.approx(2 * (2 * 480 - 40))
    assert [machine.id for machine, _ in account.joined] == ["w1"]


def test_a_week_of_holidays_lost_nothing_and_says_so(week: Works) -> None:
    answer = week.ask(read_question("week", period="2026-06-13..2026-06-14"))
    assert "No planned minute" in answer.text
    assert not answer.figures


def test_the_rate_and_the_worth_of_today_hold_for_all_weeks() -> None:
    plant = works(1)
    slower = plant.model_copy(
        update={"machines": tuple(m.model_copy(update={"set_per_min": 320.0}) for m in plant.machines)}
    )
    before, after = (random_account(7, one).ledger for one in (plant, slower))
    planned = before.planned_min
    assert before.balances["pieces"].possible - after.balances["pieces"].possible == pytest.approx(planned * 20)
    dearer = plant.model_copy(update={"worth_per_kg_sold": 5.0})
    doubled = random_account(7, dearer).ledger
    stops = [next(row for row in one.rows if row.cause.startswith("stops")) for one in (before, doubled)]
    assert stops[1].value("money") == pytest.approx(2 * stops[0].value("money"))


def test_a_change_of_currency_or_price_moves_money_alone() -> None:
    plant = works(1, currency="EUR")
    before = random_account(7, plant).ledger
    in_dollars = random_account(7, plant.model_copy(update={"currency": "USD"})).ledger
    assert in_dollars == before  # the numbers are those of plant.toml; nothing is converted
    assert unit_of("money", plant) == "EUR"
    dearer = tuple(product.model_copy(update={"price_per_kg": 2 * product.price_per_kg}) for product in plant.products)
    doubled = random_account(7, plant.model_copy(update={"products": dearer})).ledger
    assert doubled.balances == before.balances
    for row, other in zip(sorted_rows(doubled), sorted_rows(before), strict=True):
        moved = {unit for unit, amount in row.amounts.items() if amount != other.amounts[unit]}
        assert moved == ({"money"} if row.value("candy_kg") else set())
    assert any(row.value("candy_kg") for row in doubled.rows)


def sorted_rows(ledger: Ledger) -> list[LedgerRow]:
    return sorted(ledger.rows, key=lambda row: row.cause)


@pytest.mark.parametrize(("below", "above"), [(0.2, 0.3), (0.0, 0.4), (0.4, 0.0), (0.0, 0.0)])
def test_a_loss_has_bounds_where_any_minute_was_not_read(below: float, above: float) -> None:
    kind = "bounds: minutes without readings" if below or above else ""
    assert _between(5.0, below, above, 4, "bounds: minutes without readings") == Estimate(
        5.0, 5.0 - below, 5.0 + above, 4, interval=kind
    )


def test_one_shift_alone_has_its_ledger_and_no_verdict(week: Works) -> None:
    answer = week.ask(read_question("week", line="line1", period="2026-06-08.early"))
    ledger, *_ = answer.tables
    *rows, total = ledger.rows
    assert math.fsum(row["minutes"] or 0.0 for row in rows) == pytest.approx(total["minutes"], abs=1e-6)
    assert "too few shifts to say whether that is better or worse" in answer.text
    assert any("too few shifts" in note for note in answer.notes)
    assert all(row["trend"] == "" for row in rows)


def test_one_shift_against_another_has_no_interval(week: Works) -> None:
    answer = week.ask(read_question("week", line="line1", period="2026-06-08.early", against="2026-06-09.early"))
    assert "too few shifts to judge" in answer.text
    compared = next(table for table in answer.tables if table.name == "compared")
    by_shift = [row for row in compared.rows if not row["what"].startswith("spread")]  # its units are batches
    assert {row["low"] for row in by_shift} == {None}


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.sampled_from([0, 1, 2]))
def test_rounded_rows_add_up_as_written(values: list[float], places: int) -> None:
    from lineview.week.tables import rounding_left

    total = math.fsum(values)
    left = rounding_left(values, total, places)
    assert math.fsum([*(round(v, places) for v in values), left]) == pytest.approx(round(total, places), abs=1e-6)
    assert abs(left) <= 0.51 * 10**-places * (len(values) + 1)


def test_a_quantity_is_the_same_in_its_row_its_figure_and_the_sum(week: Works) -> None:
    answer = week.ask(read_question("week"))
    table = next(table for table in answer.tables if table.name == "ledger of losses")
    rows = {row["cause"]: row for row in table.rows}
    for row in table.rows:
        if row["cause"] not in ("rounding", OUTSIDE):
            label = f"{row['cause']}: minutes lost"
            figure = next((figure for figure in answer.figures if figure.label == label), None)
            assert row["minutes"] == (None if figure is None else round(figure.value)), row["cause"]
    parts = [row["minutes"] or 0 for name, row in rows.items() if name not in ("all rows", OUTSIDE)]
    assert math.fsum(parts) == rows["all rows"]["minutes"]


def test_two_sums_of_what_was_sold_do_not_go_by_one_name(week: Works) -> None:
    table = next(t for t in week.ask(read_question("week")).tables if t.name == "balance")
    sold = [row["what"].partition(" less ")[2] for row in table.rows if row["unit"] == "kg"]
    assert sold == ["good pieces of shifts at target mass", "good pieces of known products at target mass"]
