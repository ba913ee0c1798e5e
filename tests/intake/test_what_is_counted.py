"""Counters that are no running totals: recognised, asked about, or refused by name."""

from __future__ import annotations

import random
from datetime import datetime, timedelta

import numpy as np
import pytest

from lineview.core.errors import IntakeError
from lineview.intake.cells.counting import Count, what_counts
from lineview.plant import Counter, Plant
from tests.intake.small_works import MADE, PER_MIN, START, SmallWorks, rows, stamps, total
from tests.intake.test_several_columns import asked

HOUR = 3600


def uneven(hours: int, seed: int = 1) -> list[int]:
    """Pieces of each hour, that add up to the pace of the shift every eight hours."""
    draw = random.Random(seed)
    parts = []
    for _ in range(hours // 8):
        some = [draw.randint(19_500, 22_500) for _ in range(7)]
        parts += [*some, MADE - sum(some)]
    return parts


def hourly(parts: list[int], first: datetime) -> str:
    return "".join(f"{first + timedelta(hours=i):%Y-%m-%d %H:%M:%S};{n}\n" for i, n in enumerate(parts))


LAYOUT = """
[[layouts]]
id = "hours"
machine = "wrap1"
time = "time"
[layouts.columns]
"pieces" = { to = "pieces"%s }
"""


def test_hourly_differences_are_recognised(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + hourly(uneven(8), START + timedelta(hours=1))
    assert set(asked(works.take(text))) == {"stamps"}  # within two shifts both readings lie inside
    taken = works.take(text, answers={"stamps": "end"})
    assert taken.receipt is not None, taken
    assert taken.accepted.columns["pieces"].counting == "since last row"
    assert works.made() == (MADE, MADE, MADE)


def test_hours_named_by_their_start_are_recognised_by_the_shifts(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + hourly(uneven(16), START)
    taken = works.take(text, answers={})
    assert taken.accepted.stamps == "start"
    assert works.made() == (MADE, MADE, MADE)


def test_differences_over_several_files_and_an_undo(tmp_path):
    works = SmallWorks(tmp_path / "works", LAYOUT % ', counting = "since last row"')
    parts = uneven(24)
    works.take("time;pieces\n" + hourly(parts[:10], START + timedelta(hours=1)), "a.csv")
    works.take("time;pieces\n" + hourly(parts[8:], START + timedelta(hours=9)), "b.csv")  # two rows again
    assert works.made() == (MADE, MADE, MADE)


def test_differences_every_ten_seconds(tmp_path):
    works = SmallWorks(tmp_path / "works")
    draw = random.Random(2)
    parts = [draw.randint(50, 66) for _ in range(2880)]
    text = "time;pieces\n" + "".join(
        f"{at:%Y-%m-%d %H:%M:%S};{n}\n"
        for at, n in zip(stamps(2880, 10, START + timedelta(seconds=10)), parts, strict=True)
    )
    assert works.take(text, answers={}).receipt is not None
    assert works.made() == (sum(parts), sum(parts), sum(parts))


@pytest.mark.parametrize(
    ("fastest", "rate", "sure"), [(1000, 8, False), (1000, 12, True), (100, 1, False), (100, 4, True)]
)
def test_a_total_slower_than_a_fiftieth_of_the_fastest_rate_is_asked_about(fastest, rate, sure):
    """Of 450 a minute, or of what the counter's own fastest is, if that is less."""
    value = 5 * fastest / 16 + rate * np.array([0, 1, 2, 3, 5, 4, 6, 7])
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=fastest)
    found = what_counts(np.arange(8) * 60_000_000, value, counter, Plant(shop="Invented"))
    assert found == (Count("total") if sure else Count("since last row", sure=False))


def test_equal_differences_are_asked_about(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + hourly([21_000] * 8, START + timedelta(hours=1))
    assert "counting of pieces" in asked(works.take(text))
    works.take(text, answers={"counting of pieces": "since last row", "stamps": "end"})
    assert works.made() == (MADE, MADE, MADE)


def test_a_layout_that_does_not_say_it_is_refused(tmp_path):
    works = SmallWorks(tmp_path / "works", LAYOUT % "")
    taken = works.take("time;pieces\n" + hourly(uneven(8), START + timedelta(hours=1)))
    assert isinstance(taken.error, IntakeError)
    assert 'counting = "since last row"' in str(taken.error)
    assert "'pieces'" in str(taken.error)


def since_shift(minutes: float) -> int:
    return round(PER_MIN * (minutes % 480))


@pytest.mark.parametrize("step_s", [10, 600, 3600])
@pytest.mark.parametrize("modulus", [65536 * 4, "unknown"])
def test_counters_that_restart_each_shift(tmp_path, step_s, modulus):
    works = SmallWorks(tmp_path / "works", modulus=modulus)
    first = START + timedelta(seconds=step_s if step_s > 10 else 0)
    count = (2 * 480 * 60 - (step_s if step_s > 10 else 0)) // step_s
    text = "time;pieces\n" + rows(
        stamps(count, step_s, first), lambda m: MADE if m and m % 480 == 0 and step_s > 10 else since_shift(m)
    )
    taken = works.take(text, answers={"counting of pieces": "since shift start"})
    assert taken.receipt is not None, taken
    assert taken.accepted.columns["pieces"].counting == "since shift start"
    made, low, high = works.made()
    assert low <= MADE <= high
    assert made == pytest.approx(MADE, abs=PER_MIN * 10 / 60 if step_s == 10 else 0)
    assert high - low < 1_000


def test_a_restart_hidden_in_a_rise(tmp_path):
    """A counter that restarts overnight and is first read above where it stood."""
    works = SmallWorks(tmp_path / "works", LAYOUT % ', counting = "since shift start"')
    day, night = START - timedelta(days=1), START
    text = f"time;pieces\n{day + timedelta(minutes=1):%Y-%m-%d %H:%M:%S};50\n" + rows(
        stamps(46, 600, night + timedelta(minutes=20)), since_shift
    )
    works.take(text + f"{START + timedelta(hours=8):%Y-%m-%d %H:%M:%S};{MADE}\n")
    assert works.made() == (MADE, MADE, MADE)


def test_shift_totals(tmp_path):
    works = SmallWorks(tmp_path / "works")
    ends = [START + timedelta(hours=8 * i) for i in (1, 2, 4, 5, 7, 8, 10, 11)]
    made = [168_000, 161_500, 167_200, 159_900, 169_100, 160_000, 166_000, 161_000]
    text = "shift end;pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M};{n}\n" for at, n in zip(ends, made, strict=True))
    taken = works.take(text, answers={"stamps": "end"})
    assert taken.receipt is not None, taken
    assert works.made() == (MADE, MADE, MADE)
    assert works.made("2026-06-09") == (167_200, 167_200, 167_200)


@pytest.mark.parametrize("first", [200_000, 0])
def test_a_counter_that_counts_down(tmp_path, first):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + rows(stamps(2881, 10), lambda m: first - round(PER_MIN * m))
    taken = works.take(text, answers={})
    assert taken.accepted.columns["pieces"].counting == "down"
    assert works.made() == (MADE, MADE, MADE)


def test_rows_on_change_are_asked_about_and_hold(tmp_path):
    works = SmallWorks(tmp_path / "works")
    moments = [at for at in stamps(2881, 10) if not 60 <= (at - START).total_seconds() / 60 < 90]
    text = "time;pieces\n" + rows(moments, lambda m: total(m if m < 60 else m - 30) + (m >= 90))
    assert "on_change" in asked(works.take(text))
    assert works.take(text, answers={"on_change": "true"}).receipt is not None
    made, low, high = works.made()
    assert low == made == high


def test_plain_totals_are_not_asked_about(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces\n" + rows(stamps(2881, 10), total)
    assert works.take(text).proposal.questions == ()
