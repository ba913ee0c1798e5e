"""Grubbs' test for one outlier in normal data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from lineview.statistics.summary import summarize


@dataclass(frozen=True)
class Grubbs:
    """The statistic, its critical value, and the place of the value it speaks of."""

    g: float
    critical: float
    index: int

    @property
    def outlying(self) -> bool:
        """Whether the value is further off than chance allows."""
        return self.g > self.critical


def grubbs(
    values: Sequence[float], alpha: float = 0.05, side: Literal["upper", "lower", "both"] = "both"
) -> Grubbs:
    """Test the value furthest off.

    Parameters
    ----------
    values : sequence of float
        Three or more that are not all equal.
    alpha : float
        Risk of a false alarm.
    side : str
        Which end is asked about.

    Returns
    -------
    Grubbs
        Statistic and critical value.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> grubbs([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57], side="upper").outlying
    True
    """
    from scipy.special import stdtrit

    found = summarize(values)
    n, sd = found.n, found.sd or math.nan
    off = [(v - found.mean) * {"upper": 1, "lower": -1}.get(side, 1) for v in values]
    off = [abs(o) for o in off] if side == "both" else off
    index = max(range(n), key=off.__getitem__)
    tail = alpha / (2 * n if side == "both" else n)
    t2 = float(stdtrit(n - 2, 1 - tail)) ** 2
    critical = (n - 1) / math.sqrt(n) * math.sqrt(t2 / (n - 2 + t2))
    return Grubbs(off[index] / sd, critical, index)
