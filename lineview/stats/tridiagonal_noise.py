"""Noise that remembers: first-order autoregressive plus white, whose inverse costs no more than n."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """Unit-variance noise V = (1 − q) R + q I, with R[i, j] = φ to the steps between i and j.

    Parameters
    ----------
    phi : float
        Correlation one step apart of the part that remembers, above −1 and below 1.
    white : float
        q: the share of the variance that does not remember, from 0 up to below 1.
    """

    phi: float
    white: float


def inverse_times(noise: Noise, steps: Floats, columns: Floats) -> tuple[Floats, float]:
    """Multiply columns by the inverse of the noise's covariance.

    Since the inverse T of R is tridiagonal, V is (1 − q) T⁻¹ + q I, and V⁻¹ is T ((1 − q) I + q T)⁻¹.

    Parameters
    ----------
    noise : Noise
        The noise.
    steps : numpy.ndarray, shape (n − 1,)
        Steps from each point to the next, 1 or more.
    columns : numpy.ndarray, shape (n, k)
        What to multiply.

    Returns
    -------
    tuple of numpy.ndarray, shape (n, k), and float
        The product and the logarithm of V's determinant.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> product, log_det = inverse_times(Noise(0.5, 0.0), np.ones(2), np.eye(3))
    >>> product.round(3).tolist()
    [[1.333, -0.667, 0.0], [-0.667, 1.667, -0.667], [0.0, -0.667, 1.333]]
    """
    if noise.phi == 0.0:
        return columns, 0.0
    if noise.phi < 0:
        rho = np.sign(noise.phi) ** np.round(steps) * np.abs(noise.phi) ** steps
    else:
        rho = noise.phi**steps
    gap = 1 - rho**2
    diagonal = np.ones(columns.shape[0])
    diagonal[1:] += rho**2 / gap
    diagonal[:-1] += rho**2 / gap
    beside = -rho / gap
    log_det_t = -float(np.sum(np.log(gap)))
    if noise.white == 0.0:
        return _times(diagonal, beside, columns), -log_det_t
    from scipy.linalg.lapack import dpttrf, dpttrs

    q = noise.white
    pivots, below, _ = dpttrf((1 - q) + q * diagonal, q * beside)
    solved, _ = dpttrs(pivots, below, columns)
    # T M⁻¹ with M = (1 − q) I + q T is (I − (1 − q) M⁻¹) / q
    product = np.asarray((columns - (1 - q) * solved) / q, dtype=np.float64)
    return product, float(np.sum(np.log(pivots))) - log_det_t


def _times(diagonal: Floats, beside: Floats, columns: Floats) -> Floats:
    out = np.asarray(diagonal[:, None] * columns)
    out[:-1] += beside[:, None] * columns[1:]
    out[1:] += beside[:, None] * columns[:-1]
    return out


def one_step(noise: Noise) -> tuple[float, float]:
    """Give the same noise as a moving-average filter on evenly spaced points, in its settled state.

    Parameters
    ----------
    noise : Noise
        The noise.

    Returns
    -------
    tuple of float
        θ and σ with u[t] − φ u[t−1] = e[t] − θ e[t−1], e of standard deviation σ.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> one_step(Noise(0.0, 0.0))
    (0.0, 1.0)
    """
    phi, q = noise.phi, noise.white
    at_0 = (1 - q) * (1 - phi**2) + q * (1 + phi**2)
    at_1 = -phi * q
    if at_1 == 0.0:
        return 0.0, float(np.sqrt(at_0))
    ratio = at_1 / at_0
    theta = -(1 - np.sqrt(1 - 4 * ratio**2)) / (2 * ratio)
    return float(theta), float(np.sqrt(-at_1 / theta))
