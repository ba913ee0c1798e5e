"""What a counter most likely counted where its readings cannot tell: a hole that it may have turned in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.measures.counted import Steps

Floats = npt.NDArray[np.float64]
#: How far before and after a hole the pace is taken from.
NEAR_S = 14 * 86400.0
#: A stretch longer than this is shared out by planned time.
LONG_S = 1800.0


@dataclass(frozen=True)
class PlannedTime:
    """Planned stretches as seconds since 1970 [s], in order and without overlap."""

    start_s: Floats
    end_s: Floats

    def before(self, moment_s: Floats) -> Floats:
        """Give the planned seconds before each moment [s]."""
        if not len(self.start_s):
            return np.zeros(len(moment_s))
        edges = np.column_stack([self.start_s, self.end_s]).ravel()
        spent = np.cumsum(self.end_s - self.start_s)
        at_edges = np.column_stack([np.concatenate([[0.0], spent[:-1]]), spent]).ravel()
        return np.asarray(np.interp(moment_s, edges, at_edges))


def planned_time(calendar: pl.DataFrame) -> PlannedTime:
    """Give the planned stretches of a calendar.

    Parameters
    ----------
    calendar : polars.DataFrame
        CALENDAR.
    """
    own = calendar.filter(pl.col("part") == "planned").sort("start")
    start, end = (own[name].dt.epoch("us").to_numpy().astype(float) / 1e6 for name in ("start", "end"))
    return PlannedTime(start, end)


def filled(steps: Steps, planned: PlannedTime) -> Steps:
    """Put the likeliest amount where a counter's increment is not known.

    Parameters
    ----------
    steps : Steps
        With bounds.
    planned : PlannedTime
        When the works meant to run: what nobody saw is reckoned by the planned time in it.

    Returns
    -------
    Steps
        The same stretches, `known` as before. A counter that stands where it stood counted nothing; one that
        turned takes the number of turns nearest the pace of the fortnight before and after; one that was set
        back counts at that pace, within its bounds.

    Notes
    -----
    An increment's lower bound alone would make every hole a loss; the pace makes it as likely too much as
    too little.

    Examples
    --------
    >>> start, low, high = np.array([0.0, 60, 120]), np.array([300.0, 5, 310]), np.array([300.0, 450, 310])
    >>> known = np.array([True, False, True])
    >>> steps = Steps(start, start + 60, np.where(known, low, 0.0), known, 1.0, low, high)
    >>> filled(steps, PlannedTime(np.array([0.0]), np.array([180.0]))).value.tolist()
    [300.0, 305.0, 310.0]
    """
    holes = np.flatnonzero(~steps.known)
    if not len(holes) or steps.low is None or steps.high is None:
        return steps
    low, high = steps.low[holes], np.nan_to_num(steps.high[holes], nan=np.inf)
    likely = np.clip(_expected(steps, holes, planned), low, high)
    if np.isfinite(steps.turn):
        turned = _whole_turns(low, high, steps.turn)
        nearest = low + np.round((likely - low) / steps.turn) * steps.turn
        likely = np.where(turned, np.minimum(nearest, high), likely)
        likely = np.where(turned & (low < 0.5 * steps.unit_value), 0.0, likely)
    value = steps.value.copy()
    value[holes] = likely
    return replace(steps, value=value)


def standing_known(steps: Steps) -> Steps:
    """Take a counter that stands where it stood for one that counted nothing, though it may have turned.

    Parameters
    ----------
    steps : Steps
        Of a counter; over a night without readings it could have turned several times.

    Returns
    -------
    Steps
        With these stretches known: that a counter of M values stops just where it began has 1 chance in M.
    """
    if steps.low is None or steps.high is None or not np.isfinite(steps.turn):
        return steps
    turned = _whole_turns(steps.low, np.nan_to_num(steps.high, nan=np.inf), steps.turn)
    still = ~steps.known & turned & (steps.low < 0.5 * steps.unit_value)
    return replace(steps, known=steps.known | still)


def _whole_turns(low: Floats, high: Floats, turn: float) -> npt.NDArray[np.bool_]:
    """Tell where a counter's most is its least and one whole turn or more."""
    over = np.where(np.isfinite(high), high - low, 0.0)
    rest = np.abs(np.mod(over + turn / 2, turn) - turn / 2)
    return np.asarray((rest < 1e-6 * turn) & (over >= 0.5 * turn))


def over_planned_time(steps: Steps, planned: PlannedTime) -> Steps:
    """Share long stretches without a reading out over the planned time in them, not over night and break.

    Parameters
    ----------
    steps : Steps
        Of a counter.
    planned : PlannedTime
        When the works meant to run.

    Returns
    -------
    Steps
        With the stretches longer than LONG_S cut at the planned time's edges; one that has no planned time in
        it stays whole.
    """
    spent = planned.before(steps.end_s) - planned.before(steps.start_s)
    length = steps.end_s - steps.start_s
    long = np.flatnonzero((length > LONG_S) & (spent > 0) & (spent < length - 1.0))
    if not len(long):
        return steps
    edges = np.unique(np.concatenate([planned.start_s, planned.end_s]))
    inside = [edges[(edges > steps.start_s[k]) & (edges < steps.end_s[k])] for k in long]
    at = np.repeat(long, [len(own) for own in inside])
    cuts = np.concatenate(inside)
    order = np.concatenate([np.arange(len(length)), at])
    start = np.concatenate([steps.start_s, cuts])
    rank = np.lexsort((start, order))
    order, start = order[rank], start[rank]
    end = np.where(
        np.append(order[1:] == order[:-1], False), np.append(start[1:], np.nan), steps.end_s[order]
    )
    of_it = (planned.before(end) - planned.before(start)) / np.where(spent > 0, spent, 1.0)[order]
    cut = np.isin(order, long)
    value = np.where(cut, steps.value[order] * of_it, steps.value[order])
    return replace(
        steps, start_s=start, end_s=end, value=value, known=steps.known[order], low=None, high=None
    )


def _expected(steps: Steps, holes: npt.NDArray[np.int_], planned: PlannedTime) -> Floats:
    """Give what each hole's planned time would count at the pace of the planned time around it."""
    spent = planned.before(steps.end_s) - planned.before(steps.start_s)
    share = np.clip(spent / np.maximum(steps.end_s - steps.start_s, 1e-9), 0.0, 1.0)
    amount = np.concatenate([[0.0], np.cumsum(np.where(steps.known, steps.value * share, 0.0))])
    seconds = np.concatenate([[0.0], np.cumsum(np.where(steps.known, spent, 0.0))])
    first = np.searchsorted(steps.end_s, steps.start_s[holes] - NEAR_S)
    last = np.searchsorted(steps.start_s, steps.end_s[holes] + NEAR_S)
    near_s, near = seconds[last] - seconds[first], amount[last] - amount[first]
    total = amount[-1] / seconds[-1] if seconds[-1] > 0 else 0.0
    pace = np.where(near_s > 0, near / np.where(near_s > 0, near_s, 1.0), total)
    return np.asarray(pace * spent[holes])
