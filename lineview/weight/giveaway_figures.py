"""One figure of the weight answer made of a value with its limits."""

from __future__ import annotations

from lineview.core.figure import Figure, Period
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report.answer import Table
from lineview.weight.account import WeightAccount
from lineview.weight.bags import BagPlan
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import Giveaway, ProductGiveaway, WeekGiveaway
from lineview.weight.spread import Spread

CONFIDENCE = "95 % confidence"
SPREAD_SOURCES = ("searle-casella-mcculloch", "weerahandi-1993")


def from_spread(
    spread: Spread,
    name: str,
    label: str,
    unit: str,
    *,
    n: int,
    period: Period,
    sources: tuple[str, ...],
    working: str,
) -> Figure:
    """Make a figure of a value with limits, or of the reason for none."""
    if spread.value is None:
        why = spread.why_none
        return Figure(
            name, label, None, unit, n=n, period=period, interval_kind=why, why_none=why, sources=sources
        )
    none = spread.why_open or "too few batches or weighings for an interval"
    kind = CONFIDENCE if spread.low is not None else none
    return Figure(name, label, spread.value, unit, spread.low, spread.high, kind, n, period, sources, working)


#: Pieces of products that were not weighed are named from this share on.
NAMED_FROM = 0.005


def giveaway_figures(account: WeightAccount, period: Period) -> list[Figure]:
    """Give giveaway a piece and in kilograms a week."""
    given, found = account.giveaway, account.deviation
    if given is None or found is None:
        return []
    split = given.by_product
    label, working = "giveaway a week", ""
    sources: tuple[str, ...] = SPREAD_SOURCES
    if split is not None:
        working, sources = f"Σ pieces × mean deviation: {_sum(split, split.rows)}", ("gum",)
        if 1 - split.covered >= NAMED_FROM:
            label += " of the products weighed"
    elif account.week is not None:
        working = (
            f"{found.mean:+.4f} g × {account.week[0]:,.0f} pieces a week ({account.week[1]:,.0f} pieces "
            f"× {account.week[3]:,.0f} / {account.week[2]:,.0f} planned minutes)"
        )
    return [
        from_spread(
            given.g_per_piece, "giveaway_g_per_piece", "giveaway a piece", "g", n=found.pieces,
            period=period, sources=SPREAD_SOURCES, working="mean mass − target; negative: short",
        ),
        from_spread(
            given.kg_per_week, "giveaway_kg_per_week", label, "kg", n=found.pieces,
            period=period, sources=sources, working=working,
        ),
    ]  # fmt: skip


def _sum(split: WeekGiveaway, rows: tuple[ProductGiveaway, ...], *, money: bool = False) -> str:
    """Write a sum over products with its numbers, and how its limits were made."""
    told = " + ".join(
        f"{r.product} {r.pieces_per_week:,.0f} × {r.off_g.value:+.4f} g"
        + (f" × {r.price_per_kg:g} a kg" if money else "")
        for r in rows
        if r.off_g.value is not None and (r.price_per_kg is not None or not money)
    )
    if split.degrees is None or split.degrees < 1:
        return told
    return f"{told}; uncertainties by squares, Student's t with {split.degrees} degrees of freedom"


def money_figures(
    account: WeightAccount, detail: WeightDetail, currency: str, period: Period
) -> list[Figure]:
    """The money a week that is given away."""
    n = account.deviation.pieces if account.deviation else 0
    split = account.giveaway.by_product if account.giveaway else None
    working = "giveaway a week × price_per_kg in plant.toml"
    label = "giveaway in money a week"
    if split is not None:
        working = f"Σ pieces × mean deviation × price_per_kg: {_sum(split, split.rows, money=True)}"
        if 1 - split.covered >= NAMED_FROM:
            label += " on the products weighed"
    figures = [
        from_spread(
            detail.money_per_week, "giveaway_money_per_week", label, currency,
            n=n if detail.money_per_week.value is not None else 0, period=period,
            sources=("gum",) if split is not None else (), working=working,
        )
    ]  # fmt: skip
    if split is not None and split.money_priced is not None:
        own = tuple(r for r in split.rows if r.product in split.priced)
        figures.append(
            from_spread(
                split.money_priced, "giveaway_money_priced_per_week",
                f"giveaway in money a week on {', '.join(split.priced)} alone", currency, n=n, period=period,
                sources=("gum",),
                working=f"not the total, as {', '.join(split.no_price)} has no price: "
                f"{_sum(split, own, money=True)}",
            )
        )  # fmt: skip
    return figures


def giveaway_table(account: WeightAccount, detail: WeightDetail, plant: Plant) -> Table:
    """Give giveaway by product, with the mean piece that each product's bags would still allow."""
    columns = (
        ("product", "Product", ""),
        ("pieces", "Pieces a week", ""),
        ("off_g", "Off target", "g"),
        ("kg", "Giveaway a week", "kg"),
        ("kg_low", "Low", "kg"),
        ("kg_high", "High", "kg"),
        ("price", "Price", f"{plant.currency}/kg"),
        ("money", "Money a week", plant.currency),
        ("money_low", "Low", plant.currency),
        ("money_high", "High", plant.currency),
        ("allowed_g", "Lowest safe target", "g"),
        ("room_g", "Could be lowered by", "g"),
        ("why", "Remark", ""),
    )
    targets = dict(account.sorted.kept.select("product", "target_g").unique("product").iter_rows())
    rows = [
        {
            "product": row.product,
            "pieces": round(row.pieces_per_week),
            "off_g": row.off_g.value,
            **_three("kg", row.kg_per_week),
            "price": row.price_per_kg,
            **_three("money", row.money_per_week),
            **_allowed(row, targets.get(row.product), detail.bags, plant),
        }
        for row in _rows(account, detail)
    ]
    return Table("giveaway", "Giveaway above target, by product", columns, rows)


def _three(name: str, spread: Spread) -> dict[str, float | None]:
    return {name: spread.value, f"{name}_low": spread.low, f"{name}_high": spread.high}


def _rows(account: WeightAccount, detail: WeightDetail) -> tuple[ProductGiveaway, ...]:
    given: Giveaway | None = account.giveaway
    if given is None or account.week is None:
        return ()
    if given.by_product is not None:
        return given.by_product.rows
    names = account.sorted.kept["product"].unique().to_list()
    if len(names) != 1:
        return ()
    # All pieces are of one product, so the common figures are its own.
    value, money = given.kg_per_week.value, detail.money_per_week
    price = None if not value or money.value is None else money.value / value
    return (ProductGiveaway(names[0], account.week[0], given.g_per_piece, given.kg_per_week, price, money),)


def _allowed(
    row: ProductGiveaway, target_g: float | None, bags: tuple[BagPlan, ...], plant: Plant
) -> dict[str, object]:
    """The least mean piece that the product's bags allow, how far above it pieces are, and remarks."""
    plan = next((p for p in bags if p.product == row.product), None)
    planned = [(r.least_mean_g, r) for r in plan.rows if r.least_mean_g is not None] if plan else []
    said = [s.why_none for s in (row.off_g, row.money_per_week) if s.why_none][:1]
    if not planned or target_g is None:
        return {"allowed_g": None, "room_g": None, "why": "; ".join(said)}
    # A product packed in several bags has to hold the most demanding one.
    least, worst = max(planned, key=lambda one: one[0])
    label, unit = in_units(worst.label_g, "g", plant.units)
    said.append(f"{worst.count} pieces as {label:.4g} {unit}")
    room = None if row.off_g.value is None else target_g + row.off_g.value - least
    return {"allowed_g": least, "room_g": room, "why": "; ".join(said)}


def giveaway_notes(account: WeightAccount) -> list[str]:
    """Say which products are in no sum, or have no price."""
    split = account.giveaway.by_product if account.giveaway else None
    if split is None:
        return []
    told = []
    if 1 - split.covered >= NAMED_FROM:
        names = ", ".join(split.not_weighed)
        which = f"{names} made but not weighed" if names else "the batch sheet names no product for the rest"
        told.append(
            f"Giveaway a week covers the products weighed, {100 * split.covered:.0f} % of the pieces: "
            f"{which}."
        )
    if split.no_price:
        names = ", ".join(split.no_price)
        told.append(f"Money given away cannot be summed: no price_per_kg in plant.toml of {names}.")
    return told
