"""Numbers and dates in files: constructed and from-memory checks CTR-11 to CTR-13 of the trade notes.

Printed values only: the texts of CTR-12 and the zone of CTR-11 are constructed; the serial of CTR-13 (1900
date system: serial 1 is 1900-01-01, with a phantom 1900-02-29) is from memory.
"""

from __future__ import annotations

from datetime import datetime

import polars as pl
import pytest

from lineview.core.errors import IntakeError
from lineview.intake.cells.numbers import NumberSeparators, evidence, parse_numbers
from lineview.intake.cells.timestamp_columns import localise
from lineview.intake.cells.timestamps import read_clock
from lineview.intake.read import read_export
from lineview.plant import ColumnTarget, Counter, Layout, Line, Machine, Plant

WORKS = Plant(
    shop="an invented works",
    zone="America/New_York",
    lines=(Line(id="line1"),),
    machines=(
        Machine(
            id="wrap1",
            kind="cut-and-wrap machine",
            line="line1",
            counters=(Counter(id="pieces", counts="pieces", fastest_per_min=500),),
        ),
    ),
)


@pytest.mark.parametrize(("text", "decimal"), [("1.234,5", ","), ("1,234.5", "."), ("1 234,5", ","), ("1234.5", ".")])
def test_ctr_12_number_parsing_constructed(text, decimal):
    assert evidence(pl.Series([text])).mark == decimal
    assert parse_numbers(pl.Series([text]), NumberSeparators(decimal))[0].to_list() == [1234.5]


def test_ctr_12_note_1_234_alone_is_undecidable_constructed(tmp_path):
    assert evidence(pl.Series(["1,234"])).mark is None
    path = tmp_path / "a.csv"
    path.write_text("time;n\n2026-06-08 06:00:00;1,234\n")
    layout = Layout(id="a", machine="wrap1", columns={"n": ColumnTarget(to="pieces")})
    with pytest.raises(IntakeError, match=r"1234 or as 1\.234"):
        read_export(path, WORKS, layout=layout)


def test_ctr_13_serial_date_from_memory():
    at = read_clock(pl.Series(["45962.25"]), ["excel"]).naive
    assert at.dt.strftime("%Y-%m-%dT%H:%M:%S").to_list() == ["2025-11-01T06:00:00"]


def test_ctr_11_four_wall_clock_hours_of_autumn_are_five_constructed(tmp_path):
    """Zone America/New_York, 2025-11-02 00:00 to 04:00 local, 105,000 pieces: 5 h, 350 a minute."""
    path = tmp_path / "a.csv"
    wall = ["00:00", "01:00", "01:00", "02:00", "03:00", "04:00"]
    rows = [f"2025-11-02T{clock};{21000 * i}" for i, clock in enumerate(wall)]
    path.write_text("time;n\n" + "\n".join(rows) + "\n")
    layout = Layout(id="a", machine="wrap1", columns={"n": ColumnTarget(to="pieces")})
    tidy = read_export(path, WORKS, layout=layout).parts[0].tidy
    hours = (tidy["at"][-1] - tidy["at"][0]).total_seconds() / 3600
    assert hours == 5.0
    assert (tidy["value"][-1] - tidy["value"][0]) / hours / 60 == 350.0


def test_ctr_11_both_passes_are_an_hour_apart_constructed():
    wall = pl.Series([datetime(2025, 11, 2, 1, 30), datetime(2025, 11, 2, 1, 30, 10)] * 2)  # noqa: DTZ001 - wall clock
    at = localise(wall, "America/New_York").at.dt.strftime("%H:%M:%S").to_list()
    assert at == ["05:30:00", "05:30:10", "06:30:00", "06:30:10"]
