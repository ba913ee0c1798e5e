"""Conversions of units, at the edges only: inside, every column's name ends with its unit."""

from __future__ import annotations

from fractions import Fraction
from typing import TypeVar

import polars as pl

from lineview.core.errors import Fault, IntakeError

Quantity = TypeVar("Quantity", float, pl.Expr, pl.Series)

_INCH = Fraction(254, 10000)
_POUND = Fraction(45359237, 100000)

#: How much of the dimension's base unit one unit is, exactly.
FACTORS: dict[str, dict[str, Fraction]] = {
    "length": {
        "m": Fraction(1),
        "mm": Fraction(1, 1000),
        "cm": Fraction(1, 100),
        "dm": Fraction(1, 10),
        "km": Fraction(1000),
        "µm": Fraction(1, 1000000),
        "in": _INCH,
        "ft": 12 * _INCH,
        "yd": 36 * _INCH,
    },
    "mass": {
        "g": Fraction(1),
        "mg": Fraction(1, 1000),
        "kg": Fraction(1000),
        "t": Fraction(1000000),
        "oz": _POUND / 16,
        "lb": _POUND,
    },
    "time": {
        "s": Fraction(1),
        "ms": Fraction(1, 1000),
        "min": Fraction(60),
        "h": Fraction(3600),
        "d": Fraction(86400),
    },
    "speed": {
        "m/s": Fraction(1),
        "mm/s": Fraction(1, 1000),
        "m/min": Fraction(1, 60),
        "ft/min": 12 * _INCH / 60,
        "in/s": _INCH,
    },
    "turning": {"rpm": Fraction(1), "1/s": Fraction(60)},
    "count": {"pieces": Fraction(1), "thousand": Fraction(1000)},
}

_TEMPERATURES = ("°C", "°F", "K")

#: Other ways people write a unit, in lower case without dots and blanks.
_ALSO: dict[str, str] = {
    '"': "in", "''": "in", "inch": "in", "inches": "in", "zoll": "in", "pouce": "in", "pouces": "in",
    "pulgada": "in", "pulgadas": "in", "pollici": "in", "'": "ft", "foot": "ft", "feet": "ft", "yard": "yd",
    "yards": "yd", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "mtr": "m", "metros": "m",
    "metri": "m", "mètres": "m", "um": "µm", "micron": "µm", "microns": "µm", "millimeter": "mm",
    "millimetre": "mm", "centimeter": "cm", "centimetre": "cm",
    "gr": "g", "gm": "g", "gram": "g", "grams": "g", "gramm": "g", "grammes": "g", "gramos": "g",
    "grammi": "g", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg", "kgs": "kg", "lbs": "lb",
    "pound": "lb", "pounds": "lb", "ounce": "oz", "ounces": "oz", "tonne": "t", "tonnes": "t",
    "c": "°C", "degc": "°C", "ºc": "°C", "℃": "°C", "celsius": "°C", "deg c": "°C", "f": "°F", "degf": "°F",
    "ºf": "°F", "℉": "°F", "fahrenheit": "°F", "kelvin": "K",
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "sek": "s", "seg": "s", "msec": "ms",
    "mins": "min", "minute": "min", "minutes": "min", "minuten": "min", "minutos": "min", "minuti": "min",
    "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "std": "h", "stunden": "h", "day": "d", "days": "d",
    "mps": "m/s", "mpm": "m/min", "fpm": "ft/min", "ft/m": "ft/min", "ips": "in/s", "m/sec": "m/s",
    "mm/sec": "mm/s", "in/sec": "in/s",
    "1/min": "rpm", "u/min": "rpm", "min-1": "rpm", "r/min": "rpm", "rev/min": "rpm", "tr/min": "rpm",
    "giri/min": "rpm", "hz": "1/s", "rev/s": "1/s",
    "pc": "pieces", "pcs": "pieces", "piece": "pieces", "stk": "pieces", "stück": "pieces", "st": "pieces",
    "count": "pieces", "counts": "pieces", "cnt": "pieces", "ea": "pieces", "each": "pieces",
    "pièces": "pieces", "piezas": "pieces", "pezzi": "pieces", "stuks": "pieces", "no": "pieces",
    "1000": "thousand", "tsd": "thousand", "thousands": "thousand", "k": "thousand",
}  # fmt: skip


def dimension(unit: str) -> str:
    """Give what a unit measures: "length", "mass", "temperature", ..., or "" where it is unknown.

    Examples
    --------
    >>> dimension("oz"), dimension("°F"), dimension("furlong")
    ('mass', 'temperature', '')
    """
    if unit in _TEMPERATURES:
        return "temperature"
    return next((name for name, units in FACTORS.items() if unit in units), "")


def unit_named(text: str) -> str:
    """Give the unit that a text names, or "" where it names none.

    Parameters
    ----------
    text : str
        As written in a units row or in brackets behind a header.

    Returns
    -------
    str
        One of the units `convert` knows.

    Examples
    --------
    >>> unit_named("[inches]"), unit_named("deg F"), unit_named("Lbs."), unit_named("Anna")
    ('in', '°F', 'lb', '')
    """
    bare = text.strip().strip("[](){}").strip().replace("μ", "µ")
    if dimension(bare):
        return bare
    key = "".join(bare.casefold().split()).rstrip(".")
    if key in _ALSO:
        return _ALSO[key]
    known = [u for units in FACTORS.values() for u in units] + list(_TEMPERATURES)
    if len(bare) == 1:
        return ""  # "S" and "M" are not seconds and metres
    return next((unit for unit in known if unit.casefold() == key), "")


def convert(value: Quantity, given: str, wanted: str) -> Quantity:
    """Convert a number, expression or series from one unit to another of the same dimension.

    Parameters
    ----------
    value : float, polars.Expr or polars.Series
        In `given`.
    given, wanted : str
        Units as `dimension` knows them; the same text twice converts nothing.

    Returns
    -------
    float, polars.Expr or polars.Series
        In `wanted`.

    Raises
    ------
    IntakeError
        Where the two do not measure the same thing.

    Notes
    -----
    The factors are exact: an inch is 25.4 mm, a pound 453.59237 g, by definition.
    Source: yard-and-pound-1959

    Examples
    --------
    >>> convert(1.0, "in", "mm"), convert(50.0, "°F", "°C"), round(convert(50.0, "lb", "kg"), 6)
    (25.4, 10.0, 22.679619)
    """
    if given == wanted:
        return value
    kind = dimension(given)
    if not kind or kind != dimension(wanted):
        raise IntakeError(
            Fault(
                f"'{given}' cannot be converted to '{wanted}'",
                "unit",
                f"a unit of {dimension(wanted) or 'the same kind'}",
            )
        )
    if kind == "temperature":
        return _from_celsius(_to_celsius(value, given), wanted)
    ratio = FACTORS[kind][given] / FACTORS[kind][wanted]
    if ratio.denominator == 1:
        return value * float(ratio.numerator)
    if ratio.numerator == 1:
        return value / float(ratio.denominator)
    return value * float(ratio)


def _to_celsius(value: Quantity, given: str) -> Quantity:
    if given == "°F":
        return (value - 32.0) * 5.0 / 9.0
    return value - 273.15 if given == "K" else value


def _from_celsius(value: Quantity, wanted: str) -> Quantity:
    if wanted == "°F":
        return value * 9.0 / 5.0 + 32.0
    return value + 273.15 if wanted == "K" else value
