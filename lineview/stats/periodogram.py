"""Which periods stand out of an unevenly sampled series, and how likely noise with memory makes that."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

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
    Source: periodogram, derived-rope

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
    frequency, power = periodogram(seconds, x)
    reach = max(side / period_s, 60 / span)
    lowest, highest = (1 - spread) / period_s, (1 + spread) / period_s
    near = np.flatnonzero((frequency >= lowest) & (frequency <= highest))
    beside = (frequency > max(2 / span, lowest - reach)) & (frequency < highest + reach)
    beside[near] = False
    if near.size == 0 or int(beside.sum()) < 80:
        return None
    floor = float(power[beside].mean())
    best = int(near[np.argmax(power[near])])
    places = max(1.0, (highest - lowest) * span)
    strength = float(power[best]) / floor if floor > 0 else 0.0
    chance = 1 - (1 - exp(-strength)) ** places if strength < 30 else exp(max(-700.0, log(places) - strength))
    return Ripple(1 / float(frequency[best]), 2 * sqrt(float(power[best]) / n), float(chance))


#: Points of the even grid at most, and how many times finer than the series' own the frequencies lie.
MOST, FINER = 2**20, 4


def periodogram(seconds: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Give the power of a series at all frequencies, readings laid on an even grid, gaps left empty.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times in order [s].
    x : numpy.ndarray, shape (n,)
        Values.

    Returns
    -------
    tuple of numpy.ndarray, shapes (m,) and (m,)
        Frequencies [1/s] and |Σ x e^(−iωt)|² / n; a sine of amplitude a has n a² / 4.

    Notes
    -----
    Source: periodogram

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(100.0)
    >>> frequency, power = periodogram(t, np.sin(2 * np.pi * t / 10))
    >>> round(float(frequency[np.argmax(power)]), 3), round(float(power.max()))
    (0.1, 25)
    """
    between = float(np.median(np.diff(seconds)))
    place = np.round((seconds - seconds[0]) / between).astype(np.int64)
    kept = place < MOST
    grid = np.zeros(int(place[kept][-1]) + 1)
    grid[place[kept]] = x[kept] - x[kept].mean()
    size = FINER * 2 ** int(np.ceil(np.log2(grid.size)))
    spectrum = np.fft.rfft(grid, size)
    power = np.abs(spectrum) ** 2 / int(kept.sum())
    return np.arange(power.size) / (size * between), power
