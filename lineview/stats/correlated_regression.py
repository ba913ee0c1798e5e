"""Regression whose noise remembers, with the memory averaged over what the data allow.

Generalised least squares for each of a grid of noises; each is weighted by its restricted likelihood, so that
intervals carry the uncertainty about the correlation instead of taking one estimate for the truth.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError
from lineview.stats.tridiagonal_noise import Noise, inverse_times

Floats = NDArray[np.float64]

#: Correlations one batch apart, and shares of the variance that do not remember, that are tried.
PHIS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.87, 0.93, 0.97)
WHITES = (0.0, 0.2, 0.4, 0.6, 0.8)
NOISES = (
    Noise(0.0, 0.0),
    Noise(-0.2, 0.0),
    Noise(-0.4, 0.0),
    *(Noise(phi, white) for phi in PHIS for white in WHITES),
)


#: A coarse grid, for searches and for long series; and from how many points on a series is long.
COARSE = (
    Noise(0.0, 0.0),
    *(Noise(phi, white) for phi in (0.25, 0.5, 0.75, 0.9) for white in (0.0, 0.4, 0.8)),
)
MANY = 2000


@dataclass(frozen=True)
class CorrelatedFit:
    """A fit: one entry a noise tried.

    Parameters
    ----------
    noises : tuple of Noise
        The grid.
    weight : numpy.ndarray, shape (g,)
        Posterior weight of each noise; sums to 1.
    beta : numpy.ndarray, shape (g, p)
        Coefficients under each.
    covariance : numpy.ndarray, shape (g, p, p)
        Of the coefficients under each, noise variance estimated.
    variance : numpy.ndarray, shape (g,)
        Noise variance under each (restricted maximum likelihood).
    df : numpy.ndarray, shape (g,)
        Points less coefficients.
    likelihood : float
        Largest log likelihood over the noises (coefficients and variance fitted too), but for a constant.
    """

    noises: tuple[Noise, ...]
    weight: Floats
    beta: Floats
    covariance: Floats
    variance: Floats
    df: Floats
    likelihood: float

    @property
    def mode(self) -> int:
        """Index of the noise with the largest weight."""
        return int(np.argmax(self.weight))

    @property
    def phi(self) -> float:
        """Mean correlation of neighbours, over the noises tried."""
        return float(sum(w * m.phi * (1 - m.white) for w, m in zip(self.weight, self.noises, strict=True)))

    def mean(self, contrast: Floats) -> float:
        """Give the estimate of a linear combination of the coefficients."""
        return float(self.weight @ (self.beta @ contrast))

    def interval(self, contrast: Floats, level: float = 0.95) -> tuple[float, float]:
        """Give an equal-tailed interval for a linear combination of the coefficients."""
        centre = self.beta @ contrast
        scale = np.sqrt(np.maximum(np.einsum("i,gij,j->g", contrast, self.covariance, contrast), 1e-300))
        tail = (1 - level) / 2
        return (
            _mixture_quantile(tail, self.weight, centre, scale, self.df),
            _mixture_quantile(1 - tail, self.weight, centre, scale, self.df),
        )

    def sd(self) -> float:
        """Give the noise's standard deviation, memory and white part together."""
        return float(np.sqrt(self.weight @ self.variance))

    def sd_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Give an interval for the noise's standard deviation."""
        draws = self.draws(4000)[1]
        tail = (1 - level) / 2
        low, high = np.quantile(draws, [tail, 1 - tail])
        return float(low), float(high)

    def draws(self, n: int, seed: int = 1) -> tuple[Floats, Floats, Floats]:
        """Draw coefficients, noise standard deviations and noises (as indices) that the data allow."""
        rng = np.random.default_rng(seed)
        which = rng.choice(self.weight.size, size=n, p=self.weight)
        df = self.df[which]
        sd = np.sqrt(self.variance[which] * df / rng.chisquare(df))
        normal = rng.standard_normal((n, self.beta.shape[1]))
        root = _roots(self.covariance / self.variance[:, None, None])
        beta = self.beta[which] + sd[:, None] * np.einsum("nij,nj->ni", root[which], normal)
        return beta, sd, which.astype(np.float64)


def correlated_regression(
    y: Floats, x: Floats, steps: Floats, noises: Iterable[Noise] = NOISES
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
        The grid, equally likely beforehand.

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
    n, p = x.shape
    if n < p + 2 or np.linalg.matrix_rank(x / np.maximum(np.abs(x).max(axis=0), 1e-300)) < p:
        raise MeasureError(Fault(f"{n} points for {p} coefficients", "x", "more points, independent columns"))
    tried = tuple(noises)
    if n > MANY and len(tried) > len(COARSE):
        tried = _near_best(y, x, steps, tried)
    both = np.column_stack([x, y])
    log_weight = np.empty(len(tried))
    beta, covariance = np.empty((len(tried), p)), np.empty((len(tried), p, p))
    variance = np.empty(len(tried))
    df, likelihood = n - p, -np.inf
    for g, noise in enumerate(tried):
        solved, log_det = inverse_times(noise, steps, both)
        cross = both.T @ solved
        inverse = np.linalg.inv(cross[:p, :p])
        beta[g] = inverse @ cross[:p, p]
        left = max(float(cross[p, p] - cross[:p, p] @ beta[g]), 1e-300)
        variance[g] = left / df
        covariance[g] = inverse * variance[g]
        log_det_x = float(np.linalg.slogdet(cross[:p, :p])[1])
        likelihood = max(likelihood, -0.5 * (log_det + n * float(np.log(left))))
        log_weight[g] = -0.5 * (log_det + log_det_x + df * np.log(left))
    weight = np.exp(log_weight - log_weight.max())
    every = np.full(len(tried), float(df))
    return CorrelatedFit(tried, weight / weight.sum(), beta, covariance, variance, every, likelihood)


def _near_best(y: Floats, x: Floats, steps: Floats, noises: tuple[Noise, ...]) -> tuple[Noise, ...]:
    """Keep the noises near the best of a coarse grid: with many points the others have no weight."""
    rough = correlated_regression(y, x, steps, COARSE)
    best = rough.noises[rough.mode]
    return tuple(m for m in noises if abs(m.phi - best.phi) < 0.26 and abs(m.white - best.white) < 0.41)


def _roots(covariance: Floats) -> Floats:
    """Symmetric square roots; safer than Cholesky where a column hardly matters."""
    value, vector = np.linalg.eigh(covariance)
    return np.asarray(vector * np.sqrt(np.maximum(value, 0))[:, None, :])


def _mixture_quantile(share: float, weight: Floats, centre: Floats, scale: Floats, df: Floats) -> float:
    """Quantile of a mixture of t distributions, by bisection between its parts' quantiles."""
    from scipy.special import stdtr, stdtrit

    keep = weight > 1e-9
    weight, centre, scale, df = weight[keep], centre[keep], scale[keep], df[keep]
    parts = centre + scale * stdtrit(df, share)
    low, high = float(parts.min()), float(parts.max())
    for _ in range(46):
        middle = (low + high) / 2
        if float(weight @ stdtr(df, (middle - centre) / scale)) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2
