"""What a flavour that was never made borrows from the flavours of its base."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import replace

import numpy as np
import polars as pl

from lineview.plant import Plant
from lineview.stock.demand import Ahead

#: Spread of one flavour's level among those of its base, over their mean: an assumption until it is made.
ASSUMED_KIN_CV = 0.5


def lent_factors(
    plant: Plant,
    past: pl.DataFrame,
    factors: Mapping[str, Mapping[str, float]],
    planned: Set[str] = frozenset(),
) -> dict[str, dict[str, float]]:
    """Let what was never made take as much as the mean flavour of its base.

    Parameters
    ----------
    plant : Plant
        For the bases.
    past : polars.DataFrame
        MADE with plant.toml's product ids.
    factors : mapping
        From web (or product) id to the amount that a piece of each product takes of it.
    planned : set of str
        Products that the plan names.

    Returns
    -------
    dict
        Of the ids none of whose products was ever made or is planned: from each made product of the same base
        to its share. An id whose base was never made either is not in it: nobody knows.
    """
    made = set(past.filter(pl.col("good") > 0)["product"].to_list())
    out = {}
    for key, own in factors.items():
        if not own or (made | planned) & set(own):
            continue
        kin = [p for name in own for p in _kin(plant, name) if p in made]
        if kin:
            shared = float(np.mean(list(own.values()))) * len(own) / len(set(kin))
            out[key] = dict.fromkeys(kin, shared)
    return out


def unsure(ahead: Ahead) -> Ahead:
    """Give what history says with the doubt of having borrowed it.

    Parameters
    ----------
    ahead : Ahead
        Of the base's mean flavour.
    """
    return replace(ahead, level_cv=float(np.hypot(ahead.level_cv, ASSUMED_KIN_CV)))


def _kin(plant: Plant, name: str) -> list[str]:
    """Give the other products of a product's base."""
    product = plant.product(name) if name else None
    if product is None or not product.base:
        return []
    return [p.id for p in plant.products if p.base == product.base and p.id != product.id]
