"""The figure of good pieces that every answer shows alike."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, cannot_tell

COUNTED = "from exact counts"
#: What the bounds of a count are.
COUNT_BOUNDS = "bounds: what the readings leave open"
#: Doubt of a count below this is none [pieces].
_NO_DOUBT = 1e-3


def good_pieces_figure(good: Estimate | None, period: Period, of: str, name: str = "good_pieces") -> Figure:
    """Good pieces of a period with the bounds that the readings allow.

    Parameters
    ----------
    good : Estimate or None
        As the machine's counts give it; None where no counter counts pieces.
    period : Period
        The time it speaks of.
    of : str
        Whose pieces they are.
    name : str
        Of the figure.
    """
    label = f"good pieces of {of}"
    if good is None:
        return cannot_tell(name, label, "pieces", "no counter in plant.toml counts them", period)
    return count_figure(name, label, good, period, good.n, "pieces made less rejects, or good pieces counted")


def count_figure(name: str, label: str, total: Estimate, period: Period, n: int, working: str) -> Figure:
    """A count with the bounds that the readings allow; none where part of the period was not read.

    Parameters
    ----------
    name, label : str
        Of the figure.
    total : Estimate
        The count; its value is None where it is not known.
    period : Period
        The time it speaks of.
    n : int
        Readings that it rests on.
    working : str
        How it was counted.
    """
    low = total.low or 0.0
    if total.value is None:
        most = "no upper bound" if total.high is None else f"at most {total.high:,.0f}"
        why = f"not known: part of the period was not read; at least {low:,.0f}, {most}"
        kind = "bounds: readings missing"
        return Figure(name, label, None, "pieces", low, total.high, kind, n, period, ("derived-counters",), "", why)
    # "all readings" ends a microsecond after the last one: what could be made in it is no doubt to tell.
    exact = total.high is not None and total.high - low < _NO_DOUBT
    ends: tuple[float | None, float | None] = (None, None) if exact else (low, total.high)
    kind = COUNTED if exact else COUNT_BOUNDS
    value = round(total.value)
    return Figure(name, label, value, "pieces", ends[0], ends[1], kind, n, period, ("derived-counters",), working)
