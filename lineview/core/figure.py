"""A figure: a number that says where it comes from."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
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
        None where it is not known; then `why_none` says why.
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
    >>> drift = Figure("drift_mm_per_h", "drift of the rope", -0.011, "mm/h", low=-0.012, high=-0.009)
    >>> drift.name, drift.value
    ('drift_mm_per_h', -0.011)
    """

    name: str
    label: str
    value: Value
    unit: str = ""
    _: KW_ONLY
    low: float | datetime | None = None
    high: float | datetime | None = None
    interval_kind: str = "from exact counts"
    n: int = 0
    period: Period | None = None
    sources: tuple[str, ...] = ()
    working: str = ""
    why_none: str = ""


def slug(text: str) -> str:
    """A word or id as part of a figure's name.

    Examples
    --------
    >>> slug("wax paper"), slug("film-vanilla")
    ('wax_paper', 'film_vanilla')
    """
    return "".join(c if c.isalnum() else "_" for c in text.casefold())
