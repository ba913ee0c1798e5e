"""Conversions of units; factors as NIST SP 811 (2008), appendix B.8 prints them, from memory."""

from __future__ import annotations

from fractions import Fraction

import polars as pl
import pytest

from lineview.core.errors import IntakeError
from lineview.core.units import GRAMS, UNITS, US, convert, dimension, in_units, unit_named

#: Each unit in its dimension's base unit: what NIST SP 811 prints in bold, that is exactly (from memory); the SI
#: brochure's prefixes.
EXACTLY = {
    "m": "1", "mm": "1e-3", "cm": "1e-2", "dm": "1e-1", "km": "1e3", "µm": "1e-6",
    "in": "2.54e-2", "ft": "3.048e-1", "yd": "9.144e-1", "mil": "2.54e-5", "m²": "1", "ft²": "9.290304e-2",
    "g": "1", "mg": "1e-3", "kg": "1e3", "t": "1e6", "oz": "28.349523125", "lb": "453.59237",
    "s": "1", "ms": "1e-3", "min": "60", "h": "3600", "d": "86400",
    "m/s": "1", "mm/s": "1e-3", "m/min": "1/60", "ft/min": "5.08e-3", "in/s": "2.54e-2", "rpm": "1", "1/s": "60",
    "pieces": "1", "thousand": "1000", "°C": "1", "°F": "5/9", "K": "1",
}  # fmt: skip


def test_every_factor_is_the_exact_one():
    assert {name: unit.factor for name, unit in UNITS.items()} == {u: Fraction(text) for u, text in EXACTLY.items()}


@pytest.mark.parametrize(
    ("value", "given", "wanted", "is_"),
    [
        (212.0, "°F", "°C", 100.0),
        (0.0, "°C", "K", 273.15),
        (300.0, "K", "°C", 26.85),
        (-40.0, "°C", "°F", -40.0),
        (35.0, "°C", "°F", 95.0),
        (32.0, "°F", "K", 273.15),
    ],
)
def test_temperatures(value, given, wanted, is_):
    assert convert(value, given, wanted) == pytest.approx(is_, abs=1e-12)


def test_there_and_back_for_every_pair():
    for given in UNITS:
        for wanted in UNITS:
            if dimension(given) == dimension(wanted) not in ("", "temperature"):
                assert convert(convert(7.3, given, wanted), wanted, given) == pytest.approx(7.3, rel=1e-14)


def test_a_whole_number_of_parts_is_rounded_once():
    assert [convert(float(k), "mm", "m") for k in range(100)] == [k / 1000 for k in range(100)]


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


def test_grams_in_other_units_of_a_scale():
    assert GRAMS == {"ounces": 28.349523125, "kilograms": 1000.0, "milligrams": 0.001, "pounds": 453.59237}


def test_every_spelling_names_one_unit():
    spellings = [spelling for unit in UNITS.values() for spelling in unit.spellings.split()]
    assert len(spellings) == len(set(spellings))
    assert all(unit_named(spelling) for spelling in spellings if len(spelling) > 1)


def test_a_unit_that_is_only_shown_is_not_read_in_a_header():
    assert (unit_named("mil"), dimension("mil")) == ("", "")
    with pytest.raises(IntakeError):
        convert(1.0, "mil", "mm")
