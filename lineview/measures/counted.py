"""What a counter counted between two moments, with bounds for the edges and for what is unknown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.measures.counts import increments
from lineview.measures.state_spells import NO_SPELLS, Spells, set_aside, state_spells
from lineview.plant import Counter, Machine

Floats = npt.NDArray[np.float64]
#: Longest time that one row of a state channel read at intervals tells [s].
_TELLS_S = 600.0


@dataclass(frozen=True)
class Counted:
    """An amount with its bounds, and the number of readings behind it.

    `exact` is False where some increment within is not known (a reset, several turns, a torn read that
    nothing bridges); such an increment is in none of the numbers.
    """

    value: float
    low: float
    high: float
    n: int
    exact: bool = True


@dataclass(frozen=True)
class Steps:
    """A counter's increments as arrays, ready to be summed between any two moments.

    Times are seconds since 1970 [s]; amounts are in the counter's unit (pieces, metres), 0 where unknown.
    `low` and `high` bound each increment, `turn` is what one turn of the counter adds, nan where that is not
    known; None where nobody asks for what is unknown.
    """

    start_s: Floats
    end_s: Floats
    value: Floats
    known: npt.NDArray[np.bool_]
    unit_value: float
    low: Floats | None = None
    high: Floats | None = None
    turn: float = np.nan

    def between(self, start: datetime, end: datetime) -> Counted:
        """Sum from one moment to another [UTC]; an increment over an edge is shared out evenly by time.

        Parameters
        ----------
        start, end : datetime
            The stretch.

        Returns
        -------
        Counted
            With bounds: an increment over an edge may lie wholly on either side of it, and a counter that
            counts in steps of metres hides up to a step.
        """
        left, right = start.timestamp(), end.timestamp()
        # In order of time, so that what the stretch touches stands together.
        touched = slice(
            int(np.searchsorted(self.end_s, left, side="right")), int(np.searchsorted(self.start_s, right))
        )
        if touched.start >= touched.stop:
            return Counted(0.0, 0.0, 0.0, 0, exact=False)
        begin, stop, value = self.start_s[touched], self.end_s[touched], self.value[touched]
        inside = (begin >= left) & (stop <= right)
        span = np.maximum(stop - begin, 1e-9)
        share = np.clip((np.minimum(stop, right) - np.maximum(begin, left)) / span, 0.0, 1.0)
        share = np.where(inside, 1.0, share)
        step = 0.0 if self.unit_value == 1.0 else self.unit_value
        return Counted(
            value=float((value * share).sum()),
            low=max(float(value[inside].sum()) - step, 0.0),
            high=float(value.sum()) + step,
            n=len(value) + 1,
            exact=bool(self.known[touched].all()),
        )

    def split(self, edges: list[datetime]) -> Floats:
        """Sum within each stretch between successive edges, shared out evenly by time."""
        if len(self.end_s) == 0:
            return np.zeros(max(len(edges) - 1, 0))
        at = np.array([edge.timestamp() for edge in edges])
        known_at = np.concatenate([self.start_s[:1], self.end_s])
        running = np.concatenate([[0.0], np.cumsum(self.value)])
        return np.diff(np.interp(at, known_at, running))

    def unknown(self) -> list[tuple[datetime, datetime]]:
        """Give the stretches [UTC] whose increment is not known."""
        return [
            (datetime.fromtimestamp(a, UTC), datetime.fromtimestamp(b, UTC))
            for a, b in zip(self.start_s[~self.known], self.end_s[~self.known], strict=True)
        ]


def steps_of(counter: Counter, readings: pl.DataFrame, spells: Spells = NO_SPELLS) -> Steps:
    """Give a counter's increments as arrays.

    Parameters
    ----------
    counter : Counter
        Of the plant description: its id, modulus, fastest rate and unit value.
    readings : polars.DataFrame
        READINGS of its machine; uncertain ones are left aside, for a last value repeated looks like a halt.
    spells : Spells, optional
        What the machine's states said: what was counted in maintenance is taken out.

    Returns
    -------
    Steps
        In the counter's unit.
    """
    own = readings.filter((pl.col("channel") == counter.id) & (pl.col("quality") == "good"))
    modulus = None if counter.modulus == "unknown" else counter.modulus
    found = increments(own.select("at", "value"), modulus=modulus, fastest_per_min=counter.fastest_per_min)
    found, _ = set_aside(found, spells)
    return Steps(
        start_s=_seconds(found["start"]),
        end_s=_seconds(found["end"]),
        value=found["n"].fill_null(0.0).to_numpy().astype(float) * counter.unit_value,
        known=found["n"].is_not_null().to_numpy(),
        unit_value=counter.unit_value,
        low=found["low"].to_numpy().astype(float) * counter.unit_value,
        high=found["high"].to_numpy().astype(float) * counter.unit_value,
        turn=(modulus or np.nan) * counter.unit_value,
    )


def steps_by_kind(machine: Machine, readings: pl.DataFrame) -> dict[str, Steps]:
    """Give every counter of a machine that has readings, by what it counts.

    Parameters
    ----------
    machine : Machine
        Of the plant description.
    readings : polars.DataFrame
        READINGS of that machine.

    Returns
    -------
    dict
        From "pieces", "good pieces", "rejects", "blank wraps", "film", "wax paper" to Steps. Pieces counted
        in maintenance are left out; web fed in it is used all the same.
    """
    found: dict[str, Steps] = {}
    spells = state_spells(machine, readings, gap_s=_TELLS_S)
    for counter in machine.counters:
        if counter.counts not in found:
            pieces = counter.counts in ("pieces", "good pieces", "rejects")
            steps = steps_of(counter, readings, spells if pieces else NO_SPELLS)
            if len(steps.end_s):
                found[counter.counts] = steps
    return found


def _seconds(times: pl.Series) -> Floats:
    return times.dt.epoch("us").to_numpy().astype(float) / 1e6
