"""Counters: constructed cases after RFC 1902 and RFC 2021 (know the time to wrap)."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.machine.calendar import calendar, shift_windows
from tests.one_count import increments
from tests.references.totals import total

START = datetime(2026, 6, 9, 6, tzinfo=UTC)


def two(before: float, after: float, minutes: float, modulus: int | None) -> dict[str, object]:
    frame = pl.DataFrame({"at": [START, START + timedelta(minutes=minutes)], "value": [before, after]})
    return increments(frame, modulus=modulus, fastest_per_min=400).row(0, named=True)


@pytest.mark.parametrize(
    ("modulus", "minutes"),
    [
        (10_000, 25.0),
        (65_536, 163.84),
        (100_000, 250.0),
        (1_000_000, 2500.0),
        (2**31, 5368709.12),
        (2**32, 10737418.24),
    ],
)
def test_a_counter_can_be_told_only_within_its_time_to_wrap(modulus: int, minutes: float) -> None:
    assert modulus / 400 == pytest.approx(minutes, abs=0.001)
    assert two(7, 7, minutes * 0.9, modulus)["kind"] == "step"
    turned = two(7, 7, minutes * 1.01, modulus)
    assert (turned["kind"], turned["n"], turned["low"], turned["high"]) == ("several turns", None, 0, modulus)


def test_rollover() -> None:
    assert two(65400, 214, 1, 65536)["n"] == 350


def test_reset() -> None:
    step = two(31250, 120, 1, 65536)
    assert (120 - 31250) % 65536 == 34406
    assert (step["kind"], step["n"], step["low"]) == ("reset", None, 120)


def test_scan_jitter() -> None:
    # One second on a ten-second bucket is ten percent: 315 to 385 at a true 350 a minute.
    for off, apparent in ((-1, 315.0), (1, 385.0)):
        assert 350 / 60 * (10 + off) / 10 * 60 == pytest.approx(apparent)
    true_s = [10.0 * k + (1.0 if k % 2 else 0.0) for k in range(61)]
    frame = pl.DataFrame(
        {"at": [START + timedelta(seconds=10 * k) for k in range(61)], "value": [350 / 60 * s for s in true_s]}
    )
    steps = increments(frame, modulus=None, fastest_per_min=400)
    assert set(steps["kind"]) == {"step"}
    assert total(steps).n == pytest.approx(3500, abs=6)


def test_autumn_change() -> None:
    # New York, 2 November 2025, 00:00 to 04:00 on the wall: five hours, 105,000 pieces, 350 a minute.
    start, end = datetime(2025, 11, 2, 4, tzinfo=UTC), datetime(2025, 11, 2, 9, tzinfo=UTC)
    minutes = shift_windows(calendar([], "America/New_York", start, end))["planned_min"].sum()
    assert minutes == 300
    assert 105_000 / minutes == pytest.approx(350)
    assert pytest.approx(437.5) == 105_000 / 240
