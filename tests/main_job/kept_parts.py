"""What parts say that reach an answer only now and then: patterns of stops, rhythms of counting, lots of bags."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import astuple, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import polars as pl

from lineview.app.bags import net_contents_tables
from lineview.core.errors import MeasureError, check_positive
from lineview.machine.rhythm import shifts_of
from lineview.plant.answers import shift_text
from lineview.stats.least_squares import nonnegative_fit
from lineview.week import patterns
from lineview.weight.contents import check_lot
from tests.week.test_patterns import without_pattern

FIRST = date(2026, 6, 8)


def said_of_parts(_: Path) -> Iterator[tuple[str, Any]]:
    """What each part says, by its name."""
    yield from _lots()
    yield from _recurring()
    yield from _rhythms()
    yield from _designs()


def _lots() -> Iterator[tuple[str, Any]]:
    rules = net_contents_tables()
    for name, masses in {
        "above": [455.0 + k / 10 for k in range(50)],
        "a little below": [453.0 + k / 26 for k in range(50)],
        "far below": [451.0 + k / 30 for k in range(50)],
        "one short": [*(456.0 + k / 20 for k in range(49)), 430.0],
        "one twice short": [*(458.0 + k / 20 for k in range(49)), 411.0],
        "some short": [*(459.0 + k / 20 for k in range(44)), *[435.0] * 6],
        "few": [455.0, 456.5, 457.0],
        "all alike": [454.0] * 50,
    }.items():
        for which, table in rules.items():
            for lot in (200, 1_000, 9_000):
                found = check_lot(masses, 454.0, lot, table)
                yield f"lot of {lot} by {which}: {name}", [str(value) for value in astuple(found)]


def _recurring() -> Iterator[tuple[str, Any]]:
    """Every pattern looked at, its chance and its stops, found or not."""
    for seed, days in ((1, 5), (2, 9), (3, 2)):
        inputs = without_pattern(seed, days)
        in_thick = inputs.diameter.with_columns(pl.col("value") + 0.2 * (pl.col("at").dt.minute() < 20))
        for name, changed in {"": inputs, ", a rope of two kinds": replace(inputs, diameter=in_thick)}.items():
            with patch.object(patterns, "CHANCE", 1e9):
                found = patterns.recurring(changed)
            shown = [(c.family, c.words, c.reason, c.p, c.excess, c.chosen.sum()) for c in found.candidates]
            told = [[*texts, *map(float, numbers)] for *texts, a, b, c in shown for numbers in [(a, b, c)]]
            yield f"patterns {seed}{name}", [found.looked, *told]


def _minutes(*spans: tuple[int, int]) -> np.ndarray:
    day = np.zeros(1440, bool)
    for start, end in spans:
        day[start:end] = True
    return day


#: A works' minutes of running on a day: from 06:00 on unless said, with its pauses.
DAYS: dict[str, Sequence[tuple[int, int]]] = {
    **{f"until {end}": ((366, end),) for end in range(770, 1441, 35)},
    **{f"from {start}, eight hours": ((start, start + 470),) for start in (0, 283, 301, 367, 443, 845, 960)},
    "two shifts with breaks": ((362, 540), (555, 690), (720, 835), (845, 1020), (1035, 1170), (1200, 1312)),
    "three shifts": ((2, 120), (150, 355), (362, 600), (630, 835), (842, 1080), (1110, 1315), (1322, 1438)),
    "two spans": ((365, 715), (845, 1190)),
    "a short one": ((540, 600),),
    "a night": ((0, 350), (1325, 1440)),
}


def _rhythms() -> Iterator[tuple[str, Any]]:
    rng = np.random.default_rng(5)
    for name, spans in DAYS.items():
        for days in (1, 5, 12):
            running = {}
            for k in range(days):
                day = FIRST + timedelta(days=k)
                minutes = _minutes(*((a + int(rng.integers(3)), b - int(rng.integers(3))) for a, b in spans))
                minutes[rng.integers(0, 1440, 40)] = False
                if day.weekday() < 6 or days < 7:
                    running[day] = minutes if day.weekday() < 5 else minutes & (np.arange(1440) < 700)
            rhythm = shifts_of({"w1": running}, FIRST, FIRST + timedelta(days=days - 1))
            yield f"shifts {name}, {days} days", [*map(shift_text, rhythm.shifts), rhythm.why, rhythm.sure]


def _designs() -> Iterator[tuple[str, Any]]:
    ones, line = np.ones(6), np.arange(6.0)
    gap = np.where(line == 3, np.nan, line)
    for name, x, y in (
        ("of one row more", np.column_stack([ones, line])[:3], line[:3] ** 2),
        ("of as many rows", np.column_stack([ones, line])[:2], line[:2]),
        ("of causes that come together", np.column_stack([ones, line, 2 * line]), line),
        ("with a gap", np.column_stack([ones, gap]), line),
        ("with a gap in what is explained", np.column_stack([ones, line]), gap),
        ("of other rows", np.column_stack([ones, line]), line[:4]),
        ("of no columns", line, line),
    ):
        try:
            fit = nonnegative_fit(x, y)
        except MeasureError as error:
            yield f"a design {name}", str(error)
        else:
            yield f"a design {name}", [float(value) for value in fit.coefficients]
    try:
        check_positive(width=0.0, length=-1.0, mass=float("nan"), turns=float("inf"), share=1e-9, pieces=1.0)
    except MeasureError as error:
        yield "not above 0", str(error)
