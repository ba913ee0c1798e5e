"""Batches, stops, reels, stock and plan: told once, disputed things left out and listed, open ends."""

import numpy as np
import pytest
from polars.testing import assert_frame_equal

from lineview.core.errors import AskError
from lineview.order.words import open_plan
from lineview.store.store import Store
from tests.store.made import at, export, kind, readings

H = 3600


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store") as opened:
        yield opened


def test_the_same_batch_from_two_sheets_is_one(store, tmp_path):
    batch = {"line": "line1", "batch": "b1", "product": "banana", "start": at(0), "end": at(600)}
    store.record(export(tmp_path, "a.csv", ("batches", kind("batches", [batch]))))
    second = store.record(export(tmp_path, "b.csv", ("batches", kind("batches", [batch]))))
    assert (second.kept, second.duplicate, second.conflicts) == (0, 1, 0)
    assert store.batches("line1", at(0), at(1)).height == 1


def test_a_cell_left_empty_contradicts_nothing_and_is_filled_from_another_export(store, tmp_path):
    early = {"line": "line1", "batch": "b1", "product": "banana", "start": at(0)}
    late = {**early, "end": at(600), "mass_in_kg": 22.7}
    store.record(export(tmp_path, "a.csv", ("batches", kind("batches", [early]))))
    second = store.record(export(tmp_path, "b.csv", ("batches", kind("batches", [late]))))
    assert (second.kept, second.conflicts) == (1, 0)
    assert store.batches("line1", at(0), at(1)).select("end", "mass_in_kg").rows() == [(at(600), 22.7)]


def test_two_masses_of_one_batch_are_disputed(store, tmp_path):
    one = {"line": "line1", "batch": "b1", "start": at(0), "mass_in_kg": 22.7}
    other = {"line": "line1", "batch": "b2", "start": at(700), "mass_in_kg": 22.0}
    store.record(export(tmp_path, "a.csv", ("batches", kind("batches", [one, other]))))
    changed = kind("batches", [{**one, "mass_in_kg": 27.2}])
    second = store.record(export(tmp_path, "b.csv", ("batches", changed)))
    assert second.conflicts == 1
    assert store.batches("line1", at(0), at(9999))["batch"].to_list() == ["b2"]
    listed = store.conflicts()
    assert listed["channel"].to_list() == ["b1", "b1"]
    assert "mass_in_kg = 27.2" in listed["text"][1]
    assert store.conflicts(second.intake).height == 2
    store.undo(second.intake)
    assert store.conflicts().is_empty()
    assert store.batches("line1", at(0), at(9999))["mass_in_kg"].to_list() == [22.7, 22.0]


@pytest.mark.parametrize(
    ("name", "same", "one", "other", "owner"),
    [
        ("stops", {"machine": "wrap1", "start": at(0)}, {"reason": "jam"}, {"reason": "film"}, "wrap1"),
        ("reels", {"machine": "wrap1", "at": at(0), "web": "film"}, {"reel": "1"}, {"reel": "2"}, "wrap1"),
        ("stock", {"at": at(0), "web": "film"}, {"whole_reels": 3.0}, {"whole_reels": 4.0}, "film"),
        ("plan", {"line": "l", "product": "p", "start": at(0)}, {"pieces": 1.0}, {"pieces": 2.0}, "l"),
    ],
)
def test_each_kind_lists_what_is_disputed(store, tmp_path, name, same, one, other, owner):
    receipt = store.record(export(tmp_path, "a.csv", (name, kind(name, [{**same, **one}, {**same, **other}]))))
    assert receipt.conflicts == 1
    found = {
        "stops": lambda: store.stop_log(owner, at(-1), at(9)),
        "reels": lambda: store.reels(owner, at(-1), at(9)),
        "stock": store.stock,
        "plan": lambda: store.plan(owner, at(-1), at(9)),
    }[name]()
    if name == "reels":  # that one was mounted is not disputed
        assert found.select("at", "web", "reel").rows() == [(at(0), "film", None)]
    else:
        assert found.is_empty()
    assert store.conflicts()["machine"].to_list() == [owner, owner]
    assert store.conflicts()["kind"].to_list() == [name, name]


def shifts(
    begins_h: tuple[int, ...], long_h: int, products: str, pieces: float, days: int = 2
) -> list[dict[str, object]]:
    """Rows of a plan: a product a shift, in turn, on so many days."""
    return [
        {"line": "l", "product": name, "start": at((24 * day + begin) * H), "end": at((24 * day + begin + long_h) * H)}
        | {"pieces": pieces}
        for day in range(days)
        for name, begin in zip(products, begins_h, strict=True)
    ]


def planned(store: Store) -> float:
    return float(store.plan("l", at(0), at(96 * H))["pieces"].sum())


def test_a_plan_of_other_hours_takes_the_place_of_the_one_that_it_is_laid_over(store, tmp_path):
    first = kind("plan", shifts((6, 14), 8, "ab", 100.0))
    store.record(export(tmp_path, "a.csv", ("plan", first)))
    later = store.record(export(tmp_path, "b.csv", ("plan", kind("plan", shifts((8, 16), 8, "ba", 120.0)))))
    assert planned(store) == 4 * 120.0
    assert store.contradicting("plan").is_empty()
    store.undo(later.intake)
    assert planned(store) == 4 * 100.0
    # exports of other products lie beside each other
    store.record(export(tmp_path, "c.csv", ("plan", kind("plan", shifts((7, 15), 8, "cd", 30.0)))))
    assert planned(store) == 4 * 130.0


def test_plans_of_other_hours_of_which_none_is_the_newer_are_in_conflict(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("plan", kind("plan", shifts((6, 14), 8, "ab", 100.0)))))
    longer = kind("plan", shifts((8, 16), 8, "ab", 120.0, days=3))
    store.record(export(tmp_path, "b.csv", ("plan", longer)))
    rows = store.contradicting("plan")
    assert sorted(rows["file"].unique().to_list()) == ["a.csv", "b.csv"]
    assert rows.height == 8
    assert open_plan(rows).low == 4 * 100.0
    assert open_plan(rows).high == 4 * 120.0


def test_a_batch_without_end_lasts_until_the_next(store, tmp_path):
    rows = [{"line": "line1", "batch": f"b{i}", "start": at(600 * i)} for i in range(3)]
    store.record(export(tmp_path, "a.csv", ("batches", kind("batches", rows))))
    assert store.batches("line1", at(700), at(800))["batch"].to_list() == ["b1"]
    assert store.batches("line1", at(700), at(1201))["batch"].to_list() == ["b1", "b2"]
    assert store.batches("line1", at(9000), at(9001))["batch"].to_list() == ["b2"]
    assert store.batches("line2", at(0), at(9001)).is_empty()


def test_a_stop_reaching_into_the_period_is_given(store, tmp_path):
    rows = [{"machine": "wrap1", "start": at(0), "end": at(5 * H), "reason": "jam"}]
    store.record(export(tmp_path, "a.csv", ("stops", kind("stops", rows))))
    assert store.stop_log("wrap1", at(4 * H), at(6 * H)).height == 1
    assert store.stop_log("wrap1", at(5 * H), at(6 * H)).is_empty()


def test_the_span_of_a_machine(store, tmp_path):
    rows = [
        (2, 0, "good", 1.0),
        (2, 0, "film", 9.0),
        (3, 400 * 86_400, "good", 2.0),
        (4, 400 * 86_400 + 5, "good", 3.0),
    ]
    store.record(export(tmp_path, "a.csv", ("readings", readings(rows))))
    clash = readings([(2, 400 * 86_400, "good", 7.0)])
    store.record(export(tmp_path, "b.csv", ("readings", clash)))
    span = store.span("wrap1")
    assert (span.start, span.end) == (at(0), at(400 * 86_400 + 5))
    assert store.span("wrap2") is None


def test_what_people_say_is_kept_and_the_later_reason_holds(store):
    store.write("adjustment", "sizer1", at(9), "pair 3 closed by 0.1 mm")
    store.write("adjustment", "sizer1", at(3), "pair 1 cleaned", "warm")
    assert store.adjustments("sizer1", at(0), at(9))["what"].to_list() == ["pair 1 cleaned"]
    store.set_stop_reason("wrap1", at(0), at(60), "jam")
    store.set_stop_reason("wrap1", at(0), at(60), "film torn")
    assert store.stop_reasons("wrap1", at(59), at(99))["reason"].to_list() == ["film torn"]
    with pytest.raises(AskError, match="nothing was entered"):
        store.write("adjustment", "sizer1", at(5), "  ")
    with pytest.raises(AskError, match="ends before"):
        store.set_stop_reason("wrap1", at(9), at(9), "jam")


def test_several_part_reels_of_one_web_are_one_count_and_no_dispute(store, tmp_path):
    first = {"at": at(0), "web": "film", "whole_reels": 3.0, "part_reel_outer_mm": 221.0}
    second = {"at": at(0), "web": "film", "whole_reels": 0.0, "part_reel_outer_mm": 142.0}
    receipt = store.record(export(tmp_path, "a.csv", ("stock", kind("stock", [first, second]))))
    assert (receipt.kept, receipt.conflicts) == (2, 0)
    assert store.stock()["part_reel_outer_mm"].sort().to_list() == [142.0, 221.0]


def test_what_has_no_end_does_not_last_over_a_disputed_one(store, tmp_path):
    first = {"machine": "wrap1", "start": at(0), "reason": "jam"}
    second = {"machine": "wrap1", "start": at(600), "end": at(900), "reason": "film"}
    third = {"machine": "wrap1", "start": at(2000), "end": at(2100), "reason": "no staff"}
    store.record(export(tmp_path, "a.csv", ("stops", kind("stops", [first, second, third]))))
    corrected = {**second, "reason": "knife"}
    other = store.record(export(tmp_path, "b.csv", ("stops", kind("stops", [corrected]))))
    log = store.stop_log("wrap1", at(-1), at(9999))
    assert log.select("start", "end", "reason").rows() == [
        (at(0), at(600), "jam"),  # not up to the third at 2000: a stop of a reason in conflict lies between
        (at(2000), at(2100), "no staff"),
    ]
    assert store.stop_log("wrap1", at(700), at(800)).is_empty()
    store.undo(other.intake)
    assert store.stop_log("wrap1", at(-1), at(9999))["reason"].to_list() == ["jam", "film", "no staff"]
    assert store.stop_log("wrap1", at(-1), at(9999))["end"][0] is None


def test_a_batch_does_not_last_over_one_whose_product_is_disputed(store, tmp_path):
    rows = [{"line": "line1", "batch": f"b{i}", "product": "plum", "start": at(600 * i)} for i in range(3)]
    store.record(export(tmp_path, "a.csv", ("batches", kind("batches", rows))))
    store.record(export(tmp_path, "b.csv", ("batches", kind("batches", [{**rows[1], "product": "pear"}]))))
    found = store.batches("line1", at(0), at(9999))
    assert found.select("batch", "end").rows() == [("b0", at(600)), ("b2", None)]
    assert store.batches("line1", at(700), at(800)).is_empty()


def test_what_a_snapshot_kept_is_what_the_store_says_of_any_time_and_state(store, tmp_path):
    rng = np.random.default_rng(4)

    def sheet(name: str, first: int) -> None:
        rows = [{"line": f"line{1 + k % 2}", "batch": f"b{k}", "start": at(600 * k)} for k in range(first, first + 40)]
        store.record(export(tmp_path, name, ("batches", kind("batches", rows))))

    for state, first in enumerate((0, 30, 90)):
        sheet(f"{state}.csv", first)
        for _ in range(2):  # the second snapshot of a state has what the first one read
            with store.snapshot() as still:
                for line, a, b in zip(
                    rng.choice(["line1", "line2"], 40), *rng.integers(-9_000, 90_000, (2, 40)).tolist(), strict=True
                ):
                    times = at(min(a, b)), at(max(a, b) + 1)
                    assert_frame_equal(still.batches(line, *times), store.batches(line, *times))
                assert still.span() == store.span()
                assert_frame_equal(still.contradicting("batches"), store.contradicting("batches"))
                assert still.version() == store.version()
    with store.snapshot() as before:
        sheet("later.csv", 200)
        assert before.batches("line1", at(0), at(200_000)).height < store.batches("line1", at(0), at(200_000)).height
