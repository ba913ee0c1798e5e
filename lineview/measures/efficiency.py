"""Two efficiencies of a packaging machine: over all causes, and over the machine's own alone."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.measures.stop_kinds import OUTSIDE_KINDS, with_kinds


@dataclass(frozen=True)
class Efficiency:
    """Good pieces over what the operating minutes would give at the nominal rate.

    `operating_min` leaves out breaks, changeovers and unseen minutes [min]; `outside_min` of it stood by a
    cause outside the machine [min]. Both shares are None where their divisor is 0.
    """

    good: float
    nominal_per_min: float
    operating_min: float
    outside_min: float

    @property
    def all_causes(self) -> float | None:
        """Efficiency with losses counted whatever their cause."""
        return _over(self.good, self.nominal_per_min * self.operating_min)

    @property
    def machine_only(self) -> float | None:
        """Efficiency without the losses whose cause lies outside the machine."""
        return _over(self.good, self.nominal_per_min * (self.operating_min - self.outside_min))


def _over(top: float, bottom: float) -> float | None:
    return top / bottom if bottom > 1e-9 else None


def outside_minutes(tape: pl.DataFrame) -> float:
    """Give the minutes of stops whose reason says that the cause lies outside the machine [min].

    Parameters
    ----------
    tape : polars.DataFrame
        TAPE.

    Returns
    -------
    float
        Minutes [min]; stops without a reason count as the machine's own.

    Notes
    -----
    Source: din-en-415-11
    """
    outside = with_kinds(tape).filter(pl.col("kind").is_in(OUTSIDE_KINDS))
    return float((outside["end"] - outside["start"]).dt.total_microseconds().sum()) / 6e7
