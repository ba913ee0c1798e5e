"""Many tests of one question: looking at a trial before its end, and many rows looked at together.

A difference of means behaves, in units of its standard error at the planned end and against the share of its
information, like a Brownian motion. The chance that one leaves ±c before its end is 4 (1 − Φ(c)) but for paths that
reach both, so that one limit serves any number of looks at any times.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

#: Chance of calling a difference where there is none, over all looks together; and of seeing one worth having.
FALSE_ALARMS, POWER = 0.05, 0.8


def looking_level(information: float) -> float:
    """The chance that a look may call at, so that all looks together call 5 % where nothing changed.

    Parameters
    ----------
    information : float
        Share of the information of the planned end that there is at this look, above 0 up to 1.

    Returns
    -------
    float
        Two-sided: a p-value at or below it is beyond chance.

    Notes
    -----
    Source: obrien-fleming-1979, lan-demets-1983

    Examples
    --------
    >>> round(looking_level(1.0), 4)
    0.025
    """
    from scipy.special import ndtr

    return 2 * float(ndtr(-_limit() / math.sqrt(information)))


def information_share(before: int, since: int, planned: int) -> float:
    """Share of the planned information that there is so far.

    Parameters
    ----------
    before, since, planned : int
        Units before the change, since, and planned since.

    Returns
    -------
    float
        1 from the planned end on.
    """
    return min(1.0, (1 / before + 1 / planned) / (1 / before + 1 / since))


def units_needed(effect: float, sd: float, before: int) -> int | None:
    """Units after a change that show an effect with the stated power.

    Parameters
    ----------
    effect : float
        Worth having, in the unit of `sd`.
    sd : float
        Of a unit; of correlated units, that of independent ones with the same uncertainty in sum.
    before : int
        Units before the change.

    Returns
    -------
    int or None
        None where the units before are too few for this effect, however many follow.

    Notes
    -----
    The looks before the end add to the power, so that it is more than stated.

    Source: obrien-fleming-1979

    Examples
    --------
    >>> units_needed(1.0, 1.0, before=100)
    11
    """
    information = (effect / (sd * _reach())) ** 2 - 1 / before
    return None if information <= 0 else math.ceil(1 / information)


def effect_seen(sd: float, before: int, after: int) -> float:
    """The smallest effect that is shown with the stated power.

    Parameters
    ----------
    sd : float
        Of a unit, as in units_needed.
    before, after : int
        Units before and after the change.
    """
    return sd * _reach() * math.sqrt(1 / before + 1 / after)


def wrong_way_chance(effect: float) -> float:
    """The chance that a Brownian motion with a change's drift ever reaches the limit on the other side.

    Parameters
    ----------
    effect : float
        The change, of the one that is shown with the stated power; 0 or more.

    Examples
    --------
    >>> round(wrong_way_chance(0.0), 4), wrong_way_chance(1.0) < 1e-5
    (0.025, True)
    """
    from scipy.special import ndtr

    limit, drift = _limit(), effect * _reach()
    return float(ndtr(-limit - drift) + math.exp(-2 * limit * drift) * ndtr(drift - limit))


def _limit() -> float:
    """The limit at the planned end, in standard errors."""
    from scipy.special import ndtri

    return float(ndtri(1 - FALSE_ALARMS / 4))


def _reach() -> float:
    """Standard errors that an effect must be to pass the limit with the stated power."""
    from scipy.special import ndtri

    return _limit() + float(ndtri(POWER))


def adjusted_p(p: Sequence[float]) -> list[float]:
    """Adjust p-values for their number, so that the false discovery rate is held.

    Parameters
    ----------
    p : sequence of float
        One a test, from 0 to 1.

    Returns
    -------
    list of float
        In the same order: the smallest false discovery rate at which each would be called. Those at or
        below a rate q are the tests that Benjamini and Hochberg's step-up procedure rejects at q.

    Notes
    -----
    Source: benjamini-hochberg-1995

    Examples
    --------
    >>> [round(q, 3) for q in adjusted_p([0.01, 0.02, 0.03, 0.5])]
    [0.04, 0.04, 0.04, 0.5]
    """
    values = np.asarray(p, dtype=np.float64)
    n = values.size
    order = np.argsort(values)
    stepped = values[order] * n / np.arange(1, n + 1)
    out = np.empty(n)
    out[order] = np.minimum(np.minimum.accumulate(stepped[::-1])[::-1], 1.0)
    return [float(value) for value in out]
