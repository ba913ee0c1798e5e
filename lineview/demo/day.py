"""A day of both lines as the export writers get it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from lineview.demo.spec import LineSpec
from lineview.demo.stretch import ShiftTruth, Stretch
from lineview.demo.tally import Tally

Floats = NDArray[np.float64]


@dataclass
class LineDay:
    """One line's day: its shifts, its counters, and which day it is from 0."""

    spec: LineSpec
    number: int
    date: date
    tally: Tally
    rng: np.random.Generator
    #: What counters stood at when they were last set back to 0, by channel; kept from day to day.
    lost: dict[str, int]
    #: The product's id of each batch so far.
    products: dict[str, str]

    @property
    def shifts(self) -> list[ShiftTruth]:
        """The day's shifts."""
        return list(self.tally.shifts)

    @property
    def start_s(self) -> float:
        """When its first shift starts."""
        return self.shifts[0].window.start_s

    @property
    def end_s(self) -> float:
        """When its last shift ends."""
        return self.shifts[-1].window.end_s

    def times(self, every_s: float, before_s: float = 0.0, after_s: float = 0.0) -> Floats:
        """Give evenly spaced moments over the day's shifts, and some seconds before and after."""
        return np.arange(self.start_s - before_s, self.end_s + after_s + 0.5, every_s)

    def stretches(self) -> Iterator[Stretch]:
        """Give every stretch of the day in order."""
        for shift in self.shifts:
            yield from shift.stretches


def wall(at_s: float, zone: ZoneInfo) -> datetime:
    """Give a moment as wall time, without its zone, to the millisecond.

    Parameters
    ----------
    at_s : float
        The moment [s] since 1970, UTC.
    zone : zoneinfo.ZoneInfo
        Whose wall time is wanted.

    Returns
    -------
    datetime.datetime
        Wall time without a zone; in the hour that clocks repeat only its `fold` tells the two apart.
    """
    return datetime.fromtimestamp(round(at_s, 3), zone).replace(tzinfo=None)


def serial(at_s: float, zone: ZoneInfo) -> float:
    """Give a moment as a spreadsheet's serial number of wall time.

    Parameters
    ----------
    at_s : float
        The moment [s] since 1970, UTC.
    zone : zoneinfo.ZoneInfo
        Whose wall time is wanted.

    Returns
    -------
    float
        Days [d] of wall time since 30 December 1899, with their fraction.

    Examples
    --------
    >>> serial(0.0, ZoneInfo("UTC"))
    25569.0
    """
    return (wall(at_s, zone) - datetime(1899, 12, 30)).total_seconds() / 86400.0  # noqa: DTZ001 - wall time


def week_of(day: date) -> str:
    """Give a date's week as ISO 8601 writes it.

    Examples
    --------
    >>> week_of(date(2026, 6, 8))
    '2026-W24'
    """
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"
