"""The weight answer's figures, each with interval, number and working."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import in_digits, mark, tr
from lineview.report.figures import FigureList
from lineview.weight.account import WeightAccount
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import NAMED_FROM, ProductGiveaway, WeekGiveaway, Yield, share_below
from lineview.weight.lines import LineSpread
from lineview.weight.sources import SpreadSources
from lineview.weight.spread import WeightSpread

#: Levels of the spread by what they are called.
LEVELS = {"batch": mark("batch"), "sample": mark("sample"), "piece": mark("piece")}


def weight_figures(account: WeightAccount, across: LineSpread | None, period: Period) -> tuple[Figure, ...]:
    """The figures of one machine's weights, and of the spread between lines."""
    figures, spread = FigureList(period), account.deviation
    if spread is None or account.target_g is None:
        _nothing(figures, account)
    else:
        _means(figures, account, spread, account.target_g)
        _spreads(figures, spread)
        _numbers(figures, account, spread)
        _capabilities(figures, account, spread)
        _giveaway(figures, account, spread)
        _yields(figures, account.balance)
    _lines(figures, across)
    return figures.all


def _add(
    figures: FigureList,
    name: str,
    estimate: Estimate,
    working: str,
    n: int,
    *,
    sources: tuple[str, ...] | None = None,
    **words: str,
) -> None:
    """Add an estimate, which says so where there are too few weighings for its limits."""
    open_ended = estimate.value is not None and estimate.low is None
    kind = estimate.interval or tr("too few batches or weighings for an interval") if open_ended else ""
    working_text = working if estimate.value is not None else ""
    figures.add(name, estimate, working_text, n=n, interval=kind, sources=sources, **words)


def _nothing(figures: FigureList, account: WeightAccount) -> None:
    reasons = "; ".join(
        tr("{count:,} weights set aside: {reason}", count=n, reason=why) for why, n in account.sorting.reasons.items()
    )
    if account.unplaced:
        reasons = reasons or tr("nothing says which product the {count:,} weights are of", count=account.unplaced)
    for name in ("mean_g", "sd_within_g", "sd_between_g", "sd_total_g", "giveaway_g_per_piece"):
        if reasons:
            figures.unknown(name, reasons)
        else:
            figures.too_few(name, needs=1, has=0)


def _means(figures: FigureList, account: WeightAccount, spread: WeightSpread, target: float) -> None:
    products = account.sorting.good["product"].n_unique()
    of = "" if products == 1 else tr(", mean of {products} products by pieces weighed", products=products)
    kind = ""
    if spread.mean_low is None:
        kind = spread.checks.why_no_mean or tr("too few weighings for an interval")
    elif spread.batches <= 1:
        kind = tr("95 % confidence, of this one batch") if spread.batches else tr("95 % confidence, from samples")
    deviation = Estimate(spread.mean, spread.mean_low, spread.mean_high, spread.pieces, interval=kind)
    working = tr(
        "target {target:.4g} g{of} {mean:+.4f} g mean deviation over {batches} batches",
        target=target,
        of=of,
        mean=spread.mean,
        batches=spread.batches,
    )
    # One target is certain; of several the mean follows what was weighed.
    figures.add("mean_g", Estimate.exact(target) + deviation, working)
    figures.add("target_g", target, tr("plant.toml, {products} product(s){of}", products=products, of=of), n=products)
    working = tr(
        "batch means weighted by 1 / (between² + within² / pieces) over {batches} batches", batches=spread.batches
    )
    working += f"; {spread.checks.words}" if spread.checks.words else ""
    figures.add("deviation_g", deviation, working)


def _spreads(figures: FigureList, spread: WeightSpread) -> None:
    levels = " / ".join(tr(LEVELS[level]) for level in spread.levels) or tr("none")
    working = tr(
        "restricted maximum likelihood, levels {levels}, {weighings:,} weighings",
        levels=levels,
        weighings=spread.weighings,
    )
    working += f"; {spread.checks.words}" if spread.checks.words else ""
    total = tr("√(between² + within²)")
    if spread.between.value is not None and spread.within.value is not None:
        total = in_digits(f"√({spread.between.value:.4f}² + {spread.within.value:.4f}²)")
    _add(figures, "sd_within_g", spread.within, working, spread.weighings)
    _add(figures, "sd_between_g", spread.between, working, spread.batches)
    _add(figures, "sd_total_g", spread.total, total, spread.weighings)
    _add(figures, "sd_samples_g", spread.samples, working, spread.weighings)
    _add(figures, "sd_piece_g", spread.piece, working, spread.weighings)


def _numbers(figures: FigureList, account: WeightAccount, spread: WeightSpread) -> None:
    aside = account.sorting.aside.height
    reasons = "; ".join(f"{n} {why}" for why, n in account.sorting.reasons.items())
    basis = tr("counted over {weighings:,} weighings", weighings=spread.weighings)
    figures.add("batches", spread.batches, basis, n=spread.weighings)
    figures.add("pieces", spread.pieces, basis, n=spread.weighings)
    figures.add("set_aside", aside, reasons or tr("none was set aside"), n=aside)


def _capabilities(figures: FigureList, account: WeightAccount, spread: WeightSpread) -> None:
    capability, scaled = account.capability, account.scaled
    if capability is not None and scaled is not None:
        within = "" if scaled.within.value is None else f"{scaled.within.value:.4f}"
        total = "" if scaled.total.value is None else f"{scaled.total.value:.4f}"
        mean = f"1 − |{scaled.mean:+.4f}|"
        for name, index, working in (
            ("cp", capability.cp, f"1 / (3 × {within})"),
            ("cpk", capability.cpk, f"({mean}) / (3 × {within})"),
            ("pp", capability.pp, f"1 / (3 × {total})"),
            ("ppk", capability.ppk, f"({mean}) / (3 × {total})"),
        ):
            _add(
                figures,
                name,
                index,
                tr("{working}, in tolerances from the target", working=in_digits(working)),
                spread.pieces,
            )
    if scaled is None:
        return figures.unknown("below_tolerance_percent", tr("no weight can be used"))
    working = tr("normal share below target − tolerance, by mean and total spread")
    return _add(figures, "below_tolerance_percent", share_below(scaled).scaled(100.0), working, spread.pieces)


def _giveaway(figures: FigureList, account: WeightAccount, spread: WeightSpread) -> None:
    """Add giveaway a piece and in kilograms a week."""
    giveaway, week = account.giveaway, account.week
    if giveaway is None:
        return
    split, of, working = giveaway.by_product, "", ""
    sources = None
    if split is not None:
        working, sources = tr("Σ pieces × mean deviation: {sum}", sum=_sum(split, split.rows)), ("gum",)
        of = tr(" of the products weighed") if 1 - split.covered >= NAMED_FROM else ""
    elif week is not None:
        working = tr(
            "{deviation:+.4f} g × {a_week:,.0f} pieces a week ({pieces:,.0f} pieces × {minutes_a_week:,.0f} / "
            "{minutes:,.0f} planned minutes)",
            deviation=spread.mean,
            a_week=week[0],
            pieces=week[1],
            minutes_a_week=week[3],
            minutes=week[2],
        )
    _add(
        figures, "giveaway_g_per_piece", giveaway.g_per_piece, tr("mean mass − target; negative: short"), spread.pieces
    )
    _add(figures, "giveaway_kg_per_week", giveaway.kg_per_week, working, spread.pieces, sources=sources, of=of)


def _sum(split: WeekGiveaway, rows: tuple[ProductGiveaway, ...], *, money: bool = False) -> str:
    """Write a sum over products with its numbers, and how its limits were made."""
    parts = " + ".join(
        tr("{product} {pieces:,.0f} × {off:+.4f} g", product=r.product, pieces=r.pieces_per_week, off=r.off_g.value)
        + (tr(" × {price:g} a kg", price=r.price_per_kg) if money else "")
        for r in rows
        if r.off_g.value is not None and (r.price_per_kg is not None or not money)
    )
    if split.degrees is None or split.degrees < 1:
        return parts
    return tr(
        "{sum}; uncertainties by squares, Student's t with {degrees} degrees of freedom",
        sum=parts,
        degrees=split.degrees,
    )


def _money(figures: FigureList, account: WeightAccount, detail: WeightDetail) -> None:
    """Add the money a week that is given away."""
    pieces = account.deviation.pieces if account.deviation else 0
    split = account.giveaway.by_product if account.giveaway else None
    n = pieces if detail.money_per_week.value is not None else 0
    if split is None:
        working = tr("giveaway a week × price_per_kg in plant.toml")
        return _add(figures, "giveaway_money_per_week", detail.money_per_week, working, n, sources=(), on="")
    on = tr(" on the products weighed") if 1 - split.covered >= NAMED_FROM else ""
    working = tr("Σ pieces × mean deviation × price_per_kg: {sum}", sum=_sum(split, split.rows, money=True))
    _add(figures, "giveaway_money_per_week", detail.money_per_week, working, n, on=on)
    if split.money_priced is not None:
        priced = tuple(row for row in split.rows if row.product in split.priced)
        no_price = ", ".join(split.no_price)
        working = tr(
            "not the total, as {products} has no price: {sum}", products=no_price, sum=_sum(split, priced, money=True)
        )
        products = ", ".join(split.priced)
        _add(figures, "giveaway_money_priced_per_week", split.money_priced, working, pieces, products=products)
    return None


def _yields(figures: FigureList, y: Yield | None) -> None:
    if y is None:
        for name in ("yield_percent", "unexplained_kg"):
            figures.unknown(name, tr("no batch with its mass in and counted pieces"))
        return
    rejects = "" if y.rejects_kg is None else tr(" − rejects {rejects:.1f} kg", rejects=y.rejects_kg)
    kind = tr("95 % confidence (GUM, k = 2)")
    if y.u_scale_kg is None:
        kind += tr("; the batch scale's own error not in it")
    percent = Estimate.expanded(100 * y.share, 100 * y.u_share, y.batches, kind)
    working = tr(
        "{good_pieces:,.0f} good pieces = {good_kg:.1f} kg of {mass_in_kg:.1f} kg in; {budget}",
        good_pieces=y.good_pieces,
        good_kg=y.good_kg,
        mass_in_kg=y.mass_in_kg,
        budget=_budget(y, y.u_good_kg),
    )
    figures.add("yield_percent", percent, working)
    working = tr(
        "{mass_in_kg:.1f} kg in − good {good_kg:.1f} kg{rejects}; {budget}",
        mass_in_kg=y.mass_in_kg,
        good_kg=y.good_kg,
        rejects=rejects,
        budget=_budget(y, y.u_out_kg),
    )
    figures.add("unexplained_kg", Estimate.expanded(y.unexplained_kg, y.u_unexplained_kg, y.batches, kind), working)


def _budget(y: Yield, u_pieces_kg: float) -> str:
    """Write the uncertainty budget: what mean mass and counts bring, and the batch scale."""
    pieces = tr("u(mean mass, counts) = {u:.2f} kg", u=u_pieces_kg)
    if y.u_scale_kg is None:
        return tr(
            "{budget}; batch scale: its error is not declared (batch_scale_error_kg in plant.toml)", budget=pieces
        )
    each = y.u_scale_kg * 3**0.5 / y.batches
    return tr(
        "{budget}; u(batch scale) = {batches} × {each:g} kg / √3 = {u:.2f} kg",
        budget=pieces,
        batches=y.batches,
        each=each,
        u=y.u_scale_kg,
    )


def _lines(figures: FigureList, across: LineSpread | None) -> None:
    """Add the spread between lines."""
    if across is None:
        return
    lines = len(across.lines)
    few = tr("; two lines leave its upper limit far away") if lines == 2 else ""
    working = tr(
        "restricted maximum likelihood, levels line / batch / piece, {weighings:,} weighings of "
        "{products} on {lines} lines{few}",
        weighings=across.weighings,
        products=", ".join(across.products),
        lines=lines,
        few=few,
    )
    _add(figures, "sd_lines_g", across.between, working, lines)


def detail_figures(account: WeightAccount, detail: WeightDetail, currency: str, period: Period) -> tuple[Figure, ...]:
    """The figures of the detail."""
    figures, shape, chart = FigureList(period, currency=currency), detail.shape, detail.chart
    _shares(figures, detail.sources)
    _delay(figures, detail.sources)
    quantiles = tr("quantiles 0.135, 50 and 99.865 % of single pieces, in tolerances from the target")
    _add(figures, "pp_quantile", shape.pp, quantiles, 0)
    _add(figures, "ppk_quantile", shape.ppk, quantiles, 0)
    _money(figures, account, detail)
    _achievable(figures, detail)
    working = tr(
        "{batches}; by chance {by_chance:.1f}",
        batches=", ".join(chart.outside) or tr("none"),
        by_chance=chart.by_chance,
    )
    figures.add("batches_outside", len(chart.outside), working, n=chart.batches)
    return figures.all


def _achievable(figures: FigureList, detail: WeightDetail) -> None:
    """Add the mean piece that the greatest planned bag of the most weighed product would still allow."""
    rows = [row for row in detail.bags[0].rows if row.least_mean_g is not None] if detail.bags else []
    if not rows:
        return figures.unknown("achievable_target_g", tr("no bag could be planned"))
    working = tr(
        "least mean with which {count} pieces of {product} pass as {label:g} g under {rules}",
        count=rows[-1].count,
        product=detail.bags[0].product,
        label=rows[-1].label_g,
        rules=detail.bags_rules,
    )
    return figures.add("achievable_target_g", rows[-1].least_mean_g, working)


def _shares(figures: FigureList, sources: SpreadSources) -> None:
    """Add the shares of the spread by source."""
    of = ""
    if sources.pieces_together != 1:
        of = tr(", of the mean of {pieces} pieces", pieces=sources.pieces_together)
    density = tr("cov(ln m, ln m − 2 ln d − ln L) between batches")
    for name, share, part in (
        ("share_diameter", sources.diameter, "cov(ln m, 2 ln d)"),
        ("share_cut_length", sources.cut_length, tr("cov(ln m, ln L) between batches, L = rope metres / pieces")),
        ("share_density", sources.density, density),
        ("share_rest_between", sources.rest_between, tr("cov(ln m, ln m − 2 ln d) between batches")),
        ("share_rest_within", sources.rest_within, tr("cov(ln m, ln m − 2 ln d) within batches")),
    ):
        if share is None:
            figures.unknown(name, sources.why_none or sources.why_no_length)
        else:
            percent = Estimate(share.value, share.low, share.high, sources.pairs).scaled(100)
            working = tr(
                "{part} / var(ln m){of}; {pairs:,} pairs in {batches:,} batches",
                part=part,
                of=of,
                pairs=sources.pairs,
                batches=sources.batches,
            )
            figures.add(name, percent, working)


def _delay(figures: FigureList, sources: SpreadSources) -> None:
    delay = sources.delay
    if delay is None:
        why = sources.why_none or tr("no delay stands out, so readings are paired without one")
        return figures.unknown("transport_delay_s", why)
    working = tr("greatest correlation within batches, r = {correlation:.2f}", correlation=delay.correlation)
    return figures.add("transport_delay_s", Estimate(delay.lag, delay.low, delay.high, delay.n), working)
