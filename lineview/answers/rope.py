"""Is the rope drifting, since when, how fast, from what cause, and when does it leave tolerance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lineview.answers.answer import Answer, Scope
from lineview.answers.count_figures import good_pieces_figure
from lineview.answers.rope_figures import rope_figures
from lineview.answers.rope_money import weight_words
from lineview.answers.rope_notes import notes_of
from lineview.answers.rope_sentence import sentence, soft_line
from lineview.answers.rope_series import rope_series
from lineview.answers.rope_sizers import ranked_sizers, sooner_words
from lineview.answers.rope_tables import rope_tables
from lineview.core.estimate import Estimate
from lineview.errors import AskError, Fault
from lineview.figure import Figure
from lineview.measures.rope_account import RopeAccount, RopeSeen, rope_account
from lineview.measures.rope_verdict import verdict
from lineview.plant import Machine, Plant

CAUTIONS = (
    "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or changing rollers: "
    "isolate and lock out by your site procedure. This screen does not show a safe state.",
    "In-running rolls and rotating twist heads: guards stay on.",
    "Numbers are from counters and may be wrong or late: do not use for interlocks, stops or restart.",
)


@dataclass(frozen=True)
class RopeInputs:
    """Of a sizer: what was read of its rope, and what was measured of the works' other sizers, by sizer."""

    seen: RopeSeen
    elsewhere: Mapping[str, RopeAccount] = field(default_factory=dict)


def answer_rope(plant: Plant, scope: Scope, inputs: RopeInputs) -> Answer:
    """Answer how a sizer's rope stands.

    Parameters
    ----------
    plant : Plant
        The works.
    scope : Scope
        A sizer and a period.
    inputs : RopeInputs
        What was read of its rope and line.

    Returns
    -------
    Answer
        With figures (lineview.answers.rope_figures), the tables "causes", "adjustments", "sizers", "watch",
        "limits", "gauges" and "rollers", and the frames of the pictures.

    Raises
    ------
    AskError
        Where the machine is not a sizer of the plant.
    """
    sizer = _sizer(plant, scope.machine)
    account = rope_account(
        plant, sizer, inputs.seen, (scope.period.start, scope.period.end)
    )  # fmt: skip
    found = verdict(account.model) if account.model is not None else None
    figures = rope_figures(account, found, plant, scope.period)
    ranked = ranked_sizers(account, inputs.elsewhere)
    soft = (
        soft_line(account, found, plant, scope), weight_words(figures, plant), sooner_words(ranked, sizer.id)
    )  # fmt: skip
    return Answer(
        question="rope",
        scope=scope,
        sentence=sentence(account, found, plant, scope),
        soft=" ".join(part for part in soft if part),
        figures=(*figures, _good_pieces(inputs, scope)),
        tables=rope_tables(account, found, figures, plant, scope, ranked),
        series=rope_series(account, found),
        notes=notes_of(account, plant),
        cautions=CAUTIONS,
    )


def _good_pieces(inputs: RopeInputs, scope: Scope) -> Figure:
    """Good pieces that the line's cut-and-wrap machines made of the rope."""
    period = (scope.period.start, scope.period.end)
    counted = [part.at(0) for c in inputs.seen.wrappers if (part := c.between(period).good) is not None]
    return good_pieces_figure(Estimate.sum(counted) if counted else None, scope.period, f"line {scope.line}")


def _sizer(plant: Plant, name: str) -> Machine:
    machine = plant.machine(name)
    if machine is None or machine.kind != "sizer":
        known = ", ".join(m.id for m in plant.machines if m.kind == "sizer") or "none in plant.toml"
        raise AskError(Fault(f"'{name}' is not a sizer", "--machine", f"one of {known}"))
    return machine
