"""What a piece weighs, how far pieces spread, where the spread comes from, and what it costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.core.errors import AskError, Fault
from lineview.core.language import tr
from lineview.machine.pieces import MachineCounts
from lineview.plant import Machine, Plant
from lineview.report.answer import Answer, Scope
from lineview.report.figures import good_pieces_figure
from lineview.weight.account import WeightAccount, piece_facts, weight_account
from lineview.weight.contents import ContentsRules
from lineview.weight.detail import LineSeen, weight_detail
from lineview.weight.figures import detail_figures, weight_figures
from lineview.weight.lines import LineSpread, LineWeights, line_notes, line_spread, line_table
from lineview.weight.spread import batch_points, piece_points
from lineview.weight.tables import (
    bag_table,
    capability_table,
    chart_table,
    giveaway_table,
    plan_table,
    product_table,
    spread_table,
)
from lineview.weight.words import CAUTIONS, detail_notes, giveaway_notes, notes, sentence, soft_line


@dataclass(frozen=True)
class WeightInputs:
    """Of a cut-and-wrap machine: weights, batches and counts; its line's rope; the other lines' weights.

    `net_contents` holds the dated rules for packages by name ("hb133", "eu", "r87"); it may be empty. The
    weights and batches of other lines are to compare with, and in no figure of the line asked about.
    """

    counts: MachineCounts
    weights: pl.DataFrame
    batches: pl.DataFrame
    rope_gauges: pl.DataFrame
    rope_counts: MachineCounts | None
    net_contents: Mapping[str, ContentsRules]
    weights_elsewhere: pl.DataFrame
    batches_elsewhere: pl.DataFrame


def answer_weight(plant: Plant, scope: Scope, inputs: WeightInputs) -> Answer:
    """Answer what pieces weigh, how far they spread and what that costs."""
    machine = plant.machine(scope.machine)
    if machine is None:
        there = ", ".join(m.id for m in plant.machines) or tr("none")
        what = tr("'{machine}' is not a machine of the plant", machine=scope.machine)
        raise AskError(Fault(what, "--machine", tr("one of {machines}", machines=there)))
    start, end = scope.period.start, scope.period.end
    weights = inputs.weights.filter((pl.col("machine") == machine.id) & (pl.col("at") >= start) & (pl.col("at") < end))
    batches = inputs.batches.filter(pl.col("line") == machine.line)
    account = weight_account(plant, weights, batches, inputs.counts, (start, end))
    series = _series(account)
    across = _lines(plant, machine.line, account, inputs)
    detail = weight_detail(
        plant, account, series["batches"], _line_seen(plant, machine, batches, inputs), inputs.net_contents
    )
    good = inputs.counts.between((start, end)).good
    good_pieces = None if good is None else good.at(0)
    figures = (
        good_pieces_figure(good_pieces, scope.period, machine.label),
        *weight_figures(account, across, scope.period),
    )
    tables = [spread_table(figures), capability_table(figures), product_table(account), line_table(across, plant)]
    if detail is not None:
        figures += detail_figures(account, detail, plant.currency, scope.period)
        tables.insert(1, giveaway_table(account, detail, plant))
        tables += [chart_table(detail), plan_table(detail), bag_table(detail.bags)]
    return Answer(
        question="weight",
        scope=scope,
        sentence=sentence(account, plant),
        soft=soft_line(account, scope.label, plant, detail.money_per_week if detail else None),
        figures=figures,
        tables=tuple(tables),
        series=series,
        notes=(*notes(account, plant), *giveaway_notes(account), *line_notes(across, plant), *detail_notes(detail)),
        cautions=tuple(tr(caution) for caution in CAUTIONS),
    )


def _lines(plant: Plant, line: str, account: WeightAccount, inputs: WeightInputs) -> LineSpread | None:
    """Compare with the works' other lines; None where nothing of this one can be used."""
    usable = account.sorting.good
    if usable.is_empty():
        return None
    weighed = inputs.weights_elsewhere
    sheets = inputs.batches_elsewhere
    others = [
        LineWeights(
            other.id,
            weighed.filter(pl.col("machine").is_in([m.id for m in plant.machines if m.line == other.id])),
            sheets.filter(pl.col("line") == other.id),
        )
        for other in plant.lines
        if other.id != line
    ]
    facts = piece_facts(plant, sheets["product"].drop_nulls().unique(maintain_order=True).to_list())
    return line_spread(line, usable, others, facts)


def _line_seen(plant: Plant, machine: Machine, batches: pl.DataFrame, inputs: WeightInputs) -> LineSeen:
    sizers = plant.machines_of(machine.line, "sizer")
    sizer = sizers[0] if sizers else None
    return LineSeen(inputs.counts, sizer, inputs.rope_gauges, inputs.rope_counts, batches)


def _series(account: WeightAccount) -> dict[str, pl.DataFrame]:
    deviation = account.deviation
    within = deviation.within.value if deviation else None
    df = deviation.weighings - deviation.batches if deviation else 0
    usable = account.sorting.good
    return {"batches": batch_points(usable, within, df), "pieces": piece_points(usable)}
