"""The one table of units, and conversions at the edges: inside, every column's name ends with its unit."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, NamedTuple, TypeVar

import polars as pl

from lineview.core.errors import Fault, IntakeError

Quantity = TypeVar("Quantity", float, pl.Expr, pl.Series)
System = Literal["metric", "US"]

_INCH = Fraction(254, 10000)
_POUND = Fraction(45359237, 100000)


class Unit(NamedTuple):
    """One unit: what it measures, how much it is, how US units show it and how else people write it."""

    name: str
    dimension: str
    factor: Fraction  # of the dimension's base unit, exactly; of temperatures, the size of a degree
    shown_us: str = ""  # the unit that a plant in US units reads instead
    spellings: str = ""  # in lower case, without dots; the first is the plural a sentence uses
    in_exports: bool = True  # whether a header can name it ("mil" is a thousand in Spanish)


_UNITY = Fraction(1)
# Inch, foot, yard, pound and ounce as defined in 1959 (yard-and-pound-1959); the US units shown are those of
# NIST Special Publication 811 (2008), appendix B.8 (nist-sp-811).
_TABLE = (
    Unit("m", "length", _UNITY, "ft", "metres metre meter meters mtr metros metri mètres"),
    Unit("mm", "length", Fraction(1, 1000), "in", "millimetres millimetre millimeter"),
    Unit("cm", "length", Fraction(1, 100), "", "centimetres centimetre centimeter"),
    Unit("dm", "length", Fraction(1, 10)),
    Unit("km", "length", Fraction(1000)),
    Unit("µm", "length", Fraction(1, 1000000), "mil", "microns micron um"),
    Unit("in", "length", _INCH, "", "inches inch \" '' zoll pouce pouces pulgada pulgadas pollici"),
    Unit("ft", "length", 12 * _INCH, "", "feet foot '"),
    Unit("yd", "length", 36 * _INCH, "", "yards yard"),
    Unit("mil", "length", _INCH / 1000, in_exports=False),
    Unit("m²", "area", _UNITY, "ft²", in_exports=False),
    Unit("ft²", "area", (12 * _INCH) ** 2, in_exports=False),
    Unit("g", "mass", _UNITY, "oz", "grams gram gr gm gramm grammes gramos grammi"),
    Unit("mg", "mass", Fraction(1, 1000), "", "milligrams"),
    Unit("kg", "mass", Fraction(1000), "lb", "kilograms kilogram kilo kilos kgs"),
    Unit("t", "mass", Fraction(1000000), "", "tonnes tonne"),
    Unit("oz", "mass", _POUND / 16, "", "ounces ounce"),
    Unit("lb", "mass", _POUND, "", "pounds pound lbs"),
    Unit("s", "time", _UNITY, "", "seconds second sec secs sek seg"),
    Unit("ms", "time", Fraction(1, 1000), "", "milliseconds msec"),
    Unit("min", "time", Fraction(60), "", "minutes minute mins minuten minutos minuti"),
    Unit("h", "time", Fraction(3600), "", "hours hour hr hrs std stunden"),
    Unit("d", "time", Fraction(86400), "", "days day"),
    Unit("m/s", "speed", _UNITY, "", "m/sec mps"),
    Unit("mm/s", "speed", Fraction(1, 1000), "", "mm/sec"),
    Unit("m/min", "speed", Fraction(1, 60), "", "mpm"),
    Unit("ft/min", "speed", 12 * _INCH / 60, "", "ft/m fpm"),
    Unit("in/s", "speed", _INCH, "", "in/sec ips"),
    Unit("rpm", "turning", _UNITY, "", "1/min u/min min-1 r/min rev/min tr/min giri/min"),
    Unit("1/s", "turning", Fraction(60), "", "rev/s hz"),
    Unit(
        "pieces",
        "count",
        _UNITY,
        "",
        "pieces piece pc pcs stk stück st count counts cnt ea each pièces piezas pezzi stuks no",
    ),
    Unit("thousand", "count", Fraction(1000), "", "thousands 1000 tsd k"),
    Unit("°C", "temperature", _UNITY, "°F", "c degc ºc ℃ celsius"),
    Unit("°F", "temperature", Fraction(5, 9), "", "f degf ºf ℉ fahrenheit"),
    Unit("K", "temperature", _UNITY, "", "kelvin"),
)
UNITS: dict[str, Unit] = {unit.name: unit for unit in _TABLE}
_READ = {name: unit for name, unit in UNITS.items() if unit.in_exports}
_SPELLINGS = {spelling: unit.name for unit in _TABLE for spelling in unit.spellings.split()}

#: What a plant in US units reads instead of each of these units.
US: dict[str, str] = {unit.name: unit.shown_us for unit in _TABLE if unit.shown_us}
#: Grams in one of each other unit that a scale may have shown [g], by its name in a sentence.
GRAMS: dict[str, float] = {
    UNITS[name].spellings.split()[0]: float(UNITS[name].factor) for name in ("oz", "kg", "mg", "lb")
}


def dimension(unit: str) -> str:
    """What a unit of an export measures: "length", "mass", "temperature", ..., or "" where it is unknown.

    Examples
    --------
    >>> dimension("oz"), dimension("°F"), dimension("furlong")
    ('mass', 'temperature', '')
    """
    return _READ[unit].dimension if unit in _READ else ""


def factor_between(unit: str, target: str) -> Fraction:
    """How many of the wanted unit one of the given unit is, exactly; for temperatures, of their degrees.

    Parameters
    ----------
    unit, target : str
        Names in UNITS, of one dimension.
    """
    return UNITS[unit].factor / UNITS[target].factor


def unit_named(text: str) -> str:
    """The unit that a text names, or "" where it names none.

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
    >>> unit_named("[inches]"), unit_named("deg F"), unit_named("Lbs."), unit_named("KG"), unit_named("S")
    ('in', '°F', 'lb', 'kg', '')
    """
    bare = text.strip().strip("[](){}").strip().replace("μ", "µ")
    if bare in _READ:
        return bare
    key = "".join(bare.casefold().split()).rstrip(".")
    if key in _SPELLINGS:
        return _SPELLINGS[key]
    if len(bare) == 1:
        return ""  # "S" and "M" are not seconds and metres
    return next((name for name in _READ if name.casefold() == key), "")


def convert(value: Quantity, unit: str, target: str) -> Quantity:
    """Convert a number, expression or series from one unit to another of the same dimension.

    Parameters
    ----------
    value : float, polars.Expr or polars.Series
        In `unit`.
    unit, target : str
        Units as `dimension` knows them; the same text twice converts nothing.

    Returns
    -------
    float, polars.Expr or polars.Series
        In `target`.

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
    if unit == target:
        return value
    kind = dimension(unit)
    if not kind or kind != dimension(target):
        what = f"'{unit}' cannot be converted to '{target}'"
        expected = f"a unit of {dimension(target) or 'the same kind'}"
        raise IntakeError(Fault(what, "unit", expected))
    if kind == "temperature":
        return _from_celsius(_to_celsius(value, unit), target)
    factor = factor_between(unit, target)
    if factor.numerator == 1:  # to divide by a whole number rounds once
        return value / float(factor.denominator)
    return value * float(factor)


def _to_celsius(value: Quantity, unit: str) -> Quantity:
    if unit == "°F":
        return (value - 32.0) * 5.0 / 9.0
    return value - 273.15 if unit == "K" else value


def _from_celsius(value: Quantity, target: str) -> Quantity:
    if target == "°F":
        return value * 9.0 / 5.0 + 32.0
    return value + 273.15 if target == "K" else value


def in_units(value: float, unit: str, system: System) -> tuple[float, str]:
    """A value and its unit as the plant reads them.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        "mm", "mm/h", "m/1000 pieces", "EUR/kg", ...; a part that US does not name stays as it is.
    system : str
        "metric" or "US".

    Returns
    -------
    (float, str)
        Converted value and unit.

    Notes
    -----
    Source: nist-sp-811

    Examples
    --------
    >>> in_units(25.4, "mm", "US")
    (1.0, 'in')
    >>> in_units(0.508, "mm/h", "US")
    (0.02, 'in/h')
    >>> in_units(35.0, "°C", "US")
    (95.0, '°F')
    >>> in_units(1.0, "EUR/kg", "US")
    (0.45359237, 'EUR/lb')
    """
    if system == "metric" or not unit:
        return value, unit
    if unit == "°C":
        return convert(value, unit, US[unit]), US[unit]
    parts = unit.split("/")
    shown_parts = [US.get(part, part) for part in parts]
    divisor = _UNITY
    for place, part in enumerate(parts):
        if part in US:
            divisor *= factor_between(*((US[part], part) if place == 0 else (part, US[part])))
    return value / float(divisor), "/".join(shown_parts)
