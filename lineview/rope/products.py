"""Products whose rope is meant to differ: which of them the model can separate, and which it cannot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.language import tr
from lineview.plant import Plant, Product

Floats = NDArray[np.float64]

#: Batches a kind of product needs for an offset of its own.
LEAST_OF_KIND = 6
#: Flavours named where a kind has no base of its own.
MOST_NAMES = 2
#: Batches of rarer kinds are set aside where at least this share of the batches remains.
LEFT = 0.75


@dataclass(frozen=True)
class ProductGroups:
    """Kinds of product among batches, a kind being a base and a target diameter.

    `kept`: batches to go by; the others are of kinds too rare to know their offset; `columns`: 1 for batches of
    each kind beside the reference; `names`: of the columns; `reference`: the kind whose offset is the level
    itself: the one on the line now, or else the commonest; `aside`: kinds set aside; `mixed`: rare kinds that
    could not be set aside, or whose offset cannot be separated from an adjustment.
    """

    usable: NDArray[np.bool_]
    columns: Floats
    names: tuple[str, ...] = ()
    reference: str = ""
    aside: tuple[str, ...] = ()
    mixed: tuple[str, ...] = ()

    @property
    def in_one_stretch(self) -> tuple[str, ...]:
        """Kinds begun or ended once only, so that their offset and a step there look the same."""
        changes = np.abs(np.diff(self.columns, axis=0)).sum(axis=0)
        return tuple(name for name, many in zip(self.names, changes, strict=True) if many <= 1)


def kinds_by_name(plant: Plant, names: pl.Series) -> dict[str, str]:
    """The kind of each product a batch sheet names."""
    products = {name: plant.product(name) for name in sorted(names.drop_nulls().unique(maintain_order=True).to_list())}
    groups: dict[tuple[str, float], list[str]] = {}
    for product in products.values():
        if product is not None:
            flavours = groups.setdefault((product.base, product.diameter_mm), [])
            flavours += [] if product.flavour in flavours else [product.flavour]
    bases = [base for base, _ in groups]
    words = {key: key[0] if key[0] and bases.count(key[0]) == 1 else _few(flavours) for key, flavours in groups.items()}
    return {name: words[p.base, p.diameter_mm] for name, p in products.items() if p is not None}


def _few(flavours: list[str]) -> str:
    more = len(flavours) - MOST_NAMES
    return ", ".join(flavours[:MOST_NAMES]) + (tr(" and {more} more", more=more) if more > 0 else "")


def group_products(products: pl.Series, kinds: Mapping[str, str]) -> ProductGroups:
    """Sort batches by the kind of their product."""
    n = products.len()
    kind_of = [kinds.get(name or "", "") for name in products.to_list()]
    counts = {kind: kind_of.count(kind) for kind in dict.fromkeys(kind_of) if kind}
    everything = ProductGroups(np.ones(n, dtype=np.bool_), np.zeros((n, 0)))
    if len(counts) < 2:
        return everything
    enough = [kind for kind, count in counts.items() if count >= LEAST_OF_KIND]
    rare = tuple(kind for kind in counts if kind not in enough)
    if not enough:
        return ProductGroups(everything.usable, everything.columns, mixed=rare)
    usable = np.array([kind not in rare for kind in kind_of])
    aside = bool(rare) and float(usable.mean()) >= LEFT
    if not aside:
        usable = everything.usable
    common = max(enough, key=lambda kind: counts[kind])
    now = kind_of[-1] if kind_of[-1] in enough else common
    others = tuple(kind for kind in enough if kind != now)
    separate = [kind for kind, keep in zip(kind_of, usable, strict=True) if keep]
    columns = np.array([[float(kind == other) for other in others] for kind in separate]).reshape(
        len(separate), len(others)
    )
    return ProductGroups(usable, columns, others, now, rare if aside else (), () if aside else rare)


def identifiable(kinds: ProductGroups, base: Floats) -> ProductGroups:
    """Leave out the offsets that other columns of the model explain as well."""
    places: list[int] = []
    for i in range(len(kinds.names)):
        candidate = np.column_stack([base, kinds.columns[:, [*places, i]]])
        scaled = candidate / np.maximum(np.abs(candidate).max(axis=0), 1e-300)
        if np.linalg.matrix_rank(scaled, tol=1e-6 * len(candidate)) == candidate.shape[1]:
            places.append(i)
    rest = tuple(name for i, name in enumerate(kinds.names) if i not in places)
    names = tuple(kinds.names[i] for i in places)
    return ProductGroups(
        kinds.usable, kinds.columns[:, places], names, kinds.reference, kinds.aside, (*kinds.mixed, *rest)
    )


@dataclass(frozen=True)
class Target:
    """The product now on the line (None where it is not known), its diameter and tolerances [mm]."""

    product: Product | None
    diameter_mm: float | None
    tolerance_mm: float | None
    widest_tolerance_mm: float | None
    several: bool = False


def line_batches(batches: pl.DataFrame, line: str, period: tuple[datetime, datetime]) -> pl.DataFrame:
    """The line's batches that touch a period."""
    of_line = batches.filter((pl.col("line") == line) & pl.col("start").is_not_null()).sort("start")
    ends = pl.min_horizontal(pl.col("end"), pl.col("start").shift(-1))
    return of_line.filter((pl.col("start") < period[1]) & (ends.is_null() | (ends > period[0])))


def target_of(plant: Plant, sheet: pl.DataFrame) -> Target:
    """The target by which a gauge is checked and the tolerance that counts now."""
    names = sheet["product"].drop_nulls() if sheet.height else pl.Series(dtype=pl.String)
    by_name = {name: plant.product(name) for name in names.unique(maintain_order=True)}
    products = [p for p in by_name.values() if p is not None]
    if products:
        last = names.filter(names.is_in([n for n, p in by_name.items() if p is not None]))[-1]
        now = by_name[last] or products[-1]
        diameters = {p.diameter_mm for p in products}
        widest = max(p.diameter_tolerance_mm for p in products)
        return Target(now, now.diameter_mm, now.diameter_tolerance_mm, widest, len(diameters) > 1)
    kinds = {(p.diameter_mm, p.diameter_tolerance_mm) for p in plant.products}
    if len(kinds) == 1:
        diameter, tolerance = next(iter(kinds))
        only = plant.products[0] if len(plant.products) == 1 else None
        return Target(only, diameter, tolerance, tolerance)
    return Target(None, None, None, None)


def targets_of(plant: Plant, batches: pl.DataFrame, target: Target) -> dict[str, float]:
    """The target diameter of every product named in a batch sheet.

    Gives [mm].
    """
    out: dict[str, float] = {}
    for name in batches["product"].drop_nulls().unique(maintain_order=True).to_list() if batches.height else []:
        product = plant.product(name)
        if product is not None:
            out[name] = product.diameter_mm
        elif target.diameter_mm is not None and target.product is None:
            out[name] = target.diameter_mm
    return out
