"""Two EWMA charts, one slow and one quick, and Shewhart limits, at one false-alarm rate together."""

from __future__ import annotations

import numpy as np

Widths = tuple[float, float, float]

#: Smoothings of the slow and the quick chart. With limits for single points besides they are within a tenth
#: of the quickest chart known for drifts of 0.0005 to 4 standard deviations a point (tests/truth, delays).
SLOW, QUICK = 0.05, 0.3
#: Points to a false alarm of all three together, and the width of each. Alone the quick chart has 1.73 times
#: the slow one's run length and the single points ten times; solved from the run lengths that
#: tests/references/ewma_run_lengths.py works out.
WIDTHS = (
    (20, 1.1102, 2.0542, 2.8444),
    (30, 1.3356, 2.2489, 2.9833),
    (50, 1.6270, 2.4759, 3.1504),
    (80, 1.8884, 2.6672, 3.2959),
    (120, 2.1025, 2.8210, 3.4161),
    (200, 2.3543, 3.0025, 3.5615),
    (350, 2.6064, 3.1877, 3.7136),
    (600, 2.8282, 3.3554, 3.8543),
    (1000, 3.0218, 3.5057, 3.9827),
    (1730, 3.2146, 3.6593, 4.1157),
    (3000, 3.3948, 3.8063, 4.2447),
    (6000, 3.6064, 3.9827, 4.4014),
    (12000, 3.8038, 4.1509, 4.5524),
    (25000, 4.0002, 4.3212, 4.7069),
    (50000, 4.1758, 4.4757, 4.8481),
    (100000, 4.3433, 4.6248, 4.9853),
)


def joint_widths(run_length: float) -> Widths:
    """Give the widths of the three charts that together have a wanted run length in control.

    Parameters
    ----------
    run_length : float
        Points to a false alarm of any, on average; held between 20 and 100,000.

    Returns
    -------
    tuple of float
        L of the slow and of the quick chart, in standard deviations of each average, and the limit for
        single points in theirs.

    Notes
    -----
    Source: lucas-saccucci-1990, zhao-2005, derived-joint-charts

    Examples
    --------
    >>> [round(width, 2) for width in joint_widths(865)]
    [2.97, 3.46, 3.95]
    """
    from scipy.interpolate import CubicSpline

    points, *widths = np.array(WIDTHS).T
    at = np.log(np.clip(run_length, points[0], points[-1]))
    found = CubicSpline(np.log(points), np.column_stack(widths))(at)
    return float(found[0]), float(found[1]), float(found[2])
