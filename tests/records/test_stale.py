"""What changes recomputes the records that it touches, and no others."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.records import _around, _up_to
from lineview.app.works import Works
from lineview.core.record_frames import COMPUTED_FROM, WINDOWS
from tests.records.kept_works import DAYS, SHIFTS, counts_file, sheet_file, shift_start, write_plant

A, B = "wrapA", "wrapB"
EVERY = DAYS * len(SHIFTS)
Window = tuple[str, int, str]


@pytest.fixture
def works(tmp_path: Path) -> Iterator[Works]:
    """Every shift of both machines is in but line A's second late one, and its records are made."""
    write_plant(tmp_path)
    exports = tmp_path / "exports"
    exports.mkdir()
    for line in "AB":
        for day in range(DAYS):
            for shift in SHIFTS:
                if (line, day, shift) != ("A", 1, "late"):
                    counts_file(exports, line, day, shift)
    with Works(tmp_path) as opened:
        take(opened, exports)
        assert update(opened) == 2 * EVERY - 1
        assert update(opened) == 0
        yield opened


def take(works: Works, path: Path) -> int:
    """Take exports in; give the last one's intake."""
    taken = works.take([path], accept=True)
    assert all(one.receipt is not None for one in taken), taken
    return int(works.store.intakes()["id"].max())


def update(works: Works) -> int:
    """Bring the records up to date; give how many were worked out."""
    before = works.records.made
    counted = works.records.update(works.store, works.plant)
    assert works.records.made - before == counted
    return counted


def kept(works: Works) -> dict[Window, tuple[object, ...]]:
    """What each record was computed from, by machine, day and shift."""
    table = works.records._table  # the table that is under test, read as it is
    rows = {}
    for machine in (A, B):
        frame = table.read(machine, table_months(), [*WINDOWS, *COMPUTED_FROM])
        for row in frame.iter_rows(named=True):
            day = (row["date"] - shift_start(0, "early").date()).days
            rows[machine, day, row["shift"]] = tuple(str(row[name]) for name in COMPUTED_FROM)
    return rows


def table_months() -> list[str]:
    return [f"{shift_start(0, 'early'):%Y-%m}"]


def changed(works: Works, before: dict[Window, tuple[object, ...]]) -> set[Window]:
    """The windows whose records came, went or are computed from something else."""
    after = kept(works)
    return {window for window in before.keys() | after.keys() if before.get(window) != after.get(window)}


def edit_plant(works: Works, old: str, new: str) -> None:
    path = works.folder / "plant.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) >= 1
    before = path.stat().st_mtime_ns
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    os.utime(path, ns=(before + 1_000_000, before + 1_000_000))


def test_a_late_export_of_one_shift_makes_the_record_of_that_shift(works: Works) -> None:
    before = kept(works)
    take(works, counts_file(works.folder / "exports", "A", 1, "late"))
    assert update(works) == 1
    assert changed(works, before) == {(A, 1, "late")}


def test_an_undo_takes_the_record_of_its_shift_away(works: Works) -> None:
    intake = take(works, counts_file(works.folder / "exports", "A", 1, "late"))
    update(works)
    before = kept(works)
    works.undo(intake)
    assert update(works) == 0
    assert changed(works, before) == {(A, 1, "late")}
    assert (A, 1, "late") not in kept(works)


@pytest.mark.parametrize(("day", "shift"), [(0, "early"), (DAYS - 1, "late")])
def test_an_undo_of_the_first_or_last_shift_takes_its_record_out_of_every_answer(
    works: Works, day: int, shift: str
) -> None:
    """No readings reach there any more: nothing would look at that record again."""
    edge = shift_start(day, shift)
    (intake,) = works.store.intakes().filter(pl.col("file") == f"wrapA_{day}_{shift}_0.csv")["id"].to_list()
    period = {"start": f"{shift_start(0, 'early'):%Y-%m-%d}", "end": f"{edge + timedelta(days=2):%Y-%m-%d}"}
    before, whole = kept(works), works.ask(read_question("week", line="A", **period)).figure("good_pieces")
    works.undo(intake)
    shorter = works.ask(read_question("week", line="A", **period)).figure("good_pieces")
    assert whole is not None and shorter is not None and whole.low is not None
    assert shorter.low == pytest.approx(whole.low - 479 * 350)  # a reading a minute, 350 pieces apart
    update(works)
    assert changed(works, before) == {(A, day, shift)}


def test_a_conflict_and_its_settling_touch_the_shift_in_dispute(works: Works) -> None:
    before = kept(works)
    intake = take(works, counts_file(works.folder / "exports", "B", 2, "early", more=40))
    assert works.store.conflicts().height > 0
    assert update(works) == 1
    assert changed(works, before) == {(B, 2, "early")}
    works.undo(intake)
    assert works.store.conflicts().height == 0
    assert update(works) == 1
    assert kept(works) == before


def test_a_batch_sheet_touches_the_shift_it_cuts_and_the_one_that_begins_with_its_last_batch(works: Works) -> None:
    before = kept(works)
    intake = take(works, sheet_file(works.folder / "exports", "A", 2, "early"))
    assert update(works) == 2
    assert changed(works, before) == {(A, 2, "early"), (A, 2, "late")}
    works.undo(intake)
    assert update(works) == 2
    assert kept(works) == before


def test_an_edit_of_the_plant_touches_the_machines_it_is_about(works: Works) -> None:
    before = kept(works)
    edit_plant(works, "nominal_per_min = [300, 400]", "nominal_per_min = [310, 400]")
    assert update(works) == EVERY - 1
    assert {machine for machine, _, _ in changed(works, before)} == {A}
    edit_plant(works, "gap_s = 120", "gap_s = 180")
    assert update(works) == 2 * EVERY - 1
    edit_plant(works, 'shop = "Invented Sweets"', 'shop = "Other Invented Sweets"')
    assert update(works) == 0


def test_a_reason_and_an_adjustment_touch_none(works: Works) -> None:
    before = kept(works)
    at = shift_start(1, "early")
    works.set_stop_reason(A, at, at + timedelta(minutes=9), "no film")
    works.write("adjustment", A, at, "cleaned a head")
    assert update(works) == 0
    assert kept(works) == before


def test_a_question_makes_what_it_needs_alone(works: Works) -> None:
    take(works, counts_file(works.folder / "exports", "A", 1, "late"))
    made = works.records.made
    token = f"{shift_start(1, 'late').date()}.late"
    answer = works.ask(read_question("shift", machine=B, period=token))
    assert answer.figure("good_pieces").value == pytest.approx(479 * 350)
    assert works.records.made == made
    works.ask(read_question("shift", machine=A, period=token))
    assert works.records.made == made + 1


def test_a_span_is_verified_up_to_the_stale_windows_around_it() -> None:
    day = datetime(2026, 6, 1, tzinfo=UTC)
    stale = pl.DataFrame(
        {"start": [day, day + timedelta(days=20)], "end": [day + timedelta(days=1), day + timedelta(days=21)]}
    )
    span, wide = (
        (day + timedelta(days=9), day + timedelta(days=10)),
        (day - timedelta(days=1), day + timedelta(days=29)),
    )
    last = day + timedelta(days=20) - timedelta(microseconds=1)
    assert _up_to(stale, span, wide) == (day + timedelta(days=1), last)
    assert _up_to(stale.clear(), span, wide) == wide


def test_around_a_period_are_the_nearest_windows_that_were_read_back_to_a_shift_on_either_side() -> None:
    day, rows = datetime(2026, 6, 1, tzinfo=UTC), range(9)
    # An unread shift stands between the period and those that were read, a night between shifts has no name.
    shift, read = ["a", "b", None, "c", "a", "b", None, "c", "d"], [5, 5, 5, 0, 5, 0, 5, 5, 5]
    records = pl.DataFrame(
        {
            "start": [day + timedelta(hours=8 * k) for k in rows],
            "end": [day + timedelta(hours=8 * (k + 1)) for k in rows],
            "shift": shift,
            "readings": read,
        },
        schema_overrides={"start": pl.Datetime("us", "UTC"), "end": pl.Datetime("us", "UTC")},
    )
    near = _around(records, (day + timedelta(hours=32), day + timedelta(hours=40)))
    assert near["start"].to_list() == [day + timedelta(hours=8 * k) for k in (1, 2, 4, 6, 7)]
