"""State channels: what a machine's own state names and codes mean, by name and never by number alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

import numpy as np
import polars as pl

from lineview.core.frames import UTC_US, empty
from lineview.core.language import mark
from lineview.machine.speed import Floats, Ints
from lineview.machine.steps import NO_STEPS, Steps
from lineview.plant import Machine, StateMeaning

#: What a state can mean to the shift.
MEANINGS: tuple[str, ...] = get_args(StateMeaning)
#: Meanings in which a counter that goes on counts no production.
SET_ASIDE = ("maintenance",)


def _by_word(words: Mapping[str, str]) -> Mapping[str, str]:
    """Meanings by state, of states by meaning."""
    return {word: name for name, text in words.items() for word in text.split()}


#: The state names of ANSI/ISA-TR88.00.02. Held is standing by the machine's own cause, Suspended by one
#: outside it. Two published lists number these names differently, so a number means nothing by itself.
STANDARD_NAMES = _by_word(
    {
        mark("idle"): "undefined idle resetting completing complete",
        "stop": "clearing stopped starting stopping aborting aborted holding held unholding",
        "outside": "suspended suspending unsuspending",
        "running": "execute",
    }
)
#: Plain words that exports use besides.
PLAIN_WORDS = _by_word(
    {
        "running": "run running",
        "stop": "stop fault",
        "changeover": "changeover",
        "blocked": "blocked equipmentblocked",
        "starved": "starved equipmentstarved",
        "maintenance": "maintenance manual",
        "cleaning": "cleaning",
        "break": "break",
    }
)


def meaning(state: str, codes: Mapping[str, str]) -> str | None:
    """What a state means.

    Source: isa-tr88
    """
    key = state.strip().casefold()
    meaning_of = {code.strip().casefold(): name for code, name in codes.items()}
    key = key.removesuffix(".0") if key.removesuffix(".0").isdigit() else key
    name = meaning_of.get(key)
    if name is None:
        word = "".join(ch for ch in key if ch.isalnum())
        name = STANDARD_NAMES.get(word) or PLAIN_WORDS.get(word)
    return name if name in MEANINGS else None


#: Rows of a state channel: the state and its meaning, null where that is not known.
STATE_ROWS: dict[str, pl.DataType] = {"at": UTC_US, "state": pl.String(), "meaning": pl.String()}


def reported_states(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """The rows of a machine's state channel.

    Parameters
    ----------
    machine : Machine
        With a gauge that measures "state", or without.
    readings : polars.DataFrame
        READINGS of the machine; a state's name stands in `text`, a code in `text` or `value`.

    Returns
    -------
    polars.DataFrame
        STATE_ROWS by time, the last row of each moment. Uncertain rows are left out.
    """
    gauge = machine.gauge("state")
    if gauge is None:
        return empty(STATE_ROWS)
    rows = readings.filter((pl.col("channel") == gauge.id) & (pl.col("quality") == "good"))
    states = rows.select("at", state=_state()).drop_nulls().sort("at", maintain_order=True)
    states = states.unique("at", keep="last", maintain_order=True)
    meaning_of = {s: meaning(s, gauge.codes) for s in states["state"].unique(maintain_order=True).to_list()}
    if not meaning_of:
        return empty(STATE_ROWS)
    column = pl.col("state").replace_strict(list(meaning_of), list(meaning_of.values()), return_dtype=pl.String)
    return states.with_columns(meaning=column)


def _state() -> pl.Expr:
    return pl.coalesce("text", pl.col("value").cast(pl.Int64, strict=False).cast(pl.String))


def unknown_states(machine: Machine, readings: pl.DataFrame) -> list[str]:
    """List the states of a machine's channel whose meaning is not known."""
    gauge = machine.gauge("state")
    if gauge is None:
        return []
    rows = readings.filter(pl.col("channel") == gauge.id)
    states = rows.select(state=_state())["state"].drop_nulls().unique(maintain_order=True).to_list()
    return sorted(s for s in states if meaning(s, gauge.codes) is None)


#: A code may lag the counter, or a channel be read seldom, by so much [µs].
LATE_US = 60_000_000
RUNNING_CODE = MEANINGS.index("running")
CHANGEOVER_CODE = MEANINGS.index("changeover")
#: A channel of which half the rows repeat the state before is read at intervals, others written on change.
_READ_SHARE = 0.5


@dataclass(frozen=True)
class StateIntervals:
    """The states of the channel, by time.

    Parameters
    ----------
    start, end : array of int
        Ends of the spells [µs since 1970]; without overlap, states of unknown meaning left out.
    meaning : array of int
        Place in MEANINGS.
    until : int
        The last row of the channel [µs]: its state goes on for a stop, but fills no silence after it.
    """

    start: Ints
    end: Ints
    meaning: Ints
    until: int

    @property
    def has_rows(self) -> bool:
        """Whether there are intervals."""
        return len(self.start) > 0

    def at(self, moments: Ints) -> Ints:
        """The state at each moment [µs] as a place in MEANINGS; -1 without one."""
        if not self.has_rows:
            return np.full(len(moments), -1)
        place = np.searchsorted(self.start, moments, side="right") - 1
        inside = (place >= 0) & (moments < self.end[np.maximum(place, 0)])
        return np.where(inside, self.meaning[np.maximum(place, 0)], -1)

    def only(self, *meanings: str) -> StateIntervals:
        """The spells of these meanings."""
        rows = np.isin(self.meaning, [MEANINGS.index(name) for name in meanings])
        return StateIntervals(self.start[rows], self.end[rows], self.meaning[rows], self.until)

    def within(self, start: int, end: int) -> StateIntervals:
        """The spells cut to a stretch [µs]."""
        begins, ends = np.maximum(self.start, start), np.minimum(self.end, end)
        inside = ends > begins
        return StateIntervals(begins[inside], ends[inside], self.meaning[inside], self.until)

    def seconds_until(self, moments: Ints) -> Floats:
        """The seconds in spells up to each moment [µs]."""
        if not self.has_rows:
            return np.zeros(len(moments))
        edges = np.stack((self.start, self.end), axis=1).ravel()
        lengths = np.stack((np.zeros(len(self.start)), (self.end - self.start) / 1e6), axis=1).ravel()
        return np.interp(moments, edges, np.cumsum(lengths))


NO_STATES = StateIntervals(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int64), 0)


def state_intervals(machine: Machine, readings: pl.DataFrame, *, gap_s: float) -> StateIntervals:
    """The spells of a machine's state channel.

    Source: isa-tr88, derived-timeline
    """
    rows = reported_states(machine, readings)
    if not rows.height:
        return NO_STATES
    at = rows["at"].dt.epoch("us").to_numpy()
    place = {name: k for k, name in enumerate(MEANINGS)}
    meaning = np.array([place.get(name, -1) for name in rows["meaning"].to_list()])
    state = rows["state"].to_numpy()
    end = np.append(at[1:], at[-1] + 86_400_000_000)
    if len(at) > 1 and np.mean(state[1:] == state[:-1]) >= _READ_SHARE:
        end = np.minimum(end, at + round(gap_s * 1e6))
    goes_on = (meaning[1:] == meaning[:-1]) & (end[:-1] == at[1:])
    first = np.flatnonzero(np.concatenate(([True], ~goes_on)))
    last = np.append(first[1:], len(at)) - 1
    start, end, meaning = at[first], end[last], meaning[first]
    is_interval = (meaning >= 0) & (end > start)
    return StateIntervals(start[is_interval], end[is_interval], meaning[is_interval], int(at[-1]))


def set_aside(steps: Steps, spells: StateIntervals) -> tuple[Steps, Steps]:
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
    if not spells.has_rows or not len(steps):
        return steps, NO_STEPS
    aside = spells.only(*SET_ASIDE)
    start, end = steps.start_us, steps.end_us
    inside_s = aside.seconds_until(end) - aside.seconds_until(start)
    share = np.clip(inside_s * 1e6 / np.maximum(end - start, 1), 0.0, 1.0)
    if not (share > 0).any():
        return steps, NO_STEPS
    n, low, high = (np.rint(part * share) for part in (steps.n, steps.low, steps.high))
    counts_aside = Steps(start, end, n, low, high).only(share > 0)
    # Where the count is not known, at most all of it was made outside maintenance.
    top = np.where(np.isnan(steps.n) & (share < 1), steps.high, steps.high - high)
    # A part of an interval is no whole number of turns.
    turned = None if steps.turned is None else np.where(share > 0, np.nan, steps.turned)
    return Steps(start, end, steps.n - n, steps.low - low, top, turned), counts_aside
