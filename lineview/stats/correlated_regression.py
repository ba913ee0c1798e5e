"""Regression in AR(1) plus white noise, averaged over the noises that the data allow.

Generalised least squares for each of a grid of noises; each is weighted by its restricted likelihood, so that
intervals carry the uncertainty about the correlation instead of taking one estimate for the truth.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.generalized_intervals import mixture_quantile, percentiles
from lineview.stats.serial_correlation import decaying_sum

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """First-order autoregressive plus white noise of unit variance, V = (1 − q) R + q I.

    R[i, j] is φ to the steps between i and j, so that the inverse of V costs no more than n. `phi`: φ, correlation one
    step apart of the autoregressive part, above −1 and below 1; `white`: q, the share that is white, from 0 to below 1.
    """

    phi: float
    white: float


def inverse_times(noise: Noise, steps: Floats, columns: Floats) -> tuple[Floats, float]:
    """Multiply columns by the inverse of the noise's covariance.

    Since the inverse T of R is tridiagonal, V is (1 − q) T⁻¹ + q I, and V⁻¹ is T ((1 − q) I + q T)⁻¹.

    Source: derived-rope
    """
    if noise.phi == 0.0:
        return columns, 0.0
    parts_of = _parts_of if steps.size <= MANY else _parts_of.__wrapped__  # long ones take too much memory
    diagonal, beside, log_det = parts_of(noise, steps.tobytes())
    if noise.white == 0.0:
        return _times(diagonal, beside, columns), log_det
    from scipy.linalg.lapack import dpttrs

    solved: Floats = dpttrs(diagonal, beside, columns)[0]
    # T M⁻¹ with M = (1 − q) I + q T is (I − (1 − q) M⁻¹) / q
    solved *= noise.white - 1
    solved += columns
    solved /= noise.white
    return solved, log_det


@lru_cache(maxsize=256)
def _parts_of(noise: Noise, packed_steps: bytes) -> tuple[Floats, Floats, float]:
    """T where nothing is white, else the factors of M; and log |V|."""
    (steps, place, times), q = _distinct(packed_steps), noise.white
    rho = np.sign(noise.phi) ** np.round(steps) * np.abs(noise.phi) ** steps if noise.phi < 0 else noise.phi**steps
    gap = 1 - rho**2
    diagonal, beyond_one = np.ones(place.size + 1), (rho**2 / gap)[place]
    diagonal[1:] += beyond_one
    diagonal[:-1] += beyond_one
    beside, log_det = (-rho / gap)[place], float(times @ np.log(gap))
    if q == 0.0:
        return diagonal, beside, log_det
    from scipy.linalg.lapack import dpttrf

    pivots, below, _ = dpttrf((1 - q) + q * diagonal, q * beside)
    return pivots, below, float(np.sum(np.log(pivots))) + log_det


@lru_cache(maxsize=8)
def _distinct(packed_steps: bytes) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Steps that differ, of which there are few, which of them each step is, and how often each is there."""
    return np.unique(np.frombuffer(packed_steps), return_inverse=True, return_counts=True)


def _times(diagonal: Floats, beside: Floats, columns: Floats) -> Floats:
    out = np.asarray(diagonal[:, None] * columns)
    out[:-1] += beside[:, None] * columns[1:]
    out[1:] += beside[:, None] * columns[:-1]
    return out


def innovation_form(noise: Noise) -> tuple[float, float]:
    """θ and σ with u[t] − φ u[t−1] = e[t] − θ e[t−1] on evenly spaced points, e independent of standard deviation σ.

    Parameters
    ----------
    noise : Noise
        Of unit variance; in this form it is ARMA(1, 1).

    Notes
    -----
    Source: derived-rope
    """
    phi, q = noise.phi, noise.white
    at_0 = (1 - q) * (1 - phi**2) + q * (1 + phi**2)
    at_1 = -phi * q
    if at_1 == 0.0:
        return 0.0, float(np.sqrt(at_0))
    ratio = at_1 / at_0
    theta = -(1 - np.sqrt(1 - 4 * ratio**2)) / (2 * ratio)
    return float(theta), float(np.sqrt(-at_1 / theta))


def innovations(noise: Noise, columns: Floats) -> Floats:
    """Filter evenly spaced columns so that this noise in them becomes independent.

    Parameters
    ----------
    noise : Noise
        The noise.
    columns : numpy.ndarray, shape (n,) or (n, k)
        Values in order.

    Returns
    -------
    numpy.ndarray, shape of `columns`
        e[t] = u[t] − φ u[t−1] + θ e[t−1]. The first has no past: it is u[0], of unit variance; the others
        have the σ of `innovation_form`.

    Notes
    -----
    Source: derived-rope
    """
    change = np.array(columns, dtype=np.float64)
    change[1:] -= noise.phi * columns[:-1]
    return decaying_sum(change, innovation_form(noise)[0])


#: Correlations one step apart, and white shares of the variance, that are tried.
PHIS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.87, 0.93, 0.965, 0.985)
WHITES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9)
NOISES = (Noise(0.0, 0.0), Noise(-0.2, 0.0), Noise(-0.4, 0.0), *(Noise(phi, white) for phi in PHIS for white in WHITES))
SLOW = 0.99  # from this correlation on the autoregressive part is a level that wanders, and where it stands is level
#: Beside a level that wanders a batch's change of level is from all of the noise to 0.03 of it.
WANDERING = tuple(Noise(0.9995, white) for white in (0.0, 0.003, 0.01, 0.03, 0.1, 0.3))
#: For searches, and for series of MANY points.
COARSE = (Noise(0.0, 0.0), *(Noise(phi, white) for phi in (0.25, 0.5, 0.75, 0.9) for white in (0.0, 0.4, 0.8)))
MANY = 2000


@dataclass(frozen=True)
class CorrelatedFit:
    """A fit: one entry a noise tried.

    `weight`: posterior, sums to 1; `beta`, `covariance`: of the coefficients, noise variance estimated; `variance`: of
    the noise (restricted maximum likelihood); `df`: points less coefficients; `likelihood`, `straight`: largest log
    likelihood but for a constant, coefficients and variance fitted too, and without a change of slope; `bent`: whether
    the slope may change.
    """

    noises: tuple[Noise, ...]
    weight: Floats
    beta: Floats
    covariance: Floats
    variance: Floats
    df: Floats
    likelihood: float
    straight: float
    bent: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    @property
    def wandering(self) -> float:
        """Weight of the noises whose level wanders."""
        return float(sum(w for w, m in zip(self.weight, self.noises, strict=True) if m.phi >= SLOW))

    @property
    def bending(self) -> float:
        """Weight of the fits whose slope changes."""
        return float(self.weight[self.bent].sum()) if self.bent.size else 0.0

    @property
    def doubtful(self) -> bool:
        """Whether memory that lasts, or a slope that changes, cannot be ruled out: intervals then hold it too."""
        lasts = np.array([m.phi >= LASTS for m in self.noises]) | (self.bent if self.bent.size else False)
        return float(self.weight[lasts].sum()) > DOUBT

    @property
    def mode(self) -> int:
        """Index of the noise with the largest weight."""
        return int(np.argmax(self.weight))

    @property
    def staying_mode(self) -> int:
        """Index of the noise with the largest weight of those whose level stays and whose slope does not change."""
        moves = np.array([m.phi >= SLOW for m in self.noises]) | (self.bent if self.bent.size else False)
        return int(np.argmax(np.where(moves, -1.0, self.weight)))

    @property
    def phi(self) -> float:
        """Mean correlation of neighbours about the level, over the noises tried."""
        return float(self.weight @ np.array([m.phi * (1 - m.white) * (m.phi < SLOW) for m in self.noises]))

    def mean(self, contrast: Floats) -> float:
        """Estimate a linear combination of the coefficients."""
        return float(self.weight @ (self.beta @ contrast))

    def interval(self, contrast: Floats, level: float = 0.95) -> tuple[float, float]:
        """Equal-tailed interval of a linear combination of the coefficients."""
        low, high = self.intervals(contrast[None, :], level)
        return float(low[0]), float(high[0])

    def intervals(self, contrasts: Floats, level: float = 0.95) -> tuple[Floats, Floats]:
        """Equal-tailed intervals of linear combinations of the coefficients, one a row."""
        centre, scale = self.spreads(contrasts)
        tail = (1 - level) / 2
        low, high = (mixture_quantile(share, self.weight, centre, scale, self.df) for share in (tail, 1 - tail))
        return low, high

    def spreads(self, contrasts: Floats) -> tuple[Floats, Floats]:
        """Centre and scale of linear combinations, one a row, under each noise, one a column."""
        places = np.flatnonzero(contrasts.any(axis=0))  # of many columns most contrasts name few
        few = contrasts[:, places]
        variance = np.sum((few @ self.covariance[:, places[:, None], places]) * few, axis=-1).T
        return few @ self.beta[:, places].T, np.sqrt(np.maximum(variance, 1e-300))

    def beyond(self, at: float, centre: Floats, scale: Floats) -> Floats:
        """How likely linear combinations with these spreads are above a value, one a row."""
        from scipy.special import stdtr

        return np.asarray(stdtr(self.df, (centre - at) / scale) @ self.weight)

    def p_value(self, contrast: Floats) -> float:
        """Two-sided chance of a combination of the coefficients as far from 0 or farther, were it 0."""
        centre, scale = self.spreads(contrast[None, :])
        above = float(self.beyond(0.0, centre, scale)[0])
        return min(1.0, 2 * min(above, 1 - above))

    def likely(self, least: float = 1e-4) -> CorrelatedFit:
        """The fit of the noises with some weight alone."""
        return self._of(self.weight > least)

    def staying(self) -> CorrelatedFit:
        """The fit of the noises whose level stays."""
        stays = np.array([m.phi < SLOW for m in self.noises])
        return self._of(stays) if float(self.weight[stays].sum()) > 0 else self

    def _of(self, mask: NDArray[np.bool_]) -> CorrelatedFit:
        weight, bent = self.weight[mask] / self.weight[mask].sum(), self.bent[mask] if self.bent.size else self.bent
        noises = tuple(m for m, keep in zip(self.noises, mask, strict=True) if keep)
        values = (self.beta[mask], self.covariance[mask], self.variance[mask], self.df[mask])
        return CorrelatedFit(noises, weight, *values, self.likelihood, self.straight, bent)

    def sd(self) -> float:
        """Estimate the standard deviation of the noise, both parts together; of a level that wanders one change."""
        return float(np.sqrt(self.weight @ (self.variance * self._about())))

    def _about(self) -> Floats:
        """The share of each noise's variance that is about the level; a level that wanders is level itself."""
        noises = ((m, 1 - m.phi**2 if m.phi >= SLOW else 1.0) for m in self.noises)
        return np.array([m.white + (1 - m.white) * moves for m, moves in noises])

    def sd_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Equal-tailed interval of the noise's standard deviation."""
        return percentiles(self.draws(4000)[1], level)

    def draws(self, n: int, seed: int = 1) -> tuple[Floats, Floats, Floats]:
        """Draw coefficients, noise standard deviations and noises (as indices) that the data allow."""
        rng = np.random.default_rng(seed)
        which = rng.choice(self.weight.size, size=n, p=self.weight)
        sd = np.sqrt(self.variance[which] * self.df[which] / rng.chisquare(self.df[which]))
        normal = rng.standard_normal((n, self.beta.shape[1]))
        beta = self.beta[which]
        for noise in np.unique(which).tolist():
            value, vector = np.linalg.eigh(self.covariance[noise] / self.variance[noise])  # safer than Cholesky
            root, rows = (vector * np.sqrt(np.maximum(value, 0))) @ vector.T, which == noise
            beta[rows] += sd[rows, None] * (normal[rows] @ root)
        return beta, sd * np.sqrt(self._about()[which]), which.astype(np.float64)

    def offsets(self, which: NDArray[np.int64], n: int, together: int, seed: int = 2) -> Iterator[Floats]:
        """Draw n points of noise about the level for each of some noises, in standard deviations about it.

        So many points at once, a row a point. One number a point: what is expected of it from those before, and how far
        it falls from that (Kalman's filter, with which both parts of a noise have exactly their law).
        """
        phi, white = np.array([(noise.phi, noise.white) for noise in self.noises]).T[:, which]
        moves, about = (1 - white) * (1 - phi**2), np.sqrt(self._about()[which])
        ahead = np.where(phi < SLOW, 1 - white, moves)  # variance of the autoregressive part to come
        expected, settled, rng = np.zeros(which.size), False, np.random.default_rng(seed)
        for begin in range(0, n, together):
            # Each draw has numbers of its own: one that falls on another noise leaves the others as they are.
            out = rng.standard_normal((min(together, n - begin), which.size))
            for k in range(len(out)):
                if not settled:
                    gain, spread = ahead / (ahead + white), np.sqrt(ahead + white) / about
                    after = phi**2 * ahead * (1 - gain) + moves
                    settles = np.abs(after - ahead) < 1e-12
                    ahead, settled = np.where(settles, ahead, after), bool(settles.all())
                fresh = np.multiply(spread, out[k], out=out[k])
                known = gain * fresh
                known += expected
                fresh += expected
                expected = np.multiply(phi, known, out=known)
            yield out


@dataclass(frozen=True)
class FitExtras:
    """What a fit takes in beside plain columns, and gives beside their coefficients.

    `places`: points at which it is wanted how far a level that wanders has gone from the columns (further coefficients
    after those of the columns, 0 for noises that do not wander); `smooth`: so many last columns are shapes of a slow
    change of slope (in one part of the fits they are not in the model, in others their coefficients are normal about 0,
    `BENT` noise standard deviations wide); `careful`: whether something was found in the series, so that no noise and
    no change of slope is left out.
    """

    places: tuple[int, ...] = ()
    smooth: int = 0
    careful: bool = False


PLAIN = FitExtras()
#: Standard deviations of the first shape's coefficient beforehand, of the second against it; 0 leaves both out.
BENT, SECOND = (0.0, 0.3, 1.0, 3.0), 0.36
#: How likely beforehand a level that wanders and a change of slope are; each is left out where what is seen is
#: less likely with it than without, by these factors, and the series is settled.
WANDERS, BENDS, NO_WANDER, NO_BEND = 0.75, 0.35, 0.05, 0.25
#: Not settled: memory from this correlation on is so many times as likely as shorter, or a change of slope likelier
#: than none; in fewer points than this neither can be seen.
LASTS, LASTING, SEEN_FROM = 0.87, 0.6, 30
DOUBT = 0.05  # with more weight on memory that lasts, or on a change of slope, intervals are wider for their sake


def correlated_regression(
    y: Floats, x: Floats, steps: Floats, noises: Iterable[Noise] = NOISES, extras: FitExtras = PLAIN
) -> CorrelatedFit:
    """Fit y on x by generalised least squares, averaged over a grid of noises.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns of full rank, n above p + 1.
    steps : numpy.ndarray, shape (n − 1,)
        Steps from each point to the next, 1 for neighbours, more where points are missing.
    noises : iterable of Noise
        The grid. Beforehand those whose level wanders are as likely together as the others are.
    extras : FitExtras
        What beside.

    Returns
    -------
    CorrelatedFit
        Coefficients, spread and noise.

    Raises
    ------
    MeasureError
        Where there are too few points or columns depend on each other.

    Notes
    -----
    Source: restricted-likelihood, derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(30.0)
    >>> y = 0.5 * t + np.sin(7 * t)
    >>> fit = correlated_regression(y, np.column_stack([np.ones(30), t]), np.ones(29))
    >>> round(fit.mean(np.array([0.0, 1.0])), 1)
    0.5
    """
    n, p = y.size, x.shape[1] - extras.smooth
    plain = x[:, :p]
    check_columns(plain)
    grid = tuple(noises)
    if n > MANY and len(grid) > 2 * len(COARSE):
        grid = _near_best(y, plain, steps, grid)
    at = np.concatenate(([0.0], np.cumsum(steps)))
    gaps = np.abs(np.subtract.outer(at, at[list(extras.places)]))
    rows, log_det = np.vstack([x.T, y]), np.empty(len(grid))
    crosses = np.zeros((len(grid), *2 * [len(rows) + gaps.shape[1]]))
    for g, noise in enumerate(grid):
        slow = [(1 - noise.white) * noise.phi**gaps.T] if noise.phi >= SLOW else []
        columns = np.vstack([rows, *slow])
        solved, log_det[g] = inverse_times(noise, steps, columns.T)
        crosses[g, : len(columns), : len(columns)] = columns @ solved
    return _average_fits(grid, crosses, log_det, (n, p), gaps[list(extras.places)], extras)


def _average_fits(
    grid: tuple[Noise, ...],
    cross: Floats,
    log_det: Floats,
    sizes: tuple[int, int],
    place_gaps: Floats,
    extras: FitExtras,
) -> CorrelatedFit:
    """Weigh the fits of every noise without a change of slope, and with one of several sizes."""
    (n, p), smooth = sizes, extras.smooth
    k, places, df = p + smooth, place_gaps.shape[0], n - p
    bent = np.array(BENT if smooth else BENT[:1])
    narrow = np.outer(np.where(bent > 0, bent, 1.0), SECOND ** np.arange(smooth)) ** -2
    system = np.repeat(cross[:, None, :k, :k], bent.size, axis=1)
    system[:, 0, p:, :p] = system[:, 0, :p, p:] = system[:, 0, p:, p:] = 0.0
    system[:, :, range(p, k), range(p, k)] += narrow
    right = np.repeat(cross[:, None, :k, k:], bent.size, axis=1)
    right[:, 0, p:] = 0.0
    inverse = np.linalg.inv(system)
    solved = inverse @ right
    residual = np.maximum(cross[:, None, k, k] - np.sum(right[..., 0] * solved[..., 0], axis=-1), 1e-300)
    log_left = np.log(residual)
    shared = log_det[:, None] - np.log(narrow).sum(axis=1)
    likelihood = -0.5 * (shared + np.linalg.slogdet(system[..., p:, p:])[1] + n * log_left)
    restricted = -0.5 * (shared + np.linalg.slogdet(system)[1] + df * log_left)
    weight = _weights(grid, restricted, n >= SEEN_FROM and (extras.careful or _unsettled(grid, restricted)))
    beta = np.zeros((len(grid), bent.size, k + places))
    covariance = np.zeros((len(grid), bent.size, k + places, k + places))
    beta[..., :k], covariance[..., :k, :k] = solved[..., 0], inverse
    covariance[:, 0, p:k, p:k] = 0.0
    slow = np.array([(1 - m.white) if m.phi >= SLOW else 0.0 for m in grid])
    prior = slow[:, None, None] * np.array([m.phi for m in grid])[:, None, None] ** place_gaps
    bears = solved[..., 1:]
    beta[..., k:] = cross[:, None, k, k + 1 :] - np.sum(right[..., 1:] * solved[..., :1], axis=-2)
    covariance[..., :k, k:] = -bears
    covariance[..., k:, :k] = -np.swapaxes(bears, -1, -2)
    apart = (prior - cross[:, k + 1 :, k + 1 :])[:, None]
    covariance[..., k:, k:] = apart + np.swapaxes(right[..., 1:], -1, -2) @ bears
    variance = (residual / df).ravel()
    many = variance.size
    return CorrelatedFit(
        tuple(m for m in grid for _ in bent),
        weight.ravel(),
        beta.reshape(many, -1),
        covariance.reshape(many, k + places, k + places) * variance[:, None, None],
        variance,
        np.full(many, float(df)),
        float(likelihood.max()),
        float(likelihood[:, 0].max()),
        np.tile(bent, len(grid)) > 0,
    )


def _unsettled(grid: tuple[Noise, ...], restricted: Floats) -> bool:
    """Whether memory that lasts, or a change of slope, is about as likely as none."""
    weights, lasts = np.exp(restricted - restricted.max()), np.array([m.phi >= LASTS for m in grid])
    lasting = bool(lasts.any() and not lasts.all() and weights[lasts, 0].mean() > LASTING * weights[~lasts, 0].mean())
    return lasting or bool(weights.shape[1] > 1 and weights[:, 1:].mean() > weights[:, 0].mean())


def _weights(grid: tuple[Noise, ...], restricted: Floats, careful: bool) -> Floats:
    """Posterior weights, without what the readings speak against unless that must be careful."""
    slow = np.array([m.phi >= SLOW for m in grid])
    prior = np.ones(restricted.shape)
    if slow.any() and not slow.all():
        prior[slow], prior[~slow] = WANDERS / slow.sum(), (1 - WANDERS) / (~slow).sum()
    bent = np.arange(restricted.shape[1]) > 0
    if bent.any():
        prior *= np.where(bent, BENDS / bent.sum(), 1 - BENDS)
    weight = prior * np.exp(restricted - restricted.max())
    if careful:
        return np.asarray(weight / weight.sum())
    for doubted, at_least in (
        (np.broadcast_to(slow[:, None], weight.shape), NO_WANDER),
        (np.broadcast_to(bent, weight.shape), NO_BEND),
    ):
        if doubted.any() and not doubted.all():
            odds = weight[doubted].sum() * prior[~doubted].sum()
            if odds < at_least * weight[~doubted].sum() * prior[doubted].sum():
                weight = np.where(doubted, 0.0, weight)
    return np.asarray(weight / weight.sum())


def check_columns(x: Floats) -> None:
    """Refuse columns that depend on each other, or too few points for them."""
    n, p = x.shape
    if n < p + 2 or np.linalg.matrix_rank(x / np.maximum(np.abs(x).max(axis=0), 1e-300)) < p:
        raise MeasureError(Fault(f"{n} points for {p} coefficients", "x", "more points, independent columns"))


def _near_best(y: Floats, x: Floats, steps: Floats, noises: tuple[Noise, ...]) -> tuple[Noise, ...]:
    """Keep the noises near the best of a coarse grid: with many points the others have no weight."""
    slow = tuple(m for m in noises if m.phi >= SLOW)
    rough = correlated_regression(y, x, steps, (*COARSE, *slow[::2]))
    best = rough.noises[rough.mode]
    return tuple(m for m in noises if abs(m.phi - best.phi) < 0.26 and abs(m.white - best.white) < 0.41)
