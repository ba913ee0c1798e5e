"""Which sizer needs a person first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from lineview.measures.rope_account import RopeAccount
from lineview.measures.rope_verdict import State, verdict


@dataclass(frozen=True)
class RankedSizer:
    """A sizer, how its rope stands and how soon it needs a person.

    Parameters
    ----------
    sizer, shown, line : str
        Its id, the name a person reads, and its line's id.
    state : str
        "steady", "drifting", "stepped" or "repaired"; "" where it cannot be told.
    drift, drift_low, drift_high : float or None
        Wear with its 95 % interval [mm/h].
    hours, early, late : float or None
        Running hours until the batch mean leaves tolerance, median and 90 % interval [h]; None where that is
        not within the horizon. 0 where it is out already.
    chance : float
        Share of the levels and wears that the data allow which leave within the horizon.
    problem : str
        Why nothing can be told of it, "" where it can.
    """

    sizer: str
    shown: str
    line: str
    state: State | Literal[""]
    drift: float | None = None
    drift_low: float | None = None
    drift_high: float | None = None
    hours: float | None = None
    early: float | None = None
    late: float | None = None
    chance: float = 0.0
    problem: str = ""

    @property
    def out(self) -> bool:
        """Whether the rope's mean is out of tolerance now."""
        return self.hours == 0


def rank_sizers(accounts: Iterable[RopeAccount]) -> list[RankedSizer]:
    """Order sizers by how soon each needs a person.

    Parameters
    ----------
    accounts : iterable of RopeAccount
        One a sizer, over one period.

    Returns
    -------
    list of RankedSizer
        Soonest first: those out of tolerance, then by the early end of the time to tolerance; a sizer of
        which nothing can be told comes before one that will not leave, for nobody would see it leave.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> rank_sizers([])
    []
    """
    return sorted((_ranked(account) for account in accounts), key=_order)


def _ranked(account: RopeAccount) -> RankedSizer:
    sizer = account.sizer
    told = RankedSizer(sizer.id, sizer.shown, sizer.line, "", problem=account.problem)
    if account.model is not None:
        found = verdict(account.model)
        told = replace(
            told, state=found.state, drift=found.wear_mm_per_h, drift_low=found.wear_low,
            drift_high=found.wear_high,
        )  # fmt: skip
    if account.ahead is None:
        return replace(told, problem=account.problem or "the tolerance is not known")
    time = account.ahead.mean
    return replace(told, hours=time.value_h, early=time.low_h, late=time.high_h, chance=time.share_within)


def _order(one: RankedSizer) -> tuple[int, float, str]:
    if one.problem:
        return 1, 0.0, one.sizer
    if one.early is not None:
        return 0, one.early if not one.out else -1.0, one.sizer
    return 2, -one.chance, one.sizer
