"""The shortest closed tour through all places, exact where the time allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


#: Solved anew with cuts at most so many times.
MOST_ROUNDS = 60
#: Up to so many places every set of them is gone through: loading the integer program's library takes longer.
FEW_PLACES = 9


@dataclass(frozen=True)
class Tour:
    """A closed tour, its cost, and the least that any tour can cost."""

    tour: tuple[int, ...]
    cost: float
    bound: float

    @property
    def exact(self) -> bool:
        """Whether no tour costs less."""
        return self.cost <= self.bound + 1e-6 * max(1.0, abs(self.bound))


def shortest_tour(cost: Floats, *, solve_s: float = 10.0) -> Tour:
    """Find the shortest closed tour through all places.

    Parameters
    ----------
    cost : array, shape (n, n)
        Of each step; infinite where there is none.
    solve_s : float
        Longest time for one of the programs solved on the way [s]; where one takes longer, or too many are
        needed, the result is the best tour known with the bound reached.

    Returns
    -------
    Tour
        Places in order, each once.

    Notes
    -----
    Each place is left once and entered once; wherever the answer falls apart into several tours, a cut for
    each forbids that and the integer program is solved again (HiGHS), until it is one tour. Of few places the
    shortest way through every set of them is built up from those of the smaller sets.
    Source: dantzig-fulkerson-johnson-1954, bellman-1962

    Examples
    --------
    >>> ring = np.array([[np.inf, 1, 9], [9, np.inf, 1], [1, 9, np.inf]])
    >>> shortest_tour(ring).cost
    3.0
    """
    if 1 < len(cost) <= FEW_PLACES:
        return _of_few(cost)
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    begins, ends = np.nonzero(np.isfinite(cost))
    each = np.arange(len(cost))[:, None]
    once = LinearConstraint(csr_array(np.vstack((begins == each, ends == each)).astype(float)), 1, 1)
    best, bound = _nearest(cost), -np.inf
    leaving: list[NDArray[np.bool_]] = []  # for each cut, the steps that leave its places
    for _ in range(MOST_ROUNDS):
        cuts = [LinearConstraint(csr_array(np.array(leaving, dtype=float)), 1, np.inf)] if leaving else []
        solution = milp(
            cost[begins, ends],
            integrality=np.ones(len(begins), dtype=np.int64),
            bounds=Bounds(0, 1),
            constraints=[once, *cuts],
            options={"time_limit": solve_s, "mip_rel_gap": 0.0},
        )
        if solution.mip_dual_bound is not None:
            bound = max(bound, float(solution.mip_dual_bound))
        if solution.x is None:
            break
        chosen = solution.x > 0.5
        parts = _parts(dict(zip(begins[chosen].tolist(), ends[chosen].tolist(), strict=True)))
        best = min(best, _join_tours(cost, parts) or best, key=lambda tour: _cost(cost, tour))
        if len(parts) == 1 or solution.status != 0 or _cost(cost, best) <= bound + 1e-7:
            break
        leaving += [np.isin(begins, part) & ~np.isin(ends, part) for part in parts]
    return Tour(best, _cost(cost, best), min(bound, _cost(cost, best)))


def _of_few(cost: Floats) -> Tour:
    """The shortest tour of few places; of several as short the one that comes first."""
    last = len(cost) - 1
    price = cost.tolist()
    # The least that a way from the last place through a set of the others to one of them costs, and the way.
    ways: dict[tuple[int, int], tuple[float, tuple[int, ...]]]
    ways = {(1 << k, k): (price[last][k], (last, k)) for k in range(last)}
    for _ in range(last - 1):
        longer: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
        for (stops, at), (spent, way) in ways.items():
            for k in range(last):
                key = stops | 1 << k, k
                longer_way = spent + price[at][k], (*way, k)
                if not stops >> k & 1 and (key not in longer or longer_way < longer[key]):
                    longer[key] = longer_way
        ways = longer
    tour = min((spent + price[at][last], way) for (_, at), (spent, way) in ways.items())[1]
    return Tour(tour, _cost(cost, tour), _cost(cost, tour))


def _parts(steps: dict[int, int]) -> list[tuple[int, ...]]:
    """Split steps into the closed tours that they make."""
    remaining, parts = set(steps), []
    while remaining:
        at = min(remaining)
        part = []
        while at in remaining:
            remaining.discard(at)
            part.append(at)
            at = steps[at]
        parts.append(tuple(part))
    return parts


def _join_tours(cost: Floats, parts: Sequence[tuple[int, ...]]) -> tuple[int, ...] | None:
    """Join tours into one, each where it costs least; None where no step allows it."""
    tour, others = list(parts[0]), list(parts[1:])
    while others:
        options = [
            (cost[a, part[k]] + cost[part[k - 1], b] - cost[a, b] - cost[part[k - 1], part[k]], i, p, k)
            for p, part in enumerate(others)
            for i, (a, b) in enumerate(zip(tour, tour[1:] + tour[:1], strict=True))
            for k in range(len(part))
        ]
        price, i, p, k = min(options)
        if not np.isfinite(price):
            return None
        part = others.pop(p)
        tour[i + 1 : i + 1] = part[k:] + part[:k]
    return tuple(tour)


def _nearest(cost: Floats) -> tuple[int, ...]:
    """Go on to the nearest place each time, from the place with the fewest ways out."""
    at = int(np.argmin(np.isfinite(cost).sum(axis=1)))
    tour, remaining = [at], set(range(len(cost))) - {at}
    while remaining:
        at = min(remaining, key=lambda k: (cost[at, k], k))
        tour.append(at)
        remaining.discard(at)
    return tuple(tour)


def _cost(cost: Floats, tour: Sequence[int]) -> float:
    return float(sum(cost[a, b] for a, b in zip(tour, (*tour[1:], tour[0]), strict=True)))
