"""The weight answer's figures, each with interval, number, period, sources and working."""

from __future__ import annotations

from lineview.core.figure import Figure, Period, cannot_tell, too_few
from lineview.stats.variance_shares import VarianceShare
from lineview.weight.account import WeightAccount
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import Yield, share_below
from lineview.weight.giveaway_figures import (
    CONFIDENCE,
    SPREAD_SOURCES,
    from_spread,
    giveaway_figures,
    money_figures,
)
from lineview.weight.sources import SpreadSources
from lineview.weight.spread import WeightSpread

CAPABILITY_SOURCES = ("iso-22514-2", "weerahandi-1993")


def weight_figures(account: WeightAccount, period: Period) -> tuple[Figure, ...]:
    """Every figure of the weight answer."""
    found = account.deviation
    if found is None or account.target_g is None:
        return _nothing(account, period)
    return (
        *_means(account, found, account.target_g, period),
        *_spreads(found, period),
        *_numbers(account, found, period),
        *_capabilities(account, found, period),
        _below(account, found, period),
        *giveaway_figures(account, period),
        *_yields(account, period),
    )


def _nothing(account: WeightAccount, period: Period) -> tuple[Figure, ...]:
    reasons = "; ".join(f"{n} weights set aside: {why}" for why, n in account.sorted.reasons.items())
    if account.unplaced:
        reasons = reasons or f"nothing says which product the {account.unplaced} weights are of"
    names = (
        ("mean_g", "mean mass of a piece", "g"),
        ("sd_within_g", "spread within batches", "g"),
        ("sd_between_g", "spread between batches", "g"),
        ("sd_total_g", "spread of all pieces", "g"),
        ("giveaway_g_per_piece", "giveaway a piece", "g"),
    )
    if reasons:
        return tuple(cannot_tell(*n, why=reasons, period=period) for n in names)
    return tuple(too_few(*n, needs=1, has=0, period=period) for n in names)


def _means(account: WeightAccount, found: WeightSpread, target: float, period: Period) -> list[Figure]:
    products = account.sorted.kept["product"].n_unique()
    # One target is certain; of several the mean follows what was weighed.
    low, high = (None if v is None else v + target for v in (found.mean_low, found.mean_high))
    kind = found.checks.why_no_mean or "95 % confidence, from batch means"
    if found.batches <= 1:
        kind = "95 % confidence, of this one batch" if found.batches else "95 % confidence, from samples"
    if found.mean_low is None:
        kind = found.checks.why_no_mean or "too few weighings for an interval"
    of = "" if products == 1 else f", mean of {products} products by pieces weighed"
    return [
        Figure(
            "mean_g", "mean mass of a piece", target + found.mean, "g", low, high, kind, found.pieces, period,
            SPREAD_SOURCES,
            f"target {target:.4g} g{of} {found.mean:+.4f} g mean deviation over {found.batches} batches",
        ),
        Figure(
            "target_g", "target mass of a piece", target, "g", interval_kind="set in plant.toml",
            n=products, period=period, working=f"plant.toml, {products} product(s){of}",
        ),
        Figure(
            "deviation_g", "mean deviation from target", found.mean, "g", found.mean_low, found.mean_high,
            kind, found.pieces, period, SPREAD_SOURCES,
            f"batch means weighted by 1 / (between² + within² / pieces) over {found.batches} batches; "
            f"{found.checks.words}",
        ),
    ]  # fmt: skip


def _spreads(found: WeightSpread, period: Period) -> list[Figure]:
    told = " / ".join(found.levels) or "none"
    working = f"restricted maximum likelihood, levels {told}, {found.weighings} weighings"
    working += f"; {found.checks.words}" if found.checks.words else ""
    total = "√(between² + within²)"
    if found.between.value is not None and found.within.value is not None:
        total = f"√({found.between.value:.4f}² + {found.within.value:.4f}²)"
    rows = (
        (found.within, "sd_within_g", "spread within batches", found.weighings, working),
        (found.between, "sd_between_g", "spread between batches", found.batches, working),
        (found.total, "sd_total_g", "spread of all pieces", found.weighings, total),
        (found.samples, "sd_samples_g", "spread between sample times in a batch", found.weighings, working),
        (found.piece, "sd_piece_g", "spread piece to piece", found.weighings, working),
    )
    return [
        from_spread(s, name, label, "g", n=n, period=period, sources=SPREAD_SOURCES, working=w)
        for s, name, label, n, w in rows
    ]


def _numbers(account: WeightAccount, found: WeightSpread, period: Period) -> list[Figure]:
    aside = account.sorted.aside.height
    reasons = "; ".join(f"{n} {why}" for why, n in account.sorted.reasons.items())
    counted = f"counted over {found.weighings} weighings"
    left_out = reasons or "none was set aside"
    return [
        Figure(
            "batches", "batches weighed", found.batches, "", n=found.weighings, period=period, working=counted
        ),
        Figure(
            "pieces", "pieces weighed", found.pieces, "", n=found.weighings, period=period, working=counted
        ),
        Figure("set_aside", "weights set aside", aside, "", n=aside, period=period, working=left_out),
    ]


def _capabilities(account: WeightAccount, found: WeightSpread, period: Period) -> list[Figure]:
    capability, scaled = account.capability, account.scaled
    if capability is None or scaled is None:
        return []
    within = "" if scaled.within.value is None else f"{scaled.within.value:.4f}"
    total = "" if scaled.total.value is None else f"{scaled.total.value:.4f}"
    mean = f"1 − |{scaled.mean:+.4f}|"
    rows = (
        (capability.cp, "cp", "capability Cp, within batches", f"1 / (3 × {within})"),
        (capability.cpk, "cpk", "capability Cpk, within batches", f"({mean}) / (3 × {within})"),
        (capability.pp, "pp", "performance Pp, all pieces", f"1 / (3 × {total})"),
        (capability.ppk, "ppk", "performance Ppk, all pieces", f"({mean}) / (3 × {total})"),
    )
    return [
        from_spread(
            s, name, label, "", n=found.pieces, period=period, sources=CAPABILITY_SOURCES,
            working=f"{w}, in tolerances from the target",
        )
        for s, name, label, w in rows
    ]  # fmt: skip


def _below(account: WeightAccount, found: WeightSpread, period: Period) -> Figure:
    name, label = "below_tolerance_percent", "pieces below their tolerance"
    if account.scaled is None:
        return cannot_tell(name, label, "%", "no weight can be used", period)
    return from_spread(
        share_below(account.scaled).times(100.0), name, label, "%", n=found.pieces, period=period,
        sources=CAPABILITY_SOURCES, working="normal share below target − tolerance, by mean and total spread",
    )  # fmt: skip


def _yields(account: WeightAccount, period: Period) -> list[Figure]:
    y = account.balance
    if y is None:
        why = "no batch with its mass in and counted pieces"
        return [
            cannot_tell("yield_percent", "yield of the batches", "%", why, period),
            cannot_tell("unexplained_kg", "unexplained loss of mass", "kg", why, period),
        ]
    rejects = "" if y.rejects_kg is None else f" − rejects {y.rejects_kg:.1f} kg"
    kind = "95 % confidence (GUM, k = 2)"
    if y.u_scale_kg is None:
        kind += "; the batch scale's own error not in it"
    return [
        Figure(
            "yield_percent", "yield of the batches", 100 * y.share, "%", 100 * (y.share - 2 * y.u_share),
            100 * (y.share + 2 * y.u_share), kind, y.batches, period, ("gum",),
            f"{y.good_pieces:,.0f} good pieces = {y.good_kg:.1f} kg of {y.mass_in_kg:.1f} kg in; "
            f"{_budget(y)}",
        ),
        Figure(
            "unexplained_kg", "unexplained loss of mass", y.unexplained_kg, "kg",
            y.unexplained_kg - 2 * y.u_unexplained_kg, y.unexplained_kg + 2 * y.u_unexplained_kg, kind,
            y.batches, period, ("gum",),
            f"{y.mass_in_kg:.1f} kg in − good {y.good_kg:.1f} kg{rejects}; {_budget(y)}",
        ),
    ]  # fmt: skip


def _budget(y: Yield) -> str:
    """Write the uncertainty budget: what mean mass and counts bring, and the batch scale."""
    pieces = f"u(mean mass, counts) = {y.u_good_kg:.2f} kg"
    if y.u_scale_kg is None:
        return f"{pieces}; batch scale: its error is not declared (batch_scale_error_kg in plant.toml)"
    each = y.u_scale_kg * 3**0.5 / y.batches
    return f"{pieces}; u(batch scale) = {y.batches} × {each:g} kg / √3 = {y.u_scale_kg:.2f} kg"


SHARE_SOURCES = ("derived-spread-sources", "weerahandi-1993")


def detail_figures(
    account: WeightAccount, detail: WeightDetail, currency: str, period: Period
) -> tuple[Figure, ...]:
    """The figures of the detail."""
    shape = detail.shape
    quantile = "quantiles 0.135, 50 and 99.865 % of single pieces, in tolerances from the target"
    return (
        *share_figures(detail.sources, period),
        from_spread(
            shape.pp, "pp_quantile", "performance Pp by quantiles", "", n=0, period=period,
            sources=("iso-22514-2",), working=quantile,
        ),
        from_spread(
            shape.ppk, "ppk_quantile", "performance Ppk by quantiles", "", n=0, period=period,
            sources=("iso-22514-2",), working=quantile,
        ),
        *money_figures(account, detail, currency, period),
        _achievable(detail, period),
        Figure(
            "batches_outside", "batches beyond control limits", len(detail.chart.outside), "",
            n=detail.chart.batches, period=period, sources=("nist-handbook", "iso-7870-2"),
            working=f"{', '.join(detail.chart.outside) or 'none'}; by chance {detail.chart.by_chance:.1f}",
        ),
    )  # fmt: skip


def _achievable(detail: WeightDetail, period: Period) -> Figure:
    """The mean piece that the greatest planned bag of the most weighed product would still allow."""
    name, label = "achievable_target_g", "lowest safe mean of a piece at the present spread"
    rows = [r for r in detail.bags[0].rows if r.least_mean_g is not None] if detail.bags else []
    if not rows:
        return cannot_tell(name, label, "g", "no bag could be planned", period)
    row = rows[-1]
    what = f"{row.count} pieces of {detail.bags[0].product} pass as {row.label_g:g} g"
    working = f"least mean with which {what} under {detail.bags_rules}"
    return Figure(
        name, label, row.least_mean_g, "g", interval_kind="by convolution at the spread found, no interval",
        n=0, period=period, sources=("derived-bag-plan",), working=working,
    )  # fmt: skip


def share_figures(sources: SpreadSources, period: Period) -> list[Figure]:
    """The shares of the spread by source."""
    of = "" if sources.pieces_together == 1 else f", of the mean of {sources.pieces_together} pieces"
    rows = (
        ("share_diameter", "share of the spread from rope diameter", sources.diameter, "cov(ln m, 2 ln d)"),
        (
            "share_cut_length", "share from cut length, batch to batch", sources.cut_length,
            "cov(ln m, ln L) between batches, L = rope metres / pieces",
        ),
        (
            "share_density", "share from density (air), batch to batch", sources.density,
            "cov(ln m, ln m − 2 ln d − ln L) between batches",
        ),
        (
            "share_rest_between", "share left between batches: density and cut length", sources.rest_between,
            "cov(ln m, ln m − 2 ln d) between batches",
        ),
        (
            "share_rest_within", "share left within batches: single cuts, air, the scale",
            sources.rest_within, "cov(ln m, ln m − 2 ln d) within batches",
        ),
    )  # fmt: skip
    return [_share(sources, *row, of=of, period=period) for row in rows] + [_delay(sources, period)]


def _share(
    sources: SpreadSources,
    name: str,
    label: str,
    share: VarianceShare | None,
    part: str,
    *,
    of: str,
    period: Period,
) -> Figure:
    if share is None:
        why = sources.why_none or sources.why_no_length
        return cannot_tell(name, label, "%", why, period)
    working = f"{part} / var(ln m){of}; {sources.pairs} pairs in {sources.batches} batches"
    return Figure(
        name, label, 100 * share.value, "%", 100 * share.low, 100 * share.high, CONFIDENCE, sources.pairs,
        period, SHARE_SOURCES, working,
    )  # fmt: skip


def _delay(sources: SpreadSources, period: Period) -> Figure:
    name, label = "transport_delay_s", "delay from sizer to scale"
    if sources.delay is None:
        why = sources.why_none or "no delay stands out, so readings are paired without one"
        return cannot_tell(name, label, "s", why, period)
    d = sources.delay
    return Figure(
        name, label, d.lag, "s", d.low, d.high, "95 % confidence, by profile, in steps of 5 s", d.n, period,
        SHARE_SOURCES, f"greatest correlation within batches, r = {d.correlation:.2f}",
    )  # fmt: skip
