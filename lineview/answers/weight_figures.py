"""The weight answer's figures, each with interval, number, period, sources and working."""

from __future__ import annotations

from lineview.answers.weight_figure import SPREAD_SOURCES, from_spread
from lineview.answers.weight_giveaway import giveaway_figures
from lineview.figure import Figure, Period, cannot_tell, too_few
from lineview.measures.giveaway import share_below
from lineview.measures.weight_account import WeightAccount
from lineview.measures.weight_spread import WeightSpread
from lineview.measures.yields import Yield

CAPABILITY_SOURCES = ("iso-22514-2", "weerahandi-1993")


def weight_figures(account: WeightAccount, period: Period) -> tuple[Figure, ...]:
    """Give every figure of the weight answer.

    Parameters
    ----------
    account : WeightAccount
        Of the period.
    period : Period
        Asked for.

    Returns
    -------
    tuple of Figure
        By their fixed names; without usable weights the reason stands in each.
    """
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
    kind = "95 % confidence, from batch means"
    if found.batches <= 1:
        kind = "95 % confidence, of this one batch" if found.batches else "95 % confidence, from samples"
    if found.mean_low is None:
        kind = "too few weighings for an interval"
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
            f"batch means weighted by 1 / (between² + within² / pieces) over {found.batches} batches",
        ),
    ]  # fmt: skip


def _spreads(found: WeightSpread, period: Period) -> list[Figure]:
    told = " / ".join(found.levels) or "none"
    working = f"restricted maximum likelihood, levels {told}, {found.weighings} weighings"
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
            cannot_tell("unexplained_kg", "mass lost without a reason", "kg", why, period),
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
            "unexplained_kg", "mass lost without a reason", y.unexplained_kg, "kg",
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
