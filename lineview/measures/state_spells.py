"""The spells of a machine's own state channel: from when to when it said what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.measures.rate import Floats, Ints
from lineview.measures.state_codes import MEANINGS, SET_ASIDE, told_states
from lineview.measures.steps import NO_STEPS, Steps
from lineview.plant import Machine

#: A code may lag the counter, or a channel be read seldom, by so much [µs].
LATE_US = 60_000_000
RUNNING_CODE = MEANINGS.index("running")
CHANGEOVER_CODE = MEANINGS.index("changeover")
#: A channel of which half the rows repeat the state before is read at intervals, others written on change.
_READ_SHARE = 0.5


@dataclass(frozen=True)
class Spells:
    """What the state channel said, by time.

    Parameters
    ----------
    start, end : array of int
        Ends of the spells [µs since 1970]; without overlap, states that cannot be told left out.
    meaning : array of int
        Place in MEANINGS.
    until : int
        The last row of the channel [µs]: what it said holds on for a stop, but fills no silence after it.
    """

    start: Ints
    end: Ints
    meaning: Ints
    until: int

    @property
    def any(self) -> bool:
        """Whether there are any."""
        return len(self.start) > 0

    def at(self, moments: Ints) -> Ints:
        """Give what was said at each moment [µs] as a place in MEANINGS; -1 where nothing was."""
        if not self.any:
            return np.full(len(moments), -1)
        place = np.searchsorted(self.start, moments, side="right") - 1
        inside = (place >= 0) & (moments < self.end[np.maximum(place, 0)])
        return np.where(inside, self.meaning[np.maximum(place, 0)], -1)

    def only(self, *meanings: str) -> Spells:
        """Give the spells of these meanings."""
        own = np.isin(self.meaning, [MEANINGS.index(name) for name in meanings])
        return Spells(self.start[own], self.end[own], self.meaning[own], self.until)

    def within(self, start: int, end: int) -> Spells:
        """The spells cut to a stretch [µs]."""
        begins, ends = np.maximum(self.start, start), np.minimum(self.end, end)
        inside = ends > begins
        return Spells(begins[inside], ends[inside], self.meaning[inside], self.until)

    def seconds_until(self, moments: Ints) -> Floats:
        """Give the seconds in spells up to each moment [µs]."""
        if not self.any:
            return np.zeros(len(moments))
        edges = np.stack((self.start, self.end), axis=1).ravel()
        lengths = np.stack((np.zeros(len(self.start)), (self.end - self.start) / 1e6), axis=1).ravel()
        return np.interp(moments, edges, np.cumsum(lengths))


NO_SPELLS = Spells(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int64), 0)


def state_spells(machine: Machine, readings: pl.DataFrame, *, gap_s: float) -> Spells:
    """Give the spells of a machine's state channel.

    Parameters
    ----------
    machine : Machine
        With a gauge that measures "state", or without.
    readings : polars.DataFrame
        READINGS of the machine.
    gap_s : float
        Longest time that a row still tells, where the channel is read at intervals [s].

    Returns
    -------
    Spells
        A state lasts until the channel's next row. Where rows repeat the state, the channel is read at
        intervals, and a row tells no more than `gap_s`.

    Notes
    -----
    Source: isa-tr88, derived-tape
    """
    told = told_states(machine, readings)
    if not told.height:
        return NO_SPELLS
    at = told["at"].dt.epoch("us").to_numpy()
    place = {name: k for k, name in enumerate(MEANINGS)}
    meaning = np.array([place.get(name, -1) for name in told["meaning"].to_list()])
    state = told["state"].to_numpy()
    end = np.append(at[1:], at[-1] + 86_400_000_000)
    if len(at) > 1 and np.mean(state[1:] == state[:-1]) >= _READ_SHARE:
        end = np.minimum(end, at + round(gap_s * 1e6))
    joined = (meaning[1:] == meaning[:-1]) & (end[:-1] == at[1:])
    first = np.flatnonzero(np.concatenate(([True], ~joined)))
    last = np.append(first[1:], len(at)) - 1
    start, end, meaning = at[first], end[last], meaning[first]
    kept = (meaning >= 0) & (end > start)
    return Spells(start[kept], end[kept], meaning[kept], int(at[-1]))


def set_aside(steps: Steps, spells: Spells) -> tuple[Steps, Steps]:
    """Take what a counter counted in maintenance out of its increments.

    Parameters
    ----------
    steps : Steps
        Of one counter.
    spells : Spells
        Of its machine.

    Returns
    -------
    kept, taken : Steps
        The increments without, and what was taken out. An interval partly in maintenance is shared out by
        time, in whole pieces.
    """
    if not spells.any or not len(steps):
        return steps, NO_STEPS
    apart = spells.only(*SET_ASIDE)
    start, end = steps.start_us, steps.end_us
    inside_s = apart.seconds_until(end) - apart.seconds_until(start)
    share = np.clip(inside_s * 1e6 / np.maximum(end - start, 1), 0.0, 1.0)
    if not (share > 0).any():
        return steps, NO_STEPS
    n, low, high = (np.rint(part * share) for part in (steps.n, steps.low, steps.high))
    taken = Steps(start, end, n, low, high).only(share > 0)
    # Where the count is not known, at most all of it was made outside maintenance.
    top = np.where(np.isnan(steps.n) & (share < 1), steps.high, steps.high - high)
    return Steps(start, end, steps.n - n, steps.low - low, top), taken
