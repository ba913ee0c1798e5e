"""Which sizer needs a person first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lineview.measures.rope_account import RopeAccount


@dataclass(frozen=True)
class RankedSizer:
    """A sizer and the running hours until it needs a person; None where that is not within the horizon."""

    sizer: str
    hours: float | None
    why: str


def rank_sizers(accounts: Iterable[RopeAccount]) -> list[RankedSizer]:
    """Order sizers by how soon each needs a person.

    Parameters
    ----------
    accounts : iterable of RopeAccount
        One a sizer, over one period.

    Returns
    -------
    list of RankedSizer
        Soonest first: by the early end of the interval of the time to tolerance; a sizer whose gauge cannot
        be used comes before one that will not leave, for nobody would see it leave.

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
    name = account.sizer.id
    if account.problem:
        return RankedSizer(name, None, f"cannot be told: {account.problem}")
    if account.ahead is None:
        return RankedSizer(name, None, "cannot be told: the tolerance is not known")
    hours = account.ahead.mean.low_h
    if hours is None:
        return RankedSizer(name, None, "")
    why = "out of tolerance" if account.ahead.mean.value_h == 0 else "leaves tolerance"
    return RankedSizer(name, hours, why)


def _order(one: RankedSizer) -> tuple[int, float, str]:
    if one.hours is not None:
        return 0, one.hours, one.sizer
    return (1 if one.why else 2), 0.0, one.sizer
