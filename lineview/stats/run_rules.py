"""Run rules for charts of independent points, and the run length they bring."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Nelson's eight tests, as the source lists them.
NELSON: tuple[str, ...] = (
    "1 point more than 3 sd from the centre",
    "9 points in a row on one side",
    "6 points in a row all rising or all falling",
    "14 points in a row alternating",
    "2 of 3 points more than 2 sd out on one side",
    "4 of 5 points more than 1 sd out on one side",
    "15 points in a row within 1 sd",
    "8 points in a row more than 1 sd out, either side",
)


def nelson_test(z: Floats, test: int) -> NDArray[np.bool_]:
    """Mark the points at which one of Nelson's tests signals.

    Parameters
    ----------
    z : numpy.ndarray, shape (n,)
        Independent points in standard deviations from the centre. Points of an EWMA are not independent.
    test : int
        1 to 8.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        True at the last point of each pattern.

    Notes
    -----
    Source: nelson-1984

    Examples
    --------
    >>> import numpy as np
    >>> nelson_test(np.ones(9), 2).tolist()[-1]
    True
    """
    step = np.sign(np.diff(z, prepend=z[:1]))
    turn = np.r_[False, (step[1:] * step[:-1]) < 0] if z.size > 1 else np.zeros(z.size, dtype=np.bool_)
    tests: dict[int, Callable[[], NDArray[np.bool_]]] = {
        1: lambda: np.abs(z) > 3,
        2: lambda: _row(z > 0, 9, 9) | _row(z < 0, 9, 9),
        3: lambda: _row(step > 0, 5, 5) | _row(step < 0, 5, 5),
        4: lambda: _row(turn, 12, 12),
        5: lambda: _row(z > 2, 2, 3) | _row(z < -2, 2, 3),
        6: lambda: _row(z > 1, 4, 5) | _row(z < -1, 4, 5),
        7: lambda: _row(np.abs(z) < 1, 15, 15),
        8: lambda: _row(np.abs(z) > 1, 8, 8),
    }
    return tests[test]()


def _row(hit: NDArray[np.bool_], many: int, of: int) -> NDArray[np.bool_]:
    total = np.cumsum(hit)
    within = total - np.r_[np.zeros(min(of, hit.size)), total[:-of]][: hit.size]
    return np.asarray((within >= many) & hit)


@dataclass(frozen=True)
class RunRule:
    """A rule: `many` of the last `of` points between `low` and `high` sd out, on one side."""

    many: int
    of: int
    low: float
    high: float


def run_rule_length(rules: tuple[RunRule, ...], shift: float = 0.0) -> float:
    """Compute the average run length of a chart with run rules, from the first point on.

    Parameters
    ----------
    rules : tuple of RunRule
        Each applied to both sides.
    shift : float
        Mean of the points, in their standard deviations.

    Returns
    -------
    float
        Points to the signal, on average, by a Markov chain over the points that still matter.

    Notes
    -----
    Source: champ-woodall-1987

    Examples
    --------
    >>> round(run_rule_length((RunRule(1, 1, 3.0, np.inf), RunRule(8, 8, 0.0, np.inf))), 2)
    152.73
    """
    zones = _zones(rules, shift)
    start = tuple((0,) * (rule.of - 1) for rule in rules for _ in (1, -1))
    index = {start: 0}
    todo, moves = [start], []
    while todo:
        state = todo.pop()
        for hits, chance in zones:
            after = _onward(state, hits, rules)
            if after is None:
                continue
            if after not in index:
                index[after] = len(index)
                todo.append(after)
            moves.append((index[state], index[after], chance))
    return _mean_length(len(index), moves)


def _zones(rules: tuple[RunRule, ...], shift: float) -> list[tuple[tuple[int, ...], float]]:
    """List the zones of a point: which rules and sides it counts for, and how likely it is."""
    from scipy.special import ndtr

    edges = sorted({-np.inf, np.inf, *(s * e for r in rules for e in (r.low, r.high) for s in (1, -1))})
    out = []
    for low, high in pairwise(edges):
        if high > low:
            middle = (max(low, -1e6) + min(high, 1e6)) / 2
            hits = tuple(int(r.low <= side * middle < r.high) for r in rules for side in (1, -1))
            out.append((hits, float(ndtr(high - shift) - ndtr(low - shift))))
    return out


State = tuple[tuple[int, ...], ...]


def _onward(state: State, hits: tuple[int, ...], rules: tuple[RunRule, ...]) -> State | None:
    """Carry a state one point on; None where some rule signals."""
    after = []
    for i, past in enumerate(state):
        rule = rules[i // 2]
        window = (*past, hits[i])
        if hits[i] and sum(window) >= rule.many:
            return None
        after.append(_matters(window[1:] if past else (), rule))
    return tuple(after)


def _matters(past: tuple[int, ...], rule: RunRule) -> tuple[int, ...]:
    """Forget points that can no longer complete the rule, so that fewer states are kept."""
    if rule.many == rule.of:  # an unbroken run: nothing before the last miss matters
        run = 0
        for hit in reversed(past):
            if not hit:
                break
            run += 1
        return (0,) * (len(past) - run) + (1,) * run
    return past


def _mean_length(states: int, moves: list[tuple[int, int, float]]) -> float:
    from scipy.sparse import coo_array, identity
    from scipy.sparse.linalg import spsolve

    rows, columns, chances = (np.array(v) for v in zip(*moves, strict=True))
    chain = coo_array((chances, (rows, columns)), shape=(states, states)).tocsc()
    return float(spsolve((identity(states, format="csc") - chain).tocsc(), np.ones(states))[0])
