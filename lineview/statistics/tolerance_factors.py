"""Factors k for limits mean ± k s that hold a share of a normal population with a wanted confidence."""

from __future__ import annotations

import math

import numpy as np


def one_sided(n: int, share: float, confidence: float) -> float:
    """Give the exact one-sided factor, by the noncentral t distribution.

    Parameters
    ----------
    n : int
        Values in the sample, two or more.
    share : float
        Of the population to lie on the right side.
    confidence : float
        Wanted.

    Returns
    -------
    float
        k of mean + k s.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(one_sided(10, 0.9, 0.95), 3)
    2.355
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    shift = float(ndtri(share)) * math.sqrt(n)
    return float(nct.ppf(confidence, n - 1, shift)) / math.sqrt(n)


def one_sided_natrella(n: int, share: float, confidence: float) -> float:
    """Give Natrella's approximation of the one-sided factor; it is poor for small samples.

    Parameters
    ----------
    n, share, confidence
        As in `one_sided`.

    Returns
    -------
    float
        k of mean + k s.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(one_sided_natrella(43, 0.9, 0.99), 4)
    1.8752
    """
    from scipy.special import ndtri

    zp, zg = float(ndtri(share)), float(ndtri(confidence))
    a = 1 - zg**2 / (2 * (n - 1))
    b = zp**2 - zg**2 / n
    return (zp + math.sqrt(zp**2 - a * b)) / a


def two_sided_howe(n: int, share: float, confidence: float) -> float:
    """Give Howe's approximation of the two-sided factor.

    Parameters
    ----------
    n, share, confidence
        As in `one_sided`.

    Returns
    -------
    float
        k of mean ± k s.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(two_sided_howe(43, 0.9, 0.99), 4)
    2.2173
    """
    from scipy.special import chdtri, ndtri

    df = n - 1
    z = float(ndtri((1 + share) / 2))
    return z * math.sqrt(df * (1 + 1 / n) / float(chdtri(df, confidence)))


def two_sided(n: int, share: float, confidence: float) -> float:
    """Give the exact two-sided factor, by integrating over the sample mean.

    Parameters
    ----------
    n, share, confidence
        As in `one_sided`.

    Returns
    -------
    float
        k of mean ± k s.

    Notes
    -----
    With the mean x off, mean ± R holds the share where R² is the quantile of a noncentral chi-square with
    one degree of freedom; k s must be R or more.
    Source: nist-handbook, iso-16269-6

    Examples
    --------
    >>> round(two_sided(8, 0.9, 0.9), 4)
    2.7541
    """
    from scipy.optimize import brentq
    from scipy.special import chdtrc
    from scipy.stats import ncx2

    df = n - 1
    nodes, weights = np.polynomial.legendre.leggauss(80)
    x = (nodes + 1) / 2 * 8.5 / math.sqrt(n)
    density = weights / 2 * 8.5 * np.exp(-(x**2) * n / 2) * math.sqrt(2 / math.pi)
    r2 = ncx2.ppf(share, 1, x**2)

    def short(k: float) -> float:
        return float(np.sum(density * chdtrc(df, df * r2 / k**2))) - confidence

    guess = two_sided_howe(n, share, confidence)
    return float(brentq(short, guess * 0.5, guess * 2.0, xtol=1e-10))


def distribution_free_n(share: float, confidence: float) -> int:
    """Give the sample size whose least and greatest value hold a share, whatever the distribution.

    Parameters
    ----------
    share, confidence : float
        As in `one_sided`.

    Returns
    -------
    int
        The least n.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> distribution_free_n(0.9, 0.95), distribution_free_n(0.99, 0.95)
    (46, 473)
    """
    n = 2
    while distribution_free_confidence(n, share) < confidence:
        n += 1
    return n


def distribution_free_confidence(n: int, share: float) -> float:
    """Give the confidence that least and greatest of n values hold a share of the population.

    Parameters
    ----------
    n : int
        Values.
    share : float
        As in `one_sided`.

    Returns
    -------
    float
        1 - n pⁿ⁻¹ + (n - 1) pⁿ.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(distribution_free_confidence(25, 0.9), 3)
    0.729
    """
    return float(1 - n * share ** (n - 1) + (n - 1) * share**n)
