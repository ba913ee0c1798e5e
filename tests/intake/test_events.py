"""Weights, batches, stops, reels, stock and plan: their fields, units, essentials and refusals."""

from __future__ import annotations

import pytest

from lineview.core.errors import IntakeError
from lineview.core.frames import BATCHES, PLAN, REELS, STOCK, STOP_LOG, WEIGHTS
from tests.intake.invented_works import layout_of, reasons, utc


def column(export, name: str) -> list[object]:
    return export.parts[0].tidy.sort("row", maintain_order=True)[name].to_list()


def schema(export) -> dict:
    return dict(export.parts[0].tidy.schema)


def test_weights_in_ounces_and_in_several_columns(read):
    layout = layout_of(
        {"w1": ("mass_g", "oz"), "w2": ("mass_g", "oz"), "lot": "batch", "s": "sample"}, kind="weights", gross=True
    )
    export = read("time,w1,w2,lot,s\n2026-06-08 06:00:00,0.25,0.5,B1,7\n2026-06-08 06:05:00,0.25,,B1,8\n", layout)
    assert schema(export) == WEIGHTS
    assert sorted(column(export, "mass_g")) == pytest.approx([7.08738078125, 7.08738078125, 14.1747615625])
    assert export.parts[0].tidy["gross"].all()
    assert column(export, "pieces") == [1, 1, 1]
    assert (export.rows, export.rows_refused) == (2, 0)


def test_weights_of_zero_and_less_and_bad_piece_counts_are_refused(read):
    layout = layout_of({"g": ("mass_g", "g"), "n": "pieces"}, kind="weights")
    text = (
        "time;g;n\n2026-06-08 06:00:00;65.5;10\n2026-06-08 06:00:00;0;10\n2026-06-08 06:00:00;-1;10\n"
        "2026-06-08 06:00:00;65.5;x\n2026-06-08 06:00:00;;10\n2026-06-08 06:00:00;65.5;\n"
        "2026-06-08 06:00:00;65.5;1.5\n"
    )
    export = read(text, layout)
    assert column(export, "pieces") == [10, 1]
    assert reasons(export) == {
        (3, ""): "'0' is not above zero",
        (4, ""): "'-1' is not above zero",
        (5, ""): "'x' is not a number with decimal '.'",
        (6, ""): "no mass_g",
        (8, ""): "'1.5' is not a whole number",
    }


def test_batches_take_the_line_of_the_row_before_the_layouts(read):
    layout = layout_of(
        {
            "Charge": "batch", "Sorte": "product", "Linie": "line", "Ende": "end",
            "Einwaage": ("mass_in_kg", "lb"),
        },
        kind="batches", machine=None, line="line2", time="Beginn",
    )  # fmt: skip
    text = (
        "Charge;Sorte;Linie;Beginn;Ende;Einwaage\nB1;Plum;Linie 1;2026-06-08 06:00:00;06:09:30;50\n"
        "B2;Pear;;2026-06-08 23:55:00;00:04;\nB3;Pear;line9;2026-06-08 08:00:00;;50\n"
        ";Pear;;2026-06-08 09:00:00;;50\n"
    )
    export = read(text, layout)
    assert schema(export) == BATCHES
    assert column(export, "line") == ["line1", "line2"]
    assert utc(export, "end") == ["2026-06-08 04:09:30", "2026-06-08 22:04:00"]
    assert column(export, "mass_in_kg") == [pytest.approx(22.6796185), None]
    assert reasons(export) == {(4, ""): "unknown line 'line9'", (5, ""): "no batch"}


def test_stops_end_by_duration_or_by_their_end(read):
    layout = layout_of({"dur": ("duration", "min"), "why": "reason"}, kind="stops", time="von")
    export = read("von;dur;why\n2026-06-08 06:00:00;2,5;jam\n2026-06-08 07:00:00;;\n", layout)
    assert schema(export) == STOP_LOG
    assert utc(export, "end") == ["2026-06-08 04:02:30", ""]
    assert column(export, "reason") == ["jam", None]


def test_durations_as_clock_and_of_unknown_unit(read):
    export = read("a;d\n2026-06-08 06:00:00;0:02:30\n", layout_of({"d": "duration"}, kind="stops", time="a"))
    assert utc(export, "end") == ["2026-06-08 04:02:30"]
    with pytest.raises(IntakeError, match="unknown unit"):
        read("a;d\n2026-06-08 06:00:00;150\n", layout_of({"d": "duration"}, kind="stops", time="a"))


def test_a_stop_that_ends_before_it_starts_keeps_its_start(read):
    layout = layout_of({"end": "end"}, kind="stops", time="start")
    export = read("start;end\n2026-06-08 06:00:00;2026-06-08 05:00:00\n", layout)
    assert column(export, "end") == [None]
    assert "before the start" in reasons(export)[2, "end"]


def test_a_stop_over_the_repeated_hour(read):
    layout = layout_of({"end": "end"}, kind="stops", time="start")
    export = read("start;end\n2026-10-25 02:50:00;2026-10-25 02:10:00\n", layout)
    assert utc(export, "start") == ["2026-10-25 00:50:00"]
    assert utc(export, "end") == ["2026-10-25 01:10:00"]


def test_machines_of_rows_by_name_and_unknown_ones_refused(read):
    layout = layout_of({"reason": "reason"}, kind="stops", machine=None, machine_column="m", time="start")
    export = read("start;m;reason\n2026-06-08 06:00:00;WRAP1;a\n2026-06-08 06:00:00;wrap7;b\n", layout)
    assert column(export, "machine") == ["wrap1"]
    assert reasons(export) == {(3, ""): "unknown machine 'wrap7'"}


def test_reels(read):
    layout = layout_of(
        {
            "Bahn": "web", "Rolle": "reel", "Länge": ("length_m", "ft"), "Rest": ("left_m", "m"),
            "Kl": "splices",
        },
        kind="reels", time="wann", time_format="%d.%m.%Y %H:%M", decimal=",", thousands=".",
    )  # fmt: skip
    text = (
        "wann;Bahn;Rolle;Länge;Rest;Kl\n08.06.2026 06:00;film-plum;R1;9.000;12,5;2\n"
        "08.06.2026 07:00;FILM-PLUM;R2;9.000;-;0\n08.06.2026 08:00;string;R3;9.000;1;0\n"
    )
    export = read(text, layout)
    assert schema(export) == REELS
    assert column(export, "length_m") == [pytest.approx(2743.2)] * 2
    assert column(export, "web") == ["film-plum", "film-plum"]
    assert reasons(export) == {(3, "Rest"): "placeholder '-' for a missing value", (4, ""): "unknown web 'string'"}


def test_stock_needs_one_quantity(read):
    layout = layout_of(
        {"web": "web", "whole": "whole_reels", "part": ("part_reel_outer_mm", "cm"), "due": "expected_on"},
        kind="stock", machine=None, time="counted", time_format="%d.%m.%Y",
    )  # fmt: skip
    text = "counted;web;whole;part;due\n08.06.2026;wax;3;21,5;12.06.2026\n08.06.2026;wax;;;12.06.2026\nTotal;;3;;\n"
    export = read(text, layout)
    assert schema(export) == STOCK
    assert column(export, "part_reel_outer_mm") == [215.0]
    assert utc(export, "expected_on") == ["2026-06-11 22:00:00"]
    assert reasons(export) == {(3, ""): "no whole_reels or part_reel_outer_mm or on_order_reels"}


def test_plan_by_day_by_span_and_by_week(read):
    day = layout_of({"p": "product", "n": "pieces"}, kind="plan", machine=None, line="line1", time="day")
    export = read("day;p;n\n2026-03-29;Plum;120000\n2026-03-30;Plum;x\n", day)
    assert schema(export) == PLAN
    assert utc(export, "start") == ["2026-03-28 23:00:00"]
    assert utc(export, "end") == ["2026-03-29 22:00:00"]  # the day of the spring change has 23 hours
    span = layout_of(
        {"p": "product", "n": "pieces", "until": "end"}, kind="plan", machine=None, line="line1", time="from"
    )
    export = read("from;until;p;n\n2026-06-08;2026-06-13;Plum;5\n2026-06-08;2026-06-08;Plum;5\n", span)
    assert utc(export, "end") == ["2026-06-12 22:00:00", "2026-06-08 22:00:00"]
    week = layout_of({"KW": "week", "p": "product", "n": "pieces"}, kind="plan", machine=None, line="line1")
    export = read("KW;p;n\n2026-W24;Plum;5\nKW 24/2026;Plum;5\n24;Plum;5\n", week)
    assert utc(export, "start") == ["2026-06-07 22:00:00"] * 2
    assert utc(export, "end") == ["2026-06-14 22:00:00"] * 2
    assert reasons(export) == {(4, ""): "'24' is not a week with its year"}


def test_essential_fields_without_a_column_are_errors_all_at_once(read):
    layout = layout_of({"x": "reel"}, kind="reels", machine=None, time="t")
    with pytest.raises(IntakeError) as caught:
        read("t;x\n2026-06-08;R1\n", layout)
    assert [fault.what for fault in caught.value.faults] == [
        "layout 'test' has no column for machine",
        "layout 'test' has no column for web",
    ]


def test_a_target_that_is_no_field_is_an_error(read):
    with pytest.raises(IntakeError, match="'colour', which is not a field of weights"):
        read("time;g;c\n2026-06-08;6;x\n", layout_of({"g": "mass_g", "c": "colour"}, kind="weights"))
