"""Lengths that are many short and few long: lognormal and inverse Gaussian."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class Lognormal:
    """Mean and standard deviation of the logarithms, by maximum likelihood, and what follows from them.

    `mean_low` and `mean_high` are approximate 95 % limits of the mean.
    """

    mu: float
    sigma: float
    n: int
    mean_low: float
    mean_high: float

    @property
    def median(self) -> float:
        """The fitted median."""
        return math.exp(self.mu)

    @property
    def mean(self) -> float:
        """The fitted mean."""
        return math.exp(self.mu + self.sigma**2 / 2)


def _positive(lengths: Sequence[float], needs: int) -> list[float]:
    own = list(lengths)
    if len(own) < needs or any(not (math.isfinite(x) and x > 0) for x in own):
        raise MeasureError(Fault(f"{len(own)} lengths", "lengths", f"{needs} or more, each above 0"))
    return own


def lognormal(lengths: Sequence[float]) -> Lognormal:
    """Fit a lognormal to lengths.

    Parameters
    ----------
    lengths : sequence of float
        Two or more, each above 0.

    Returns
    -------
    Lognormal
        With limits of the mean by Cox's method, Student's t in place of the normal.

    Raises
    ------
    MeasureError
        Where there are too few or one is not above 0.

    Notes
    -----
    Source: von-alven-1964, cox-lognormal-mean

    Examples
    --------
    >>> round(lognormal([1.0, 10.0, 100.0]).median, 6)
    10.0
    """
    from scipy.stats import t as student

    logs = [math.log(x) for x in _positive(lengths, 2)]
    n = len(logs)
    mu = math.fsum(logs) / n
    squares = math.fsum((x - mu) ** 2 for x in logs)
    variance = squares / (n - 1)
    half = float(student.ppf(0.975, n - 1)) * math.sqrt(variance / n + variance**2 / (2 * (n - 1)))
    centre = mu + variance / 2
    return Lognormal(mu, math.sqrt(squares / n), n, math.exp(centre - half), math.exp(centre + half))


def inverse_gaussian(lengths: Sequence[float]) -> tuple[float, float]:
    """Fit an inverse Gaussian to lengths.

    Parameters
    ----------
    lengths : sequence of float
        Two or more, each above 0.

    Returns
    -------
    tuple of float
        Mean, and lambda by maximum likelihood: n over the sum of 1/x - 1/mean.

    Notes
    -----
    Source: von-alven-1964

    Examples
    --------
    >>> inverse_gaussian([1.0, 2.0])[0]
    1.5
    """
    own = _positive(lengths, 2)
    mean = math.fsum(own) / len(own)
    return mean, len(own) / math.fsum(1 / x - 1 / mean for x in own)


def gamma_prior(prior_events: float, prior_time: float, events: int, time: float) -> tuple[float, float]:
    """Bring earlier knowledge of a rate up to date with events seen.

    Parameters
    ----------
    prior_events, prior_time : float
        Shape and inverse scale of the gamma prior: events in a time, as if seen before.
    events : int
        Events seen.
    time : float
        Time watched, in the unit of `prior_time`.

    Returns
    -------
    tuple of float
        Shape and inverse scale of the gamma posterior of the rate.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> gamma_prior(2, 1400, 2, 1909)
    (4.0, 3309.0)
    """
    return float(prior_events + events), float(prior_time + time)


def mean_between_quantile(shape: float, inverse_scale: float, probability: float) -> float:
    """Give a quantile of the mean time between events whose rate is gamma.

    Parameters
    ----------
    shape, inverse_scale : float
        Of the rate's gamma distribution.
    probability : float
        Of a mean time at most so long.

    Returns
    -------
    float
        In the unit of 1 / rate.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(mean_between_quantile(4, 3309, 0.1))
    495
    """
    from scipy.stats import gamma

    return inverse_scale / float(gamma.ppf(1.0 - probability, shape))
