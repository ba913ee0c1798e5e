"""Which periods stand out of an unevenly sampled series, and how likely noise with memory makes that."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ripple:
    """A ripple at one period [s]: amplitude in the series' unit, and the chance of one as strong by noise."""

    period_s: float
    amplitude: float
    chance: float


def ripple_at(
    seconds: Floats, x: Floats, period_s: float, spread: float = 0.03, side: float = 0.5
) -> Ripple | None:
    """Look for a ripple near one period.

    The power at the period is compared with the power in bands beside it, so that noise with memory, which is
    stronger at long periods, does not pass for a ripple.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times in order [s].
    x : numpy.ndarray, shape (n,)
        Values.
    period_s : float
        Period looked for [s].
    spread : float
        Share by which the true period may differ.
    side : float
        Width of the bands beside it, as a share of its frequency.

    Returns
    -------
    Ripple or None
        None where readings are too slow or too few to tell.

    Notes
    -----
    Source: lomb-scargle, derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(2000.0)
    >>> x = 0.1 * np.sin(2 * np.pi * t / 7.3) + np.random.default_rng(1).standard_normal(2000) * 0.2
    >>> found = ripple_at(t, x, 7.25)
    >>> round(found.period_s, 1), found.chance < 1e-6
    (7.3, True)
    """
    n = x.size
    if n < 60 or period_s < 2.2 * float(np.median(np.diff(seconds))):
        return None
    span = float(seconds[-1] - seconds[0])
    if span < 20 * period_s:
        return None
    step = 1 / (4 * span)
    near = np.arange((1 - spread) / period_s, (1 + spread) / period_s + step, step)
    reach = max(side / period_s, 60 / span)
    low = np.arange(max(2 / span, (1 - spread) / period_s - reach), (1 - spread) / period_s, step)
    high = np.arange((1 + spread) / period_s, (1 + spread) / period_s + reach, step)
    if near.size > MOST or low.size + high.size < 20:
        return None
    low, high = low[:: max(1, low.size // 400)], high[:: max(1, high.size // 400)]
    power = lomb_scargle(seconds, x, near)
    floor = float(np.mean(lomb_scargle(seconds, x, np.r_[low, high])))
    best = int(np.argmax(power))
    places = max(1.0, (near[-1] - near[0]) * span)
    strength = float(power[best]) / floor if floor > 0 else 0.0
    chance = 1 - (1 - exp(-min(strength, 700.0))) ** places if strength < 30 else exp(-strength + log(places))
    return Ripple(1 / float(near[best]), 2 * sqrt(float(power[best]) / n), float(chance))


#: Frequencies tried at most.
MOST = 20000


def lomb_scargle(seconds: Floats, x: Floats, frequencies: Floats) -> Floats:
    """Give the power of a series at given frequencies, whatever the spacing of its points.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times [s].
    x : numpy.ndarray, shape (n,)
        Values.
    frequencies : numpy.ndarray, shape (m,)
        Frequencies [1/s], above 0.

    Returns
    -------
    numpy.ndarray, shape (m,)
        Half the sum of squares that a sine of each frequency takes up; a sine of amplitude a has n a² / 4.

    Notes
    -----
    Source: lomb-scargle

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(100.0)
    >>> lomb_scargle(t, np.sin(2 * np.pi * t / 10), np.array([0.1])).round(2).tolist()
    [25.0]
    """
    from scipy.signal import lombscargle

    power = lombscargle(seconds - seconds[0], x - x.mean(), 2 * pi * frequencies)
    return np.atleast_1d(np.asarray(power, dtype=np.float64))
