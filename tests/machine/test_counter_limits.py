"""Modulus, rate and unit of counters by readings whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.machine.counter_limits import counter_limits, odd_readings, web_unit_m

AT_S = np.arange(0.0, 8 * 3600.0, 30.0)
PIECES = np.floor(AT_S * 350.0 / 60.0)


@pytest.mark.parametrize("modulus", [10**4, 2**15, 2**16, 10**5, 10**6, 10**7, 2**24, 10**8, 2**31, 2**32])
def test_a_turn_that_is_seen_gives_the_modulus(modulus: int) -> None:
    """Of every register that there is, binary and decimal; it turns within the first hour."""
    learned = counter_limits(AT_S, (PIECES + modulus - 9_999) % modulus)
    assert (learned.modulus, learned.resets) == (modulus, 0)
    assert learned.total == PIECES[-1]
    assert 350.0 <= learned.fastest_per_min <= 480.0


def test_turns_show_in_readings_two_hours_apart() -> None:
    """Each turn lies in an interval longer than an hour, as all of them are."""
    at_s = np.arange(0.0, 5 * 86_400.0, 7_200.0)
    value = np.floor(at_s * 350.0 / 60.0)
    learned = counter_limits(at_s, (value + 60_000) % 100_000)
    assert (learned.modulus, learned.resets, learned.total) == (100_000, 0, value[-1])


def test_no_fall_gives_no_modulus() -> None:
    learned = counter_limits(AT_S, PIECES)
    assert (learned.modulus, learned.turns, learned.resets) == (None, 0, 0)
    stood = counter_limits(AT_S, np.full(len(AT_S), 21_500.0))
    assert (stood.fastest_per_min, stood.total) == (0.0, 0.0)


def test_a_set_back_is_no_turn() -> None:
    value = np.where(AT_S < 4 * 3600.0, PIECES + 21_500.0, PIECES - PIECES[480])
    learned = counter_limits(AT_S, value)
    assert (learned.modulus, learned.resets) == (None, 1)


def test_turns_show_beside_a_set_back() -> None:
    value = np.where(AT_S < 7 * 3600.0, (PIECES + 60_000.0) % 65_536, PIECES - PIECES[840])
    learned = counter_limits(AT_S, value)
    assert (learned.modulus, learned.resets) == (65_536, 1)


@pytest.mark.parametrize(("counts", "unit"), [(56.0, 1.0), (560.0, 0.1), (5_600.0, 0.01), (56_000.0, 0.001)])
def test_a_web_is_counted_in_what_gives_a_piece_a_usual_length(counts: float, unit: float) -> None:
    assert web_unit_m(counts, 1_000.0) == unit


def test_without_pieces_no_unit_is_known() -> None:
    assert web_unit_m(560.0, 0.0) is None


def test_a_read_of_all_ones_hides_no_turn() -> None:
    value = (PIECES + 1_234) % 65_536
    value[300], value[500] = 65_535, 0
    learned = counter_limits(AT_S, value)
    assert (learned.modulus, learned.resets, learned.total) == (65_536, 0, PIECES[-1])
    assert np.flatnonzero(odd_readings(value)).tolist() == [300, 500]


def test_zeros_while_nothing_answers_are_odd_for_as_long_as_they_last() -> None:
    value = PIECES + 1_234
    value[300:305] = 0
    assert np.flatnonzero(odd_readings(value)).tolist() == [300, 301, 302, 303, 304]
