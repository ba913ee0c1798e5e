"""Stops that recur are found with their minutes; works without patterns seldom show one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.core.frames import BATCHES, REELS, STATE_TIMELINE
from lineview.plant import Machine
from lineview.week.patterns import PatternInputs, _peak, find_patterns, recurring
from tests import factories
from tests.main_job.invented_week import truth

START = datetime(2026, 6, 8, 6, tzinfo=UTC)
MACHINE = Machine(id="w1", kind="cut-and-wrap machine", line="1")


def without_pattern(seed: int, days: int = 5) -> PatternInputs:
    """Some days of a machine that stops at random, with batches, reels, products and a rope that have no part in it."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(days):
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
    starts = np.concatenate([day * 86_400 + np.cumsum(rng.uniform(600, 900, 36)) for day in range(days)])
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
    at = np.arange(0, days * 86_400, 60.0)
    moments = factories.moments(START.timestamp() + at)
    rope = [pl.DataFrame({"at": moments, "value": rng.normal(mean, sd, len(at))}) for mean, sd in ((14, 0.05), (38, 1))]
    return PatternInputs(
        MACHINE,
        timeline,
        factories.rows(BATCHES, sheet, line="1"),
        factories.rows(REELS, reels, machine="w1"),
        *rope,
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


def with_stops(given: PatternInputs, at: list[datetime], seconds: float = 40) -> PatternInputs:
    """The same with short stops more, in the place of what it did then."""
    rows: list[dict[str, Any]] = []
    stops: list[tuple[datetime, datetime]] = []
    for start in sorted(at):
        if not stops or start >= stops[-1][1]:
            stops.append((start, start + timedelta(seconds=seconds)))
    for row in given.timeline.iter_rows(named=True):
        start = row["start"]
        for first, end in [stop for stop in stops if stop[0] < row["end"] and stop[1] > row["start"]]:
            if first > start:
                rows.append({**row, "start": start, "end": first})
            start = max(start, end)
        if start < row["end"]:
            rows.append({**row, "start": start})
    rows += [{"start": first, "end": end, "state": "short stop"} for first, end in stops]
    timeline = pl.DataFrame(rows, schema=given.timeline.schema).sort("start")
    return replace(given, timeline=timeline)


def found(given: PatternInputs) -> set[str]:
    return {pattern.words for pattern in find_patterns([recurring(given)])}


def test_a_stop_after_every_reel_is_found() -> None:
    given = without_pattern(3)
    at = [moment + timedelta(seconds=30) for moment in given.reels["at"]]
    assert any("reel change" in words for words in found(with_stops(given, at)))


def test_a_peak_reaches_as_far_as_bins_stand_out_on_either_side() -> None:
    assert _peak(np.array([1, 9, 1, 1, 30, 40, 9, 2, 1])) == (4, 7)
    assert _peak(np.array([30, 40, 1, 1, 1, 1, 9])) == (0, 2)


def batch_times(given: PatternInputs, wanted: Callable[[dict[str, Any]], bool], each: int = 4) -> list[datetime]:
    """Moments spread over the batches that are wanted."""
    rows = [row for row in given.batches.iter_rows(named=True) if wanted(row)]
    rng = np.random.default_rng(5)
    return [row["start"] + timedelta(seconds=float(s)) for row in rows for s in rng.uniform(190, 560, each)]


def test_stops_at_one_hour_of_the_shift_are_found() -> None:
    given, rng = without_pattern(3, days=15), np.random.default_rng(5)
    at = [START + timedelta(days=day, hours=3, seconds=float(s)) for day in range(15) for s in rng.uniform(0, 3500, 9)]
    assert found(with_stops(given, at)) == {"in hour 4 of the shift"}


def test_stops_with_one_product_are_found() -> None:
    given = without_pattern(3, days=15)
    assert "with product nut" in found(with_stops(given, batch_times(given, lambda row: row["product"] == "nut")))


def test_stops_with_one_supplier_are_found() -> None:
    given = without_pattern(3, days=15)
    reels = given.reels.sort("at")
    ends = [*reels["at"][1:], reels["at"][-1] + timedelta(hours=1)]
    rng = np.random.default_rng(5)
    spans = [(at, end) for at, end, web in zip(reels["at"], ends, reels["web"], strict=True) if web == "clear"]
    at = [a + (min(b, a + timedelta(hours=2)) - a) * float(u) for a, b in spans for u in rng.uniform(0.1, 0.95, 20)]
    assert "with supplier one supplier" in found(with_stops(given, at))


@pytest.mark.parametrize(("gauge", "words"), [("diameter", "thick"), ("temperature", "warm")])
def test_stops_with_the_rope_are_found(gauge: str, words: str) -> None:
    given = without_pattern(3)
    chosen = set(np.random.default_rng(6).permutation(given.batches["start"].to_list())[:90].tolist())
    frame = getattr(given, gauge)
    higher = pl.lit(False)
    for start in chosen:  # as it begins: later a stop lets the rope cool
        higher = higher | pl.col("at").is_between(start, start + timedelta(seconds=179))
    raised = frame.with_columns(pl.when(higher).then(pl.col("value") + 2).otherwise("value").alias("value"))
    busy = with_stops(given, batch_times(given, lambda row: row["start"] in chosen, each=3))
    assert f"in batches with a {words} rope" in found(replace(busy, **{gauge: raised}))


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
