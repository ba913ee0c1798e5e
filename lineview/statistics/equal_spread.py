"""Tests of whether groups spread alike, or as much as a given amount."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lineview.statistics.summary import summarize


@dataclass(frozen=True)
class SpreadTest:
    """A test's statistic and its probability where the groups do spread alike."""

    statistic: float
    p: float


def bartlett(groups: Sequence[Sequence[float]]) -> SpreadTest:
    """Test equal variances of normal groups (Bartlett).

    Parameters
    ----------
    groups : sequence of sequence of float
        Two or more, each of two or more values that are not all equal.

    Returns
    -------
    SpreadTest
        The chi-square statistic.

    Notes
    -----
    Source: nist-handbook
    """
    from scipy.stats import bartlett as test

    result = test(*[np.asarray(g, dtype=float) for g in groups])
    return SpreadTest(float(result.statistic), float(result.pvalue))


def levene_median(groups: Sequence[Sequence[float]]) -> SpreadTest:
    """Test equal spread without asking for normal data (Levene, about the medians).

    Parameters
    ----------
    groups : sequence of sequence of float
        Two or more, each of two or more values.

    Returns
    -------
    SpreadTest
        The F statistic.

    Notes
    -----
    Source: nist-handbook
    """
    from scipy.stats import levene as test

    result = test(*[np.asarray(g, dtype=float) for g in groups], center="median")
    return SpreadTest(float(result.statistic), float(result.pvalue))


def chi_square_of_sd(values: Sequence[float], sd: float) -> float:
    """Give the chi-square statistic of a sample against a standard deviation.

    Parameters
    ----------
    values : sequence of float
        Two or more.
    sd : float
        The standard deviation asked about.

    Returns
    -------
    float
        (n - 1) s² / sd².

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> chi_square_of_sd([1.0, 2.0, 3.0], 1.0)
    2.0
    """
    found = summarize(values)
    return (found.n - 1) * (found.sd or 0.0) ** 2 / sd**2
