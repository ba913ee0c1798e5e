"""What lies behind a shift's stops: order of flavours, clusters, trend, efficiency, states, plan, pareto."""

import math
import re
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise, permutations
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, t

from lineview.core.frames import PLAN, STATE_TIMELINE
from lineview.machine.changeovers import changeover_matrix
from lineview.machine.speed import speed_segments
from lineview.machine.state_codes import MEANINGS, state_intervals, unknown_states
from lineview.machine.stop_statistics import run_clock, stop_clusters, stop_trend
from lineview.machine.stops import StopCount, pareto, stop_count, stop_list
from lineview.plant import Gauge, Machine, Product, Shift
from lineview.shift.account import whole_parts
from lineview.shift.key_figures import (
    LETTERS,
    STATE_TO_TIME,
    Efficiency,
    TimeElements,
    iso_key_figures,
    outside_minutes,
    productive_maintenance_figures,
)
from lineview.shift.measures import ShiftMeasures
from lineview.shift.past import PastShift, PastShifts, RestOfShift, mean_between, mean_restore
from lineview.shift.projection import Pace, pace_needed_per_min, planned_pieces
from lineview.shift.study import cheapest_order, expected_minutes
from lineview.shift.words import _minute_words, in_words
from tests import factories

START = datetime(2026, 6, 9, 6, tzinfo=UTC)


def timeline_of(*parts: tuple[str, float] | tuple[str, float, str]) -> pl.DataFrame:
    """A timeline of (state, minutes, reason) at 350 a minute."""
    rows, at = [], START
    for state, minutes, *reason in parts:
        end = at + timedelta(minutes=minutes)
        pieces = minutes * 350 if state in ("running", "slow") else 0.0
        rows.append((at, end, state, pieces, pieces, pieces, reason[0] if reason else None))
        at = end
    return pl.DataFrame(rows, schema=STATE_TIMELINE, orient="row")


def product(name: str, base: str = "soft", *allergens: str) -> Product:
    return factories.product(name, *allergens, base=base)


@pytest.mark.parametrize("seed", range(6))
def test_the_order_is_the_cheapest_of_all_orders(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sets = [(), (), ("nuts",), ("nuts", "milk"), ("milk",), ()]
    products = [product(f"p{k}", "soft", *sets[k]) for k in range(6)]
    minutes = {(a.id, b.id): float(rng.uniform(2, 12)) for a in products for b in products}
    first = "p2" if seed % 2 else None
    found = cheapest_order(products, minutes, first=first)

    def price(order: tuple[Product, ...]) -> tuple[int, float]:
        downs = sum(bool(set(a.allergens) - set(b.allergens)) for a, b in pairwise(order))
        return downs, sum(minutes[a.id, b.id] for a, b in pairwise(order))

    best = min(price(order) for order in permutations(products) if first in (None, order[0].id))
    assert (found.clean_downs, found.minutes) == (best[0], pytest.approx(best[1]))
    assert (found.as_given_clean_downs, found.as_given_min) == (
        price(tuple(products))[0],
        pytest.approx(price(tuple(products))[1]),
    )


def test_expected_minutes_fall_back_from_flavour_to_base_to_the_usual() -> None:
    at = [START] * 3
    frame = pl.DataFrame(
        {
            "start": at,
            "end": [START + timedelta(minutes=m) for m in (4, 6, 9)],
            "before": ["a", "a", "b"],
            "after": ["b", "b", "c"],
        }
    )
    matrix = changeover_matrix(frame, str)
    assert matrix.row(0) == ("a", "b", 2, 5.0, 4.0, 6.0)
    products = [product("a"), product("b"), product("d"), product("c", "hard"), product("e", "hard")]
    minutes = expected_minutes(products, matrix, usual_min=7)
    assert minutes["a", "b"] == 5
    assert minutes["d", "a"] == 5  # soft to soft
    assert minutes["a", "e"] == 9  # soft to hard
    assert minutes["e", "a"] == 7  # never seen


def test_stops_right_after_changeovers_are_found_and_others_are_not() -> None:
    parts: list[tuple[str, float]] = [("running", 20.0)]
    for _ in range(8):
        parts += [("changeover", 5.0), ("running", 2.0), ("short stop", 1.0), ("running", 2.0), ("short stop", 1.0)]
        parts += [("running", 60.0)]
    found = {c.after: c for c in stop_clusters(run_clock(timeline_of(*parts)), [])}
    assert found["changeover"].ratio.low > 3
    assert found["changeover"].p_corrected < 0.001
    assert found["changeover"].stops == 16
    rng = np.random.default_rng(3)
    even: list[tuple[str, float]] = []
    for k in range(60):
        even += [("running", float(rng.exponential(20))), ("changeover" if k % 6 == 0 else "short stop", 2.0)]
    reels = [START + timedelta(minutes=100 * k) for k in range(12)]
    for cluster in stop_clusters(run_clock(timeline_of(*even)), reels):
        assert cluster.ratio.low <= 1 <= cluster.ratio.high
        assert cluster.stops + cluster.other_stops == 50
        assert cluster.run_min + cluster.other_run_min == pytest.approx(run_clock(timeline_of(*even)).run_min)


def test_a_machine_that_wears_is_told_from_one_that_does_not() -> None:
    worn = [part for k in range(25) for part in (("running", 60 / (k + 1) ** 0.8), ("short stop", 1.0))]
    found = stop_trend(run_clock(timeline_of(*worn, ("running", 3.0))))
    assert found is not None
    assert found.verdict == "more and more often"
    assert found.law.b_low > 1
    steady = [part for _ in range(25) for part in (("running", 12.0), ("short stop", 1.0))]
    even = stop_trend(run_clock(timeline_of(*steady, ("running", 12.0))))
    assert even is not None
    assert even.verdict == "no trend shown"
    assert stop_trend(run_clock(timeline_of(("running", 10), ("stop", 6), ("running", 10)))) is None


def trends_shown(lines: int) -> int:
    """How many of so many lines without a trend show one at 5 %."""
    rng = np.random.default_rng(11)
    shown = 0
    for _ in range(lines):
        times = np.cumsum(rng.exponential(10, 40))
        legs = [part for gap in np.diff(times) for part in (("running", float(gap)), ("short stop", 0.5))]
        found = stop_trend(run_clock(timeline_of(*legs, ("running", float(rng.exponential(10))))))
        assert found is not None
        shown += found.handbook.p_two_sided < 0.05
    print(f"a trend shown in {shown} of {lines} lines without one, at 5 %")
    return shown


def test_the_trend_test_is_wrong_as_often_as_it_says() -> None:
    assert 1 <= trends_shown(100) <= 12


@pytest.mark.long
def test_the_trend_test_at_full_count() -> None:
    assert 66 <= trends_shown(2000) <= 134


def test_stops_are_counted_by_beginnings_while_it_ran() -> None:
    timeline = timeline_of(
        ("stop", 7), ("running", 60), ("short stop", 2), ("break", 25), ("short stop", 1), ("running", 30),
        ("unseen", 5), ("stop", 8), ("running", 10), ("stop", 6),
    )  # fmt: skip
    found = stop_count(timeline)
    assert (found.events, found.restored) == (2, 1)
    assert found.stopped_min == pytest.approx(3)
    assert found.mean_between_min == pytest.approx(100 / 2)
    assert stop_list(timeline).height == 5


def test_pareto_by_reason_adds_up() -> None:
    timeline = timeline_of(
        ("running", 10), ("stop", 9, "film broke"), ("running", 10), ("stop", 6), ("running", 9),
        ("changeover", 5), ("running", 9), ("short stop", 4, "film broke "), ("running", 4),
    )  # fmt: skip
    rows = pareto(stop_list(timeline)).select("reason", "stops", "minutes").rows()
    assert rows == [("film broke", 2, 13.0), ("reason not set", 1, 6.0), ("changeover", 1, 5.0)]


def test_a_changeover_counts_as_one_whatever_a_log_says_of_part_of_it() -> None:
    timeline = timeline_of(
        ("running", 10), ("changeover", 16, "jam"), ("running", 9), ("stop", 7, "jam"), ("running", 4)
    )
    rows = pareto(stop_list(timeline)).select("reason", "stops", "minutes").rows()
    assert rows == [("changeover", 1, 16.0), ("jam", 1, 7.0)]


@given(st.lists(st.floats(0, 480), max_size=3))
def test_minutes_as_written_add_up_to_their_sum(minutes: list[float]) -> None:
    written = whole_parts(minutes)
    assert sum(written) == round(sum(minutes))
    assert all(abs(whole - exact) < 1 for whole, exact in zip(written, minutes, strict=True))


def test_all_letters_in_the_formulas_of_key_figures_are_explained() -> None:
    elements = TimeElements(435, 260, 65, 100, 1 / 352, 93_354, 92_216)
    keys = (*iso_key_figures(elements), *productive_maintenance_figures(elements, 38))
    used = set(re.findall(r"\b[A-Z]{2,}\b", " ".join(key.formula for key in keys)))
    assert used <= {*LETTERS, *re.findall(r"\b[A-Z]{2,}\b", str(STATE_TO_TIME))}
    assert {"PRI", "APT"} <= used


def test_two_efficiencies_differ_by_what_lies_outside() -> None:
    timeline = timeline_of(
        ("running", 80), ("stop", 10, "blocked"), ("running", 5), ("stop", 5, "knife"), ("running", 10)
    )
    assert outside_minutes(timeline) == pytest.approx(10)
    own = Efficiency(good=95 * 350 * 0.98, nominal_per_min=350, operating_min=110, outside_min=10)
    assert own.all_causes == pytest.approx(95 * 0.98 / 110)
    assert own.machine_only == pytest.approx(95 * 0.98 / 100)
    assert Efficiency(0, 350, 0, 0).all_causes is None


def said(machine: Machine, frame: pl.DataFrame) -> list[str]:
    return [MEANINGS[k] for k in state_intervals(machine, frame, gap_s=120).meaning]


def test_a_state_channel_is_told_by_name() -> None:
    machine = Machine(
        id="w",
        kind="cut-and-wrap machine",
        line="1",
        gauges=(Gauge(id="s", measures="state", codes={"12": "starved"}),),
    )
    states = ["Execute", "Suspended", "12", "Held", "Execute", "77"]
    frame = factories.readings("w", "s", [START + timedelta(minutes=k) for k in range(6)], text=states)
    assert said(machine, frame) == ["running", "outside", "starved", "stop", "running"]
    assert unknown_states(machine, frame) == ["77"]
    numbers = frame.with_columns(text=pl.lit(None, pl.String), value=pl.Series([6.0, 12.0, 6.0, 12.0, 6.0, 6.0]))
    assert said(machine, numbers) == ["starved", "starved"]
    assert unknown_states(machine, numbers) == ["6"]


def test_a_week_of_plan_is_shared_by_planned_minutes() -> None:
    shifts = (Shift(id="e", start=time(6), end=time(14)), Shift(id="l", start=time(14), end=time(22)))
    monday = datetime(2026, 6, 8, tzinfo=UTC)
    frame = pl.DataFrame(
        {
            "line": "1",
            "product": "p",
            "start": [monday, START],
            "end": [monday + timedelta(days=5), START + timedelta(hours=8)],
            "pieces": [100_000.0, 7.0],
            "intake": 1,
            "row": 1,
        }
    ).cast(dict(PLAN))
    end = START + timedelta(hours=8)
    assert planned_pieces(frame, "1", START, end, shifts=shifts, zone="UTC") == pytest.approx(10_007)
    assert planned_pieces(frame, "2", START, end, shifts=shifts, zone="UTC") is None
    assert pace_needed_per_min(100, 200, 10) == 0
    assert pace_needed_per_min(100, 0, 0) is None


def gone_on(*rates: float) -> PastShift:
    """A shift of hours at these rates [pieces/min], with a stop of two minutes every 20 running minutes."""
    at = np.arange(len(rates) + 1) * 60.0
    began = np.arange(10.0, at[-1], 20.0)
    made = np.concatenate(([0.0], np.cumsum(np.array(rates) * 60.0)))
    return PastShift(at, made, at, began, np.full(began.size, 2.0))


@pytest.mark.parametrize(("pieces", "minute"), [(300, 1), (18_000, 60), (18_300, 91), (36_000, 150), (36_300, None)])
def test_a_count_is_reached_before_a_break_that_begins_then(pieces: int, minute: int | None) -> None:
    """Two planned hours at 300 a minute, half an hour of break between them."""
    start = datetime(2026, 6, 9, 6, tzinfo=UTC)
    hours = [(start + timedelta(minutes=m), start + timedelta(minutes=m + 60)) for m in (0, 90)]
    usual, soonest, latest = Pace(300.0, 600.0, None, hours).when(pieces)
    assert usual == (None if minute is None else start + timedelta(minutes=minute))
    assert soonest is not None and (usual is None or soonest < usual)
    assert latest is None


def test_a_projection_needs_eight_whole_past_shifts() -> None:
    own = gone_on(300, 300)
    found = [RestOfShift(PastShifts([gone_on(300, 300, 310)] * n), own).project(60.0) for n in (7, 8)]
    assert [rest.low is None for rest in found] == [True, False]
    assert found[0].from_what == "no interval: needs 8 whole shifts of the four weeks before, has 7"
    assert found[0].pieces == pytest.approx(18_000)
    # All went on at 310 a minute, whatever they had made before.
    assert [found[1].low, found[1].pieces, found[1].high] == pytest.approx([18_600] * 3)


def test_a_projections_interval_is_the_one_worked_by_hand() -> None:
    # Ten shifts went on at 300 ± 10 a minute from the same pace: deviations ±10 over √(1 − 1/10) = ±10.541;
    # s² = 10 × 111.1 / 8 = 138.9, × (1 + 1/10) = 152.8; t with 8 degrees is 1.860 at 90 % (any table)
    past = PastShifts([gone_on(300, 300, rate) for rate in [290, 310] * 5])
    rest = RestOfShift(past, gone_on(300, 300)).project(60.0)
    assert rest.pieces == pytest.approx(18_000)
    assert rest.low == pytest.approx(60 * (300 - 1.860 * 152.8**0.5), abs=1)
    assert rest.high == pytest.approx(60 * 310)  # never faster than the fastest past shift
    assert rest.from_what == "90 % prediction from 10 shifts of the four weeks before"
    # 39 went on at 300 and up to 19 more or less: of 40, two go on below the second least, two above the second most
    past = PastShifts([gone_on(300, 300, 300 + k) for k in range(-19, 20)])
    rest, off = RestOfShift(past, gone_on(300, 300)).project(60.0), 18 / (38 / 39) ** 0.5
    assert (rest.low, rest.high) == pytest.approx((60 * (300 - off), 60 * (300 + off)))


def test_the_mean_length_of_stops_is_as_sure_as_their_lengths_are_alike() -> None:
    past, alike = PastShifts([gone_on(300, 300)] * 10), np.full(6, 2.0)  # six stops of two minutes each
    mean = mean_restore(StopCount(6, 6, 12.0, 120.0), alike, past)
    assert (mean.value, mean.n, *mean.ends) == pytest.approx((2.0, 6, 2.0, 2.0))
    assert mean_restore(StopCount(5, 5, 10.0, 99.0), alike[:5], PastShifts(past.shifts[:9])).low is None  # 59 stops


def test_a_pace_beyond_all_past_shifts_is_taken_to_last() -> None:
    past = PastShifts([gone_on(rate, rate, 300) for rate in [299, 301] * 5])
    usual, slow, fast = (RestOfShift(past, gone_on(rate, rate)).project(60.0) for rate in (300, 200, 400))
    assert usual.pieces == pytest.approx(18_000)
    # A stop of two minutes for every 20 run: a pace is 1 / 1.1 of the rate. Those of the past say nothing of the rest,
    # and have a variance of 10/9 / 1.1²: 1 − (10/9) / 100² of the 100 / 1.1 that this one is off is taken to last.
    lasts, off = 1 - 10 / 9 / 100**2, 100 / 1.1
    # What that leaves is ± 1 / 1.1 of it, over √(1 − 1/10 − 1/10); t with 8 degrees is 1.8595 at 90 % (any table).
    half = [1.8595 * math.sqrt(10 * (weight / 1.1) ** 2 / 0.8 / 8 * 1.1) for weight in (lasts, 1.0)]
    rate = 300 - lasts * off
    expected = [60 * rate, 60 * min(rate - half[0], 300 - off - half[1]), 60 * (rate + half[0])]
    assert [slow.pieces, slow.low, slow.high] == pytest.approx(expected, abs=0.01)
    rate = 300 + lasts * off
    expected = [60 * rate, 60 * (rate - half[0]), 60 * (300 + off + half[1])]
    assert [fast.pieces, fast.low, fast.high] == pytest.approx(expected, abs=0.01)
    assert usual.from_what.startswith("90 % prediction")
    assert slow.from_what == (
        "at least 90 % prediction from 10 shifts of the four weeks before, whether or not its pace lasts (−94.9 sd off "
        "theirs)"
    )


def test_a_rate_is_unusual_where_at_most_one_shift_in_ten_was_as_slow_by_then() -> None:
    def unusual(own: PastShift, past: list[PastShift]) -> bool:
        read = ShiftMeasures.is_unusually_slow.fget
        return bool(read(SimpleNamespace(own_shifts=(own,), past=PastShifts(past))))

    past = [gone_on(rate, rate) for rate in range(240, 260)]  # 20 shifts, all below a band of 300 to 400
    assert [unusual(gone_on(rate, rate), past) for rate in (239, 241, 242, 250, 300)] == [
        True,
        True,
        False,
        False,
        False,
    ]
    assert unusual(gone_on(239), past)  # one that has only begun is compared with their first hour
    late = [gone_on(200, rate) for rate in range(240, 260)]
    assert not unusual(gone_on(210), late)
    assert not unusual(gone_on(100, 100), past[:7])  # too few weeks to say what is usual here


@pytest.mark.parametrize("jitter", [0.0, 1.0])
def test_steps_of_speed_are_found_and_jitter_makes_none(jitter: float) -> None:
    rng = np.random.default_rng(5)
    true = [350.0] * 60 + [310.0] * 40 + [350.0] * 50
    edges = np.arange(151) * 60.0
    seen = edges + rng.uniform(-jitter, jitter, 151)
    counts = np.interp(seen, edges, np.concatenate(([0.0], np.cumsum(true))), left=0, right=sum(true))
    at = [START + timedelta(seconds=s) for s in edges]
    frame = pl.DataFrame({"start": at[:-1], "end": at[1:], "pieces": np.diff(counts)}).cast(
        {"start": pl.Datetime("us", "UTC"), "end": pl.Datetime("us", "UTC")}
    )
    legs = speed_segments(frame)
    assert legs["run_min"].round(0).to_list() == pytest.approx([60, 40, 50], abs=1)
    assert legs["rate_per_min"].to_list() == pytest.approx([350, 310, 350], abs=2)
    steady = frame.with_columns(pieces=350 + rng.uniform(-12, 12, 150))
    assert speed_segments(steady).height == 1
    assert speed_segments(frame.clear()).height == 0


def test_short_stops_move_between_availability_and_performance_and_leave_their_product() -> None:
    elements = TimeElements(450, 390, 25, 35, 1 / 350, 125_000, 122_500)
    availability, performance = productive_maintenance_figures(elements, 15)
    iso = {key.name: key for key in iso_key_figures(elements)}
    both = availability.value * performance.value
    assert availability.value > iso["availability"].value
    assert both == pytest.approx(iso["availability"].value * iso["effectiveness"].value)


def test_small_numbers_are_words_and_few_planned_minutes_are_not_none() -> None:
    assert [in_words(n) for n in (1, 2, 3, 12, 13)] == ["1", "two", "three", "twelve", "13"]
    assert [_minute_words(minutes) for minutes in (0.016, 0.017, 0.5, 1, 9.94, 10.4)] == [
        "less than a planned second", "1 planned seconds", "30 planned seconds", "1.0 planned minutes",
        "9.9 planned minutes", "10 planned minutes",
    ]  # fmt: skip


@pytest.mark.parametrize("stops", [[4, 6, 5, 7, 3, 8, 2, 6, 4], [5] * 9, [1, 12, 2, 9, 4, 0, 3, 11, 3]])
def test_limits_of_the_mean_time_between_stops_know_how_unevenly_they_come(stops: list[int]) -> None:
    """Nine shifts of 400 running minutes: variance over mean of their stops, by Student's t; at least 0.3 of chance.

    Exact limits of so many fewer events in so much less time (NIST handbook 8.4.5.1).
    """
    at = np.array([0.0, 400.0])
    shifts = [PastShift(at, 300 * at, at, np.linspace(10, 390, n), np.full(n, 3.0)) for n in stops]
    over = max(0.3, np.var(stops, ddof=1) / np.mean(stops) * (t.ppf(0.975, 8) / 1.96) ** 2)
    found = mean_between(StopCount(5, 5, 15.0, 400.0), shifts)
    events, time = 5 / over, 400 / over
    assert found.value == 80
    assert (found.low, found.high) == pytest.approx(
        (2 * time / chi2.ppf(0.975, 2 * events + 2), 2 * time / chi2.ppf(0.025, 2 * events)), rel=1e-3
    )
    assert found.interval == f"95 % confidence; stops of 9 shifts come {over:.1f} times as unevenly as by chance"
