"""Which sizer needs a person first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from lineview.plant import Plant
from lineview.report.answer import Table
from lineview.rope.account import RopeAccount
from lineview.rope.forecast import HORIZON_H, State, verdict
from lineview.rope.words import number


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

    Source: derived-rope
    """
    return sorted((_ranked(account) for account in accounts), key=_order)


def _ranked(account: RopeAccount) -> RankedSizer:
    sizer = account.sizer
    told = RankedSizer(sizer.id, sizer.shown, sizer.line, "", problem=account.problem)
    if account.model is not None:
        found = verdict(account.model)
        told = replace(
            told, state=found.state, drift=found.wear_mm_per_h, drift_low=found.wear_low, drift_high=found.wear_high
        )
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


def ranked_sizers(asked: RopeAccount, elsewhere: Mapping[str, RopeAccount]) -> tuple[RankedSizer, ...]:
    """Rank the sizer asked about among those of the works."""
    others = [account for name, account in elsewhere.items() if name != asked.sizer.id]
    return tuple(rank_sizers([asked, *others])) if others else ()


def sizers_table(ranked: tuple[RankedSizer, ...], plant: Plant) -> Table:
    """The ranking as a table."""
    columns = (
        ("sizer", "sizer", ""),
        ("state", "rope", ""),
        ("hours", "leaves tolerance in", "h"),
        ("early", "at the earliest", "h"),
        ("drift", "drift", "mm/h"),
        ("low", "95 % from", "mm/h"),
        ("high", "to", "mm/h"),
        ("line", "line", ""),
        ("why", "reason for its rank", ""),
    )
    lines = {one.id: one.name or one.id for one in plant.lines}
    rows: list[dict[str, Any]] = [
        {
            "sizer": one.shown,
            "line": lines.get(one.line, one.line),
            "state": state_words(one),
            "drift": _rounded(one.drift),
            "low": _rounded(one.drift_low),
            "high": _rounded(one.drift_high),
            "hours": one.hours,
            "early": one.early,
            "why": why_words(one),
        }
        for one in ranked
    ]
    return Table("sizers", "Sizers of the works, the most urgent first", columns, rows)


def _rounded(drift: float | None) -> float | None:
    return None if drift is None else round(drift, 4)


def state_words(one: RankedSizer) -> str:
    """Say how a sizer's rope stands, in a word or two."""
    if one.state == "drifting" and one.drift is not None:
        return "thinning" if one.drift < 0 else "thickening"
    words = {"steady": "steady", "stepped": "steady since a jump", "repaired": "steady since an adjustment"}
    return words.get(one.state, "not known")


def why_words(one: RankedSizer) -> str:
    """Say why a sizer stands where it does in the order."""
    if one.problem:
        return f"not known: {one.problem}"
    if one.out:
        return "out of tolerance already"
    if one.hours is not None:
        return "leaves tolerance at this pace"
    if one.early is not None:
        return f"unlikely within {HORIZON_H:.0f} h"
    return f"will not leave tolerance within {HORIZON_H:.0f} h"


def sooner_words(ranked: tuple[RankedSizer, ...], asked: str) -> str:
    """Say which other sizer needs attention sooner than the one asked about."""
    ahead = ranked[: next((i for i, one in enumerate(ranked) if one.sizer == asked), 0)]
    needs = [one for one in ahead if one.hours is not None]
    if not needs:
        return ""
    first = needs[0]
    if first.out:
        return f"{first.shown} needs attention sooner: its rope is out of tolerance."
    early = number(first.early or 0.0, 0)
    hours = f"{early} hours or more" if first.late is None else f"{early} to {number(first.late, 0)} hours"
    return f"{first.shown} needs attention sooner: its rope leaves tolerance in {hours}."
