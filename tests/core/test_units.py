"""Conversions of units; factors as NIST SP 811 (2008), appendix B.8 prints them, from memory."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.core.units import FACTORS, convert, dimension, unit_named
from lineview.errors import IntakeError


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
        ("h", "s", 3600.0),
    ],
)
def test_printed_factors_from_memory(given, wanted, printed):
    assert convert(1.0, given, wanted) == pytest.approx(printed, rel=2e-7)


@pytest.mark.parametrize(
    ("value", "given", "wanted", "is_"),
    [
        (212.0, "°F", "°C", 100.0),
        (0.0, "°C", "K", 273.15),
        (-40.0, "°C", "°F", -40.0),
        (35.0, "°C", "°F", 95.0),
    ],
)
def test_temperatures(value, given, wanted, is_):
    assert convert(value, given, wanted) == pytest.approx(is_, abs=1e-12)


def test_there_and_back_for_every_pair():
    for units in FACTORS.values():
        for given in units:
            for wanted in units:
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
    [
        ("[Inches]", "in"),
        ("Lbs.", "lb"),
        ("Stk", "pieces"),
        ("(°F)", "°F"),
        ("μm", "µm"),
        ("U/min", "rpm"),
        ("x", ""),
    ],
)
def test_names_of_units(text, unit):
    assert unit_named(text) == unit
    assert not unit or dimension(unit)
