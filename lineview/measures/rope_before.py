"""What the rope's diameter was a delay before given moments."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: Readings this far either side of the moment are averaged [s].
REACH_S = 7.5
#: Beyond this many seconds without a reading the diameter of a moment is not known.
GAP_S = 30.0


def rope_before(rope_s: Floats, diameter_mm: Floats, at_s: Floats, delay_s: float | Floats) -> Floats:
    """Give the rope's diameter a delay before given moments.

    Parameters
    ----------
    rope_s, diameter_mm : numpy.ndarray, shape (m,)
        Moments [s, ascending] and diameters [mm] of usable readings.
    at_s : numpy.ndarray, shape (n,)
        Moments asked for [s].
    delay_s : float or numpy.ndarray, shape (n,)
        How long before [s].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Mean of the readings within 7.5 s, else between the two next ones; nan where they are further than
        half a minute away.

    Examples
    --------
    >>> rope = np.arange(0.0, 100.0, 10.0)
    >>> rope_before(rope, rope / 10, np.array([52.0, 500.0]), 10.0).round(1).tolist()
    [4.0, nan]
    """
    if rope_s.size == 0:
        return np.full(at_s.size, np.nan)
    wanted = at_s - delay_s
    running = np.concatenate([[0.0], np.cumsum(diameter_mm)])
    first = np.searchsorted(rope_s, wanted - REACH_S, side="left")
    last = np.searchsorted(rope_s, wanted + REACH_S, side="right")
    inside = last - first
    between = np.interp(wanted, rope_s, diameter_mm)
    found = np.where(inside > 0, (running[last] - running[first]) / np.maximum(inside, 1), between)
    after = np.clip(np.searchsorted(rope_s, wanted), 0, rope_s.size - 1)
    before = np.maximum(after - 1, 0)
    away = np.minimum(np.abs(rope_s[after] - wanted), np.abs(rope_s[before] - wanted))
    return np.where(away <= GAP_S, found, np.nan)
