"""The shortest closed tour through all places, exact where the time allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


#: Solved anew with cuts at most so many times.
MOST_ROUNDS = 60
#: What one whole step is in the flows between places, which are whole numbers.
_WHOLE = 1_000_000
#: Steps among which a first good tour is looked for.
_FIRST_COLUMNS = 250


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
        needed, the best tour known is given with the bound reached.

    Returns
    -------
    Tour
        Places in order, each once.

    Notes
    -----
    Each place is left once and entered once; wherever the answer falls apart into several tours, a cut
    forbids that and it is solved again, until it is one tour. First with parts of steps allowed, where the
    least flow between two places shows what to cut, then as an integer program; both solved by HiGHS.
    Source: dantzig-fulkerson-johnson-1954

    Examples
    --------
    >>> ring = np.array([[np.inf, 1, 9], [9, np.inf, 1], [1, 9, np.inf]])
    >>> shortest_tour(ring).cost
    3.0
    """
    program = _Program(cost)
    best = _bettered(cost, _nearest(cost))
    least = program.tighten()
    for columns in (_FIRST_COLUMNS, len(program.cost)):
        spent = _cost(cost, best)
        # A step dearer than the gap cannot be in a tour cheaper than the best one known.
        program.keep(min(columns, program.within(spent - least)))
        best, bound = _whole(program, cost, best, solve_s)
        if program.kept >= program.within(spent - least):
            bound = min(bound, spent)  # those left out cost no less than the tour known before
            return Tour(best, _cost(cost, best), min(max(bound, least), _cost(cost, best)))
    return Tour(best, _cost(cost, best), least)


def _whole(
    program: _Program, cost: Floats, best: tuple[int, ...], solve_s: float
) -> tuple[tuple[int, ...], float]:
    """Give the best tour of the steps kept, and the least that any tour of them costs."""
    bound = -np.inf
    for _ in range(MOST_ROUNDS):
        steps, low = program.solve(solve_s)
        bound = max(bound, low)
        if steps is None:
            break
        parts = _parts(steps)
        joined = _joined(cost, parts)
        joined = None if joined is None else _bettered(cost, joined)
        if joined is not None and _cost(cost, joined) < _cost(cost, best):
            best = joined
        if low == -np.inf or len(parts) == 1 or _cost(cost, best) <= bound + 1e-7:
            break
        program.forbid(parts)
    return best, bound


class _Program:
    """The program: which steps are taken, with the cuts so far; `order` sorts steps by how dear they come."""

    def __init__(self, cost: Floats) -> None:
        self.n = len(cost)
        self.begins, self.ends = np.nonzero(np.isfinite(cost))
        self.cost = cost[self.begins, self.ends]
        self.cuts: dict[tuple[int, ...], None] = {}
        self.reduced = np.zeros(len(self.cost))
        self.order = np.arange(len(self.cost))
        self.kept = len(self.cost)

    def within(self, gap: float) -> int:
        """Give how many steps come no dearer than the gap."""
        return int((self.reduced <= gap + 1e-6).sum())

    def keep(self, columns: int) -> None:
        """Solve with so many of the steps that come least dear."""
        self.kept = columns

    def forbid(self, parts: Sequence[tuple[int, ...]]) -> None:
        """Let each part be left at least once."""
        self.cuts.update(dict.fromkeys(tuple(sorted(part)) for part in parts))

    def tighten(self) -> float:
        """Add the cuts that the program with parts of steps allowed lacks; give the least it can cost."""
        from scipy.optimize import linprog

        least = 0.0
        every = np.arange(len(self.cost))
        for _ in range(MOST_ROUNDS):
            left, equal = self._rows(every)
            found = linprog(
                self.cost,
                A_ub=-left if left.shape[0] else None,
                b_ub=-np.ones(left.shape[0]) if left.shape[0] else None,
                A_eq=equal,
                b_eq=np.ones(2 * self.n),
                bounds=(0, 1),
                method="highs",
            )
            if found.status != 0 or found.fun is None:
                break
            least, self.reduced = float(found.fun), np.asarray(found.lower.marginals)
            flow = np.zeros((self.n, self.n))
            flow[self.begins, self.ends] = found.x
            parts = [part for part in _loose(flow) if part not in self.cuts]
            if not parts:
                break
            self.forbid(parts)
        self.order = np.argsort(self.reduced, kind="stable")
        return least

    def solve(self, solve_s: float) -> tuple[dict[int, int] | None, float]:
        """Give the steps taken, if any tours are known, and the least cost; -inf where the time ran out."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        own = self.order[: self.kept]
        left, equal = self._rows(own)
        found = milp(
            self.cost[own],
            integrality=np.ones(len(own), dtype=np.int64),
            bounds=Bounds(0, 1),
            constraints=[LinearConstraint(equal, 1, 1), LinearConstraint(left, 1, np.inf)],
            options={"time_limit": solve_s, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None, np.inf if found.status == 2 else -np.inf
        taken = own[found.x > 0.5]
        steps = dict(zip(self.begins[taken].tolist(), self.ends[taken].tolist(), strict=True))
        return steps, float(found.fun) if found.status == 0 else -np.inf

    def _rows(self, own: Ints) -> tuple[Any, Any]:
        """Give the rows of the cuts and of the places, for some of the steps."""
        from scipy.sparse import csr_array

        begins, ends = self.begins[own], self.ends[own]
        each = np.arange(self.n)
        equal = np.concatenate((begins == each[:, None], ends == each[:, None]))
        inside = np.zeros((len(self.cuts), self.n), dtype=bool)
        for row, part in enumerate(self.cuts):
            inside[row, list(part)] = True
        left = inside[:, begins] & ~inside[:, ends]
        return csr_array(left.astype(float)), csr_array(equal.astype(float))


def _loose(flow: Floats) -> list[tuple[int, ...]]:
    """Give the parts that less than one whole step leaves."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order, maximum_flow

    whole = csr_array(np.rint(np.where(flow > 1e-7, flow, 0.0) * _WHOLE).astype(np.int32))
    found: dict[tuple[int, ...], None] = {}
    pairs = [(0, k) for k in range(1, len(flow))] + [(k, 0) for k in range(1, len(flow))]
    for source, sink in pairs:
        most = maximum_flow(whole, source, sink)
        if most.flow_value < _WHOLE * (1 - 1e-4):
            left = whole - most.flow
            left.data = np.maximum(left.data, 0)
            left.eliminate_zeros()
            side = breadth_first_order(left, source, return_predecessors=False)
            found.setdefault(tuple(sorted(np.asarray(side).tolist())))
    return list(found)


def _parts(steps: dict[int, int]) -> list[tuple[int, ...]]:
    """Give the tours that the steps fall into."""
    left, parts = set(steps), []
    while left:
        at = min(left)
        part = []
        while at in left:
            left.discard(at)
            part.append(at)
            at = steps[at]
        parts.append(tuple(part))
    return parts


def _joined(cost: Floats, parts: Sequence[tuple[int, ...]]) -> tuple[int, ...] | None:
    """Join tours into one, each where it costs least; None where no step allows it."""
    tour, rest = list(parts[0]), list(parts[1:])
    while rest:
        options = [
            (cost[a, part[k]] + cost[part[k - 1], b] - cost[a, b] - cost[part[k - 1], part[k]], i, p, k)
            for p, part in enumerate(rest)
            for i, (a, b) in enumerate(zip(tour, tour[1:] + tour[:1], strict=True))
            for k in range(len(part))
        ]
        price, i, p, k = min(options)
        if not np.isfinite(price):
            return None
        part = rest.pop(p)
        tour[i + 1 : i + 1] = part[k:] + part[:k]
    return tuple(tour)


def _bettered(cost: Floats, tour: tuple[int, ...]) -> tuple[int, ...]:
    """Move stretches of the tour elsewhere as long as that costs less."""
    n, own = len(tour), list(tour)
    moved = True
    while moved:
        moved = False
        for length in range(1, max(1, n - 2)):
            for _ in range(n):
                own = own[1:] + own[:1]
                part, rest = own[:length], np.array(own[length:])
                gone = cost[rest[-1], part[0]] + cost[part[-1], rest[0]] - cost[rest[-1], rest[0]]
                come = cost[rest[:-1], part[0]] + cost[part[-1], rest[1:]] - cost[rest[:-1], rest[1:]]
                best = int(np.argmin(come)) if len(come) else 0
                if len(come) and come[best] < gone - 1e-9:
                    own = [*rest[: best + 1].tolist(), *part, *rest[best + 1 :].tolist()]
                    moved = True
    return tuple(own)


def _nearest(cost: Floats) -> tuple[int, ...]:
    """Give the tour that goes on to the nearest place, from the one with the fewest ways out."""
    at = int(np.argmin(np.isfinite(cost).sum(axis=1)))
    tour, left = [at], set(range(len(cost))) - {at}
    while left:
        at = min(left, key=lambda k: (cost[at, k], k))
        tour.append(at)
        left.discard(at)
    return tuple(tour)


def _cost(cost: Floats, tour: Sequence[int]) -> float:
    return float(sum(cost[a, b] for a, b in zip(tour, (*tour[1:], tour[0]), strict=True)))
