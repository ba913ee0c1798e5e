"""What is left on a mounted reel, part reels and returns in the reel log, thickness from known reels."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.estimate import Estimate
from lineview.core.frames import READINGS, REELS, empty
from lineview.wrap.reconcile import reel_metres
from lineview.wrap.reels import ReelSpan, reel_faults, reel_spans, web_of
from lineview.wrap.use import reel_left
from lineview.wrap.waste import assumed_waste
from tests.one_count import count_machine
from tests.simulate.webs import wrap_plant

AT = datetime(2026, 6, 1, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)


def span(**others) -> ReelSpan:
    base = {
        "reel": "r1", "origin": "r1", "kind": "film", "web": "film", "cut_length_mm": 56.0, "mounted": AT,
        "taken_off": None, "full_m": 2875.0,
        "label_m": 2875.0, "held_m": 2875.0, "left_m": None, "is_returned": False, "splices": 0,
        "fed": Estimate(1867.0, 1866.9, 1867.1, 100), "wraps": 33_000.0,
    }  # fmt: skip
    return ReelSpan(**(base | others))


def log(*rows: tuple[float, str, float, float | None]) -> pl.DataFrame:
    mountings = [
        ("wrap1", AT + h * HOUR, "film", reel, label, remainder, 0, 1, k)
        for k, (h, reel, label, remainder) in enumerate(rows)
    ]
    return pl.DataFrame(mountings, schema=REELS, orient="row")


def spans_of(*rows: tuple[float, str, float, float | None]) -> list[ReelSpan]:
    plant = wrap_plant()
    unread = count_machine(plant.machines[0], empty(READINGS), gap_s=plant.gap_s)
    return reel_spans(plant, unread, log(*rows), AT + 24 * HOUR)


def test_left_on_the_reel_that_is_on() -> None:
    remainder = reel_left(span(), 8.0, 350.0)
    assert remainder is not None
    assert remainder.metres == pytest.approx(1000)
    assert (remainder.wraps, remainder.minutes) == (17857, pytest.approx(17857 / 350))
    assert remainder.low_m < 1000 - 57 < 1000 + 57 < remainder.high_m


def test_nothing_is_told_of_a_reel_taken_off_or_never_fed() -> None:
    assert reel_left(span(taken_off=AT + HOUR), 8.0, 350.0) is None
    assert reel_left(span(fed=None), 8.0, 350.0) is None
    assert reel_left(span(), 8.0, None).minutes is None


def test_a_rest_mounted_again_under_its_name_holds_what_was_left() -> None:
    a, b, again, _ = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 1540), (2, "r1", 2875, 1900), (3, "r3", 2875, 8))
    assert a.is_returned
    assert a.scrapped_m == 0
    assert again.held_m == 1540
    assert again.unwound_m == pytest.approx(1532)
    assert b.left_m == 1900
    assert reel_faults([a, b, again]) == []


def test_a_part_reel_with_its_own_label_is_known_as_a_rest() -> None:
    a, _, part, _ = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 120), (2, "r1.2", 120, 8), (3, "r3", 2875, 8))
    assert a.is_returned
    assert a.scrapped_m == 0
    assert (part.held_m, part.scrapped_m) == (120, 8)


def test_a_short_rest_is_thrown_away_and_a_long_one_goes_to_the_shelf() -> None:
    a, b, _ = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 8), (2, "r3", 2875, 1500))
    assert (a.scrapped_m, b.scrapped_m) == (8, 0)


@pytest.mark.parametrize(("full_m", "label_m"), [(2875.0, 2875.0), (2875.0, None), (None, 2875.0), (2875.0, 120.0)])
def test_what_a_long_rest_is_shows_by_a_new_reel_or_else_the_label(full_m: float | None, label_m: float | None) -> None:
    off = {"taken_off": AT + HOUR, "full_m": full_m, "label_m": label_m}
    assert [span(left_m=left_m, **off).scrapped_m for left_m in (None, 8.0, 1000.0)] == [None, 8.0, 0.0]
    assert span(left_m=8.0, is_returned=True, **off).scrapped_m == 0.0
    assert span(left_m=1000.0, taken_off=AT + HOUR, full_m=None, label_m=None).scrapped_m == 1000.0


def test_a_reel_mounted_twice_with_nothing_left_is_a_fault() -> None:
    spans = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 0.0), (2, "r1", 2875, 8))
    assert [fault.message for fault in reel_faults(spans)] == [
        "reel r1 was mounted twice and nothing was left on it the first time"
    ]
    assert [(s.held_m, s.is_returned) for s in spans] == [(2875, False)] * 3


def test_more_left_than_the_reel_held_is_a_fault() -> None:
    spans = spans_of((0, "r1", 1000, None), (1, "r2", 1000, 1400))
    assert "1,400 m left of 1,000 m" in reel_faults(spans)[0].message


def test_a_renamed_rest_is_joined_to_its_reel_and_starts_with_what_was_left() -> None:
    rows = [(0, "41", 2875, None), (1, "r2", 2875, 1540), (2, "41 rest", None, 1900), (3, "r3", 2875, 8)]
    first, _, part_reel, _ = spans_of(*rows)
    assert (part_reel.origin, part_reel.held_m, part_reel.label_m) == ("41", 1540, 2875)
    assert first.is_returned


def test_a_rest_told_only_by_its_length_is_joined_though_it_is_rounded() -> None:
    first, _, part_reel, _ = spans_of(
        (0, "r1", 2875, None), (1, "r2", 2875, 803.4), (2, "shelf 7", 800, 1900), (3, "r3", 2875, 8)
    )
    assert part_reel.origin == "r1"
    assert part_reel.held_m == 803.4
    assert first.scrapped_m == 0


def test_a_reel_of_a_like_number_is_another_reel() -> None:
    spans = spans_of((0, "P1-004", 2875, None), (1, "P1-0042", 2875, 1540), (2, "P1-5", 2875, 8))
    assert [s.origin for s in spans] == ["P1-004", "P1-0042", "P1-5"]


def test_a_reel_mounted_again_with_a_length_that_cannot_be_is_a_fault() -> None:
    spans = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 800), (2, "r1", 2000, 1900), (3, "r3", 2875, 8))
    assert [f.message for f in reel_faults(spans)] == [
        "reel r1 was mounted again with 2,000 m, but 800 m were left on it"
    ]
    # Its label's own length is what people write down again; that means nothing.
    spans = spans_of((0, "r1", 2875, None), (1, "r2", 2875, 800), (2, "r1", 2875, 1900), (3, "r3", 2875, 8))
    assert reel_faults(spans) == []


def test_use_on_a_reel_mounted_twice_adds_and_more_than_it_holds_is_a_fault() -> None:
    first = span(taken_off=AT + HOUR, left_m=1000.0, fed=Estimate(1875.0, 1875.0, 1875.0, 9), origin="r1")
    again = span(
        mounted=AT + 2 * HOUR, taken_off=AT + 3 * HOUR, held_m=1000.0, left_m=8.0, origin="r1",
        fed=Estimate(990.0, 990.0, 990.0, 9),
    )  # fmt: skip
    waste = assumed_waste(wrap_plant().webs[0])
    metres = reel_metres([first, again], waste, None)
    assert [(m.reel, m.fed, m.unwound, m.own_sd_m) for m in metres] == [("r1", 2865.0, 2867.0, 2.5)]
    for left, sd in ((8.0, 8.0), (1.0, 2.5)):  # what was left was not measured: nothing is known better than it
        waste = replace(waste, reel_end=replace(waste.reel_end, metres=left))
        unmeasured = reel_metres([first, replace(again, left_m=None)], waste, None)
        assert [(m.unwound, m.own_sd_m) for m in unmeasured] == [(2875.0 - left, sd)]
    assert reel_faults([first, again]) == []
    for share, faults in ((0.049, 0), (0.051, 1)):  # a reel may hold a twentieth more than its label says
        more = 2875 * (1 + share) - 1875
        assert len(reel_faults([first, replace(again, fed=Estimate(more, more, more, 9))])) == faults
    wild = replace(again, fed=Estimate(1990.0, 1990.0, 1990.0, 9))
    assert [f.message for f in reel_faults([first, wild])] == [
        "reel r1 fed 3,865 m in 2 mountings, but its label says 2,875 m"
    ]


def test_a_log_names_a_web_by_id_or_where_it_is_the_only_one_by_kind() -> None:
    plant = wrap_plant()
    assert [web.id if (web := web_of(plant, name)) else None for name in ("film", "Wax Paper", "wax", "foil")] == [
        "film", "wax", "wax", None,
    ]  # fmt: skip
    twice = plant.model_copy(update={"webs": (*plant.webs, plant.webs[1].model_copy(update={"id": "wax2"}))})
    assert web_of(twice, "wax paper") is None
