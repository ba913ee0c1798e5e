"""Which sizer needs a person first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from lineview.core.language import mark, tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Table, columns_of
from lineview.rope.account import RopeAccount
from lineview.rope.forecast import HORIZON_H, State, verdict


@dataclass(frozen=True)
class RankedSizer:
    """A sizer, the name a person reads and its line; how its rope stands and how soon it needs a person.

    `state` is "" where it is not known, and `problem` then says why; `drift` is wear with its 95 % interval [mm/h];
    `hours` are running hours until the batch mean leaves tolerance, median and 90 % interval, None where that is not
    within the horizon, 0 where it is out already; `chance` is the share of the levels and wears that the data allow
    which leave within the horizon.
    """

    sizer: str
    label: str
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
    return sorted((_rank(account) for account in accounts), key=_order)


def _rank(account: RopeAccount) -> RankedSizer:
    sizer = account.sizer
    sizer_rank = RankedSizer(sizer.id, sizer.label, sizer.line, "", problem=account.problem)
    if account.model is not None:
        judgement = verdict(account.model)
        sizer_rank = replace(
            sizer_rank,
            state=judgement.state,
            drift=judgement.wear_mm_per_h,
            drift_low=judgement.wear_low,
            drift_high=judgement.wear_high,
        )
    if account.ahead is None:
        return replace(sizer_rank, problem=account.problem or tr("the tolerance is not known"))
    time = account.ahead.mean
    return replace(sizer_rank, hours=time.value_h, early=time.low_h, late=time.high_h, chance=time.share_within)


def _order(sizer: RankedSizer) -> tuple[int, float, str]:
    if sizer.problem:
        return 1, 0.0, sizer.sizer
    if sizer.early is not None and (sizer.hours is not None or sizer.state == "drifting"):
        return 0, sizer.early if not sizer.out else -1.0, sizer.sizer
    return 2, -sizer.chance, sizer.sizer


def ranked_sizers(first: RopeAccount, elsewhere: Mapping[str, RopeAccount]) -> tuple[RankedSizer, ...]:
    """Rank the sizer asked about among those of the works."""
    others = [account for name, account in elsewhere.items() if name != first.sizer.id]
    return tuple(rank_sizers([first, *others])) if others else ()


def sizers_table(sizers: tuple[RankedSizer, ...], plant: Plant) -> Table:
    """The ranking as a table."""
    columns = columns_of(
        "sizer; state: rope; hours: leaves tolerance in [h]; early: at the earliest [h]; drift [mm/h]; "
        "low: 95 % from [mm/h]; high: to [mm/h]; line; why: reason for its rank"
    )
    lines = {line.id: line.label for line in plant.lines}
    rows: list[dict[str, Any]] = [
        {
            "sizer": sizer.label,
            "line": lines.get(sizer.line, sizer.line),
            "state": state_words(sizer),
            "drift": _round(sizer.drift),
            "low": _round(sizer.drift_low),
            "high": _round(sizer.drift_high),
            "hours": None if sizer.hours is None else round(sizer.hours),
            "early": None if sizer.early is None else round(sizer.early),
            "why": why_words(sizer),
        }
        for sizer in sizers
    ]
    return Table("sizers", tr("Sizers of the works, the most urgent first"), columns, rows)


def _round(drift: float | None) -> float | None:
    return None if drift is None else round(drift, 4)


_STATES = {
    "steady": mark("steady"),
    "stepped": mark("steady since a jump"),
    "repaired": mark("steady since an adjustment"),
}
_NOT_KNOWN = mark("not known")


def state_words(sizer: RankedSizer) -> str:
    """Say how a sizer's rope stands, in a word or two."""
    if sizer.state == "drifting" and sizer.drift is not None:
        return mark("thinning") if sizer.drift < 0 else mark("thickening")
    if sizer.hours and sizer.drift is not None:
        return mark("may be thinning") if sizer.drift < 0 else mark("may be thickening")
    return _STATES.get(sizer.state, _NOT_KNOWN)


def why_words(sizer: RankedSizer) -> str:
    """Say why a sizer stands where it does in the order."""
    if sizer.problem:
        return tr("not known: {why}", why=sizer.problem)
    if sizer.out:
        return tr("out of tolerance already")
    if sizer.hours is not None:
        return tr("leaves tolerance at this pace")
    if sizer.early is not None:
        return tr("unlikely within {hours:.0f} h", hours=HORIZON_H)
    return tr("will not leave tolerance within {hours:.0f} h", hours=HORIZON_H)


def sooner_words(ranked: tuple[RankedSizer, ...], sizer_id: str) -> str:
    """Say which other sizer needs attention sooner than the one asked about."""
    ahead = ranked[: next((i for i, sizer in enumerate(ranked) if sizer.sizer == sizer_id), 0)]
    needs = [sizer for sizer in ahead if sizer.hours is not None]
    if not needs:
        return ""
    first = needs[0]
    if first.out:
        return tr("{sizer} needs attention sooner: its rope is out of tolerance.", sizer=first.label)
    early = show.number(first.early or 0.0, 0)
    if first.late is None:
        return tr(
            "{sizer} needs attention sooner: its rope leaves tolerance in {hours} hours or more.",
            sizer=first.label,
            hours=early,
        )
    return tr(
        "{sizer} needs attention sooner: its rope leaves tolerance in {low} to {high} hours.",
        sizer=first.label,
        low=early,
        high=show.number(first.late, 0),
    )
