"""How the rope answer writes lengths, rates and moments."""

from __future__ import annotations

from datetime import datetime

from lineview.core.units import in_units
from lineview.plant import Plant


def length(mm: float, plant: Plant, *, signed: bool = False, rate: bool = False) -> str:
    """Write a small length, or a change of length an hour, in the plant's units.

    Parameters
    ----------
    mm : float
        Length [mm], or change [mm/h] where `rate`.
    plant : Plant
        For its units.
    signed : bool
        Write a plus sign too.
    rate : bool
        One more decimal.

    Returns
    -------
    str
        Such as "0.11 mm" or "−0.011 mm".

    Examples
    --------
    >>> from lineview.plant import Plant
    >>> length(-0.0112, Plant(shop="Invented Sweets"), rate=True)
    '−0.011 mm'
    """
    value, unit = in_units(mm, "mm", plant.units)
    decimals = (3 if rate else 2) + (2 if plant.units == "US" else 0)
    if rate and 0 < abs(value) < 10**-decimals * 10:
        decimals += 1
    word = "inch" if unit == "in" else unit  # "0.0002 in an hour" would be read as a preposition
    return f"{number(value, decimals, signed=signed)} {word}"


def number(value: float, decimals: int, *, signed: bool = False) -> str:
    """Write a number with a true minus sign.

    Parameters
    ----------
    value : float
        The number.
    decimals : int
        Digits after the point.
    signed : bool
        Write a plus sign too.

    Returns
    -------
    str
        The number; never "−0".

    Examples
    --------
    >>> number(-0.004, 2), number(0.5, 1, signed=True)
    ('0.00', '+0.5')
    """
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return text.lstrip("-")
    if signed and value > 0:
        return "+" + text
    return text.replace("-", "−")


def moment(at: datetime, plant: Plant, now: datetime) -> str:
    """Write a moment by weekday within six days of now, by date else.

    Parameters
    ----------
    at : datetime
        The moment [UTC].
    plant : Plant
        For its zone.
    now : datetime
        The latest moment known [UTC].

    Returns
    -------
    str
        Such as "Friday 10:40" or "3 July 10:40".

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from lineview.plant import Plant
    >>> moment(datetime(2026, 6, 12, 10, 40, tzinfo=UTC), Plant(shop="x"), datetime(2026, 6, 10, tzinfo=UTC))
    'Friday 10:40'
    """
    local, us = at.astimezone(plant.tz), plant.units == "US"
    clock = f"{local.hour % 12 or 12}:{local:%M\N{NO-BREAK SPACE}%p}" if us else f"{local:%H:%M}"
    if abs((at - now).total_seconds()) < 6 * 86400:
        return f"{local:%A} {clock}"
    year = "" if local.year == now.astimezone(plant.tz).year else f" {local.year}"
    return f"{local:%B} {local.day}{year} {clock}" if us else f"{local.day} {local:%B}{year} {clock}"


def about(at: datetime, plant: Plant, now: datetime) -> str:
    """Write a forecast's moment, rounded to ten minutes.

    Parameters
    ----------
    at : datetime
        The moment [UTC].
    plant : Plant
        For its zone.
    now : datetime
        The latest moment known [UTC].

    Returns
    -------
    str
        Such as "Friday about 10:40".

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from lineview.plant import Plant
    >>> about(datetime(2026, 6, 12, 10, 38, tzinfo=UTC), Plant(shop="x"), datetime(2026, 6, 10, tzinfo=UTC))
    'Friday about 10:40'
    """
    rounded = datetime.fromtimestamp(round(at.timestamp() / 600) * 600, tz=at.tzinfo)
    day, _, clock = moment(rounded, plant, now).rpartition(" ")
    return f"{day} about {clock}"
