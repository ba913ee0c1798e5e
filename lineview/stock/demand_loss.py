"""Expected shortage beyond a quantity, for normal and Poisson demand."""

from __future__ import annotations

from lineview.stock.above_zero import positive


def standard_normal_loss(z: float) -> float:
    """Give the expected shortage of a standard normal demand beyond z: φ(z) − z (1 − Φ(z)).

    Examples
    --------
    >>> round(standard_normal_loss(1.3), 4)
    0.0455
    """
    from scipy.stats import norm

    return float(norm.pdf(z) - z * norm.sf(z))


def standard_normal_loss2(z: float) -> float:
    """Give the second-order loss ½ ((z² + 1)(1 − Φ(z)) − z φ(z)) of the standard normal distribution."""
    from scipy.stats import norm

    return 0.5 * float((z * z + 1.0) * norm.sf(z) - z * norm.pdf(z))


def normal_loss(quantity: float, mean: float, sd: float) -> float:
    """Give the expected shortage of a normal demand beyond a quantity.

    Parameters
    ----------
    quantity : float
        Units there are, or in an order.
    mean : float
        Mean of the demand.
    sd : float
        Standard deviation of the demand.
    """
    return sd * standard_normal_loss((quantity - mean) / sd)


def poisson_loss(quantity: int, mean: float) -> float:
    """Give the expected shortage of a Poisson demand beyond a whole quantity.

    Parameters
    ----------
    quantity : int
        Whole units there are.
    mean : float
        Mean of the demand.
    """
    from scipy.stats import poisson

    return float((mean - quantity) * poisson.sf(quantity, mean) + mean * poisson.pmf(quantity, mean))


def z_for_loss(loss: float) -> float:
    """Give z whose standard normal loss is this.

    Examples
    --------
    >>> round(z_for_loss(0.04552796), 4)
    1.3
    """
    from scipy.optimize import brentq

    positive(loss=loss)
    return float(brentq(lambda z: standard_normal_loss(z) - loss, -loss - 10.0, 12.0, xtol=1e-13))
