"""A mean and a spread of group means that may follow their neighbours, averaged over how closely they do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError

Floats = NDArray[np.float64]

#: Correlations of neighbouring groups that are tried.
PHIS = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.86, 0.91, 0.95, 0.98, 0.99])
#: Fewer groups than this show no memory that could be told from none.
LEAST_GROUPS = 24
#: So much likelier than any one of the others is no memory beforehand: the intervals then hold from 0 to 0.9.
_NONE_LIKELIER = 8.0
_SDS = 20


@dataclass(frozen=True)
class MemoryFit:
    """What the group means allow.

    Parameters
    ----------
    phi, weight : numpy.ndarray, shape (g,)
        Correlation of neighbours in each case tried, and how likely it is; the weights sum to 1.
    sd : numpy.ndarray, shape (g,)
        Standard deviation of the groups in each case.
    mean, mean_sd : numpy.ndarray, shape (g,)
        Mean of all groups that could be made so, and its standard error, in each case.
    step : float
        Ratio of neighbouring standard deviations tried.
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
        return max(1.0, float(np.sqrt(self._mean_variance / independent)))

    @property
    def _mean_variance(self) -> float:
        off = self.mean - self.centre
        return float(self.weight @ (self.mean_sd**2 + off**2))

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
    The groups are first-order autoregressive, the means add their own error; a Kalman filter gives the
    likelihood with the mean integrated out, for all cases at once.
    Source: restricted-likelihood, derived-batch-memory

    Examples
    --------
    >>> import numpy as np
    >>> slow = np.repeat([0.0, 1.0, -1.0, 2.0, 0.5], 10)
    >>> fit_memory(slow, np.full(50, 0.01)).memory > 0.7
    True
    """
    y, own = np.asarray(means, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    if y.size < 3:
        raise MeasureError(Fault(f"{y.size} groups", "means", "three or more"))
    seen = max(float(np.std(y)), 1e-12)
    least, most = np.log(0.1 * seen), np.log(6.0 * seen)
    sds = np.exp(np.linspace(least, most, _SDS))
    phi, sd = (axis.ravel() for axis in np.meshgrid(PHIS, sds, indexing="ij"))
    likelihood, mean, mean_variance = _likelihood(y, own, phi, sd**2)
    likelihood = likelihood + np.where(phi == 0.0, np.log(_NONE_LIKELIER), 0.0)
    weight = np.exp(likelihood - likelihood.max())
    return MemoryFit(
        phi, weight / weight.sum(), sd, mean, np.sqrt(mean_variance), float(np.exp((most - least) / (_SDS - 1)))
    )


def _likelihood(y: Floats, own: Floats, phi: Floats, variance: Floats) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of each case, the mean's estimate and its variance."""
    of_y, of_one = np.zeros(phi.size), np.zeros(phi.size)
    spread, fresh, kept = variance.copy(), variance * (1.0 - phi**2), phi**2
    yy, y1, ones, logs = (np.zeros(phi.size) for _ in range(4))
    for value, error in zip(y.tolist(), own.tolist(), strict=True):
        total = spread + error
        off, off_one = value - of_y, 1.0 - of_one
        part = off_one / total
        yy += off * off / total
        y1 += off * part
        ones += off_one * part
        logs += np.log(total)
        gain = spread / total
        of_y = phi * (of_y + gain * off)
        of_one = phi * (of_one + gain * off_one)
        spread = kept * spread * (1.0 - gain) + fresh
    return -0.5 * (logs + np.log(ones) + yy - y1**2 / ones), y1 / ones, 1.0 / ones
