"""Which order of a day's products would cost least in changeovers, allergens last: advice, no more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

from lineview.errors import Fault, MeasureError
from lineview.plant import Product

#: Products of which the cheapest order is found exactly.
MOST_PRODUCTS = 15


@dataclass(frozen=True)
class FlavourOrder:
    """An order of products with the minutes its changeovers are expected to take.

    `clean_downs` counts the steps from a product with an allergen to one without it; each needs a validated
    clean-down, whatever its minutes.
    """

    products: tuple[str, ...]
    minutes: float
    clean_downs: int
    as_given_min: float
    as_given_clean_downs: int


def expected_minutes(
    products: Sequence[Product], matrix: pl.DataFrame, *, usual_min: float
) -> dict[tuple[str, str], float]:
    """Give the expected changeover from each product to each other [min].

    Parameters
    ----------
    products : sequence of Product
        Of the day.
    matrix : polars.DataFrame
        As of changeover_matrix, by product id.
    usual_min : float
        Where neither this changeover nor any between the two bases was seen [min].

    Returns
    -------
    dict
        (from, to) ids to minutes: the median seen, else the mean of medians between the same two bases,
        weighted by counts, else `usual_min`.
    """
    seen = {
        (a, b): (m, n) for a, b, n, m in matrix.select("before", "after", "count", "median_min").iter_rows()
    }
    base = {p.id: p.base for p in products}
    by_base: dict[tuple[str, str], list[tuple[float, int]]] = {}
    for (a, b), told in seen.items():
        if a in base and b in base:
            by_base.setdefault((base[a], base[b]), []).append(told)
    out = {}
    for one in products:
        for other in products:
            pooled = by_base.get((one.base, other.base))
            if (one.id, other.id) in seen:
                out[one.id, other.id] = seen[one.id, other.id][0]
            elif pooled:
                out[one.id, other.id] = sum(m * n for m, n in pooled) / sum(n for _, n in pooled)
            else:
                out[one.id, other.id] = usual_min
    return out


def cheapest_order(
    products: Sequence[Product], minutes: Mapping[tuple[str, str], float], *, first: str | None = None
) -> FlavourOrder:
    """Find the order with the fewest clean-downs, and of those the least changeover minutes.

    Parameters
    ----------
    products : sequence of Product
        Each once, in the order as it stands; at most `MOST_PRODUCTS`.
    minutes : mapping
        (from, to) ids to expected minutes.
    first : str, optional
        Id of the product that runs now and so comes first.

    Returns
    -------
    FlavourOrder
        Exact, by dynamic programming over sets of products.

    Raises
    ------
    MeasureError
        Where there are none, too many, or `first` is not among them.

    Notes
    -----
    Source: held-karp-1962

    Examples
    --------
    >>> common = {"mass_g": 7, "mass_tolerance_g": 1, "diameter_mm": 14, "diameter_tolerance_mm": 1}
    >>> nut = Product(id="nut", flavour="nut", cut_length_mm=30, allergens=("nuts",), **common)
    >>> mint = Product(id="mint", flavour="mint", cut_length_mm=30, **common)
    >>> cheapest_order([nut, mint], {("nut", "mint"): 4.0, ("mint", "nut"): 6.0}).products
    ('mint', 'nut')
    """
    ids = [p.id for p in products]
    if not ids or len(ids) > MOST_PRODUCTS or len(set(ids)) < len(ids) or first not in (None, *ids):
        wanted = f"1 to {MOST_PRODUCTS}, each once, the one that runs among them"
        raise MeasureError(Fault(f"{len(ids)} products cannot be put in order", "products", wanted))
    cost = np.array([[_step(a, b, minutes) for b in products] for a in products])
    path = _shortest(cost, None if first is None else ids.index(first))
    downs, taken = _along(cost, path)
    given_downs, given = _along(cost, list(range(len(ids))))
    return FlavourOrder(tuple(ids[k] for k in path), taken, downs, given, given_downs)


#: One clean-down outweighs all minutes of a day, so that their number is brought down first.
_CLEAN_DOWN = 1e6


def _step(one: Product, other: Product, minutes: Mapping[tuple[str, str], float]) -> float:
    if one.id == other.id:
        return 0.0
    clean_down = bool(set(one.allergens) - set(other.allergens))
    return minutes[one.id, other.id] + (_CLEAN_DOWN if clean_down else 0.0)


def _along(cost: np.ndarray, path: Sequence[int]) -> tuple[int, float]:
    """Give clean-downs and minutes along an order."""
    steps = [float(cost[a, b]) for a, b in pairwise(path)]
    downs = sum(step >= _CLEAN_DOWN for step in steps)
    return downs, sum(steps) - downs * _CLEAN_DOWN


def _shortest(cost: np.ndarray, first: int | None) -> list[int]:
    """Find the cheapest path through all, by sets of products done and the last one of them."""
    n = len(cost)
    best = np.full((1 << n, n), np.inf)
    came = np.full((1 << n, n), -1)
    for k in range(n) if first is None else (first,):
        best[1 << k, k] = 0.0
    for done in range(1, 1 << n):
        here = best[done]
        if not np.isfinite(here).any():
            continue
        through = here[:, None] + cost
        last = np.argmin(through, axis=0)
        for k in range(n):
            if not done >> k & 1:
                more = through[last[k], k]
                if more < best[done | 1 << k, k]:
                    best[done | 1 << k, k], came[done | 1 << k, k] = more, last[k]
    done, k = (1 << n) - 1, int(np.argmin(best[-1]))
    path = []
    while k >= 0:
        path.append(k)
        done, k = done ^ (1 << k), int(came[done, k])
    return path[::-1]
