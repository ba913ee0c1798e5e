"""Where a counter starts again at 0, found from its falls where nobody knows."""

from __future__ import annotations

import numpy as np

from lineview.measures.odd_readings import Floats, Ints, Limits, off_course

#: Sizes in use: decimal digits, and 16, 24, 31 and 32 bits.
CANDIDATES = (1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 2.0**15, 2.0**16, 2.0**24, 2.0**31, 2.0**32)
#: Where an interval could add more than this share of the size, a fall to a small value by a reset
#: looks like a rollover too often to tell.
_MOST_SHARE = 0.1
_MOST_STRAY = 0.01


def fits_values(value: Floats, modulus: float) -> bool:
    """Tell whether the values stay below the modulus, a stray reading in a hundred aside.

    Parameters
    ----------
    value : array of float
        Values [counts].
    modulus : float
        As declared.

    Returns
    -------
    bool
        False where the declared modulus is contradicted.
    """
    return bool(np.mean(value >= modulus) <= _MOST_STRAY)


def find_modulus(at_us: Ints, value: Floats, limits: Limits) -> float | None:
    """Give the one usual size that explains falls of a counter as rollovers, or None.

    Parameters
    ----------
    at_us : array of int
        Moments [µs], ascending, each once.
    value : array of float
        Values [counts].
    limits : Limits
        With modulus None.

    Returns
    -------
    float or None
        None where none or more than one size explains them: the falls are then resets.
    """
    odd, _ = off_course(at_us, value, limits)
    at_us, value = at_us[~odd], value[~odd]
    falls = np.flatnonzero(np.diff(value) < 0)
    if not len(falls):
        return None
    most = limits.most((at_us[falls + 1] - at_us[falls]) / 1e6)
    explain = [
        size
        for size in CANDIDATES
        if size > value.max()
        and ((value[falls + 1] - value[falls] + size <= most) & (most <= _MOST_SHARE * size)).any()
    ]
    return explain[0] if len(explain) == 1 else None
