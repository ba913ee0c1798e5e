"""Is the rope drifting, since when, how fast, from what cause, and when does it leave tolerance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lineview.core.errors import AskError, Fault
from lineview.core.estimate import Estimate
from lineview.core.figure import Figure
from lineview.core.language import mark, tr
from lineview.plant import Machine, Plant
from lineview.report import show
from lineview.report.answer import Answer, Scope
from lineview.report.figures import good_pieces_figure
from lineview.rope.account import RopeAccount, RopeSeen, rope_account
from lineview.rope.batches import LIVE
from lineview.rope.figures import rope_figures, weight_words
from lineview.rope.forecast import verdict
from lineview.rope.lead import lead_table
from lineview.rope.ranking import ranked_sizers, sooner_words
from lineview.rope.rollers import Slip
from lineview.rope.tables import product_notes, rope_series, rope_tables, run_rules_notes
from lineview.rope.words import length, sentence, soft_line


def notes_of(account: RopeAccount, plant: Plant) -> tuple[str, ...]:
    """Say what is not known, and what other exports would add."""
    notes = gauge_words(account) + roller_words(account, plant) + product_notes(account.model)
    if account.marks == "pauses":
        notes.append(tr("Batches were found from pauses of the rope; a batch sheet would give their true marks."))
    if account.marks == "blocks":
        notes.append(
            tr(
                "Batches are unknown: the rope never pauses and no batch sheet was exported. Blocks of "
                "readings as long as a usual batch stand in for them, so taper and change between "
                "batches cannot be separated."
            )
        )
    if account.clock is not None and account.clock.source == LIVE:
        notes.append(
            tr(
                "Running hours are the time with live gauge readings; a piece counter of the line, or a rope counter "
                "of the sizer, would show stops that the gauge does not."
            )
        )
    if account.points.height and account.points["temperature_c"].null_count() == account.points.height:
        notes.append(tr("Rope temperature was not exported: slow cooling or warming cannot be separated from wear."))
    unknown = account.points["deviation_mm"].null_count() if account.points.height else 0
    if unknown:
        notes.append(tr("{batches:,} batches name no known product and were left out of the drift.", batches=unknown))
    notes += run_rules_notes(account)
    if account.model is not None:
        notes.append(tr("Diameters compare only at one distance after the last roller pair, since rope recovers."))
    return tuple(notes)


def gauge_words(account: RopeAccount) -> list[str]:
    """Say what was found wrong with gauges, in words."""
    out = []
    for gauge in account.gauges:
        check, name = gauge.check, gauge.gauge.id
        if check.slip:
            text = mark("Gauge {gauge} seems to be in {unit}, not mm: its readings were not used.")
            out.append(tr(text, gauge=name, unit=tr(check.slip)))
        elif check.dead:
            text = mark("Gauge {gauge} is dead: it stays at {reading}.")
            out.append(tr(text, gauge=name, reading=show.number(check.median_mm or 0.0, 3)))
        elif check.frozen:
            text = mark("Gauge {gauge} was stuck for {readings} readings; they were not used.")
            out.append(tr(text, gauge=name, readings=check.frozen))
        if check.off_rope:
            text = mark("{readings} readings of gauge {gauge} were too far from any rope; not used.")
            out.append(tr(text, readings=check.off_rope, gauge=name))
    return out


def roller_words(account: RopeAccount, plant: Plant) -> list[str]:
    """Say what gauges and rollers show beside the drift, in words."""
    out = []
    both = account.agreement
    if both is not None:
        gap = length(both.difference_mm, plant, signed=True)
        gauges = {"second": both.second, "first": both.first, "gap": gap}
        if both.wanders:
            text = tr(
                "Gauge {second} shows {gap} against gauge {first}, and they drift apart by {length} an hour: the drift "
                "may be a gauge's and not the rope's.",
                **gauges,
                length=length(both.apart_mm_per_h, plant, signed=True, rate=True),
            )
        else:
            text = tr("Gauge {second} shows {gap} against gauge {first}; they do not drift apart.", **gauges)
        out.append(text)
    out += [
        tr(
            "The rope ripples once in {seconds} s, the turning period of roller pair {pair}: amplitude {length}.",
            seconds=show.number(roller.ripple.period_s, 2),
            pair=roller.pair,
            length=length(roller.ripple.amplitude, plant, rate=True),
        )
        for roller in account.ripples
        if roller.ripple is not None and roller.has_ripple
    ]
    out += [_slip_words(slip) for slip in account.slips if slip.low > 0 or slip.high < 0]
    return out


def _slip_words(slip: Slip) -> str:
    places = {"pair": slip.pair, "percent": show.number(abs(100 * slip.share), 1), "last": slip.against}
    if slip.share > 0:
        return tr(
            "Roller pair {pair} carries {percent} % less rope (v·d²) than pair {last} draws off: slip, stretch between "
            "them, or a diameter that is off.",
            **places,
        )
    return tr(
        "Roller pair {pair} carries {percent} % more rope (v·d²) than pair {last} draws off: slip, stretch between "
        "them, or a diameter that is off.",
        **places,
    )


CAUTIONS = (
    mark(
        "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or "
        "changing rollers: isolate and lock out by your site procedure. This screen does not "
        "show a safe state."
    ),
    mark("In-running rolls and rotating twist heads: guards stay on."),
    mark("Numbers are from counters and may be wrong or late: do not use for interlocks, stops or restart."),
)


@dataclass(frozen=True)
class RopeInputs:
    """Of a sizer: what was read of its rope, and what was measured of the works' other sizers, by sizer.

    `past` is the sizer over the weeks before, from which its adjustments are learned.
    """

    readings: RopeSeen
    elsewhere: Mapping[str, RopeAccount] = field(default_factory=dict)
    past: RopeAccount | None = None


def answer_rope(plant: Plant, scope: Scope, inputs: RopeInputs) -> Answer:
    """Answer how a sizer's rope stands."""
    sizer = _sizer(plant, scope.machine)
    account = rope_account(plant, sizer, inputs.readings, (scope.period.start, scope.period.end))
    judgement = verdict(account.model) if account.model is not None else None
    figures = rope_figures(account, judgement, plant, scope.period)
    ranked = ranked_sizers(account, inputs.elsewhere)
    tables = rope_tables(account, judgement, figures, plant, scope, ranked)
    soft = (soft_line(account, judgement, plant, scope), weight_words(figures, plant), sooner_words(ranked, sizer.id))
    return Answer(
        question="rope",
        scope=scope,
        sentence=sentence(account, judgement, plant, scope),
        soft=" ".join(part for part in soft if part),
        figures=(*figures, _good_pieces(inputs, scope)),
        tables=(lead_table(account, judgement, inputs.past, plant, scope), *tables),
        series=rope_series(account, judgement),
        notes=notes_of(account, plant),
        cautions=tuple(tr(caution) for caution in CAUTIONS),
    )


def _good_pieces(inputs: RopeInputs, scope: Scope) -> Figure:
    """Good pieces that the line's cut-and-wrap machines made of the rope."""
    period = (scope.period.start, scope.period.end)
    counts_of = [part.at(0) for c in inputs.readings.wrappers if (part := c.between(period).good) is not None]
    return good_pieces_figure(
        Estimate.sum(counts_of) if counts_of else None, scope.period, tr("line {line}", line=scope.line)
    )


def _sizer(plant: Plant, name: str) -> Machine:
    machine = plant.machine(name)
    if machine is None or machine.kind != "sizer":
        ids = ", ".join(m.id for m in plant.machines if m.kind == "sizer") or tr("none in plant.toml")
        raise AskError(
            Fault(tr("'{machine}' is not a sizer", machine=name), "--machine", tr("one of {machines}", machines=ids))
        )
    return machine
