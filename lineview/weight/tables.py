"""The weight answer's tables."""

from __future__ import annotations

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure
from lineview.core.language import mark, tr
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report.answer import Table, columns_of
from lineview.weight.account import WeightAccount
from lineview.weight.bags import BagPlan, BagRow
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import Giveaway, ProductGiveaway


def spread_table(figures: tuple[Figure, ...]) -> Table:
    """The spread by level."""
    columns = columns_of("what:; size [g]; low [g]; high [g]; from")
    names = ("sd_between_g", "sd_samples_g", "sd_piece_g", "sd_within_g", "sd_total_g")
    rows = [
        {"what": f.label, "size": f.value, "low": f.low, "high": f.high, "from": f.working or f.why_none}
        for name in names
        for f in figures
        if f.name == name
    ]
    return Table("spread", tr("Spread of piece weight"), columns, rows)


def capability_table(figures: tuple[Figure, ...]) -> Table:
    """The capability and performance indices."""
    columns = columns_of("what:; size: index; low; high; from")
    rows = [
        {
            "what": f"{f.label}, %" if f.unit == "%" else f.label,
            "size": f.value,
            "low": f.low,
            "high": f.high,
            "from": f.working or f.why_none,
        }
        for f in figures
        if f.sources and "iso-22514-2" in f.sources
    ]
    return Table("capability", tr("Capability against the tolerance"), columns, rows)


def product_table(account: WeightAccount) -> Table:
    """Give mean and deviation by product."""
    usable = account.sorting.good
    columns = columns_of(
        "product; batches; pieces; mean_g: mean [g]; target_g: target [g]; deviation_g: off target [g]"
    )
    pieces = pl.col("pieces").cast(pl.Float64)
    rows = (
        usable.group_by("product", maintain_order=True)
        .agg(
            pl.col("batch").drop_nulls().n_unique().alias("batches"),
            pl.col("pieces").sum(),
            ((pl.col("net_g") * pieces).sum() / pieces.sum()).alias("mean_g"),
            pl.col("target_g").first(),
        )
        .with_columns(deviation_g=pl.col("mean_g") - pl.col("target_g"))
        .sort("product")
    )
    return Table("products", tr("By product"), columns, rows.to_dicts())


def chart_table(detail: WeightDetail) -> Table:
    """Give centre, limits and batches outside of the three charts."""
    columns = columns_of("chart; centre [g]; low: low limit [g]; high: high limit [g]; outside: batches outside")
    rows = [
        {
            "chart": f"{tr(c.chart)} ({tr(c.unit)})",
            "centre": c.centre,
            "low": c.low,
            "high": c.high,
            "outside": ", ".join(c.outside) or mark("none"),
        }
        for c in detail.chart.charts
    ]
    return Table("chart", tr("Three-way control chart"), columns, rows)


def plan_table(detail: WeightDetail) -> Table:
    """How many pieces to weigh how often to know the mean."""
    columns = columns_of(
        "within: mean to ± [g]; batches; samples: samples per batch; pieces: pieces per sample; total: pieces in total"
    )
    rows = [
        {
            "within": half_width,
            "batches": plan.batches if plan else None,
            "samples": plan.samples if plan else None,
            "pieces": plan.pieces if plan else None,
            "total": plan.total if plan else None,
        }
        for half_width, plan in detail.plans
    ]
    return Table("plans", tr("How many pieces to weigh, how often"), columns, rows)


def bag_table(plans: tuple[BagPlan, ...]) -> Table:
    """Give planned bags by count and by weight, product by product."""
    columns = columns_of(
        "product; label_g: label [g]; lot: bags per lot; count: pieces; count_mean_g: mean bag [g]; "
        "count_chance: chance to pass [%]; least_mean_g: least mean piece [g]; fill_g: or fill to [g]; "
        "fill_mean_g: mean bag filled [g]; fill_chance: chance to pass filled [%]; why"
    )
    rows = [_bag(row, plan) for plan in plans for row in plan.rows]
    title = tr("Plan of bags (a planning aid; the authority decides)")
    if plans:
        title = tr("Plan of bags under {rules} (a planning aid; the authority decides)", rules=plans[0].name)
    return Table("bags", title, columns, rows)


def _bag(row: BagRow, plan: BagPlan) -> dict[str, object]:
    by_count, by_fill = row.count_chance, row.fill_chance
    return {
        "product": plan.product,
        "label_g": row.label_g,
        "lot": row.lot or None,
        "count": row.count,
        "count_mean_g": by_count.bag_mean_g if by_count else None,
        "count_chance": 100 * by_count.passing if by_count else None,
        "least_mean_g": row.least_mean_g,
        "fill_g": row.fill_g,
        "fill_mean_g": by_fill.bag_mean_g if by_fill else None,
        "fill_chance": 100 * by_fill.passing if by_fill else None,
        "why": row.why_none or _why(row),
    }


def _why(row: BagRow) -> str:
    """Say why a piece fewer will not do."""
    less = row.one_less
    if less is None or row.count is None:
        return ""
    if less.bag_mean_g < row.label_g:
        short_g = row.label_g - less.bag_mean_g
        ounces = in_units(short_g, "g", "US")[0]
        return tr(
            "With {count} pieces the mean bag would be {short:.1f} g ({ounces:.2f} oz) short.",
            count=row.count - 1,
            short=short_g,
            ounces=ounces,
        )
    places = {"count": row.count - 1, "percent": 100 * (1 - less.passing)}
    if less.mean_fails >= less.beyond_fails:
        return tr("With {count} pieces {percent:.0f} % of lots would fail, most by their mean.", **places)
    return tr(
        "With {count} pieces {percent:.0f} % of lots would fail, most by single bags too far below the label.", **places
    )


def giveaway_table(account: WeightAccount, detail: WeightDetail, plant: Plant) -> Table:
    """Give giveaway by product, with the mean piece that each product's bags would still allow."""
    columns = columns_of(
        "product; pieces: pieces a week; off_g: off target [g]; kg: giveaway a week [kg]; "
        "kg_low: low [kg]; kg_high: high [kg]; price [price]; money: money a week [currency]; "
        "money_low: low [currency]; money_high: high [currency]; allowed_g: lowest safe target [g]; "
        "room_g: could be lowered by [g]; why: remark",
        currency=plant.currency,
        price=f"{plant.currency}/kg",
    )
    targets = dict(
        account.sorting.good.select("product", "target_g").unique("product", maintain_order=True).iter_rows()
    )
    rows = [
        {
            "product": row.product,
            "pieces": round(row.pieces_per_week),
            "off_g": row.off_g.value,
            **_three("kg", row.kg_per_week),
            "price": row.price_per_kg,
            **_three("money", row.money_per_week),
            **_allowed_rows(row, targets.get(row.product), detail.bags, plant),
        }
        for row in _rows(account, detail)
    ]
    return Table("giveaway", tr("Giveaway above target, by product"), columns, rows)


def _three(name: str, spread: Estimate) -> dict[str, float | None]:
    return {name: spread.value, f"{name}_low": spread.low, f"{name}_high": spread.high}


def _rows(account: WeightAccount, detail: WeightDetail) -> tuple[ProductGiveaway, ...]:
    giveaway: Giveaway | None = account.giveaway
    if giveaway is None or account.week is None:
        return ()
    if giveaway.by_product is not None:
        return giveaway.by_product.rows
    names = account.sorting.good["product"].unique(maintain_order=True).to_list()
    if len(names) != 1:
        return ()
    # All pieces are of one product, so the common figures are its own.
    value, money = giveaway.kg_per_week.value, detail.money_per_week
    price = None if not value or money.value is None else money.value / value
    return (ProductGiveaway(names[0], account.week[0], giveaway.g_per_piece, giveaway.kg_per_week, price, money),)


def _allowed_rows(
    row: ProductGiveaway, target_g: float | None, bags: tuple[BagPlan, ...], plant: Plant
) -> dict[str, object]:
    """The least mean piece that the product's bags allow, how far above it pieces are, and remarks."""
    plan = next((p for p in bags if p.product == row.product), None)
    planned = [(r.least_mean_g, r) for r in plan.rows if r.least_mean_g is not None] if plan else []
    remarks = [s.why_none for s in (row.off_g, row.money_per_week) if s.why_none][:1]
    if not planned or target_g is None:
        return {"allowed_g": None, "room_g": None, "why": "; ".join(remarks)}
    # A product packed in several bags has to hold the most demanding one.
    least, worst = max(planned, key=lambda pair: pair[0])
    label, unit = in_units(worst.label_g, "g", plant.units)
    remarks.append(tr("{count} pieces as {label:.4g} {unit}", count=worst.count, label=label, unit=unit))
    room = None if row.off_g.value is None else target_g + row.off_g.value - least
    return {"allowed_g": least, "room_g": room, "why": "; ".join(remarks)}
