"""What is left on a mounted reel, part reels and returns in the reel log, thickness from known reels."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from wrap_works import wrap_plant

from lineview.columns import REELS
from lineview.errors import MeasureError
from lineview.measures.counted import Counted
from lineview.measures.reel_balance import ReelSpan, reel_faults, reel_spans
from lineview.measures.reel_left import learned_thickness, reel_left
from lineview.measures.reel_length import reel_length_m

AT = datetime(2026, 6, 1, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)


def span(**others) -> ReelSpan:
    base = {
        "reel": "r1", "kind": "film", "web": "film", "cut_length_mm": 56.0, "mounted": AT, "taken_off": None,
        "full_m": 2875.0,
        "label_m": 2875.0, "held_m": 2875.0, "left_m": None, "returned": False, "splices": 0,
        "fed": Counted(1867.0, 1866.9, 1867.1, 100), "wraps": 33_000.0,
    }  # fmt: skip
    return ReelSpan(**(base | others))


def log(*rows: tuple[float, str, float, float | None]) -> pl.DataFrame:
    made = [
        ("wrap1", AT + h * HOUR, "film", reel, label, left, 0, 1, k)
        for k, (h, reel, label, left) in enumerate(rows)
    ]
    return pl.DataFrame(made, schema=REELS, orient="row")


def spans_of(*rows: tuple[float, str, float, float | None]) -> list[ReelSpan]:
    return reel_spans(wrap_plant(), "wrap1", log(*rows), {}, AT + 24 * HOUR)


def test_left_on_the_reel_that_is_on() -> None:
    left = reel_left(span(), 8.0, 350.0)
    assert left is not None
    assert left.metres == pytest.approx(1000)
    assert (left.wraps, left.minutes) == (17857, pytest.approx(17857 / 350))
    assert left.low_m < 1000 - 57 < 1000 + 57 < left.high_m


def test_nothing_is_told_of_a_reel_taken_off_or_never_fed() -> None:
    assert reel_left(span(taken_off=AT + HOUR), 8.0, 350.0) is None
    assert reel_left(span(fed=None), 8.0, 350.0) is None
    assert reel_left(span(), 8.0, None).minutes is None


def test_a_rest_mounted_again_under_its_name_holds_what_was_left() -> None:
    a, b, again, _ = spans_of(
        (0, "r1", 2875, None), (1, "r2", 2875, 1540), (2, "r1", 2875, 1900), (3, "r3", 2875, 8)
    )
    assert a.returned
    assert a.scrapped_m == 0
    assert again.held_m == 1540
    assert again.drawn_m == pytest.approx(1532)
    assert b.left_m == 1900
    assert reel_faults([a, b, again]) == []


def test_a_part_reel_with_its_own_label_is_known_as_a_rest() -> None:
    a, _, part, _ = spans_of(
        (0, "r1", 2875, None), (1, "r2", 2875, 120), (2, "r1.2", 120, 8), (3, "r3", 2875, 8)
    )
    assert a.returned
    assert a.scrapped_m == 0
    assert (part.held_m, part.scrapped_m) == (120, 8)


def test_a_short_rest_is_thrown_away_and_a_long_one_goes_to_the_shelf() -> None:
    a, b, _ = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 8), (2, "r3", 2875, 1500))
    assert (a.scrapped_m, b.scrapped_m) == (8, 0)


def test_a_reel_mounted_twice_with_nothing_left_is_a_fault() -> None:
    spans = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 0.0), (2, "r1", 2875, 8))
    assert [fault.what for fault in reel_faults(spans)] == [
        "reel r1 was mounted twice and nothing was left on it the first time"
    ]


def test_more_left_than_the_reel_held_is_a_fault() -> None:
    spans = spans_of((0, "r1", 1000, None), (1, "r2", 1000, 1400))
    assert "1400 m left of 1000 m" in reel_faults(spans)[0].what


def test_thickness_is_learned_from_reels_of_known_length() -> None:
    reels = [
        (outer, 76.0, reel_length_m(outer, 76.0, um)) for outer, um in ((300, 22.9), (280, 23.0), (290, 23.1))
    ]
    told = learned_thickness(reels)
    assert told.um == pytest.approx(23.0)
    assert told.low_um < 23.0 < told.high_um
    with pytest.raises(MeasureError, match="no reel of known length"):
        learned_thickness([])
