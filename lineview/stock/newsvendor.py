"""One order for one season: the newsvendor's quantity."""

from __future__ import annotations

from dataclasses import dataclass

from lineview.stock.above_zero import positive
from lineview.stock.demand_loss import poisson_loss


@dataclass(frozen=True)
class Newsvendor:
    """The quantity for one season, its critical ratio and its expected cost."""

    quantity: float
    ratio: float
    cost: float


def newsvendor_normal(over: float, under: float, mean: float, sd: float) -> Newsvendor:
    """Give the newsvendor's quantity where demand is normal.

    Parameters
    ----------
    over, under : float
        Cost of a unit too many and of one too few.
    mean, sd : float
        Of the demand.

    Returns
    -------
    Newsvendor
        Quantity at the critical ratio p ÷ (p + h).

    Notes
    -----
    Source: snyder-shen

    Examples
    --------
    >>> round(newsvendor_normal(0.18, 0.70, 50, 8).quantity, 3)
    56.604
    """
    from scipy.stats import norm

    positive(over=over, under=under, sd=sd)
    ratio = under / (under + over)
    z = float(norm.ppf(ratio))
    return Newsvendor(mean + z * sd, ratio, (over + under) * float(norm.pdf(z)) * sd)


def newsvendor_poisson(over: float, under: float, mean: float) -> Newsvendor:
    """Give the newsvendor's whole quantity where demand is Poisson.

    Parameters
    ----------
    over, under : float
        Cost of a unit too many and of one too few.
    mean : float
        Of the demand.

    Returns
    -------
    Newsvendor
        The least quantity whose chance of being enough reaches the critical ratio.

    Notes
    -----
    Source: snyder-shen
    """
    from scipy.stats import poisson

    positive(over=over, under=under, mean=mean)
    ratio = under / (under + over)
    quantity = int(poisson.ppf(ratio, mean))
    short = poisson_loss(quantity, mean)
    return Newsvendor(float(quantity), ratio, over * (quantity - mean + short) + under * short)
