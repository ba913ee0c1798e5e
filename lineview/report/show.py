"""Values as a person reads them: the one way board, sheets and command line write numbers and moments."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, TypeGuard

from lineview.core.figure import Figure, Period
from lineview.core.units import US, System, in_units
from lineview.plant import Plant

#: What stands where nothing can be told; never 0, never an empty cell.
NOTHING = "–"
MINUS = "−"


def number(value: float, decimals: int | None = None) -> str:
    """Write a number: thousands marked, a true minus, as many decimals as carry something.

    Parameters
    ----------
    value : float or int
        Finite or not.
    decimals : int, optional
        Places after the point; by default three figures that count, and none for whole numbers.

    Returns
    -------
    str
        NOTHING for what is no number.

    Examples
    --------
    >>> number(117940), number(-0.01134), number(58.94), number(3.0)
    ('117,940', '−0.0113', '58.9', '3')
    >>> number(0.012, 3)
    '0.012'
    """
    if not math.isfinite(value):
        return NOTHING
    if decimals is None:
        decimals = decimals_of(value)
    text = f"{abs(value):,.{decimals}f}"
    return f"{MINUS}{text}" if value < 0 and any(c in "123456789" for c in text) else text


def decimals_of(value: float) -> int:
    """The places that three figures of a number take; none for a whole number."""
    if value == 0 or float(value).is_integer():
        return 0
    return min(6, max(0, 2 - math.floor(math.log10(abs(value)))))


def decimals_for(value: float | None, low: float | None, high: float | None) -> int | None:
    """The places that an interval justifies: two figures of its half-width, five of its ends at most.

    Parameters
    ----------
    value, low, high : float or None
        An estimate in the unit shown.
    """
    ends = [v for v in (value, low, high) if v is not None]
    width = max(ends) - min(ends) if len(ends) > 1 else 0.0
    if width <= 0 or not math.isfinite(width):
        return None
    justified = max(0, 1 - math.floor(math.log10(width / 2)))
    return min(6, justified, max(0, 4 - math.floor(math.log10(max(abs(v) for v in ends)))))


def moment(at: datetime, plant: Plant, *, day: bool = True, year: bool = False) -> str:
    """Write a moment in the plant's zone, the way the plant's country writes it.

    Parameters
    ----------
    at : datetime.datetime
        With its zone.
    plant : Plant
        Its zone and units say how.
    day, year : bool
        Whether the day, and its year, stand before the time.

    Returns
    -------
    str
        "Tue 9 June, 14:05", or "Tue, June 9, 2:05 PM" for a plant in US units.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2026, 6, 9, 12, 5, tzinfo=UTC)
    >>> moment(at, Plant(shop="Invented Sweets", zone="Europe/Berlin"))
    'Tue 9 June, 14:05'
    >>> moment(at, Plant(shop="Invented Sweets", zone="America/New_York", units="US"))
    'Tue, June 9, 8:05 AM'
    """
    local = at.astimezone(plant.tz)
    clock = f"{local:%H:%M}" if plant.units == "metric" else f"{local.hour % 12 or 12}:{local:%M %p}"
    return f"{a_day(local.date(), plant, year=year)}, {clock}" if day else clock


def last_reading(at: datetime, plant: Plant, today: datetime, *, advises: bool = False) -> str:
    """Write when the last reading was, and from a day on how long ago.

    Parameters
    ----------
    at : datetime.datetime
        Of the last reading, with its zone.
    plant : Plant
        Its zone and units say how.
    today : datetime.datetime
        When it is read, with its zone.
    advises : bool
        Whether it stands beside advice that holds for the day of the last reading.

    Returns
    -------
    str
        A sentence.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2026, 6, 12, 20, tzinfo=UTC)
    >>> last_reading(at, Plant(shop="Invented Sweets", zone="UTC"), datetime(2026, 11, 27, 8, tzinfo=UTC))
    'Last reading Fri 12 June 2026, 20:00, 167 days ago.'
    """
    days = (today - at).days
    ago = f", {days:,} day{'s' if days != 1 else ''} ago" if days >= 1 else ""
    newer = " The advice is for that day: add newer exports before you order." if ago and advises else ""
    return f"Last reading {moment(at, plant, year=True)}{ago}.{newer}"


def a_day(on: date, plant: Plant, *, year: bool = False) -> str:
    """Write a day; the month is a word, so that day and month cannot be mistaken for each other.

    Parameters
    ----------
    on : datetime.date
        The local day.
    plant : Plant
        Its units say which order its country uses.
    year : bool
        Whether the year follows.

    Returns
    -------
    str
        "Tue 9 June" or "Tue, June 9".
    """
    if plant.units == "metric":
        return f"{on:%a} {on.day} {on:%B}{f' {on.year}' if year else ''}"
    return f"{on:%a}, {on:%B} {on.day}{f', {on.year}' if year else ''}"


def period(span: Period, plant: Plant) -> str:
    """Write a period: its two moments, the day once where both fall on it.

    Parameters
    ----------
    span : Period
        In UTC.
    plant : Plant
        Zone and units.

    Returns
    -------
    str
        "Tue 9 June, 06:00 to 14:00".
    """
    start, end = span.start.astimezone(plant.tz), span.end.astimezone(plant.tz)
    return f"{moment(start, plant)} to {moment(end, plant, day=start.date() != end.date())}"


def unit_words(unit: str, system: System) -> str:
    """The unit as shown, for a heading.

    Parameters
    ----------
    unit : str
        As kept inside.
    system : str
        "metric" or "US".

    Returns
    -------
    str
        For instance "in" for "mm" in US units.
    """
    return in_units(0.0, unit, system)[1]


def value(figure: Figure, plant: Plant) -> str:
    """Write a figure's value with its unit, or why there is none.

    Parameters
    ----------
    figure : Figure
        Any.
    plant : Plant
        Units and zone.

    Returns
    -------
    str
        "0.0112 mm/h", "Fri 12 June, 10:40", "too few: needs 8, has 3".

    Examples
    --------
    >>> plant = Plant(shop="Invented Sweets", units="US")
    >>> value(Figure("width_mm", "width", 50.8, "mm", low=49.0, high=52.6), plant)
    '2.000 in'
    """
    if figure.value is None:
        return figure.why_none or NOTHING
    if isinstance(figure.value, datetime):
        return moment(figure.value, plant)
    if isinstance(figure.value, str):
        return figure.value
    (shown, *_), unit, places = _converted(figure, plant)
    return f"{number(shown or 0.0, places)} {unit}".rstrip()


def interval(figure: Figure, plant: Plant) -> str:
    """Write a figure's interval without its unit.

    Parameters
    ----------
    figure : Figure
        Any.
    plant : Plant
        Units and zone.

    Returns
    -------
    str
        "0.0094 to 0.0131", "at least 29", "" for none.

    Examples
    --------
    >>> plant = Plant(shop="Invented Sweets")
    >>> interval(Figure("drift_mm_per_h", "drift", 0.0112, "mm/h", low=0.0094, high=0.0131), plant)
    '0.0094 to 0.0131'
    >>> interval(Figure("left_h", "hours left", 34.0, "h", low=29.0), plant)
    'at least 29.0'
    """
    if isinstance(figure.low, datetime) or isinstance(figure.high, datetime):
        low, high = (moment(e, plant) if isinstance(e, datetime) else "" for e in (figure.low, figure.high))
    else:
        (_, lowest, highest), _, places = _converted(figure, plant)
        low, high = ("" if e is None or not math.isfinite(e) else number(e, places) for e in (lowest, highest))
    if low and high:
        return f"{low} to {high}"
    if low:
        return f"at least {low}"
    return f"at most {high}" if high else ""


def _exact(value: float) -> int | None:
    """The places of a number that five figures tell exactly, as of most that are set by hand."""
    figures, _, power = f"{value:.11e}".partition("e")
    digits = len(figures.replace(".", "").lstrip("-").rstrip("0"))
    places = max(0, digits - 1 - int(power or 0))
    return places if digits <= 5 and places <= 6 and math.isfinite(value) else None


def _converted(figure: Figure, plant: Plant) -> tuple[Sequence[float | None], str, int | None]:
    """Give value, low and high in the plant's units, the unit, and the decimals they justify."""
    told = (figure.value, figure.low, figure.high)
    parts = [float(v) if isinstance(v, int | float) else None for v in told]
    shown = [None if v is None else in_units(v, figure.unit, plant.units)[0] for v in parts]
    places = decimals_for(*(v if v is None or math.isfinite(v) else None for v in shown))
    if places is None and shown[0] is not None:
        places = _exact(shown[0])
    return shown, unit_words(figure.unit, plant.units), places


#: No column is told finer than its largest number has figures worth reading.
MOST_FIGURES = 5


def cell(content: Any, unit: str, plant: Plant, decimals: int | None = None) -> str:
    """Write a table's cell.

    Parameters
    ----------
    content : str, number, datetime, date, bool or None
        None is what cannot be told.
    unit : str
        The column's unit as kept inside; the cell itself is written without it.
    plant : Plant
        Units and zone.
    decimals : int, optional
        Places that the whole column uses.

    Returns
    -------
    str
        The text of the cell.

    Examples
    --------
    >>> cell(None, "mm", Plant(shop="Invented Sweets"))
    '–'
    """
    if content is None:
        return NOTHING
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, datetime):
        return moment(content, plant)
    if isinstance(content, date):
        return a_day(content, plant)
    if isinstance(content, int | float):
        return number(in_units(content, unit, plant.units)[0], decimals)
    return str(content)


def column_decimals(contents: Sequence[Any], unit: str, plant: Plant) -> int | None:
    """The places one column of a table uses, so that its points stand below each other.

    Parameters
    ----------
    contents : sequence
        The column's cells.
    unit : str
        Of the column, as in the table.
    plant : Plant
        Its units say in which unit the column is shown.
    """
    numbers = [in_units(c, unit, plant.units)[0] for c in contents if _counts(c)]
    if not numbers:
        return None
    if all(float(v).is_integer() for v in numbers):
        return 0
    needed = max(_needed(v) for v in numbers)
    return min(needed, decimals_of(max(abs(v) for v in numbers) + 1e-9) + 3)


def table_decimals(
    columns: Sequence[tuple[str, str, str]], rows: Sequence[Mapping[str, Any]], plant: Plant
) -> dict[str, int | None]:
    """The places of each column; those of one measure agree, so that their differences can be checked.

    Parameters
    ----------
    columns : sequence of (key, heading, unit)
        A table's.
    rows : sequence of mapping
        Its rows by those keys.
    plant : Plant
        Its units.

    Returns
    -------
    dict
        By key, as column_decimals gives it; of one measure, as many as the finest column needs for two
        figures, where that makes no more than five of the largest number.

    Examples
    --------
    >>> columns = [("before", "before", "mm"), ("by", "changed by", "mm")]
    >>> table_decimals(columns, [{"before": 0.0912, "by": -0.13}], Plant(shop="Invented Sweets"))
    {'before': 3, 'by': 3}
    >>> columns = [("mean", "mean", "g"), ("target", "target", "g"), ("off", "off target", "g")]
    >>> rows = [{"mean": 6.7382, "target": 6.7, "off": 0.0382}]
    >>> table_decimals(columns, rows, Plant(shop="Invented Sweets"))
    {'mean': 3, 'target': 3, 'off': 3}
    """
    contents = {key: [row.get(key) for row in rows] for key, _, _ in columns}
    places = {key: column_decimals(contents[key], unit, plant) for key, _, unit in columns}
    for unit in US:
        largest = {
            key: max(abs(in_units(c, unit, plant.units)[0]) for c in contents[key] if _counts(c))
            for key, _, of in columns
            if of == unit and places[key]
        }
        own = {key: max(0, decimals_of(most + 1e-9) - 1) for key, most in largest.items()}
        finest = max(own.values(), default=0)
        agreed = min((places[key] or 0 for key in largest), default=0)
        for key, most in largest.items():
            places[key] = max(agreed, own[key], min(finest, MOST_FIGURES - len(str(int(most)))))
    return places


def _counts(content: Any) -> TypeGuard[float]:
    return isinstance(content, int | float) and not isinstance(content, bool) and math.isfinite(content)


def _needed(value: float) -> int:
    """The places that three figures of a number take, without zeros at their end."""
    text = f"{value:.{decimals_of(value)}f}".rstrip("0")
    return len(text.partition(".")[2])


def heading(words: str, unit: str, plant: Plant) -> str:
    """Write a column's heading with its unit, unless its words name the unit already.

    Parameters
    ----------
    words : str
        What the column holds.
    unit : str
        As kept inside; "" for none.
    plant : Plant
        Its units.

    Returns
    -------
    str
        For instance "diameter, mm".

    Examples
    --------
    >>> plant = Plant(shop="Invented Sweets")
    >>> heading("diameter", "mm", plant), heading("minutes", "min", plant)
    ('diameter, mm', 'minutes')
    """
    shown = unit_words(unit, plant.units)
    said = shown in words.split() or (len(shown) > 2 and words.startswith(shown))
    return words if said or not shown else f"{words}, {shown}"
