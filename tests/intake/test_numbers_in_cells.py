"""Decimal and thousands marks, placeholders, units, and what cannot be told."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.core.errors import IntakeError
from lineview.intake.cells.numbers import NumberSeparators, evidence, parse_numbers
from lineview.plant import Counter, Gauge, Plant
from tests.intake.invented_works import WORKS, layout_of, reasons, values

GAUGES = layout_of({"d": "diameter", "t": "temperature"}, machine="sizer1")


def rows(*cells: str, separator: str = ";") -> str:
    lines = [f"2026-06-08 06:00:{i:02d}{separator}{cell}{separator}1" for i, cell in enumerate(cells)]
    return "\n".join([f"time{separator}d{separator}t", *lines, ""])


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1.234,5", ",", 1234.5), ("1,234.5", ".", 1234.5), ("1 234,5", ",", 1234.5),
        ("1\u00a0234,5", ",", 1234.5), ("1\u202f234,5", ",", 1234.5), ("1'234.5", ".", 1234.5),
        ("1’234.5", ".", 1234.5), ("-0,5", ",", -0.5), ("−3.25", ".", -3.25), ("+7", ".", 7),
        (" 12 ", ".", 12), (".5", ".", 0.5), ("1.5E3", ".", 1500), ("1.234.567", ",", 1234567),
    ],
)  # fmt: skip
def test_one_cell(cell, decimal, value):
    assert parse_numbers(pl.Series([cell]), NumberSeparators(decimal))[0].to_list() == [value]


@pytest.mark.parametrize(
    "cell", ["1,23", "12,34.5", "1,2345", "1..2", "1.2.3", "12a", "0x10", "1,234,56", "1 2", "--5"]
)
def test_no_number_with_a_point(cell):
    value, why = parse_numbers(pl.Series([cell, "1.5"]), NumberSeparators("."))
    assert value.to_list() == [None, 1.5]
    assert why is not None
    assert "is not a number" in why[0]


@pytest.mark.parametrize(
    "cell", ["-", "n/a", "N/A", "Bad", "#####", "1.#QNAN", "Overflow", "---", "null", "#DIV/0!", "k.A.", "--"]
)
def test_placeholders_are_refused_as_such(cell):
    value, why = parse_numbers(pl.Series([cell, "1.5"]), NumberSeparators("."))
    assert value.to_list() == [None, 1.5]
    assert why is not None
    assert why.to_list() == [f"placeholder '{cell}' for a missing value", None]


@pytest.mark.parametrize("cell", ["NaN", "nan", "inf", "-Infinity", "INF", "1e999"])
def test_what_is_not_finite_is_refused(cell):
    value, why = parse_numbers(pl.Series([cell, "2"]), NumberSeparators("."))
    assert value.to_list() == [None, 2]
    assert why is not None
    assert why[0] is not None


def test_the_mark_is_settled_by_all_cells_of_the_file(read):
    assert values(read(rows("1,234", "0,5"), GAUGES), "diameter") == [1.234, 0.5]
    assert values(read(rows("1,234", "0.5"), GAUGES), "diameter") == [1234, 0.5]


def test_undecided_and_contradicting_marks_are_errors_that_say_what_to_write(read):
    with pytest.raises(IntakeError, match=r"'1,234' can be read as 1234 or as 1\.234.*Write decimal"):
        read(rows("1,234", "999"), GAUGES)
    with pytest.raises(IntakeError, match="others a decimal comma"):
        read(rows("1,5", "1.5"), GAUGES)


def test_the_layout_settles_the_mark(read):
    point = GAUGES.model_copy(update={"decimal": "."})
    comma = GAUGES.model_copy(update={"decimal": ","})
    assert values(read(rows("1,234", "999"), point), "diameter") == [1234, 999]
    assert values(read(rows("1,234", "999"), comma), "diameter") == [1.234, 999]
    export = read(rows("1,5", "1.5"), point)
    assert values(export, "diameter") == [1.5]
    assert "'1,5' is not a number with decimal '.'" in reasons(export)[2, "d"]


def test_points_in_an_unquoted_comma_table_are_decimal(read):
    assert values(read(rows("74.030", "74.002", separator=","), GAUGES), "diameter") == [74.03, 74.002]


def test_whole_numbers_need_no_mark(read):
    assert values(read(rows("14", "15"), GAUGES), "diameter") == [14, 15]


def test_a_bad_cell_leaves_the_row_and_a_row_of_bad_cells_is_refused_whole(read):
    text = "time;d;t\n2026-06-08 06:00:00;-;35.5\n2026-06-08 06:00:10;-;Bad\n2026-06-08 06:00:20;;\n"
    export = read(text, GAUGES)
    assert (export.rows, export.rows_refused) == (3, 2)
    assert reasons(export) == {
        (2, "d"): "placeholder '-' for a missing value",
        (3, ""): "placeholder '-' for a missing value",
        (4, ""): "no value",
    }


def test_an_empty_cell_in_a_row_that_is_kept_is_no_refusal(read):
    export = read("time;d;t\n2026-06-08 06:00:00;;35.5\n", GAUGES)
    assert export.refusals.height == 0
    assert export.parts[0].tidy.height == 1


def test_a_units_row_converts_to_the_gauges_units(read):
    text = "time;d;t\n;in;°F\n2026-06-08 06:00:00;0.55;95\n"
    export = read(text, GAUGES)
    assert values(export, "diameter") == pytest.approx([13.97], abs=1e-12)
    assert values(export, "temperature") == [35.0]


def test_units_of_layout_and_header_convert(read):
    layout = layout_of({"d": ("diameter", "in"), "Temp [°F]": "temperature"}, machine="sizer1")
    export = read("time;d;Temp [°F]\n2026-06-08 06:00:00;0.55;95\n", layout)
    assert values(export, "diameter") == pytest.approx([13.97], abs=1e-12)
    assert values(export, "temperature") == [35.0]


def inches(gauges: tuple[Gauge, ...]) -> Plant:
    """Give the invented works with other gauges on its sizer."""
    machines = [m.model_copy(update={"gauges": gauges}) if m.id == "sizer1" else m for m in WORKS.machines]
    return WORKS.model_copy(update={"machines": tuple(machines)})


@pytest.mark.parametrize("header", ["d", "d (in)"])
@pytest.mark.parametrize("layout_unit", ["", "in"])
def test_a_gauge_in_inches_is_kept_in_millimetres(read, header, layout_unit):
    """Measures work in mm and °C whatever unit plant.toml gives the gauge (a US works gives in and °F)."""
    gauges = (
        Gauge(id="dia", measures="rope diameter", unit="in"),
        Gauge(id="temp", measures="rope temperature", unit="°F"),
    )
    works = inches(gauges)
    layout = layout_of({header: ("dia", layout_unit), "t": "temp"}, machine="sizer1")
    export = read(f"time;{header};t\n2026-06-08 06:00:00;0.55;95\n", layout, plant=works)
    assert values(export, "dia") == pytest.approx([13.97], abs=1e-12)
    assert values(export, "temp") == [35.0]


def test_a_gauge_without_a_unit_is_kept_in_millimetres(read):
    works = inches((Gauge(id="dia", measures="rope diameter"),))
    layout = layout_of({"d": ("dia", "in")}, machine="sizer1")
    export = read("time;d\n2026-06-08 06:00:00;0.55\n", layout, plant=works)
    assert values(export, "dia") == pytest.approx([13.97], abs=1e-12)


def test_a_unit_that_cannot_become_the_gauges_is_an_error(read):
    layout = layout_of({"d": ("diameter", "kg"), "t": ("temperature", "smoots")}, machine="sizer1")
    with pytest.raises(IntakeError) as caught:
        read(rows("14.02"), layout)
    assert len(caught.value.faults) == 2


def test_where_layout_and_units_row_disagree_the_file_is_believed_and_it_is_said(read):
    layout = layout_of({"d": ("diameter", "mm"), "t": "temperature"}, machine="sizer1")
    export = read("time;d;t\n;in;°C\n2026-06-08 06:00:00;0.55;35\n", layout)
    assert values(export, "diameter") == pytest.approx([13.97], abs=1e-12)
    assert any("the layout says mm" in note for note in export.notes)


def test_evidence_counts_what_proves_a_mark():
    found = evidence(pl.Series(["1,234", "12,5", "7"]))
    assert (found.comma, found.point, found.both, found.mark) == (1, 0, 1, ",")


def test_a_units_row_of_a_feed_counter_leaves_its_counts_whole(read):
    works = WORKS.model_copy(
        update={
            "machines": (
                WORKS.machines[0].model_copy(
                    update={"counters": (Counter(id="film", counts="film", fastest_per_min=500, unit_value=0.1),)}
                ),
            )
        }
    )
    layout = layout_of({"Folie": "film"})
    assert values(read("time;Folie\n;dm\n2026-06-08 06:00:00;51233\n", layout, plant=works), "film") == [51233.0]
    assert values(read("time;Folie\n;m\n2026-06-08 06:00:00;5123,3\n", layout, plant=works), "film") == [51233.0]


def test_a_units_row_with_a_word_nobody_knows_is_still_one(read):
    export = read("time;d;t;x\n;mm;°C;Schritt\n2026-06-08 06:00:00;14.02;35;1\n", GAUGES)
    assert (export.rows, export.rows_refused) == (1, 0)


def test_a_row_without_a_time_under_the_header_is_no_units_row(read):
    layout = layout_of({"S": "state"}, shape="long", name_column="name", value_column="v", quality_column="q")
    export = read("time;name;v;q\n;S;-;Good\n2026-06-08 06:00:00;S;Run;Good\n", layout)
    assert (export.rows, export.rows_refused) == (2, 1)
