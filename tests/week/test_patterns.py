"""Stops that recur are found with their minutes; works without patterns seldom show one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.core.frames import BATCHES, REELS, STATE_TIMELINE
from lineview.plant import Machine
from lineview.week.patterns import PatternInputs, find_patterns, recurring
from tests import factories
from tests.main_job.invented_week import truth

START = datetime(2026, 6, 8, 6, tzinfo=UTC)
MACHINE = Machine(id="w1", kind="cut-and-wrap machine", line="1")


def without_pattern(seed: int) -> PatternInputs:
    """Five days of a machine that stops at random, with batches, reels, products and a rope that have no part in it."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(5):
        at, end = day * 86_400.0, day * 86_400.0 + 8 * 3600
        while at < end:
            run = min(float(rng.exponential(900)), end - at)
            rows.append((at, at + run, "running"))
            at += run
            if at < end:
                stop = min(float(rng.lognormal(3.3, 0.7)), end - at)
                rows.append((at, at + stop, "short stop"))
                at += stop
    frame = [
        {"start": START + timedelta(seconds=a), "end": START + timedelta(seconds=b), "state": state}
        for a, b, state in rows
    ]
    timeline = pl.DataFrame(frame, schema_overrides=STATE_TIMELINE)
    missing = {n: t for n, t in STATE_TIMELINE.items() if n not in timeline.columns}
    timeline = timeline.with_columns(pl.lit(None, dtype=t).alias(n) for n, t in missing.items())
    starts = np.concatenate([day * 86_400 + np.cumsum(rng.uniform(600, 900, 36)) for day in range(5)])
    sheet = [
        {
            "batch": str(k),
            "product": ["mint", "nut", "pear"][int(rng.integers(3))],
            "start": START + timedelta(seconds=float(s)),
            "end": START + timedelta(seconds=float(s) + 580),
        }
        for k, s in enumerate(starts)
    ]
    reels = [
        {"web": ["clear", "blue"][k % 2], "at": START + timedelta(seconds=float(s))} for k, s in enumerate(starts[::6])
    ]
    at = np.arange(0, 5 * 86_400, 60.0)
    rope = pl.DataFrame({"at": factories.moments(START.timestamp() + at), "value": rng.normal(14, 0.05, len(at))})
    return PatternInputs(
        MACHINE,
        timeline,
        factories.rows(BATCHES, sheet, line="1"),
        factories.rows(REELS, reels, machine="w1"),
        rope,
        {"clear": "one supplier", "blue": "another"},
        1.0,
    )


def shown_share(works: int) -> float:
    shown = [bool(find_patterns([recurring(without_pattern(seed))])) for seed in range(works)]
    print(f"{np.mean(shown):.1%} of {works} works without patterns show one")
    return float(np.mean(shown))


def test_the_batch_end_stop_of_the_demo_is_found_with_its_minutes(week: Works) -> None:
    table = next(t for t in week.ask(read_question("week", machine="wrap1")).tables if t.name == "patterns")
    found = next(row for row in table.rows if "batch" in row["words"])
    stops = truth("stops").filter((pl.col("machine") == "wrap1") & (pl.col("reason") == "next batch"))
    assert found["minutes"] == pytest.approx(stops["seconds"].sum() / 60, rel=0.05)
    assert found["chance"] == "below 0.1"


def test_works_without_patterns_seldom_show_one() -> None:
    assert shown_share(20) <= 0.2


def test_a_stop_after_every_reel_is_found() -> None:
    given = without_pattern(3)
    at = [moment + timedelta(seconds=30) for moment in given.reels["at"]]
    more = pl.DataFrame(
        {"start": at, "end": [m + timedelta(seconds=40) for m in at], "state": "short stop"},
        schema_overrides={"start": pl.Datetime("us", "UTC"), "end": pl.Datetime("us", "UTC")},
    )
    timeline = pl.concat([given.timeline, more], how="diagonal_relaxed").sort("start")
    inputs = PatternInputs(MACHINE, timeline, given.batches, given.reels, given.rope, {}, 1.0)
    found = find_patterns([recurring(inputs)])
    assert any("reel change" in pattern.words for pattern in found)


def test_a_reason_for_several_stops_is_undone_and_not_twice(week: Works) -> None:
    at = START + timedelta(days=700)
    pairs = [(at, at + timedelta(minutes=1)), (at + timedelta(hours=1), at + timedelta(hours=1, minutes=1))]
    week.set_stop_reason("wrap1", *pairs[0], "said before")
    mark = week.set_stop_reasons("wrap1", pairs, "end of batch")
    with week.store.snapshot() as store:
        assert store.stop_reasons("wrap1", at, at + timedelta(days=1))["reason"].to_list() == ["end of batch"] * 2
    assert week.undo_stop_reasons(mark) == 2
    with week.store.snapshot() as store:
        assert store.stop_reasons("wrap1", at, at + timedelta(days=1))["reason"].to_list() == ["said before"]
    with pytest.raises(AskError, match="still stands"):
        week.undo_stop_reasons(mark)


@pytest.mark.long
def test_works_without_patterns_show_one_as_often_as_stated_at_full_count() -> None:
    assert shown_share(300) <= 0.05 + 3 * 0.0126
