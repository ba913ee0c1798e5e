"""Many tests at once: which stay beyond chance when so many were looked at."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


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
