"""A season and a year of ten machines, each question asked again and again in one process."""

import json
from collections.abc import Sequence
from datetime import date, timedelta
from statistics import median

import pytest

from tests.bench.answers_of import QUESTIONS
from tests.bench.measured import HERE, command, python
from tests.bench.works_at_scale import FIRST

pytestmark = [pytest.mark.bench, pytest.mark.long]

#: A week of which nothing is kept, in bars of a week: 1.8 s.
UNKEPT_BARS = 6
SEASON_BAR_S, YEAR_BAR_S, WEEK_BAR_S, BAR_MB = 0.150, 0.500, 0.300, 400


def periods(days: int, count: int) -> list[str]:
    """Periods of nearly all days, each another, so that no kept answer serves."""
    last = FIRST + timedelta(days=days - 1)
    starts: Sequence[date] = [FIRST + timedelta(days=n) for n in range(count)]
    return [f"{start}..{last}" for start in starts]


def asked(folders, days: int, rounds: int) -> dict[str, tuple[dict[str, list[float]], float]]:
    """Seconds of processor of each question by checkout, the first ask first; and the peak [MB]."""
    plan = [(question, period) for period in periods(days, rounds + 1) for question in QUESTIONS]
    found = {}
    for name, (works, code) in folders.items():
        spent = python([HERE / "asked_in_process.py", works], code, json.dumps(plan))
        assert spent.status == 0, spent.complaint
        took: dict[str, list[float]] = {question: [] for question in QUESTIONS}
        for line in map(json.loads, spent.printed.splitlines()):
            took[line["question"]].append(line["cpu_s"])
        found[name] = (took, spent.peak_mb)
    return found


def judge(folders, days: int, bar_s: float, capsys, rounds: int = 3) -> None:
    found = asked(folders, days, rounds)
    with capsys.disabled():
        for name, (took, peak_mb) in found.items():
            print(f"\n{days} days of ten machines, {name}: peak {peak_mb:.0f} MB (bar {BAR_MB})")
            for question, seconds in took.items():
                again = 1000 * median(seconds[1:])
                print(f"  {question}: first {seconds[0]:.2f} s, then {again:.0f} ms (bar {1000 * bar_s:.0f})")
    took, peak_mb = found["now"]
    slow = {q: round(median(s[1:]), 3) for q, s in took.items() if median(s[1:]) >= bar_s}
    assert not slow, f"slower than {bar_s} s"
    assert peak_mb < BAR_MB


def test_a_season_is_answered_from_records(season, capsys) -> None:
    judge(season, 90, SEASON_BAR_S, capsys)


def test_a_week_of_ten_machines_is_answered_from_records(season, capsys) -> None:
    """Once records are there: a process's first week, the same after an export, and another.

    A week of which nothing is kept took six times the bar where the bar was set; so much faster must a kept one be.
    """
    weeks = [f"{FIRST + timedelta(days=7 * n)}..{FIRST + timedelta(days=7 * n + 6)}" for n in (10, 9, 6)]
    for name, (works, code) in season.items():
        command("records", "--works", works, code=code)
        spent = python([HERE / "week_in_process.py", works, *weeks], code, "")
        assert spent.status == 0, spent.complaint
        lines = [json.loads(line) for line in spent.printed.splitlines()]
        took = {
            asked: [one["cpu_s"] for one in lines if one["asked"] == asked]
            for asked in ("first", "again", "other", "unkept")
        }
        with capsys.disabled():
            print(
                f"\nthe week of ten machines, {name}: first {took['first'][0]:.2f} s, another {took['other'][0]:.2f} s,"
            )
            print(f"  again after a change {1000 * median(took['again']):.0f} ms (bar {1000 * WEEK_BAR_S:.0f})")
            print(f"  a week of which nothing is kept {took['unkept'][0]:.2f} s")
        most = took.pop("unkept")[0] / UNKEPT_BARS
        slow = {asked: seconds for asked, seconds in took.items() if median(seconds) >= most}
        assert name != "now" or not slow


def test_a_year_is_answered_from_records(year, capsys) -> None:
    judge(year, 365, YEAR_BAR_S, capsys, rounds=2)
