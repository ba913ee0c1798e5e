"""A figure: a number that says where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

Value = int | float | str | datetime | None


@dataclass(frozen=True)
class Period:
    """From one moment up to, not including, another [UTC]."""

    start: datetime
    end: datetime


@dataclass(frozen=True)
class Figure:
    """One number of an answer with all that is needed to check it.

    Parameters
    ----------
    name : str
        Stable key in JSON, in snake case with the unit at the end (``drift_mm_per_h``).
    label : str
        What a person calls it ("drift of the rope").
    value : int, float, str, datetime or None
        None where it cannot be told; then `why_none` says why.
    unit : str
        As shown ("mm/h"); "" for a pure number or a name.
    low, high : int, float, datetime or None
        The interval's ends; None where that side is open or there is no interval.
    interval_kind : str
        What the interval is ("95 % confidence", "bounds: unseen minutes"),
        or the reason for none ("from exact counts").
    n : int
        Number of readings (or batches, pieces: `working` says which) behind it.
    period : Period or None
        The time it speaks of.
    sources : tuple of str
        Ids in data/sources.toml of the method and constants.
    working : str
        The formula with the numbers in it.
    why_none : str
        "too few: needs 8, has 3", "not known: no density in plant.toml", ...

    Examples
    --------
    >>> from lineview.core.figure import too_few
    >>> too_few("drift_mm_per_h", "drift of the rope", "mm/h", needs=8, has=3).why_none
    'too few: needs 8, has 3'
    """

    name: str
    label: str
    value: Value
    unit: str = ""
    low: float | datetime | None = None
    high: float | datetime | None = None
    interval_kind: str = "from exact counts"
    n: int = 0
    period: Period | None = None
    sources: tuple[str, ...] = ()
    working: str = ""
    why_none: str = ""

    @property
    def told(self) -> bool:
        """Whether there is a value."""
        return self.value is not None


def too_few(name: str, label: str, unit: str, *, needs: int, has: int, period: Period | None = None) -> Figure:
    """A figure without a value, for too few readings.

    Parameters
    ----------
    name, label, unit : str
        As in Figure.
    needs, has : int
        How many readings the method needs and how many there are.
    period : Period, optional
        The time asked for.
    """
    why = f"too few: needs {needs}, has {has}"
    return Figure(name, label, None, unit, n=has, period=period, interval_kind=why, why_none=why)


def cannot_tell(name: str, label: str, unit: str, why: str, period: Period | None = None) -> Figure:
    """A figure without a value, and the reason in plain words.

    Parameters
    ----------
    name, label, unit : str
        As in Figure.
    why : str
        The reason, without the words "not known".
    period : Period, optional
        The time asked for.
    """
    told = f"not known: {why}"
    return Figure(name, label, None, unit, period=period, interval_kind=told, why_none=told)


def slug(text: str) -> str:
    """A word or id as part of a figure's name.

    Examples
    --------
    >>> slug("wax paper"), slug("film-vanilla")
    ('wax_paper', 'film_vanilla')
    """
    return "".join(c if c.isalnum() else "_" for c in text.casefold())
