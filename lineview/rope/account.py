"""Everything measured about one sizer's rope over a period, in one object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.language import mark, tr
from lineview.machine.pieces import MachineCounts
from lineview.plant import Machine, Plant
from lineview.rope.batches import (
    USUAL_PER_MIN,
    RopeClock,
    WithinBatch,
    blocks_of_time,
    boundaries_from_pauses,
    points_of,
    readings_in_batches,
    rope_clock,
    within_batch,
)
from lineview.rope.drift_model import LEAST_BATCHES, RopeModel, fit_rope
from lineview.rope.forecast import Ahead, ahead_of, hours_ahead
from lineview.rope.gauges import OTHER_UNIT, Agreement, CheckedGauge, diameter_gauges, gauge_agreement, gauge_values
from lineview.rope.mass import pieces_by_product
from lineview.rope.products import Target, kinds_by_name, line_batches, target_of, targets_of
from lineview.rope.rollers import RollerRipple, Slip, roller_ripples, slips
from lineview.rope.watch import RopeLimits, RunRules, Watch, disagreement, rope_limits, run_rules, watch


@dataclass(frozen=True)
class RopeAccount:
    """What was measured; `problem` says why the drift is not known, "" where it is."""

    sizer: Machine
    target: Target
    gauges: tuple[CheckedGauge, ...]
    problem: str
    marks: str
    points: pl.DataFrame
    within: WithinBatch | None = None
    clock: RopeClock | None = None
    model: RopeModel | None = None
    watch: Watch | None = None
    ahead: Ahead | None = None
    limits: tuple[RopeLimits, ...] = ()
    agreement: Agreement | None = None
    ripples: tuple[RollerRipple, ...] = ()
    slips: tuple[Slip, ...] = ()
    pieces_by_product: Mapping[str, float] | None = None
    run_rules: RunRules | None = None
    unjudged: tuple[tuple[datetime, str], ...] = ()  # recorded adjustments after which there is no batch yet

    @property
    def weeks_a_piece(self) -> float | None:
        """Pieces of a planned week, at the uptime so far, for each piece counted; None if none is planned."""
        if self.model is None or self.ahead is None:
            return None
        ran = float(np.ptp(self.model.hours))
        return self.ahead.uptime * self.ahead.planned_h_per_week / ran or None


@dataclass(frozen=True)
class RopeSeen:
    """What was read of a sizer's rope and its line over a time.

    `gauges`: readings of its gauges (channel, at, value, quality); `counts`: of the sizer, for its rope counter;
    `wrappers`: of the line's cut-and-wrap machines; `batches`, `adjustments`: BATCHES and ADJUSTMENTS.
    """

    gauges: pl.DataFrame
    counts: MachineCounts | None
    wrappers: Sequence[MachineCounts]
    batches: pl.DataFrame
    adjustments: pl.DataFrame


def rope_account(
    plant: Plant, sizer: Machine, readings: RopeSeen, period: tuple[datetime, datetime], *, in_full: bool = True
) -> RopeAccount:
    """Measure a sizer's rope.

    Parameters
    ----------
    plant : Plant
        The works.
    sizer : Machine
        The sizer asked about.
    readings : RopeSeen
        What was read of it.
    period : (datetime, datetime)
        From and to [UTC].
    in_full : bool
        False leaves out what does not bear on the drift and its time to tolerance: charts, agreement of
        gauges, roller pairs, moments on the calendar.

    Returns
    -------
    RopeAccount
        With what is known.

    Notes
    -----
    Source: derived-rope
    """
    sheet = line_batches(readings.batches, sizer.line, period)
    target = target_of(plant, sheet)
    bare = RopeAccount(sizer, target, (), "", "", no_points())
    if readings.gauges.is_empty() and not (readings.counts and readings.counts.readings):
        return replace(bare, problem=tr("there are no readings of {sizer} in this time", sizer=sizer.label))
    within = pl.col("at").is_between(*period, closed="left")
    # A season of readings is copied only where there is anything to leave out.
    everything = readings.gauges.select(within.all()).item()
    inside = readings.gauges if everything else readings.gauges.filter(within)
    gauges = tuple(diameter_gauges(sizer, inside, target.diameter_mm, target.widest_tolerance_mm))
    bare = replace(bare, gauges=gauges)
    problem = _gauge_problem(sizer, gauges, target)
    if problem:
        return replace(bare, problem=problem)
    gauge = gauges[0].check.usable
    batches, marks = _marks(plant, sizer, sheet, gauge, target)
    core = readings_in_batches(gauge, batches)
    clock = rope_clock(readings.counts, readings.wrappers, gauge, period, gap_s=plant.gap_s)
    temperature = gauge_values(sizer, inside, "rope temperature")
    points = points_of(core, temperature, targets_of(plant, batches, target), clock.hours)
    if target.diameter_mm is None and points.height:
        points = points.with_columns(deviation_mm=pl.col("diameter_mm") - pl.col("diameter_mm").median())
    account = replace(bare, marks=marks, points=points, clock=clock)
    if not in_full:
        return _with_drift(plant, account, readings.adjustments)
    account = replace(
        account,
        within=within_batch(core, points),
        limits=tuple(rope_limits(core, points)) if points.height else (),
        agreement=_agreement(gauges, batches, clock),
        ripples=tuple(roller_ripples(sizer, inside, _fastest(gauges))),
        slips=tuple(slips(sizer, inside)),
        pieces_by_product=pieces_by_product(plant, readings.wrappers, sheet, target.product, period),
    )
    account = _with_drift(plant, account, readings.adjustments)
    if account.model is None:
        return account
    sd = (account.within.sd.value if account.within else None) or 0.0
    ahead = ahead_of(plant, account.model, account.target, sd, period[1])
    rules = run_rules(account.model, plant.run_rules) if plant.run_rules else None
    charts = watch(account.model)
    if charts.by_rank and ahead is not None:
        ahead = replace(ahead, first=None)  # when the next batch is far off by itself is not known
    return replace(account, watch=charts, ahead=ahead, run_rules=rules)


def no_points() -> pl.DataFrame:
    """Give batch points for no readings."""
    return points_of(readings_in_batches(pl.DataFrame(), pl.DataFrame()), None, {}, lambda at: np.zeros(len(at)))


def _gauge_problem(sizer: Machine, gauges: tuple[CheckedGauge, ...], target: Target) -> str:
    if not gauges:
        if sizer.gauge("rope diameter") is None:
            return tr("plant.toml gives {sizer} no gauge that measures rope diameter", sizer=sizer.label)
        return tr("no rope diameter of {sizer} was read in this time", sizer=sizer.label)
    if not gauges[0].check.usable.is_empty():
        return ""
    return _why_unusable(gauges[0], target)


def _why_unusable(first: CheckedGauge, target: Target) -> str:
    if first.check.slip:
        places = {"gauge": first.gauge.id, "shown": first.check.median_mm, "target": target.diameter_mm}
        if first.check.slip == OTHER_UNIT:
            return tr(
                "gauge {gauge} shows {shown:g} where {target:g} mm is meant; set its unit in plant.toml or in the "
                "layout of its export",
                **places,
            )
        return tr(
            "gauge {gauge} shows {shown:g} where {target:g} mm is meant, as if it were in {unit}; set its unit in "
            "plant.toml or in the layout of its export",
            **places,
            unit=tr(first.check.slip),
        )
    if first.check.dead:
        text = mark("gauge {gauge} is dead: it shows {shown:g} and does not move")
        return tr(text, gauge=first.gauge.id, shown=first.check.median_mm)
    return tr("gauge {gauge} saw no rope", gauge=first.gauge.id)


def _marks(
    plant: Plant, sizer: Machine, sheet: pl.DataFrame, gauge: pl.DataFrame, target: Target
) -> tuple[pl.DataFrame, str]:
    product = target.product.id if target.product else ""
    if not sheet.is_empty():
        product_name = pl.lit(None, dtype=pl.String) if target.several else pl.lit(product)
        return sheet.with_columns(product=pl.col("product").fill_null(product_name)), "batch sheet"
    boundaries = boundaries_from_pauses(gauge, line=sizer.line, product=product)
    if boundaries.height >= 2:
        return boundaries, "pauses"
    block = plant.batch_kg * 1000 / (target.product.mass_g if target.product else 7.0) / USUAL_PER_MIN
    return blocks_of_time(gauge, line=sizer.line, product=product, block_min=block), "blocks"


def _fastest(gauges: tuple[CheckedGauge, ...]) -> pl.DataFrame:
    """The readings of the gauge behind the last pair that reads most often."""
    return max((g.check.usable for g in gauges if g.last), key=lambda frame: frame.height)


def _agreement(gauges: tuple[CheckedGauge, ...], batches: pl.DataFrame, clock: RopeClock) -> Agreement | None:
    """Compare the first two gauges behind the last roller pair, where there are two."""
    last = [g for g in gauges if g.last and not g.check.usable.is_empty()][:2]
    if len(last) < 2:
        return None
    first, second = ((g.gauge.id, g.check.usable) for g in last)
    return gauge_agreement(first, second, batches, clock.hours)


def _with_drift(plant: Plant, account: RopeAccount, adjustments: pl.DataFrame) -> RopeAccount:
    """Add the model, and the hours to tolerance by its mean."""
    clock = account.clock
    if clock is None or account.points.is_empty():
        return replace(account, problem=tr("no reading of the rope falls into a batch"))
    of_sizer = adjustments.filter(pl.col("machine") == account.sizer.id).sort("at")
    hours = clock.hours(of_sizer["at"]).tolist() if of_sizer.height else []
    since = of_sizer.filter(pl.col("at") > account.points["at"][-1])
    account = replace(account, unjudged=tuple(since.select("at", "what").iter_rows()))
    triples = list(zip(of_sizer["at"].to_list(), hours, of_sizer["what"].to_list(), strict=True))
    model = fit_rope(account.points, triples, kinds_by_name(plant, account.points["product"]))
    if model is None:
        if account.points.height >= LEAST_BATCHES:
            return replace(account, problem=tr("no running hours pass between the batches"))
        return replace(
            account,
            problem=tr("too few batches: needs {needs}, has {has}", needs=LEAST_BATCHES, has=account.points.height),
        )
    if problem := disagreement(model):
        return replace(account, problem=problem)
    return replace(account, model=model, ahead=hours_ahead(model, account.target))
