"""Exact interval of a share from a count of hits (Clopper and Pearson)."""

from __future__ import annotations


def share_interval(hits: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Give the exact interval of a share.

    Parameters
    ----------
    hits, n : int
        Hits among n trials.
    level : float
        Of confidence.

    Returns
    -------
    tuple of float
        Low and high, from 0 to 1.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> [round(x, 6) for x in share_interval(4, 20, 0.9)]
    [0.071354, 0.401028]
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, n - hits + 1, tail))
    high = 1.0 if hits == n else float(betaincinv(hits + 1, n - hits, 1 - tail))
    return low, high
