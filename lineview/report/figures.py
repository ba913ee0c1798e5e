"""Figures of an answer, put together from their rows in the table of figures."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, Value, slug
from lineview.report import show
from lineview.report.figure_table import FIGURES

#: What the bounds of a count are.
COUNT_BOUNDS = "bounds: what the readings leave open"
MISSING_BOUNDS = "bounds: readings missing"
#: A doubt below this is none [pieces].
NO_DOUBT = 1e-3
#: Pieces outside every shift, as a share of those in shifts, from which the shift pattern is in doubt.
MUCH_OUTSIDE = 0.1


class FigureList:
    """The figures of one period, in the order in which they are shown.

    A name is that of a row of FIGURES. Where the row has places in braces, they are filled with `words`:
    ``add("reels_needed_{web}", 3, web="film-1")`` is named ``reels_needed_film_1``.

    Parameters
    ----------
    period : Period
        The time that the figures speak of.
    **words : object
        What fills places in braces in every row ("currency").
    """

    def __init__(self, period: Period, **words: Any) -> None:
        self.period = period
        self._words = words
        self._figures: dict[str, Figure] = {}

    @property
    def all(self) -> tuple[Figure, ...]:
        """The figures, as an answer holds them."""
        return tuple(self._figures.values())

    def __getitem__(self, name: str) -> Figure:
        return self._figures[name]

    def add(
        self,
        name: str,
        value: Estimate | Value,
        working: str = "",
        *,
        n: int | None = None,
        interval: str = "",
        sources: tuple[str, ...] | None = None,
        **words: Any,
    ) -> None:
        """Add a figure with the formula it comes from.

        Parameters
        ----------
        name : str
            Of its row.
        value : Estimate, or a value without an interval
            Without a value, the estimate's `why_none` is shown in its place.
        working : str
            The formula with the numbers in it.
        n : int, optional
            Readings, batches or pieces behind it; by default the estimate's.
        interval : str
            What the interval is, where the data decide; by default the estimate's, or the row's.
        sources : tuple of str, optional
            Ids in data/sources.toml, where the data decide; by default the row's.
        **words : object
            What fills the row's places in braces.
        """
        estimate = value if isinstance(value, Estimate) else None
        low, high, why = (estimate.low, estimate.high, estimate.why_none) if estimate else (None, None, "")
        kind = interval or (estimate.interval if estimate else "")
        if why and low is None and high is None:
            kind = why
        self._put(
            name,
            words,
            value=estimate.value if estimate else value,  # type: ignore[arg-type]  # a Value where no Estimate
            low=low,
            high=high,
            interval_kind=kind,
            n=n if n is not None else estimate.n if estimate else 0,
            sources=sources,
            working=working,
            why_none=why,
        )

    def moment(
        self,
        name: str,
        at: datetime,
        working: str,
        *,
        earliest: datetime | None = None,
        latest: datetime | None = None,
        n: int = 0,
        **words: Any,
    ) -> None:
        """Add a moment between its earliest and its latest [UTC]; None where that side is open."""
        self._put(name, words, value=at, low=earliest, high=latest, n=n, working=working)

    def count(self, name: str, total: Estimate, working: str, *, n: int | None = None, **words: Any) -> None:
        """Add a count in whole pieces with its bounds; without a value where part of the period was not read."""
        low = total.low or 0.0
        if total.value is None:
            most = "no upper bound" if total.high is None else f"at most {total.high:,.0f}"
            why = f"not known: part of the period was not read; at least {low:,.0f}, {most}"
            estimate = Estimate(None, low, total.high, total.n, interval=MISSING_BOUNDS, why_none=why)
            return self.add(name, estimate, n=n, **words)
        # "all readings" ends a microsecond after the last reading: what could be made in it is no doubt to show.
        if total.high is not None and total.high - low < NO_DOUBT:
            return self.add(name, round(total.value), working, n=total.n if n is None else n, **words)
        estimate = Estimate(round(total.value), low, total.high, total.n, interval=COUNT_BOUNDS)
        return self.add(name, estimate, working, n=n, **words)

    def too_few(self, name: str, *, needs: int, has: int, **words: Any) -> None:
        """Add a figure without a value, for too few readings."""
        why = f"too few: needs {needs}, has {has}"
        self._put(name, words, value=None, n=has, interval_kind=why, why_none=why, sources=())

    def unknown(self, name: str, why: str, **words: Any) -> None:
        """Add a figure without a value, and the reason in plain words."""
        why = f"not known: {why}"
        self._put(name, words, value=None, interval_kind=why, why_none=why, sources=())

    def _put(
        self,
        name: str,
        words: dict[str, Any],
        *,
        value: Value,
        low: float | datetime | None = None,
        high: float | datetime | None = None,
        interval_kind: str = "",
        n: int = 0,
        sources: tuple[str, ...] | None = None,
        working: str = "",
        why_none: str = "",
    ) -> None:
        row, words = FIGURES[name], self._words | words
        full_name = name.format(**{key: slug(str(word)) for key, word in words.items()})
        self._figures[full_name] = Figure(
            full_name,
            row.label.format(**words),
            value,
            row.unit.format(**words),
            low=low,
            high=high,
            interval_kind=interval_kind or row.interval,
            n=n,
            period=self.period,
            sources=tuple(row.sources.split()) if sources is None else sources,
            working=working,
            why_none=why_none,
        )


def good_pieces_figure(good: Estimate | None, period: Period, of: str) -> Figure:
    """Good pieces of a machine or a line, as every answer shows them.

    Parameters
    ----------
    good : Estimate or None
        As the machine's counts give it; None where no counter counts pieces.
    period : Period
        The time it speaks of.
    of : str
        Whose pieces they are.
    """
    figures = FigureList(period)
    if good is None:
        figures.unknown("good_pieces", "no counter in plant.toml counts them", of=f" of {of}")
    else:
        working = "pieces made less rejects, or good pieces counted"
        figures.count("good_pieces", good, working, of=f" of {of}")
    return figures["good_pieces"]


def outside_figures(outside: Estimate, period: Period) -> tuple[Figure, ...]:
    """Good pieces made outside every shift, as shift, wrap and week show them; none where there are none.

    Parameters
    ----------
    outside : Estimate
        Good pieces that lie in no shift.
    period : Period
        The time it speaks of.
    """
    if outside.least < 0.5:
        return ()
    figures = FigureList(period)
    figures.count("good_pieces_outside_shifts", outside, "good pieces counted in no shift of plant.toml")
    return figures.all


def outside_words(outside: Estimate, inside: float) -> str:
    """Say how many good pieces were made outside every shift, and what to do where that is much.

    Parameters
    ----------
    outside : Estimate
        Good pieces that lie in no shift.
    inside : float
        Those that lie in shifts, of the same time.
    """
    if outside.least < 0.5:
        return ""
    ends = [None if end is None else show.number(round(end)) for end in (outside.low, outside.high)]
    doubt = "" if ends[0] == ends[1] else f" ({ends[0]} to {ends[1] or 'an unknown number'})"
    least = "" if outside.value is not None else "at least "
    check = ": check the shifts in plant.toml" if outside.least > MUCH_OUTSIDE * inside else ""
    return f"Outside every shift {least}{show.number(round(outside.least))}{doubt} more good pieces were made{check}."
