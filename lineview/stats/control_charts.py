"""Control charts of means, ranges, standard deviations and single values: constants, limits and run rules."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import exp, lgamma, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import mark

Floats = NDArray[np.float64]

#: Nelson's eight tests, as the source lists them.
NELSON: tuple[str, ...] = (
    mark("1 point more than 3 sd from the centre"),
    mark("9 points in a row on one side"),
    mark("6 points in a row all rising or all falling"),
    mark("14 points in a row alternating"),
    mark("2 of 3 points more than 2 sd out on one side"),
    mark("4 of 5 points more than 1 sd out on one side"),
    mark("15 points in a row within 1 sd"),
    mark("8 points in a row more than 1 sd out, either side"),
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


#: Relative ranges are integrated on [-LIMIT, LIMIT] standard deviations with this many nodes.
LIMIT, NODES = 8.5, 801


@dataclass(frozen=True)
class ControlConstants:
    """Constants for subgroups of `n`; names as the standards print them."""

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def range_limits(self) -> tuple[float, float]:
        """D3 and D4, multiples of the mean range."""
        width = 3 * self.d3 / self.d2
        return max(0.0, 1 - width), 1 + width

    @property
    def sd_limits(self) -> tuple[float, float]:
        """B3 and B4, multiples of the mean standard deviation."""
        width = 3 * sqrt(1 - self.c4**2) / self.c4
        return max(0.0, 1 - width), 1 + width


@lru_cache(maxsize=256)
def control_constants(n: int) -> ControlConstants:
    """Work out the constants for subgroups of n normal values.

    Parameters
    ----------
    n : int
        Size of the subgroups, 2 or more.

    Returns
    -------
    ControlConstants
        d2 and d3 are the mean and standard deviation of the relative range, c4 the mean of the sample
        standard deviation over the true one.

    Raises
    ------
    MeasureError
        Where n is below 2.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> round(control_constants(5).d2, 3), round(control_constants(10).c4, 4)
    (2.326, 0.9727)
    """
    if n < 2:
        raise MeasureError(Fault(f"subgroups of {n}", "n", "2 or more"))
    d2, d3 = _relative_range(n)
    return ControlConstants(n, d2, d3, sqrt(2 / (n - 1)) * exp(lgamma(n / 2) - lgamma((n - 1) / 2)))


def _relative_range(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values.

    E W = 2 ∫∫(x<y) p and E W² = 2 ∫∫(x<y) (y−x) n(n−1) f(x) f(y) (F(y)−F(x))^(n−2), by the trapezium
    rule, which is exact to rounding for functions that vanish smoothly at both ends.
    """
    from scipy.special import ndtr

    x = np.linspace(-LIMIT, LIMIT, NODES)
    step = x[1] - x[0]
    f = np.exp(-(x**2) / 2) / sqrt(2 * pi)
    upper = ndtr(x)
    mean = float(np.sum(1 - upper**n - (1 - upper) ** n) * step)
    gap = x[None, :] - x[:, None]
    inside = np.clip(upper[None, :] - upper[:, None], 0, None)
    joint = np.where(gap > 0, n * (n - 1) * f[:, None] * f[None, :] * inside ** (n - 2), 0.0)
    square = float(np.sum(gap**2 * joint) * step**2)
    return mean, sqrt(square - mean**2)


@dataclass(frozen=True)
class Limits:
    """Limits of one chart with the spread they rest on and the points (from 0) beyond them."""

    chart: str
    centre: float
    low: float
    high: float
    sd: float
    outside: tuple[int, ...] = ()

    def against(self, points: Floats) -> tuple[int, ...]:
        """Find the points beyond these limits."""
        return tuple(int(i) for i in np.flatnonzero((points > self.high) | (points < self.low)))


def _limits(chart: str, points: Floats, centre: float, low: float, high: float, sd: float) -> Limits:
    bare = Limits(chart, float(centre), float(low), float(high), float(sd))
    return Limits(chart, bare.centre, bare.low, bare.high, bare.sd, bare.against(points))


def subgroup_limits(groups: Floats) -> tuple[Limits, Limits, Limits]:
    """Compute the limits of the mean chart (from ranges), the range chart and the standard-deviation chart.

    Parameters
    ----------
    groups : numpy.ndarray, shape (m, n)
        m subgroups of n readings each, n 2 or more; readings within a subgroup independent.

    Returns
    -------
    tuple of Limits
        Means, ranges, standard deviations, in this order.

    Raises
    ------
    MeasureError
        Where subgroups have fewer than two readings.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> import numpy as np
    >>> means, ranges, _ = subgroup_limits(np.array([[1.0, 3.0], [2.0, 4.0]]))
    >>> means.centre, ranges.centre
    (2.5, 2.0)
    """
    if groups.ndim != 2 or groups.shape[1] < 2:
        raise MeasureError(Fault("subgroups too small", "groups", "m x n with n of 2 or more"))
    n = groups.shape[1]
    constants = control_constants(n)
    means, ranges, sds = groups.mean(axis=1), np.ptp(groups, axis=1), groups.std(axis=1, ddof=1)
    centre, mean_range, mean_sd = means.mean(), ranges.mean(), sds.mean()
    sd = mean_range / constants.d2
    half = 3 * sd / sqrt(n)
    d3, d4 = constants.range_limits
    b3, b4 = constants.sd_limits
    return (
        _limits("mean", means, centre, centre - half, centre + half, sd),
        _limits("range", ranges, mean_range, d3 * mean_range, d4 * mean_range, sd),
        _limits("standard deviation", sds, mean_sd, b3 * mean_sd, b4 * mean_sd, mean_sd / constants.c4),
    )


def individuals_limits(x: Floats, *, d2: float | None = None) -> tuple[Limits, Limits]:
    """Compute the limits of the individuals chart and of the moving-range chart.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Single values in order, two or more, independent.
    d2 : float, optional
        Mean relative range of two; by default 1.128, as the tables print it.

    Returns
    -------
    tuple of Limits
        Individuals, moving ranges of two; a moving range's index is that of the later value less one.

    Raises
    ------
    MeasureError
        Where there are fewer than two values.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> import numpy as np
    >>> individuals_limits(np.array([49.6, 47.6, 49.9]))[1].centre.__round__(2)
    2.15
    """
    if x.size < 2:
        raise MeasureError(Fault("too few values for a moving range", "x", "two or more"))
    printed = 1.128 if d2 is None else d2
    ranges = np.abs(np.diff(x))
    mean, mean_range = x.mean(), ranges.mean()
    sd = mean_range / printed
    upper = control_constants(2).range_limits[1] * mean_range
    return (
        _limits("individuals", x, mean, mean - 3 * sd, mean + 3 * sd, sd),
        _limits("moving range", ranges, mean_range, 0.0, upper, sd),
    )
