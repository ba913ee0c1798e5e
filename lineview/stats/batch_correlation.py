"""Correlation of neighbours: of the means of batches in order, and of values within many short runs.

A mean and a spread of group means are averaged over how closely the means follow their neighbours. Within runs it is
the restricted likelihood of first-order autoregressive noise, a gauge's white noise on it, about each run's line (a
level and, where the run is long enough, a slope), pooled over the runs and averaged over what the runs allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.stats.generalized_intervals import spread_quantile

Floats = NDArray[np.float64]

#: Correlations of neighbouring groups that are tried.
PHIS = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.86, 0.91, 0.95, 0.98, 0.99])
#: Fewer groups than this cannot show whether neighbours are correlated.
LEAST_GROUPS = 24
#: So much likelier than any one of the others is no memory beforehand: the intervals then hold from 0 to 0.9.
_NONE_LIKELIER = 8.0
_SDS = 20
#: Log likelihood below that of the likeliest case, from which on a case weighs nothing.
_FAR = 50.0


@dataclass(frozen=True)
class MemoryFit:
    """What the group means allow, an entry a case tried.

    `phi`, `weight`: correlation of neighbours, and how likely it is (the weights sum to 1); `sd`: standard deviation of
    the groups; `mean`, `mean_sd`: mean of all groups that could be made so, and its standard error; `step`: ratio of
    neighbouring standard deviations tried.
    """

    phi: Floats
    weight: Floats
    sd: Floats
    mean: Floats
    mean_sd: Floats
    step: float

    @property
    def memory(self) -> float:
        """Mean correlation of neighbours."""
        return float(self.weight @ self.phi)

    @property
    def centre(self) -> float:
        """Mean of all groups that could be made so."""
        return float(self.weight @ self.mean)

    @property
    def widening(self) -> float:
        """How much less sure the mean is than if groups were independent, as a ratio of standard errors."""
        alone = self.phi == 0.0
        without = self.weight * alone
        if not without.sum() > 0:
            without = alone / alone.sum()
        independent = float((without / without.sum()) @ self.mean_sd**2)
        variance = float(self.weight @ (self.mean_sd**2 + (self.mean - self.centre) ** 2))
        return max(1.0, float(np.sqrt(variance / independent)))

    def draws(self, n: int, seed: int = 1) -> tuple[Floats, Floats]:
        """Draw the mean, and the variance of the groups."""
        rng = np.random.default_rng(seed)
        which = rng.choice(self.weight.size, size=n, p=self.weight)
        mean = self.mean[which] + self.mean_sd[which] * rng.standard_normal(n)
        within_cell = self.step ** rng.uniform(-0.5, 0.5, n)
        return np.asarray(mean), np.asarray((self.sd[which] * within_cell) ** 2)


def fit_memory(means: ArrayLike, variances: ArrayLike) -> MemoryFit:
    """Weigh how closely groups follow their neighbours by the likelihood of their means.

    Parameters
    ----------
    means : array_like, shape (n,)
        Of the groups, in the order they were made.
    variances : array_like, shape (n,)
        Of each mean, by what varies within its group alone.

    Returns
    -------
    MemoryFit
        Over a grid of correlations and spreads.

    Raises
    ------
    MeasureError
        Where there are too few groups.

    Notes
    -----
    The groups are first-order autoregressive, the means add their own error; the likelihood has the mean
    integrated out. Cases less likely than the likeliest by e⁵⁰ weigh nothing.
    Source: restricted-likelihood, derived-batch-memory

    Examples
    --------
    >>> import numpy as np
    >>> slow = np.repeat([0.0, 1.0, -1.0, 2.0, 0.5], 10)
    >>> fit_memory(slow, np.full(50, 0.01)).memory > 0.7
    True
    """
    y, errors = np.asarray(means, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    if y.size < 3:
        raise MeasureError(Fault(f"{y.size} groups", "means", "three or more"))
    sd_of_means = max(float(np.std(y)), 1e-12)
    least, most = np.log(0.1 * sd_of_means), np.log(6.0 * sd_of_means)
    sds = np.exp(np.linspace(least, most, _SDS))
    likelihood, mean, mean_variance = _means_likelihoods(y, np.maximum(errors, 1e-15 * sd_of_means**2), sds**2)
    phi, sd = (axis.ravel() for axis in np.meshgrid(PHIS, sds, indexing="ij"))
    likelihood = likelihood + np.where(phi == 0.0, np.log(_NONE_LIKELIER), 0.0)
    weight = np.exp(likelihood - likelihood.max())
    return MemoryFit(
        phi, weight / weight.sum(), sd, mean, np.sqrt(mean_variance), float(np.exp((most - least) / (_SDS - 1)))
    )


def _means_likelihoods(y: Floats, errors: Floats, variances: Floats) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of each case, the mean's estimate and its variance; -inf, 0 and 0 where it is far from likely.

    From the likeliest variance of the correlation before, variances are tried either way until they only get worse.
    """
    rows = np.stack([y, np.ones(y.size)])
    cases = np.zeros((3, PHIS.size, variances.size))
    cases[0] = -np.inf
    cases[:, 0], likelihood = _without_memory(y, errors, variances), cases[0]
    start = int(np.argmax(likelihood[0]))
    for row, phi in enumerate(PHIS[1:].tolist(), 1):

        def likelihood_at(at: int, row: int = row, phi: float = phi) -> float:
            cases[:, row, at] = _means_likelihood(rows, errors, phi, float(variances[at]))
            return float(likelihood[row, at])

        first = likelihood_at(start)
        for ahead in (range(start + 1, variances.size), range(start - 1, -1, -1)):
            before = first
            for at in ahead:
                now = likelihood_at(at)
                if now < min(before, likelihood.max() - _FAR):
                    break
                before = now
        start = int(np.argmax(likelihood[row]))
    return cases[0].ravel(), cases[1].ravel(), cases[2].ravel()


def _without_memory(y: Floats, errors: Floats, variances: Floats) -> tuple[Floats, Floats, Floats]:
    """The same of every variance where groups are independent."""
    weight = 1.0 / (variances[:, None] + errors)
    precision, y1 = weight.sum(axis=1), weight @ y
    left = weight @ y**2 - y1**2 / precision
    return -0.5 * (np.log(precision) - np.log(weight).sum(axis=1) + left), y1 / precision, 1.0 / precision


def _means_likelihood(rows: Floats, errors: Floats, phi: float, variance: float) -> tuple[float, float, float]:
    """The same of one case; `rows` are y and 1.

    Of V = R + E, where R⁻¹ is tridiagonal and E diagonal, V⁻¹ is E⁻¹ − E⁻¹ (E⁻¹ + R⁻¹)⁻¹ E⁻¹, or the same with R⁻¹ for
    E⁻¹: that of the two which takes away less.
    """
    from scipy.linalg.lapack import dpttrf, dpttrs

    fresh = variance * (1.0 - phi**2)
    diagonal, next_to = np.full(errors.size, (1.0 + phi**2) / fresh), -phi / fresh
    diagonal[[0, -1]] = 1.0 / fresh
    if errors.min() * errors.max() > fresh**2:
        weighted = rows / errors
    else:
        weighted = rows * diagonal
        weighted[:, 1:] += next_to * rows[:, :-1]
        weighted[:, :-1] += next_to * rows[:, 1:]
    pivots, below, _ = dpttrf(diagonal + 1.0 / errors, np.full(errors.size - 1, next_to))
    solved, _ = dpttrs(pivots, below, weighted.T)
    (yy, y1), (_, precision) = np.einsum("in,jn->ij", rows, weighted) - np.einsum("in,nj->ij", weighted, solved)
    logs = float(np.log(pivots * errors).sum()) + float(np.log(variance)) + (errors.size - 1) * float(np.log(fresh))
    return -0.5 * (logs + np.log(precision) + yy - y1**2 / precision), y1 / precision, 1.0 / precision


Ints = NDArray[np.int64]


#: Autocorrelations tried first, and how many are tried about the best of them, first coarsely.
ROUGH = (-0.3, -0.15, 0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.87, 0.92, 0.96, 0.985, 0.995)
COARSE, FINE = 11, 21
#: Of more values than this every second, third, ... run is taken: for the search, and in the end.
SEARCHED, MOST = 8_000, 30_000
#: Runs with fewer points have a level but no slope.
SLOPE_FROM = 8
#: White shares of the variance tried first, a small one too: a long memory with a twentieth of white noise looks like a
#: shorter one. How many of them, and of autocorrelations, are tried about the likeliest.
WHITES, GRID = (0.0, 0.05, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9), (15, 11)
#: Autocorrelations that can be separated from white noise on them within a batch; and the gain in log likelihood from
#: which white noise is in the model. A longer memory cannot be separated from the batch's own level and slope.
REMEMBERS, SPEAKS, TINY = (0.3, 0.96), 0.0, 1e-9
#: In runs of fewer values memory beyond this autocorrelation cannot be separated from their levels and slopes.
LONG_ENOUGH, FOLLOWS = 18, 0.25
#: Pairs of level, time and value, as products of them are named in `_likelihood`.
PAIRS = ((0, 0, 1, 0, 1, 2), (0, 1, 1, 2, 2, 2))
#: Corners of a mixed difference, with their signs.
CORNERS = ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))


@dataclass(frozen=True)
class RunNoise:
    """Standard deviation of a value about its run's line, over so many runs, and the autocorrelation."""

    sd: Estimate
    autocorrelation: float


@dataclass(frozen=True)
class _Runs:
    """Values, time about each run's middle, steps from the value before, and where each run starts."""

    value: Floats
    time: Floats
    steps: Ints
    starts: Ints
    sloped: NDArray[np.bool_]
    df: Floats

    @cached_property
    def sums(self) -> tuple[Ints, Ints, Floats]:
        """For each step of a run (0: its first value) that step, where each run starts, and sums of products.

        They are of `PAIRS` of level, time and value, both at a value, one of them at the value before, both there.
        """
        steps = self.steps.copy()
        steps[self.starts] = 0
        run, many = np.zeros(steps.size, dtype=np.int64), int(steps.max()) + 1
        run[self.starts[1:]] = 1
        key = np.cumsum(run) * many + steps
        order = np.argsort(key, kind="stable")
        begins = np.flatnonzero(np.diff(key[order], prepend=-1))
        here = np.stack([np.ones(steps.size), self.time, self.value])
        (a, b), before = (here[[*place]] for place in PAIRS), np.roll(here, 1, axis=1)
        c, d = (before[[*place]] for place in PAIRS)
        of_run, step = np.divmod(key[order[begins]], many)
        sums = np.add.reduceat(np.stack([a * b, a * d + c * b, c * d])[..., order], begins, axis=-1)
        return step, np.flatnonzero(np.diff(of_run, prepend=-1)), sums


def within_batch_correlation(
    value: Floats, seconds: Floats, run: Ints, *, independent: bool = False, level: float = 0.95
) -> RunNoise:
    """Estimate spread and autocorrelation of values in runs, such as a batch's readings.

    Parameters
    ----------
    value, seconds : numpy.ndarray, shape (n,)
        Values and their times [s], run by run, in order.
    run : numpy.ndarray of int, shape (n,)
        Number of the run, never falling.
    independent : bool
        Whether values about each line are taken for independent.
    level : float
        Of the interval.

    Returns
    -------
    RunNoise
        The spread is unknown where no run has values to spare. Where runs differ in spread by more than
        chance its interval is as much wider; of one run it is open (0 to infinite); of short runs whose values
        follow each other it has none.

    Notes
    -----
    Source: restricted-likelihood, derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> value = np.random.default_rng(1).normal(0, 2.0, 900)
    >>> noise = within_batch_correlation(value, np.arange(900.0), np.repeat(np.arange(30), 30))
    >>> noise.sd.low < 2.0 < noise.sd.high
    True
    """
    runs = _runs(*_some(value, seconds, run, MOST))
    df = float(runs.df.sum())
    if not runs.df.size or df <= 0 or independent:
        return _of_independent(runs, level)
    few = _runs(*_some(value, seconds, run, SEARCHED)) if value.size > SEARCHED else runs
    grid = _grid_with_white(few)
    if grid is None:
        phis = _coarse_grid(np.array(ROUGH), np.array([_likelihood(few, phi)[0] for phi in ROUGH]))
        phis = _fine_grid(phis, np.array([_likelihood(few, float(phi))[0] for phi in phis]))
        grid = np.column_stack([phis, np.zeros(FINE)])
    else:
        runs, df = few, float(few.df.sum())
    fits = [_likelihood(runs, float(phi), float(white)) for phi, white in grid]
    likelihood, residual = np.array([f[0] for f in fits]), np.array([f[1].sum() for f in fits])
    if residual.max() <= 0:
        return _of_independent(runs, level)
    widen = _widening(runs, grid, int(np.argmax(likelihood)))
    weight = np.exp((likelihood - likelihood.max()) / widen)
    weight /= weight.sum()
    ends = [spread_quantile(q, weight, residual / df, df / widen) for q in ((1 - level) / 2, 0.5, (1 + level) / 2)]
    low, middle, high = (sqrt(v) for v in ends)
    if runs.df.size == 1:
        low, high = 0.0, float("inf")
    sd = Estimate(middle, low, high, runs.df.size, interval=f"{100 * level:g} % confidence")
    follow, usual = float(weight @ (grid[:, 0] * (1 - grid[:, 1]))), value.size / (int(run[-1]) + 1)
    if follow > FOLLOWS and usual < LONG_ENOUGH:
        why = tr(
            "no interval: readings follow each other ({follow:.2f}), {usual:.0f} in a batch; needs {needs}",
            follow=follow,
            usual=usual,
            needs=LONG_ENOUGH,
        )
        sd = Estimate(middle, n=runs.df.size, interval=why)
    return RunNoise(sd, follow)


def _some(value: Floats, seconds: Floats, run: Ints, most: int) -> tuple[Floats, Floats, Ints]:
    sample = run % -(-value.size // most) == 0
    return value[sample], seconds[sample], run[sample]


def _runs(value: Floats, seconds: Floats, run: Ints) -> _Runs:
    """Sort out runs with a value to spare; steps between values are counted in their usual distance."""
    counts = np.bincount(run)
    enough = counts[run] >= 2
    value, seconds, run = value[enough], seconds[enough], run[enough]
    starts = np.flatnonzero(np.r_[True, run[1:] != run[:-1]]) if run.size else np.zeros(0, np.int64)
    counts = np.diff(np.r_[starts, run.size])
    sloped = counts >= SLOPE_FROM
    between = np.diff(seconds, prepend=seconds[:1])
    inner = np.ones(run.size, dtype=np.bool_)
    inner[starts] = False
    usual = float(np.median(between[inner])) if inner.any() else 1.0
    steps = np.maximum(1, np.round(between / usual)) if usual > 0 else np.ones(run.size)
    middle = np.repeat(np.add.reduceat(seconds, starts) / counts, counts) if run.size else seconds
    level = np.repeat(np.add.reduceat(value, starts) / counts, counts) if run.size else value
    df = (counts - np.where(sloped, 2, 1)).astype(np.float64)
    time = (seconds - middle) / (usual or 1.0)
    return _Runs(value - level, time, np.where(inner, steps, 1).astype(np.int64), starts, sloped, df)


def _likelihood(runs: _Runs, phi: float, white: float = 0.0) -> tuple[float, Floats, Floats]:
    """Compute the restricted log likelihood, each run's sum of squares, and each run's log determinants."""
    alone = white < TINY or phi == 0.0
    products, starts = (_whitened if alone else _solved)(runs, phi, white)
    levels, cross, times, at_level, at_slope, total, gaps = (np.add.reduceat(part, starts) for part in products)
    determinant = np.where(runs.sloped, levels * times - cross**2, levels)
    both = times * at_level**2 - 2 * cross * at_level * at_slope + levels * at_slope**2
    fitted = np.where(runs.sloped, both / np.where(runs.sloped, determinant, 1), at_level**2 / levels)
    residual = np.maximum(total - fitted, 0.0)
    determinants = gaps + np.log(determinant)
    df = float(runs.df.sum())
    likelihood = -0.5 * (float(determinants.sum()) + df * np.log(max(float(residual.sum()), 1e-300) / df))
    return likelihood, residual, determinants


def _whitened(runs: _Runs, phi: float, _: float) -> tuple[tuple[Floats, ...], Ints]:
    """Products of level, time and value, parts of the log determinant, and starts, of autoregressive noise alone."""
    step, starts, (here, across, before) = runs.sums
    rho = np.asarray(np.r_[0.0, phi ** np.arange(1, int(step.max()) + 1)][step], dtype=np.float64)
    products = (here - rho * across + rho**2 * before) / (1 - rho**2)
    return (*products, here[0] * np.log(1 - rho**2)), starts


def _solved(runs: _Runs, phi: float, white: float) -> tuple[tuple[Floats, ...], Ints]:
    """The same with white noise on it: V⁻¹ is (I − (1 − q) ((1 − q) I + q T)⁻¹) / q, T tridiagonal."""
    from scipy.linalg.lapack import dpttrf, dpttrs

    rho = np.asarray((phi ** np.arange(int(runs.steps.max()) + 1))[runs.steps], dtype=np.float64)
    rho[runs.starts] = 0.0
    gap = 1 - rho**2
    diagonal = 1 / gap
    diagonal[:-1] += rho[1:] ** 2 / gap[1:]
    pivots, below, _ = dpttrf((1 - white) + white * diagonal, -white * rho[1:] / gap[1:])
    columns = np.stack([np.ones(rho.size), runs.time, runs.value])
    solved = dpttrs(pivots, below, columns.T)[0].T
    solved *= white - 1
    solved += columns
    products = columns[[*PAIRS[0]]] * solved[[*PAIRS[1]]] / white
    return (*products, np.log(pivots * gap)), runs.starts


def _coarse_grid(phis: Floats, likelihood: Floats) -> Floats:
    """Space autocorrelations about the best of a few, well beyond those that are likely."""
    near = np.flatnonzero(likelihood > likelihood.max() - 8)
    low, high = phis[max(near[0] - 1, 0)], phis[min(near[-1] + 1, phis.size - 1)]
    return np.linspace(low, high, COARSE)


def _fine_grid(phis: Floats, likelihood: Floats) -> Floats:
    """Space autocorrelations ±6 standard errors about their mean, clipped to the searched range."""
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    mean = float(weight @ phis)
    spread = max(float(np.sqrt(weight @ (phis - mean) ** 2)), (phis[1] - phis[0]) / 3)
    return np.linspace(max(phis[0], mean - 6 * spread), min(phis[-1], mean + 6 * spread), FINE)


def _grid_with_white(runs: _Runs) -> Floats | None:
    """Autocorrelations and white shares about the likeliest, a pair a row; None where none speaks for white noise."""
    alone = [(phi, 0.0, _likelihood(runs, phi)[0]) for phi in ROUGH]
    best = max(likelihood for _, _, likelihood in alone)
    rough, remembered = [*alone], [phi for phi in ROUGH if REMEMBERS[0] <= phi <= REMEMBERS[1]]
    for phi in remembered:
        before = -np.inf
        for white in WHITES[:0:-1]:  # from the whitest, until it only gets worse
            rough.append((phi, white, now := _likelihood(runs, phi, white)[0]))
            best = max(best, now)
            if now < min(before, best - _FAR):
                break
            before = now
    pairs, likelihood = np.array(rough)[:, :2], np.array(rough)[:, 2]
    noisy = pairs[:, 1] > 0
    if likelihood[noisy].max() - likelihood[~noisy].max() < SPEAKS:
        return None
    near = pairs[noisy & (likelihood > likelihood.max() - 8)]
    ends = []
    for grid, likely in ((np.array(ROUGH), near[:, 0]), (np.array(WHITES), near[:, 1])):
        some = grid[grid <= max(likely.max(), REMEMBERS[1])]
        first, last = np.searchsorted(some, (likely.min(), likely.max()))
        ends.append((some[max(first - 1, 0)], some[min(last + 1, some.size - 1)]))
    phis, whites = (np.linspace(*end, many) for end, many in zip(ends, GRID, strict=True))
    return np.array([(phi, white) for phi in phis for white in whites])


def _widening(runs: _Runs, grid: Floats, best: int) -> float:
    """Compute how much more the runs differ than one spread and autocorrelation explain, 1 or more.

    The sandwich of the scores' sums of squares, run by run, over the information, for the spread.
    """
    if runs.df.size < 8:
        return 1.0
    steps = [float(np.diff(np.unique(of)).min()) if np.unique(of).size > 1 else 0.0 for of in grid.T]
    inner = zip(grid[best], grid.min(axis=0), grid.max(axis=0), steps, strict=True)
    middle = [float(np.clip(at, low + h, high - h)) for at, low, high, h in inner]
    for free in ([i for i in (0, 1) if steps[i] > 0], [0]):
        widen = _sandwich(runs, middle, {i: steps[i] for i in free})
        if widen is not None:
            return max(1.0, widen)
    return 1.0


def _sandwich(runs: _Runs, middle: list[float], steps: dict[int, float]) -> float | None:
    """Ratio of the sandwich to the inverse information, for the logarithm of the variance; None where it has none."""
    _, left, _ = _likelihood(runs, *middle)
    df, m = float(runs.df.sum()), runs.df.size
    variance = float(left.sum()) / df

    def at(**offsets: float) -> tuple[Floats, Floats]:
        """Each run's log likelihood and sum of squares."""
        point = [middle[i] + steps.get(i, 0.0) * offsets.get(f"by{i}", 0.0) for i in (0, 1)]
        _, squares, determinants = _likelihood(runs, *point)
        return -0.5 * (determinants + runs.df * np.log(variance) + squares / variance), squares

    k = len(steps)
    information = np.zeros((k + 1, k + 1))
    information[k, k] = 0.5 * df
    scores = [np.zeros(0)] * k
    here = float(at()[0].sum())
    for a, i in enumerate(steps):
        (over, more), (under, less) = at(**{f"by{i}": 1.0}), at(**{f"by{i}": -1.0})
        scores[a] = (over - under) / (2 * steps[i])
        information[a, a] = -(float(over.sum()) - 2 * here + float(under.sum())) / steps[i] ** 2
        information[a, k] = information[k, a] = -0.5 * float(more.sum() - less.sum()) / (2 * steps[i]) / variance
    if k > 1:
        corners = [sign * float(at(by0=x, by1=y)[0].sum()) for x, y, sign in CORNERS]
        information[0, 1] = information[1, 0] = -sum(corners) / (4 * steps[0] * steps[1])
    if np.linalg.eigvalsh(information).min() <= 0:
        return None
    deviations = np.column_stack([s - s.mean() for s in (*scores, 0.5 * (left / variance - runs.df))])
    inverse = np.linalg.inv(information)
    sandwich = inverse @ (deviations.T @ deviations * m / (m - 1)) @ inverse
    return float(sandwich[k, k] / inverse[k, k])


def _of_independent(runs: _Runs, level: float) -> RunNoise:
    """Pool the runs' sums of squares as of independent values."""
    unknown = RunNoise(Estimate.unknown(tr("no run has two values")), 0.0)
    if not runs.df.size:
        return unknown
    _, residual, _ = _likelihood(runs, 0.0)
    df, m = float(runs.df.sum()), runs.df.size
    variance = float(residual.sum()) / df if df > 0 else 0.0
    if variance <= 0:
        return unknown
    interval = f"{100 * level:g} % confidence"
    if m == 1:
        return RunNoise(Estimate(sqrt(variance), 0.0, float("inf"), 1, interval=interval), 0.0)
    spread = float(np.sum((residual - variance * runs.df) ** 2)) * m / (m - 1) / variance**2
    widen = max(1.0, spread / (2 * df))
    ends = ((1 - level) / 2, (1 + level) / 2)
    low, high = (sqrt(spread_quantile(q, np.ones(1), np.array([variance]), df / widen)) for q in ends)
    return RunNoise(Estimate(sqrt(variance), low, high, m, interval=interval), 0.0)
