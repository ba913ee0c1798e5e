"""Figures of an answer, put together from their rows in the table of figures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, Value, slug
from lineview.core.language import mark, tr
from lineview.report import show
from lineview.report.figure_table import FIGURES

#: What the bounds of a count are.
COUNT_BOUNDS = mark("bounds: what the readings leave open")
MISSING_BOUNDS = mark("bounds: readings missing")
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
    say : callable, optional
        Writes a word that fills a label in the works' language; by default the word is a message.
    **words : object
        What fills places in braces in every row ("currency").
    """

    def __init__(self, period: Period, *, say: Callable[[str], str] = tr, **words: Any) -> None:
        self.period = period
        self._say = say
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
        self._add_figure(
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
        self._add_figure(name, words, value=at, low=earliest, high=latest, n=n, working=working)

    def count(self, name: str, total: Estimate, working: str, *, n: int | None = None, **words: Any) -> None:
        """Add a count in whole pieces with its bounds; without a value where part of the period was not read."""
        low = total.low or 0.0
        if total.value is None:
            most = tr("no upper bound") if total.high is None else tr("at most {high:,.0f}", high=total.high)
            why = tr("not known: part of the period was not read; at least {low:,.0f}, {most}", low=low, most=most)
            estimate = Estimate(None, low, total.high, total.n, interval=MISSING_BOUNDS, why_none=why)
            return self.add(name, estimate, n=n, **words)
        # "all readings" ends a microsecond after the last reading: what could be made in it is no doubt to show.
        if total.high is not None and total.high - low < NO_DOUBT:
            return self.add(name, round(total.value), working, n=total.n if n is None else n, **words)
        estimate = Estimate(round(total.value), low, total.high, total.n, interval=COUNT_BOUNDS)
        return self.add(name, estimate, working, n=n, **words)

    def too_few(self, name: str, *, needs: int, has: int, **words: Any) -> None:
        """Add a figure without a value, for too few readings."""
        why = tr("too few: needs {needs}, has {has}", needs=needs, has=has)
        self._add_figure(name, words, value=None, n=has, interval_kind=why, why_none=why, sources=())

    def unknown(self, name: str, why: str, **words: Any) -> None:
        """Add a figure without a value, and the reason in plain words."""
        why = tr("not known: {why}", why=why)
        self._add_figure(name, words, value=None, interval_kind=why, why_none=why, sources=())

    def _add_figure(
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
            tr(row.label, **{key: self._say(word) if isinstance(word, str) else word for key, word in words.items()}),
            value,
            row.unit.format(**words),
            low=low,
            high=high,
            interval_kind=tr(interval_kind or row.interval),
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
        figures.unknown("good_pieces", tr("no counter in plant.toml counts them"), of=tr(" of {machine}", machine=of))
    else:
        working = tr("pieces made less rejects, or good pieces counted")
        figures.count("good_pieces", good, working, of=tr(" of {machine}", machine=of))
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
    figures.count("good_pieces_outside_shifts", outside, tr("good pieces counted in no shift of plant.toml"))
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
    most = ends[1] or tr("an unknown number")
    doubt = "" if ends[0] == ends[1] else tr(" ({low} to {high})", low=ends[0], high=most)
    least = "" if outside.value is not None else tr("at least ")
    check = tr(": check the shifts in plant.toml") if outside.least > MUCH_OUTSIDE * inside else ""
    text = mark("Outside every shift {at_least}{pieces}{doubt} more good pieces were made{check}.")
    return tr(text, at_least=least, pieces=show.number(round(outside.least)), doubt=doubt, check=check)
