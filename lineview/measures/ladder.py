"""The loss ladder: from nominal pieces down to good pieces, adding up exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lineview.measures.shift_account import ShiftAccount
from lineview.measures.stop_kinds import KINDS

_SAID = {"outside": "from outside the machine"}


@dataclass(frozen=True)
class Rung:
    """One step of the ladder: a cause, its minutes (None: takes none), the pieces it adds or takes."""

    cause: str
    minutes: float | None
    pieces: int
    kind: str = "loss"


#: Cause, key of the pieces lost, and states whose minutes it takes.
CAUSES: tuple[tuple[str, str, str], ...] = (
    ("changeovers", "changeover", "changeover"),
    ("stops", "stop", "stop"),
    ("short stops", "short_stop", "short stop"),
    ("not seen", "unseen", "unseen"),
    ("slow legs", "slow", "slow"),
    ("running off nominal", "running", "running"),
)


def ladder(account: ShiftAccount, *, good_counted: bool = True) -> tuple[Rung, ...]:
    """Give the ladder of a shift, or of several summed.

    Parameters
    ----------
    account : ShiftAccount
        Minutes and pieces by state.
    good_counted : bool
        Whether good pieces or rejects are counted; else the last rung says that rejects are still in it.

    Returns
    -------
    tuple of Rung
        First the nominal pieces, then each cause (negative where it takes pieces), last the good pieces:
        whole numbers, of which the last is exactly the sum of those before it. Minutes of the causes add up
        to the planned minutes. Where good pieces cannot be told the last rung is the least they can be.

    Notes
    -----
    A state's loss is its minutes at the nominal rate, less the pieces made in it.
    Source: derived-ladder
    """
    rate = account.nominal_per_min
    steps: list[tuple[str, float | None, float]] = []
    for cause, _, state in CAUSES:
        minutes, made = cause_sums(account, state)
        split: list[tuple[str, float | None, float]] = []
        for kind in KINDS[1:]:
            part, of_it = account.kinds.get((state, kind), (0.0, 0.0))
            if part > 0:
                split.append((f"{cause}, {_SAID.get(kind, kind)}", part, of_it - part * rate))
                minutes, made = minutes - part, made - of_it
        own = f"{cause}, its own" if split else cause
        steps += [(own, minutes, made - minutes * rate), *split]
    steps.append(("made in breaks", None, account.made_in("break")))
    steps.append(("rejects", None, -account.rejects_used))
    steps.append(("counters differ", None, account.counters_differ))
    return _whole(account, steps, "good pieces" if good_counted else "pieces, rejects not counted")


def cause_sums(account: ShiftAccount, state: str) -> tuple[float, float]:
    """Give the minutes [min] that the ladder counts to a state, and the pieces made in them.

    Parameters
    ----------
    account : ShiftAccount
        Of a shift.
    state : str
        One of STATES.

    Returns
    -------
    tuple of float
        Running minutes whose pieces no counter tells go to those not seen, so that no speed is lost in them.
    """
    minutes, made = account.minutes.get(state, 0.0), account.made_in(state)
    if state == "unseen":
        return minutes + account.uncounted_min, made
    if state == "running":
        return max(0.0, minutes - account.uncounted_min), made
    return minutes, made


def _whole(
    account: ShiftAccount, steps: Sequence[tuple[str, float | None, float]], last: str
) -> tuple[Rung, ...]:
    """Round the levels between the steps, so that the steps add up exactly."""
    level = account.planned_min * account.nominal_per_min
    at = round(level)
    rungs = [Rung(f"nominal, {account.nominal_per_min:g} a minute", account.planned_min, at, "nominal")]
    always = {cause for cause, _, state in CAUSES if state in ("changeover", "stop", "short stop")}
    for cause, minutes, pieces in steps:
        level += pieces
        step, at = round(level) - at, round(level)
        if step or minutes or cause in always:
            rungs.append(Rung(cause, minutes, step))
    return (*rungs, Rung(last if account.good_told else f"{last}, at least", None, at, "good"))
