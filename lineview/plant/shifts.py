"""Whether shifts and their breaks fit: no two at once, and every break within its shift."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import time
from itertools import combinations
from typing import get_args

from lineview.core.errors import Fault
from lineview.plant.model import Day
from lineview.plant.positions import Path
from lineview.plant.tables import Found, Table, is_list, tables

_DAY_S = 86_400
_WEEK_S = 7 * _DAY_S
_DAYS = get_args(Day)


def shift_faults(data: Table) -> Iterator[Found]:
    """Give the faults of shifts and breaks, in the plant's wall time."""
    shifts = []
    for i, shift in tables(data, "shifts"):
        span = _span(shift)
        if span is None:
            continue
        shifts.append((("shifts", i), shift, span))
        yield from _breaks(("shifts", i), shift, span)
    for (_, first, a), (path, second, b) in combinations(shifts, 2):
        day = _common(_days(first), a, _days(second), b)
        if day:
            fault = Fault(
                f"shifts '{first.get('id')}' and '{second.get('id')}' overlap on {day}",
                "",
                "shifts one after the other",
                "Correct the start, the end or the days of one",
            )
            yield (*path, "start"), fault


def _span(row: Table) -> tuple[int, int] | None:
    """Give start and end in seconds from the start's midnight, None where a time is wrong."""
    start, end = row.get("start"), row.get("end")
    if not (isinstance(start, time) and isinstance(end, time)):
        return None
    first, last = _seconds(start), _seconds(end)
    return first, last if last > first else last + _DAY_S


def _seconds(moment: time) -> int:
    return moment.hour * 3600 + moment.minute * 60 + moment.second


def _days(shift: Table) -> list[int]:
    days = shift.get("days", _DAYS[:5])
    return [_DAYS.index(day) for day in days if day in _DAYS] if is_list(days) else []


def _common(a_days: list[int], a: tuple[int, int], b_days: list[int], b: tuple[int, int]) -> str | None:
    """Give the first day on which two shifts run at once; a week is a ring."""
    for i in a_days:
        for j in b_days:
            for turn in (-_WEEK_S, 0, _WEEK_S):
                a_start, b_start = i * _DAY_S + a[0], j * _DAY_S + b[0] + turn
                if a_start < b_start + b[1] - b[0] and b_start < a_start + a[1] - a[0]:
                    return str(_DAYS[i])
    return None


def _breaks(path: Path, shift: Table, span: tuple[int, int]) -> Iterator[Found]:
    taken: list[tuple[int, int]] = []
    for i, one in tables(shift, "breaks"):
        pause = _span(one)
        if pause is None:
            continue
        start, end = pause if pause[0] >= span[0] else (pause[0] + _DAY_S, pause[1] + _DAY_S)
        words = f"the break {one['start']:%H:%M} to {one['end']:%H:%M}"
        place = (*path, "breaks", i)
        if end > span[1]:
            expected = f"within {shift['start']:%H:%M} to {shift['end']:%H:%M}"
            what = f"{words} is outside its shift '{shift.get('id')}'"
            yield place, Fault(what, "", expected, "Correct the break or the shift")
        elif any(start < b and a < end for a, b in taken):
            yield place, Fault(f"{words} overlaps another", "", "breaks one after the other", "Leave one out")
        taken.append((start, end))
