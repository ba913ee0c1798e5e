"""Conversions of units; factors as NIST SP 811 (2008), appendix B.8 prints them, from memory."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.core.errors import IntakeError
from lineview.core.units import GRAMS, UNITS, US, convert, dimension, in_units, unit_named


@pytest.mark.parametrize(
    ("given", "wanted", "printed"),
    [
        ("in", "mm", 25.4),
        ("ft", "m", 0.3048),
        ("yd", "m", 0.9144),
        ("oz", "g", 28.34952),
        ("lb", "kg", 0.4535924),
        ("ft/min", "m/s", 0.00508),
        ("in/s", "mm/s", 25.4),
        ("m/min", "mm/s", 16.66667),
        ("min", "s", 60.0),
        ("h", "s", 3600.0),
        ("d", "s", 86400.0),
    ],
)
def test_printed_factors_from_memory(given, wanted, printed):
    assert convert(1.0, given, wanted) == pytest.approx(printed, rel=2e-7)


@pytest.mark.parametrize(
    ("value", "given", "wanted", "is_"),
    [(212.0, "°F", "°C", 100.0), (0.0, "°C", "K", 273.15), (-40.0, "°C", "°F", -40.0), (35.0, "°C", "°F", 95.0)],
)
def test_temperatures(value, given, wanted, is_):
    assert convert(value, given, wanted) == pytest.approx(is_, abs=1e-12)


def test_there_and_back_for_every_pair():
    for given in UNITS:
        for wanted in UNITS:
            if dimension(given) == dimension(wanted) not in ("", "temperature"):
                assert convert(convert(7.3, given, wanted), wanted, given) == pytest.approx(7.3, rel=1e-14)


def test_series_and_expressions():
    assert convert(pl.Series([1.0, 2.0]), "in", "mm").to_list() == [25.4, 50.8]
    assert pl.select(convert(pl.lit(50.0), "°F", "°C")).item() == 10.0


def test_what_does_not_measure_the_same_is_an_error():
    with pytest.raises(IntakeError, match="'mm' cannot be converted to 'g'"):
        convert(1.0, "mm", "g")
    with pytest.raises(IntakeError):
        convert(1.0, "furlong", "m")


@pytest.mark.parametrize(
    ("text", "unit"),
    [("[Inches]", "in"), ("Lbs.", "lb"), ("Stk", "pieces"), ("(°F)", "°F"), ("μm", "µm"), ("U/min", "rpm"), ("x", "")],
)
def test_names_of_units(text, unit):
    assert unit_named(text) == unit
    assert not unit or dimension(unit)


@pytest.mark.parametrize(
    ("value", "unit", "printed", "shown"),
    [
        (1.0, "m²", 10.76391, "ft²"),
        (25.4, "µm", 1.0, "mil"),
        (1.0, "kg/h", 2.204623, "lb/h"),
        (1.0, "m/1000 pieces", 3.28084, "ft/1000 pieces"),
        (2.0, "mm/°C", 2.0 / 25.4 / 1.8, "in/°F"),
        (7.0, "pieces/min", 7.0, "pieces/min"),
    ],
)
def test_a_plant_in_us_units_reads_printed_values(value, unit, printed, shown):
    assert in_units(value, unit, "US") == (pytest.approx(printed, rel=2e-7), shown)
    assert in_units(value, unit, "metric") == (value, unit)


def test_each_unit_shown_measures_what_it_stands_for():
    assert {UNITS[metric].dimension == UNITS[shown].dimension for metric, shown in US.items()} == {True}


def test_grams_in_other_units_of_a_scale_from_memory():
    printed = {"ounces": 28.34952, "kilograms": 1000.0, "milligrams": 0.001, "pounds": 453.5924}
    assert pytest.approx(printed, rel=2e-7) == GRAMS


def test_every_spelling_names_one_unit():
    spellings = [spelling for unit in UNITS.values() for spelling in unit.spellings.split()]
    assert len(spellings) == len(set(spellings))
    assert all(unit_named(spelling) for spelling in spellings if len(spelling) > 1)


def test_a_unit_that_is_only_shown_is_not_read_in_a_header():
    assert (unit_named("mil"), dimension("mil")) == ("", "")
    with pytest.raises(IntakeError):
        convert(1.0, "mil", "mm")
