"""Uncertainty of a result from those of its inputs, by the GUM's law of propagation."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Input:
    """An input: best estimate, standard uncertainty, degrees of freedom (infinite where it is certain)."""

    value: float
    u: float
    df: float = math.inf


@dataclass(frozen=True)
class Result:
    """A result: estimate, combined standard uncertainty, effective degrees of freedom, each input's part."""

    value: float
    u: float
    df: float
    parts: tuple[float, ...]

    def expanded(self, level: float = 0.95, *, whole_df: bool = True) -> tuple[float, float]:
        """Give coverage factor and expanded uncertainty; the GUM cuts the degrees of freedom to a whole."""
        from scipy.special import ndtri, stdtrit

        if math.isinf(self.df):
            k = float(ndtri((1 + level) / 2))
        else:
            k = float(stdtrit(math.floor(self.df) if whole_df else self.df, (1 + level) / 2))
        return k, k * self.u


def rectangular(half_width: float) -> float:
    """Give the standard uncertainty of a value that lies anywhere within ± a half-width.

    Notes
    -----
    Source: gum

    Examples
    --------
    >>> round(rectangular(3.0), 4)
    1.7321
    """
    return half_width / math.sqrt(3)


def arcsine(half_width: float) -> float:
    """Give the standard uncertainty of a value that swings within ± a half-width.

    Notes
    -----
    Source: gum

    Examples
    --------
    >>> round(arcsine(1.0), 4)
    0.7071
    """
    return half_width / math.sqrt(2)


def slopes(model: Callable[[Floats], float], at: Floats, u: Floats) -> Floats:
    """Give the model's slopes by central differences over a tenth of each uncertainty.

    Parameters
    ----------
    model : callable
        From an array of inputs to the result.
    at, u : numpy.ndarray, shape (n,)
        Estimates and uncertainties.

    Returns
    -------
    numpy.ndarray, shape (n,)
        ∂f/∂x of each input; 0 where its uncertainty is 0.
    """
    found = np.zeros(at.size)
    for i in range(at.size):
        step = u[i] / 10
        if step > 0:
            ahead, behind = at.copy(), at.copy()
            ahead[i] += step
            behind[i] -= step
            found[i] = (model(ahead) - model(behind)) / (ahead[i] - behind[i])
    return found


def propagate(
    model: Callable[[Floats], float], inputs: Sequence[Input], correlation: ArrayLike | None = None
) -> Result:
    """Propagate uncertainties through a model to first order.

    Parameters
    ----------
    model : callable
        From an array of inputs to the result.
    inputs : sequence of Input
        In the model's order.
    correlation : array_like, shape (n, n), optional
        Of the inputs; none where they are independent.

    Returns
    -------
    Result
        With effective degrees of freedom by Welch and Satterthwaite (for independent inputs).

    Notes
    -----
    Source: gum

    Examples
    --------
    >>> found = propagate(lambda x: x[0] * x[1], [Input(2.0, 0.1), Input(3.0, 0.1)])
    >>> round(found.value, 6), round(found.u, 4)
    (6.0, 0.3606)
    """
    at = np.array([i.value for i in inputs], dtype=np.float64)
    u = np.array([i.u for i in inputs], dtype=np.float64)
    parts = slopes(model, at, u) * u
    r = np.eye(at.size) if correlation is None else np.asarray(correlation, dtype=np.float64)
    variance = float(parts @ r @ parts)
    below = sum(p**4 / i.df for p, i in zip(parts, inputs, strict=True) if not math.isinf(i.df))
    df = variance**2 / below if below > 0 else math.inf
    return Result(float(model(at)), math.sqrt(variance), df, tuple(float(p) for p in parts))


def second_order_u(model: Callable[[Floats], float], inputs: Sequence[Input]) -> float:
    """Give the combined uncertainty with the second-order terms of independent normal-like inputs.

    Parameters
    ----------
    model, inputs
        As in `propagate`.

    Returns
    -------
    float
        Root of the sum of first-order variances and ½ f''² u² u² terms (GUM 5.1.2, note).

    Notes
    -----
    Source: gum
    """
    at = np.array([i.value for i in inputs], dtype=np.float64)
    u = np.array([i.u for i in inputs], dtype=np.float64)
    total = propagate(model, inputs).u ** 2
    n = at.size
    for i in range(n):
        for j in range(n):
            if u[i] > 0 and u[j] > 0:
                total += 0.5 * (_bend(model, at, u, i, j) * u[i] * u[j]) ** 2
    return math.sqrt(total)


def _bend(model: Callable[[Floats], float], at: Floats, u: Floats, i: int, j: int) -> float:
    """Give the mixed second derivative over half an uncertainty."""
    hi, hj = u[i] / 2, u[j] / 2
    total = 0.0
    for si in (1, -1):
        for sj in (1, -1):
            x = at.copy()
            x[i] += si * hi
            x[j] += sj * hj
            total += si * sj * model(x)
    return float(total / (4 * hi * hj))


def means_with_correlation(columns: Sequence[Sequence[float]]) -> tuple[list[Input], Floats]:
    """Give the inputs that means of quantities observed together are, with their correlation.

    Parameters
    ----------
    columns : sequence of sequence of float
        One a quantity, row by row observed together.

    Returns
    -------
    list of Input
        Means with their standard uncertainties.
    numpy.ndarray, shape (n, n)
        Correlation of the means.

    Notes
    -----
    Source: gum
    """
    data = np.asarray(columns, dtype=np.float64)
    n = data.shape[1]
    off = data - data.mean(axis=1, keepdims=True)
    covariance = off @ off.T / (n * (n - 1))
    u = np.sqrt(np.diag(covariance))
    inputs = [Input(float(m), float(s), n - 1) for m, s in zip(data.mean(axis=1), u, strict=True)]
    return inputs, np.asarray(covariance / np.outer(u, u), dtype=np.float64)


def result_correlation(
    models: Sequence[Callable[[Floats], float]], inputs: Sequence[Input], correlation: ArrayLike
) -> Floats:
    """Give the correlation of several results of the same inputs.

    Parameters
    ----------
    models : sequence of callable
        One a result.
    inputs, correlation
        As in `propagate`.

    Returns
    -------
    numpy.ndarray, shape (results, results)
        Correlation.

    Notes
    -----
    Source: gum
    """
    at = np.array([i.value for i in inputs], dtype=np.float64)
    u = np.array([i.u for i in inputs], dtype=np.float64)
    jacobian = np.stack([slopes(m, at, u) for m in models])
    covariance = jacobian @ (np.asarray(correlation) * np.outer(u, u)) @ jacobian.T
    root = np.sqrt(np.diag(covariance))
    return np.asarray(covariance / np.outer(root, root), dtype=np.float64)
