"""Increments of a counter: what is counted, what is bounded, what is set aside."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.core.errors import MeasureError
from tests.one_count import INCREMENTS, increments
from tests.references.totals import total

START = datetime(2026, 6, 9, 6, tzinfo=UTC)


def series(values: list[float], every_s: float = 10) -> pl.DataFrame:
    at = [START + timedelta(seconds=every_s * k) for k in range(len(values))]
    return pl.DataFrame({"at": at, "value": [float(v) for v in values]})


def rows(values: list[float], modulus: int | None = 65536, every_s: float = 10, fastest: float = 400) -> list:
    found = increments(series(values, every_s), modulus=modulus, fastest_per_min=fastest)
    assert dict(found.schema) == INCREMENTS
    return found.select("n", "low", "high", "kind").rows()


def test_a_fall_that_is_possible_is_a_rollover() -> None:
    assert rows([65400, 214], every_s=60) == [(350, 350, 350, "rollover")]


def test_a_fall_that_is_not_possible_is_a_reset_with_bounds() -> None:
    ((n, low, high, kind),) = rows([31250, 120], every_s=60)
    assert (n, low, kind) == (None, 120, "reset")
    assert 400 <= high <= 440


def test_a_single_reading_off_course_is_bridged() -> None:
    assert rows([100, 158, 5000, 274, 332])[1] == (116, 116, 116, "glitch")
    assert rows([100, 158, 0, 274, 332])[1] == (116, 116, 116, "glitch")
    assert rows([100, 158, 158 + 65536, 274, 332], 2**32)[1] == (116, 116, 116, "torn")
    assert rows([70000, 70058, 70116 - 65536, 70174, 70232], 2**32)[1] == (116, 116, 116, "torn")


def test_two_readings_off_course_in_a_row_are_bridged() -> None:
    assert rows([100, 158, 65694, 65752, 332, 390], 2**32)[1] == (174, 174, 174, "torn")


def test_a_placeholder_held_for_a_minute_is_bridged() -> None:
    for held in (0, 65535):
        found = rows([45000, 45058, *[held] * 6, 45464, 45522])
        assert found[1] == (406, 406, 406, "glitch")
        assert len(found) == 3


@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_top_held_in_any_interval_leaves_that_one_open(place: int) -> None:
    """600 a minute up to the top, which stays for ten; then it shows 300: how often it turned nothing says."""
    before = [65_000 - 600 * k for k in range(place, -1, -1)]
    found = rows([*before, *[65_535] * 10, 300, 900, 1500], every_s=60, fastest=650)
    most = 650 * 1.05 / 60 * (11 * 60 + 2) + 1
    assert found == [
        *[(600,) * 3 + ("step",)] * place,
        (None, 300, pytest.approx(most), "reset"),
        *[(600,) * 3 + ("step",)] * 2,
    ]


def test_a_top_held_before_the_first_count_opens_no_interval() -> None:
    """The turn at the end is one as usual."""
    found = rows([*[65_535] * 10, 64_000, 64_600, 65_200, 264], every_s=60, fastest=650)
    assert found == [(600,) * 3 + ("step",)] * 2 + [(600,) * 3 + ("rollover",)]


def test_a_counter_set_back_that_stands_and_then_counts_on_is_a_reset() -> None:
    found = rows([45000, 45058, *[0] * 6, 58, 116])
    assert [row[0] for row in found] == [58, None, 0, 0, 0, 0, 0, 58, 58]


def test_a_jump_that_stays_is_never_counted() -> None:
    found = rows([5000, 9000, 9058])
    assert found[0][0] is None
    assert found[0][1] == 0
    assert found[0][2] < 90
    assert found[1] == (58, 58, 58, "step")


def test_a_preset_after_standing_at_nought_is_not_counted() -> None:
    found = rows([0, 0, 0, 4321, 4380], None)
    assert [row[0] for row in found] == [0, 0, None, 59]


def test_several_turns_give_the_least_and_most_candidate() -> None:
    ((n, low, high, kind),) = rows([100, 200], 10_000, every_s=3600)
    assert (n, low, kind) == (None, 100, "several turns")
    assert high == 100 + 2 * 10_000  # 400 a minute is 24,000 in the hour, 25,214 with margin


def test_an_unknown_modulus_is_found_only_where_one_size_explains_the_falls() -> None:
    for size in (*(10**digits for digits in range(3, 10)), *(2**bits for bits in (15, 16, 24, 31, 32))):
        assert rows([size - 10, 20, 78], None)[0] == (30, 30, 30, "rollover"), size
    assert rows([9000, 20, 78], None)[0][3] == "reset"
    # Hourly readings could add most of the size, so a reset looks like a rollover: not told.
    assert rows([9000, 900], None, every_s=3600)[0][3] == "reset"


@pytest.mark.parametrize("top", [65_536, 70_000])  # of 65,536 values the last is 65,535
def test_a_declared_modulus_that_the_values_reach_is_not_used(top: int) -> None:
    values = [top - 58 * k for k in reversed(range(50))] + [30, 88]
    assert rows(values, 65536)[-2][3] == "reset"


def test_a_frozen_value_that_catches_up_at_the_lines_rate_is_bridged() -> None:
    runs = [4000 + 58 * k for k in range(30)]
    frozen = [runs[-1]] * 12
    after = [runs[-1] + 58 * (13 + k) for k in range(5)]
    found = increments(series(runs + frozen + after), modulus=10**6, fastest_per_min=400)
    assert total(found).n == after[-1] - 4000
    assert found.filter(pl.col("kind") == "glitch").height == 1


def test_a_jump_after_a_long_stand_may_be_a_preset() -> None:
    runs = [4000 + 58 * k for k in range(30)]
    found = rows([*runs, *[runs[-1]] * 60, runs[-1] + 1000, runs[-1] + 1058], 10**6)
    assert [r for r in found if r[0] is None] == [(None, 0, 1000, "reset")]


def test_metres_with_fractions_add_up() -> None:
    found = increments(series([9999.25, 9999.75, 0.5, 1.0]), modulus=10_000, fastest_per_min=25)
    assert found["n"].to_list() == [0.5, 0.75, 0.5]


def test_a_signed_view_of_an_unsigned_counter_goes_on() -> None:
    assert rows([32740, -32738, -32680])[0][:1] == (58,)


def test_two_values_at_one_moment_are_both_left_out() -> None:
    twice = pl.concat([series([100, 158, 216]), series([100, 158, 216]).slice(1, 1)])
    clash = pl.concat([series([100, 158, 216]), series([0, 190]).slice(1)])
    assert increments(twice, modulus=None, fastest_per_min=400)["n"].to_list() == [58, 58]
    assert increments(clash, modulus=None, fastest_per_min=400)["n"].to_list() == [116]


def test_too_little_gives_no_increment() -> None:
    assert increments(series([]), modulus=None, fastest_per_min=400).height == 0
    assert increments(series([5]), modulus=None, fastest_per_min=400).height == 0
    nothing = total(increments(series([5]), modulus=None, fastest_per_min=400))
    assert (nothing.n, nothing.missing_s) == (0, 0)


def test_every_fault_of_the_arguments_is_told_at_once() -> None:
    with pytest.raises(MeasureError) as error:
        increments(series([1, 2]), modulus=1, fastest_per_min=0, margin=-1)
    assert [(fault.what, fault.where, fault.expected) for fault in error.value.faults] == [
        ("the modulus is 1", "modulus", "more than 1, or None"),
        ("the fastest rate is 0", "fastest_per_min", "more than 0"),
        ("the margin is -1", "margin", "0 or more"),
    ]


def test_a_total_with_something_unknown_is_bounds() -> None:
    found = total(increments(series([100, 158, 5, 63]), modulus=None, fastest_per_min=400))
    assert found.n is None
    assert found.low == 58 + 5 + 58
    assert found.high is not None
    assert found.high > found.low
    assert found.missing_s == 10


@st.composite
def counters(draw: st.DrawFn) -> tuple[pl.DataFrame, int]:
    modulus = draw(st.sampled_from([10_000, 65_536, 10**6]))
    steps = draw(st.lists(st.one_of(st.integers(0, 60), st.just(0)), min_size=2, max_size=60))
    odd = draw(st.lists(st.integers(1, len(steps) - 1), max_size=2, unique=True))
    reset = draw(st.one_of(st.none(), st.integers(1, len(steps) - 1)))
    value, values = draw(st.integers(0, modulus - 1)), []
    for k, step in enumerate(steps):
        value = step if k == reset else (value + step) % modulus
        values.append(float(modulus - 1 - value) if k in odd else float(value))
    return series(values), modulus


@settings(max_examples=60, deadline=None)
@given(counters(), st.randoms(use_true_random=False), st.integers(1, 5))
def test_neither_the_order_of_rows_nor_the_cut_into_files_matters(case, random, parts) -> None:
    frame, modulus = case
    whole = increments(frame, modulus=modulus, fastest_per_min=400)
    places = list(range(frame.height))
    random.shuffle(places)
    files = [frame[places[k::parts]] for k in range(parts)]
    overlap = frame.head(frame.height // 2)
    again = increments(pl.concat([*files, overlap]), modulus=modulus, fastest_per_min=400)
    assert again.equals(whole)


@settings(max_examples=60, deadline=None)
@given(counters())
def test_increments_meet_without_gap_and_bounds_hold_the_count(case) -> None:
    frame, modulus = case
    found = increments(frame, modulus=modulus, fastest_per_min=400)
    assert found["start"][1:].equals(found["end"][:-1])
    assert (found["low"] >= 0).all()
    assert (found["high"] >= found["low"]).all()
    known = found.filter(pl.col("n").is_not_null())
    assert (known["n"] == known["low"]).all()
    assert (known["n"] == known["high"]).all()


def test_a_clean_counter_is_counted_exactly_whatever_its_rollovers() -> None:
    steps = [(37 * k * k) % 61 for k in range(4000)]
    value, values = 0, []
    for step in steps:
        value += step
        values.append(float(value % 10_000))
    assert total(increments(series(values), modulus=10_000, fastest_per_min=400)).n == sum(steps[1:])
    assert total(increments(series(values), modulus=None, fastest_per_min=400)).n == sum(steps[1:])
