"""Figures of the weight answer's detail: sources of the spread, delay, shape, stability, money."""

from __future__ import annotations

from lineview.answers.weight_figure import CONFIDENCE, from_spread
from lineview.answers.weight_giveaway import money_figures
from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.spread_sources import SpreadSources
from lineview.measures.weight_account import WeightAccount
from lineview.measures.weight_detail import WeightDetail
from lineview.stats.variance_shares import VarianceShare

SHARE_SOURCES = ("derived-spread-sources", "weerahandi-1993")


def detail_figures(
    account: WeightAccount, detail: WeightDetail, currency: str, period: Period
) -> tuple[Figure, ...]:
    """Give the figures of the detail.

    Parameters
    ----------
    account : WeightAccount
        Of the period.
    detail : WeightDetail
        Of the period.
    currency : str
        Of the plant.
    period : Period
        Asked for.

    Returns
    -------
    tuple of Figure
        Shares in percent of the relative variance.
    """
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
    """Give the mean piece that the greatest planned bag of the most weighed product would still allow."""
    name, label = "achievable_target_g", "mean piece that the present spread allows"
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
    """Give the shares of the spread by source.

    Parameters
    ----------
    sources : SpreadSources
        As measured.
    period : Period
        Asked for.

    Returns
    -------
    list of Figure
        share_diameter, share_cut_length, share_density, share_rest_between, share_rest_within, delay.
    """
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
