"""Values as a person reads them: the one way board, sheets and command line write numbers and moments."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from lineview.core.figure import Figure, Period
from lineview.core.language import ENGLISH, in_digits, mark, month_name, tr, tr_count, weekday_name
from lineview.core.units import System, in_units
from lineview.plant import Plant

#: Shown for a missing value. Never 0, never blank.
NOTHING = "–"
MINUS = "−"


def number(value: float, decimals: int | None = None, *, signed: bool = False) -> str:
    """Write a number: thousands marked, a true minus, as many decimals as carry something.

    Parameters
    ----------
    value : float or int
        Finite or not.
    decimals : int, optional
        Places after the point; by default three figures that count, and none for whole numbers.
    signed : bool
        Whether a plus stands before what is above 0.

    Returns
    -------
    str
        NOTHING for what is no number.

    Examples
    --------
    >>> number(117940), number(-0.01134), number(58.94), number(3.0)
    ('117,940', '−0.0113', '58.9', '3')
    >>> number(0.012, 3), number(0.012, 3, signed=True)
    ('0.012', '+0.012')
    """
    if not math.isfinite(value):
        return NOTHING
    if decimals is None:
        decimals = decimals_of(value)
    text = in_digits(f"{abs(value):,.{decimals}f}")
    if not any(c in "123456789" for c in text):
        return text
    return f"{MINUS if value < 0 else '+' if signed else ''}{text}"


def decimals_of(value: float) -> int:
    """The places that three figures of a number take; none for a whole number."""
    if value == 0 or float(value).is_integer():
        return 0
    return min(6, max(0, 2 - math.floor(math.log10(abs(value)))))


def _decimals_for(value: float | None, low: float | None, high: float | None) -> int | None:
    """The places that an interval justifies: two figures of its half-width, five of its ends at most."""
    ends = [v for v in (value, low, high) if v is not None]
    width = max(ends) - min(ends) if len(ends) > 1 else 0.0
    if width <= 0 or not math.isfinite(width):
        return None
    justified = max(0, 1 - math.floor(math.log10(width / 2)))
    return min(6, justified, max(0, 4 - math.floor(math.log10(max(abs(v) for v in ends)))))


def sentence_list(words: Sequence[str]) -> str:
    """Write words as a sentence lists them.

    Parameters
    ----------
    words : sequence of str
        In their order.

    Examples
    --------
    >>> sentence_list(["film"]), sentence_list(["film", "wax paper"]), sentence_list(["a", "b", "c"])
    ('film', 'film and wax paper', 'a, b and c')
    """
    if len(words) < 2:
        return "".join(words)
    return tr("{others} and {last}", others=", ".join(words[:-1]), last=words[-1])


def capital(words: str) -> str:
    """Write words as a sentence or a title begins: names keep theirs."""
    return words[:1].upper() + words[1:]


def moment(at: datetime, plant: Plant, *, day: bool = True, year: bool = False, seconds: bool = False) -> str:
    """Write a moment in the plant's zone, the way the plant's country writes it.

    Parameters
    ----------
    at : datetime.datetime
        With its zone.
    plant : Plant
        Its zone and units decide the form.
    day, year : bool
        Whether the day, and its year, stand before the time.
    seconds : bool
        Whether seconds follow the minutes.

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
    fine = ":%S" if seconds else ""
    clock = f"{local.hour % 12 or 12}:{local:%M{fine} %p}" if _is_us(plant) else f"{local:%H:%M{fine}}"
    return tr("{day}, {clock}", day=a_day(local.date(), plant, year=year), clock=clock) if day else clock


def _is_us(plant: Plant) -> bool:
    """Whether days and times of day are written as in the United States."""
    return plant.units == "US" and plant.language == ENGLISH


def within_a_minute(start: datetime, end: datetime) -> bool:
    """Say whether two moments are different and their minutes are the same.

    Parameters
    ----------
    start, end : datetime.datetime
        With their zones.
    """
    return start != end and start.replace(second=0, microsecond=0) == end.replace(second=0, microsecond=0)


#: A stretch of this length may end on another day without its clock saying so.
HALF_A_DAY = timedelta(hours=12)


def stretch(start: datetime, end: datetime, plant: Plant, *, day: bool = True) -> str:
    """Write from when to when, with seconds where minutes would print the same moment twice.

    Parameters
    ----------
    start, end : datetime.datetime
        With their zones.
    plant : Plant
        Its zone and units decide the form.
    day : bool
        Whether the day stands before the first; it stands before the second too where that is half a day later.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> plant, at = Plant(shop="Invented Sweets"), datetime(2026, 6, 9, 12, 5, 10, tzinfo=UTC)
    >>> stretch(at, at.replace(minute=7), plant), stretch(at, at.replace(second=52), plant, day=False)
    ('Tue 9 June, 12:05 to 12:07', '12:05:10 to 12:05:52')
    >>> stretch(at, at.replace(day=16), plant)
    'Tue 9 June, 12:05 to Tue 16 June, 12:05'
    """
    fine = within_a_minute(start, end)
    again = day and end - start >= HALF_A_DAY
    ends = moment(start, plant, day=day, seconds=fine), moment(end, plant, day=again, seconds=fine)
    return tr("{start} to {end}", start=ends[0], end=ends[1])


#: Within so many days of now a weekday is that of the nearest day so called.
NEAREST_DAYS = 3


def moment_near(at: datetime, plant: Plant, now: datetime) -> str:
    """Write a moment by its weekday within three days of now, by its date else.

    Four days ahead is the weekday of three days ago: further off a weekday alone could mean either.

    Parameters
    ----------
    at : datetime.datetime
        With its zone.
    plant : Plant
        Its zone and units decide the form.
    now : datetime.datetime
        With its zone.

    Returns
    -------
    str
        "Tuesday 14:05" or "9 June 14:05"; "June 9 2:05 PM" for a plant in US units.
    """
    local, us = at.astimezone(plant.tz), _is_us(plant)
    clock = f"{local.hour % 12 or 12}:{local:%M\N{NO-BREAK SPACE}%p}" if us else f"{local:%H:%M}"
    if abs((local.date() - now.astimezone(plant.tz).date()).days) <= NEAREST_DAYS:
        return f"{weekday_name(local.weekday())} {clock}"
    year = "" if local.year == now.astimezone(plant.tz).year else f" {local.year}"
    month = month_name(local.month)
    on = f"{month} {local.day}" if us else tr("{day} {month}", day=local.day, month=month)
    return f"{on}{year} {clock}"


def minutes(length: timedelta) -> str:
    """Write a length of time in minutes with one decimal, below one minute in seconds.

    Parameters
    ----------
    length : datetime.timedelta
        0 or longer.

    Returns
    -------
    str
        "12.0 min", "3.4 min", "42 s".
    """
    value = length / timedelta(minutes=1)
    return f"{number(60 * value, 0)} s" if value < 1 else f"{number(value, 1)} min"


def hours(value: float) -> str:
    """Write a length of time in hours, or in minutes below two.

    Parameters
    ----------
    value : float
        In hours.

    Returns
    -------
    str
        "34 hours", "90 minutes".
    """
    return tr("{minutes} minutes", minutes=round(value * 60)) if value < 2 else tr("{hours:,.0f} hours", hours=value)


def last_reading(at: datetime, plant: Plant, today: datetime, *, advises: bool = False) -> str:
    """Write when the last reading was, and from a day on how long ago.

    Parameters
    ----------
    at : datetime.datetime
        Of the last reading, with its zone.
    plant : Plant
        Its zone and units decide the form.
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
    days, moment_read = (today - at).days, moment(at, plant, year=True)
    if days < 1:
        return tr("Last reading {moment}.", moment=moment_read)
    ago = tr_count(
        "Last reading {moment}, {count} day ago.",
        "Last reading {moment}, {count:,} days ago.",
        days,
        moment=moment_read,
    )
    return ago + (tr(" The advice is for that day: add newer exports before you order.") if advises else "")


def a_day(on: date, plant: Plant, *, year: bool = False, long: bool = False) -> str:
    """Write a day; the month is a word, so that day and month cannot be mistaken for each other.

    Parameters
    ----------
    on : datetime.date
        The local day.
    plant : Plant
        Its units say which order its country uses.
    year : bool
        Whether the year follows.
    long : bool
        Whether the weekday is written out.

    Returns
    -------
    str
        "Tue 9 June" or "Tue, June 9".
    """
    weekday, month = weekday_name(on.weekday(), short=not long), month_name(on.month)
    if _is_us(plant):
        return f"{weekday}, {month} {on.day}{f', {on.year}' if year else ''}"
    return tr("{weekday} {day} {month}", weekday=weekday, day=on.day, month=month) + (f" {on.year}" if year else "")


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
    return tr("{start} to {end}", start=moment(start, plant), end=moment(end, plant, day=start.date() != end.date()))


#: Words that units are made of, beside symbols; those have three letters at the most.
UNIT_WORDS = (
    *(mark("pieces"), mark("piece"), mark("reels"), mark("week"), mark("days"), mark("wraps"), mark("shifts")),
    mark("thousand"),
)
_UNIT_WORD = re.compile("|".join(UNIT_WORDS))


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
    return _UNIT_WORD.sub(lambda word: tr(word.group()), in_units(0.0, unit, system)[1])


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
    (amount, *_), unit, places = _in_plant_units(figure, plant)
    return f"{number(amount or 0.0, places)} {unit}".rstrip()


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
        (_, lowest, highest), _, places = _in_plant_units(figure, plant)
        low, high = ("" if e is None or not math.isfinite(e) else number(e, places) for e in (lowest, highest))
    if low and high:
        return tr("{low} to {high}", low=low, high=high)
    if low:
        return tr("at least {low}", low=low)
    return tr("at most {high}", high=high) if high else ""


def _exact(value: float) -> int | None:
    """The decimals of a number that five figures write exactly, as they do most set values."""
    figures, _, power = f"{value:.11e}".partition("e")
    digits = len(figures.replace(".", "").lstrip("-").rstrip("0"))
    places = max(0, digits - 1 - int(power or 0))
    return places if digits <= 5 and places <= 6 and math.isfinite(value) else None


def _in_plant_units(figure: Figure, plant: Plant) -> tuple[Sequence[float | None], str, int | None]:
    """Give value, low and high in the plant's units, the unit, and the decimals they justify."""
    ends = (figure.value, figure.low, figure.high)
    parts = [float(v) if isinstance(v, int | float) else None for v in ends]
    converted = [None if v is None else in_units(v, figure.unit, plant.units)[0] for v in parts]
    places = _decimals_for(*(v if v is None or math.isfinite(v) else None for v in converted))
    if places is None and converted[0] is not None:
        places = _exact(converted[0])
    return converted, unit_words(figure.unit, plant.units), places
