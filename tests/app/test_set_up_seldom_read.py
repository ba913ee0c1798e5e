"""Counters that are read every few hours, set up by a stranger: what was made lies within the bounds."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from lineview.machine.increments import steps_between
from tests.app.test_set_up_strange import made, shown

START = datetime(2026, 6, 8)  # noqa: DTZ001 - the works' wall clock


def test_sixteen_bits_read_every_two_hours_turn(tmp_path):
    """340 pieces a minute from 6 to 22: a fall between two readings was a spike, and 77,306 of 155,785 were made."""
    total, text, true = 0, "Time;Pieces\n", 0
    for k in range(37):
        at = START + timedelta(hours=2 * k)
        made_since = 39_000 + 211 * k if 8 <= (at.hour or 24) <= 22 else 0
        true += made_since if at.day == 9 and 8 <= at.hour <= 14 else 0
        total += made_since
        text += f"{at:%Y-%m-%d %H:%M:%S};{total % 65_536}\n"
    came = shown(tmp_path, text)
    assert "modulus = 65536" in came.text
    figure = made(tmp_path, came, "2026-06-09.early")
    assert figure.value == pytest.approx(true, rel=0.05)
    assert (figure.low or figure.value) <= true <= (figure.high or figure.value)


def test_a_reset_between_readings_far_apart_is_no_spike():
    """Without a size: from 37,617 to 12,924 in two hours is a reset as well as a spike, and stays open between both."""
    at_us = np.arange(5) * 7_200_000_000
    value = np.array([0.0, 37_617, 12_924, 52_593, 90_000])
    steps = steps_between(at_us, value, modulus=None, fastest_per_min=450.0)
    assert len(steps) == 4
    assert np.isnan(steps.n[1])
    assert steps.low[1] <= 12_924 <= 40_843 <= steps.high[1]


def test_a_spike_that_a_counter_cannot_reach_is_still_one():
    at_us = np.arange(6) * 60_000_000
    value = np.array([100.0, 440, 9_900, 1_120, 1_460, 1_800])
    steps = steps_between(at_us, value, modulus=None, fastest_per_min=450.0)
    assert (steps.low.sum(), steps.high.sum()) == (1_700, 1_700)
