"""An export is taken in whole; its rows add up; overlaps, contradictions and undo do not falsify a count."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.errors import AskError, StoreError
from lineview.core.frames import READINGS, WEIGHTS
from lineview.store.store import Store
from tests.store.made import T0, at, export, kind, readings, refused, weights


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store") as opened:
        yield opened


def kept_originals(tmp_path):
    originals = (tmp_path / "store" / "originals").rglob("*")
    return [path.read_bytes() for path in originals if path.is_file() and path.suffix != ".json"]


def given(store, machine="wrap1"):
    return store.readings(machine, at(-1e6), at(1e9)).select("channel", "at", "value").rows()


def test_rows_end_in_one_of_three_places_and_add_up(store, tmp_path):
    one = export(
        tmp_path,
        "a.csv",
        ("readings", readings([(2, 0, "good", 1.0), (2, 0, "rejects", 0.0), (3, 10, "good", 5.0)])),
        refusals=refused([4, 5]),
    )
    receipt = store.record(one)
    assert (receipt.rows, receipt.kept, receipt.duplicate, receipt.refused) == (4, 2, 0, 2)
    assert not receipt.already
    assert store.refusals(receipt.intake)["row"].to_list() == [4, 5]
    assert store.refusals(receipt.intake)["intake"].to_list() == [receipt.intake] * 2
    assert store.known(one.sha256) == receipt.intake
    assert kept_originals(tmp_path) == [one.path.read_bytes()]


def test_the_same_file_again_changes_nothing(store, tmp_path):
    one = export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0)])))
    first, before = store.record(one), given(store)
    again = store.record(one)
    assert again.already
    assert replace(again, already=False) == first
    assert given(store) == before
    assert store.intakes().height == 1


def test_a_row_is_a_duplicate_only_when_all_of_it_is_there(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0), (3, 9, "good", 2.0)]))))
    wide = [(2, 0, "good", 1.0), (2, 0, "rejects", 7.0), (3, 9, "good", 2.0), (4, 20, "good", 3.0)]
    second = store.record(export(tmp_path, "b.csv", ("readings", readings(wide))))
    assert (second.kept, second.duplicate) == (2, 1)
    assert len(given(store)) == 4


def test_a_row_said_twice_in_one_file_is_a_duplicate(store, tmp_path):
    rows = [(2, 0, "good", 1.0), (3, 5, "good", 2.0), (4, 0, "good", 1.0), (5, 5, "good", 2.0)]
    receipt = store.record(export(tmp_path, "a.csv", ("readings", readings(rows))))
    assert (receipt.kept, receipt.duplicate, receipt.conflicts) == (2, 2, 0)
    assert [value for *_, value in given(store)] == [1.0, 2.0]


def test_sheets_of_one_file_may_repeat_each_other(store, tmp_path):
    sheet = readings([(2, 0, "good", 1.0), (3, 5, "good", 2.0)])
    changed = sheet.with_columns(value=pl.Series([1.0, 9.0]))
    receipt = store.record(export(tmp_path, "a.xlsx", ("readings", sheet), ("readings", changed)))
    assert (receipt.rows, receipt.kept, receipt.duplicate, receipt.conflicts) == (4, 3, 1, 1)
    assert given(store) == [("good", at(0), 1.0)]


def test_two_values_for_one_moment_are_listed_and_neither_is_given_until_one_is_undone(store, tmp_path):
    first = store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0)]))))
    second = store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 0, "good", 2.0), (3, 9, "good", 3.0)]))))
    assert second.conflicts == 1
    assert given(store) == [("good", at(9), 3.0)]
    listed = store.conflicts()
    assert listed.select("machine", "channel", "at", "value", "intake", "file", "row").rows() == [
        ("wrap1", "good", at(0), 1.0, first.intake, "a.csv", 2),
        ("wrap1", "good", at(0), 2.0, second.intake, "b.csv", 2),
    ]
    assert store.intakes()["conflicts"].to_list() == [1, 1]
    store.undo(second.intake)
    assert store.conflicts().is_empty()
    assert given(store) == [("good", at(0), 1.0)]


def test_a_text_against_another_text_is_a_conflict(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "state", None, "good", "run")]))))
    store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 0, "state", None, "good", "stop")]))))
    assert given(store) == []
    assert store.conflicts()["text"].to_list() == ["run", "stop"]


def test_undoing_one_of_two_overlapping_exports_loses_nothing_of_the_other(store, tmp_path):
    first = store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0), (3, 9, "good", 2.0)]))))
    second = export(tmp_path, "b.csv", ("readings", readings([(2, 9, "good", 2.0), (3, 18, "good", 3.0)])))
    assert store.record(second).duplicate == 1
    store.undo(first.intake)
    assert given(store) == [("good", at(9), 2.0), ("good", at(18), 3.0)]


def test_undo_takes_all_of_an_intake_and_keeps_its_bytes(store, tmp_path):
    parts = (
        ("readings", readings([(2, 0, "good", 1.0)])),
        ("weights", weights([(2, 0, 6.8, "1")])),
        ("batches", kind("batches", [{"line": "line1", "batch": "b1", "start": at(0)}])),
    )
    one = export(tmp_path, "a.xlsx", *parts, refusals=refused([9]))
    receipt = store.record(one)
    assert store.undo(receipt.intake) == receipt
    assert given(store) == []
    assert store.weights("wrap1", at(0), at(9)).is_empty()
    assert store.batches("line1", at(0), at(9)).is_empty()
    assert store.refusals().is_empty()
    assert store.span() is None
    assert store.known(one.sha256) is None
    assert kept_originals(tmp_path) == [one.path.read_bytes()]
    assert store.intakes()["undone"].to_list() == [True]
    with pytest.raises(StoreError, match="was undone before"):
        store.undo(receipt.intake)
    again = store.record(one)
    assert again.intake != receipt.intake
    assert len(given(store)) == 1


def test_unknown_intakes_are_refused(store):
    with pytest.raises(StoreError, match="no intake 7"):
        store.undo(7)


def test_of_equal_values_the_good_one_is_given(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0, "uncertain")]))))
    store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 0, "good", 1.0)]))))
    assert store.readings("wrap1", at(0), at(1))["quality"].to_list() == ["good"]


def test_equal_pieces_weighed_together_are_not_one_piece(store, tmp_path):
    three = weights([(2, 0, 6.8, "1"), (3, 0, 6.8, "1"), (4, 0, 7.0, "1")])
    assert store.record(export(tmp_path, "a.csv", ("weights", three))).duplicate == 0
    four = weights([(2, 0, 6.8, "1"), (3, 0, 6.8, "1"), (4, 0, 6.8, "1"), (5, 0, 7.0, "1")])
    again = store.record(export(tmp_path, "b.csv", ("weights", four)))
    assert (again.kept, again.duplicate) == (1, 3)
    found = store.weights("wrap1", at(0), at(1))
    assert found.schema == pl.Schema(WEIGHTS)
    assert sorted(found["mass_g"]) == [6.8, 6.8, 6.8, 7.0]


def test_moments_come_back_to_the_microsecond_and_cut_half_open(store, tmp_path):
    rows = readings([(2, 0, "good", 1.0), (3, 0.000001, "good", 2.0), (4, 1, "good", 3.0)])
    store.record(export(tmp_path, "a.csv", ("readings", rows)))
    found = store.readings("wrap1", at(0.000001), at(1))
    assert found.schema == pl.Schema(READINGS)
    assert found["at"].to_list() == [at(0.000001)]


def test_months_and_machines_with_blanks_are_kept_apart_and_come_in_order(store, tmp_path):
    days = [(i, i * 86_400.0, "good", float(i)) for i in range(400)]
    tidy = pl.concat([readings(days, "wrap 1"), readings(days[:3], "wrap_1"), readings(days[:2], "001")])
    tidy = tidy.with_columns(row=pl.int_range(2, tidy.height + 2))
    store.record(export(tmp_path, "a.csv", ("readings", tidy.sample(fraction=1.0, shuffle=True, seed=1))))
    year = store.readings("wrap 1", T0, T0 + timedelta(days=400))
    assert year["value"].to_list() == [float(i) for i in range(400)]
    assert store.readings("wrap_1", T0, T0 + timedelta(days=400)).height == 3
    assert store.readings("001", T0, T0 + timedelta(days=400))["machine"].to_list() == ["001", "001"]
    assert store.readings("wrap 1", T0, T0 + timedelta(days=400), ["rejects"]).is_empty()


def test_a_file_that_changed_since_it_was_read_is_not_taken(store, tmp_path):
    one = export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0)])))
    one.path.write_text("something else")
    with pytest.raises(StoreError, match="changed while it was read"):
        store.record(one)
    assert given(store) == []
    assert not [path for path in (tmp_path / "store" / "originals").rglob("*") if path.is_file()]


def test_rows_that_do_not_add_up_are_not_taken(store, tmp_path):
    one = export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0)])))
    with pytest.raises(StoreError, match="are not 5 rows"):
        store.record(replace(one, rows=5))
    assert store.intakes().is_empty()


def test_a_moment_without_zone_is_refused(store):
    with pytest.raises(AskError, match="no zone"):
        store.readings("wrap1", datetime(2026, 6, 1), datetime(2026, 6, 2, tzinfo=UTC))  # noqa: DTZ001  # the fault


def test_another_store_on_the_folder_sees_it_at_once(store, tmp_path):
    with Store.open(tmp_path / "store") as other:
        store.record(export(tmp_path, "a.csv", ("readings", readings([(2, 0, "good", 1.0)]))))
        assert len(given(other)) == 1
        other.undo(1)
    assert given(store) == []


#: Ten samples of one piece each, a minute apart; the third and the seventh are corrected later.
WEIGHED = [(2 + i, 60 * i, 6.7 + 0.01 * i, str(i)) for i in range(10)]
CORRECTED = [(row, s, 7.2 if i in (2, 6) else mass, sample) for i, (row, s, mass, sample) in enumerate(WEIGHED)]


def test_a_corrected_weighing_is_a_conflict_and_never_counted_twice(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("weights", weights(WEIGHED))))
    again = store.record(export(tmp_path, "b.csv", ("weights", weights(CORRECTED))))
    assert (again.kept, again.duplicate, again.conflicts) == (2, 8, 2)
    found = store.weights("wrap1", at(0), at(3600))
    assert found["sample"].to_list() == ["0", "1", "3", "4", "5", "7", "8", "9"]  # neither 6.72 nor 7.2 g
    assert store.disputed({"wrap1"}, at(0), at(3600)) == {"weights": 2}
    listed = store.conflicts()
    assert listed["value"].to_list() == [pytest.approx(6.72), 7.2, pytest.approx(6.76), 7.2]
    assert listed["channel"].to_list() == ["2", "2", "6", "6"]
    store.undo(1)
    assert store.conflicts().is_empty()
    assert store.weights("wrap1", at(0), at(3600))["mass_g"].to_list() == [mass for _, _, mass, _ in CORRECTED]


def test_of_a_correction_alone_the_rest_stays(store, tmp_path):
    store.record(export(tmp_path, "a.csv", ("weights", weights(WEIGHED))))
    one = store.record(export(tmp_path, "b.csv", ("weights", weights([CORRECTED[2]]))))
    assert one.conflicts == 1
    assert store.weights("wrap1", at(0), at(3600)).height == 9
    store.undo(one.intake)
    assert store.weights("wrap1", at(0), at(3600)).height == 10


def test_a_weighing_file_with_samples_and_batches_named_later_counts_once(store, tmp_path):
    bare = weights([(row, s, mass, None) for row, s, mass, _ in WEIGHED])
    named = weights(WEIGHED).with_columns(batch=pl.lit("B7"))
    store.record(export(tmp_path, "a.csv", ("weights", bare)))
    assert store.record(export(tmp_path, "b.csv", ("weights", named))).conflicts == 0
    found = store.weights("wrap1", at(0), at(3600))
    assert found["mass_g"].to_list() == [mass for _, _, mass, _ in WEIGHED]
    assert set(found["batch"]) == {"B7"}


def test_pieces_of_one_moment_that_an_export_cut_short_agree_with_the_whole(store, tmp_path):
    five = [(2 + i, 0, 6.7 + 0.01 * (i % 3), None) for i in range(5)]
    store.record(export(tmp_path, "a.csv", ("weights", weights(five[:3]))))
    assert store.record(export(tmp_path, "b.csv", ("weights", weights(five)))).conflicts == 0
    assert sorted(store.weights("wrap1", at(0), at(9))["mass_g"]) == sorted(mass for _, _, mass, _ in five)
    other = store.record(export(tmp_path, "c.csv", ("weights", weights([*five[:4], (6, 0, 6.9, None)]))))
    assert other.conflicts == 1
    assert store.weights("wrap1", at(0), at(9)).is_empty()


def test_the_batch_of_a_weighing_told_differently_is_a_conflict(store, tmp_path):
    for name, batch in (("a.csv", "B7"), ("b.csv", "B8")):
        last = store.record(export(tmp_path, name, ("weights", weights(WEIGHED[:1]).with_columns(batch=pl.lit(batch)))))
    assert last.conflicts == 1
    assert store.weights("wrap1", at(0), at(9)).is_empty()
    assert store.conflicts()["text"].to_list() == ["batch = B7", "batch = B8"]
