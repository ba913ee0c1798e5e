"""Rates of counts that scatter more than Poisson's, as stops from shift to shift do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.events import RateRatio
from lineview.stats.optimum import least_value

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DispersedRates:
    """Rates of groups whose counts scatter more than Poisson's: their variance is m + dispersion × m².

    `rates`: events a unit of time, one a group; `log_variances`: variances of the rates' logarithms; infinite
    where a group has no event; `dispersion`: of all groups together; `df`: counts less groups.
    """

    rates: tuple[float, ...]
    log_variances: tuple[float, ...]
    dispersion: float
    df: int

    def ratio(self, group: int, other: int) -> RateRatio:
        """One group's rate over another's, by Student's law with 95 % limits."""
        from scipy.special import stdtr, stdtrit

        top, below = self.rates[group], self.rates[other]
        se = math.sqrt(self.log_variances[group] + self.log_variances[other])
        if not math.isfinite(se):
            return RateRatio(top / below if below else math.nan if not top else math.inf, 0.0, math.inf, 1.0)
        log, half = math.log(top / below), float(stdtrit(self.df, 0.975)) * se
        p = 2.0 * float(stdtr(self.df, -abs(log) / se))
        return RateRatio(math.exp(log), math.exp(log - half), math.exp(log + half), p)


#: Dispersions looked at: as good as Poisson's, and far more than any count of stops has.
_LEAST_DISPERSION, _MOST_DISPERSION = 1e-6, 50.0


def dispersed_rates(groups: Sequence[tuple[Floats, Floats]], *, restricted: bool = True) -> DispersedRates:
    """Fit rates to counts that are negative binomial, with one dispersion for all groups.

    Parameters
    ----------
    groups : sequence of (array, array)
        Counts, and the time that each was watched.
    restricted : bool
        Whether the dispersion's likelihood allows for the rates fitted beside it, as few counts need; or is
        the plain one.

    Returns
    -------
    DispersedRates
        By likelihood; variances from the observed information.

    Raises
    ------
    MeasureError
        Where a time is not above 0, a count is below 0, or there are no more counts than groups.

    Notes
    -----
    Source: negative-binomial-rates

    Examples
    --------
    >>> fit = dispersed_rates([(np.array([3.0, 9, 4, 8]), np.full(4, 2.0)), (np.array([2.0, 1, 5]), np.full(3, 2.0))])
    >>> round(fit.ratio(0, 1).ratio, 3)
    2.25
    """
    df = sum(len(counts) for counts, _ in groups) - len(groups)
    if df < 1 or any((counts < 0).any() or not (time > 0).all() for counts, time in groups):
        raise MeasureError(Fault("too few counts, one below 0, or a time not above 0", "counts, time"))

    def unlikely(places: Floats) -> Floats:
        return np.array([-_log_likelihood(groups, math.exp(at), restricted=restricted) for at in places.ravel()])

    places = np.linspace(math.log(_LEAST_DISPERSION), math.log(_MOST_DISPERSION), 40)
    start = places[[np.argmin(unlikely(places))]]
    best = least_value(unlikely, start)
    dispersion = math.exp(float(np.clip(start if best is None else best, places[0], places[-1])[0]))
    fits = [_dispersed_rate(counts, time, dispersion) for counts, time in groups]
    variances = [1.0 / information if rate > 0 else math.inf for rate, information in fits]
    return DispersedRates(tuple(rate for rate, _ in fits), tuple(variances), dispersion, df)


def _dispersed_rate(counts: Floats, time: Floats, dispersion: float) -> tuple[float, float]:
    """The likeliest rate of one group, and the observed information of its logarithm."""
    rate = float(counts.sum() / time.sum())
    information = 0.0
    for _ in range(100 if rate > 0 else 0):
        mean = rate * time
        damped = 1 + dispersion * mean
        information = float(np.sum(mean * (1 + dispersion * counts) / damped**2))
        step = float(np.sum((counts - mean) / damped)) / information
        rate *= math.exp(min(max(step, -2.0), 2.0))
        if abs(step) < 1e-12:
            break
    return rate, information


def _log_likelihood(groups: Sequence[tuple[Floats, Floats]], dispersion: float, *, restricted: bool) -> float:
    from scipy.special import gammaln, xlogy

    shape, total = 1.0 / dispersion, 0.0
    for counts, time in groups:
        rate, information = _dispersed_rate(counts, time, dispersion)
        scaled = dispersion * rate * time
        chance = xlogy(counts, scaled / (1 + scaled)) - shape * np.log1p(scaled)
        total += float(np.sum(gammaln(counts + shape) - gammaln(shape) - gammaln(counts + 1) + chance))
        if restricted and information > 0:
            total -= 0.5 * math.log(information)
    return total
