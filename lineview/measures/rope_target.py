"""Which diameter a line's rope should have, batch by batch and now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.plant import Plant, Product


@dataclass(frozen=True)
class Target:
    """The product now on the line (None where it cannot be known), its diameter and tolerances [mm]."""

    product: Product | None
    diameter_mm: float | None
    tolerance_mm: float | None
    widest_tolerance_mm: float | None
    several: bool = False


def line_batches(batches: pl.DataFrame, line: str, period: tuple[datetime, datetime]) -> pl.DataFrame:
    """Give the line's batches that touch a period.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES.
    line : str
        Id of the line.
    period : (datetime, datetime)
        From and to [UTC].

    Returns
    -------
    polars.DataFrame
        BATCHES in order of start, the one running when the period starts included.
    """
    own = batches.filter((pl.col("line") == line) & pl.col("start").is_not_null()).sort("start")
    ends = pl.min_horizontal(pl.col("end"), pl.col("start").shift(-1))
    return own.filter((pl.col("start") < period[1]) & (ends.is_null() | (ends > period[0])))


def target_of(plant: Plant, sheet: pl.DataFrame) -> Target:
    """Give the target by which a gauge is checked and the tolerance that counts now.

    Parameters
    ----------
    plant : Plant
        The works.
    sheet : polars.DataFrame
        BATCHES of the line; the last one says what is on the line now.

    Returns
    -------
    Target
        Without a batch sheet only where all products share one diameter and tolerance.
    """
    names = sheet["product"].drop_nulls() if sheet.height else pl.Series(dtype=pl.String)
    by_name = {name: plant.product(name) for name in names.unique(maintain_order=True)}
    known = [p for p in by_name.values() if p is not None]
    if known:
        last = names.filter(names.is_in([n for n, p in by_name.items() if p is not None]))[-1]
        now = by_name[last] or known[-1]
        diameters = {p.diameter_mm for p in known}
        widest = max(p.diameter_tolerance_mm for p in known)
        return Target(now, now.diameter_mm, now.diameter_tolerance_mm, widest, len(diameters) > 1)
    kinds = {(p.diameter_mm, p.diameter_tolerance_mm) for p in plant.products}
    if len(kinds) == 1:
        diameter, tolerance = next(iter(kinds))
        only = plant.products[0] if len(plant.products) == 1 else None
        return Target(only, diameter, tolerance, tolerance)
    return Target(None, None, None, None)


def targets_of(plant: Plant, marked: pl.DataFrame, target: Target) -> dict[str, float]:
    """Give the target diameter of every product named in a batch sheet.

    Parameters
    ----------
    plant : Plant
        The works.
    marked : polars.DataFrame
        BATCHES used.
    target : Target
        Stands in where a batch names no product and only one target is possible.

    Returns
    -------
    dict of str to float
        Target diameter [mm] by the name the sheet uses.
    """
    out: dict[str, float] = {}
    for name in marked["product"].drop_nulls().unique().to_list() if marked.height else []:
        product = plant.product(name)
        if product is not None:
            out[name] = product.diameter_mm
        elif target.diameter_mm is not None and target.product is None:
            out[name] = target.diameter_mm
    return out
