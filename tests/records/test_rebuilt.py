"""After any intakes, undos, notes and edits kept records are those that a rebuild makes, byte for byte."""

import os
import tempfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.record_frames import RECORDS
from tests.records.kept_works import counts_file, sheet_file, shift_start, write_plant

LINES, KEPT_DAYS = ("A", "B"), (0, 1)
Step = Callable[[Works], None]


def _take(works: Works, path: Path) -> None:
    taken = works.take([path], accept=True)
    assert taken[0].error is None, taken


def _undo(works: Works, nth: int) -> None:
    done = works.store.intakes().filter(~pl.col("undone"))["id"].to_list()
    if done:
        works.undo(done[nth % len(done)])


def _edit(works: Works, low: int) -> None:
    path = works.folder / "plant.toml"
    lines = path.read_text(encoding="utf-8").split("\n")
    first = next(k for k, line in enumerate(lines) if line.startswith("nominal_per_min"))
    lines[first] = f"nominal_per_min = [{low}, 400]"
    before = path.stat().st_mtime_ns
    path.write_text("\n".join(lines), encoding="utf-8")
    os.utime(path, ns=(before + 1_000_000, before + 1_000_000))


def _ask(works: Works, line: str) -> None:
    if works.store.span(f"wrap{line}") is not None:
        works.ask(read_question("shift", machine=f"wrap{line}", period="all"))


@st.composite
def steps(draw: st.DrawFn) -> tuple[str, Step]:
    """One thing that happens to a works."""
    line, day = draw(st.sampled_from(LINES)), draw(st.sampled_from(KEPT_DAYS))
    shift, number = draw(st.sampled_from(("early", "late"))), draw(st.integers(0, 9))
    at, machine = shift_start(day, shift), f"wrap{line}"
    known: dict[str, Step] = {
        "counts": lambda w: _take(w, counts_file(w.folder, line, day, shift)),
        "more counts": lambda w: _take(w, counts_file(w.folder, line, day, shift, more=10 + number)),
        "sheet": lambda w: _take(w, sheet_file(w.folder, line, day, shift)),
        "undo": lambda w: _undo(w, number),
        "reason": lambda w: w.set_stop_reason(machine, at, at + timedelta(minutes=5), "no film"),
        "adjustment": lambda w: w.write("adjustment", machine, at, f"pair {number} set"),
        "edit": lambda w: _edit(w, 300 + number),
        "ask": lambda w: _ask(w, line),
        "update": lambda w: w.records.update(w.store, w.plant) and None,
    }
    name = draw(st.sampled_from(sorted(known)))
    return f"{name} {line} {day} {shift} {number}", known[name]


def contents(works: Works) -> dict[str, bytes]:
    """Every kept record by machine, as bytes."""
    table = works.records._table  # the table that is under test, read as it is
    found = {}
    for machine in ("wrapA", "wrapB"):
        frame = table.read(machine, [f"{shift_start(0, 'early'):%Y-%m}"], list(RECORDS)[2:])
        found[machine] = frame.rechunk().write_ipc(None).getvalue()
    return found


def lived_through(happened: list[tuple[str, Step]]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_plant(folder)
        with Works(folder) as works:
            _take(works, counts_file(folder, "A", 0, "early"))
            for _, step in happened:
                step(works)
            works.records.update(works.store, works.plant)
            kept = contents(works)
            works.records.update(works.store, works.plant, rebuild=True)
            assert contents(works) == kept


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(steps(), min_size=2, max_size=7))
def test_kept_records_are_those_that_a_rebuild_makes(happened: list[tuple[str, Step]]) -> None:
    lived_through(happened)


@pytest.mark.long
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(steps(), min_size=2, max_size=12))
def test_kept_records_are_those_that_a_rebuild_makes_after_many_steps(happened: list[tuple[str, Step]]) -> None:
    lived_through(happened)
