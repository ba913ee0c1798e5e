"""Difference in differences on Card and Krueger's fast-food data, balanced sample, as a published analysis prints it.

Printed by R for 75 stores of Pennsylvania and 309 of New Jersey, each before and after (lm of employment on time,
treatment and both): 23.380 (1.098), −2.283 (1.553), −2.949 (1.224), 2.750 (1.731). Least squares know of the data only
the size, mean and spread of the four groups, so groups are drawn to have exactly these.

Source: card-krueger-1994
"""

import numpy as np
import pytest

from lineview.stats.least_squares import least_squares_fits
from lineview.week.trend import WHITE

STORES = {"Pennsylvania": 75, "New Jersey": 309}
PRINTED = {"intercept": (23.380, 1.098), "time": (-2.283, 1.553), "treatment": (-2.949, 1.224), "both": (2.750, 1.731)}
#: The spread that makes the printed error of the first coefficient.
SPREAD = 1.098 * np.sqrt(75)


def groups() -> tuple[np.ndarray, np.ndarray]:
    y, x = [], []
    base, time, treatment, both = (value for value, _ in PRINTED.values())
    for treated, n in enumerate(STORES.values()):
        for after in (0, 1):
            noise = np.random.default_rng(2 * treated + after).normal(size=n)
            noise = (noise - noise.mean()) / np.sqrt(np.mean((noise - noise.mean()) ** 2))
            y.append(base + after * time + treated * treatment + treated * after * both + SPREAD * noise)
            x.append(np.tile([1.0, after, treated, treated * after], (n, 1)))
    # the residual variance divides by n − 4, that of the groups by n
    y, x = np.concatenate(y), np.vstack(x)
    mean = x @ np.linalg.lstsq(x, y, rcond=None)[0]
    return mean + (y - mean) * np.sqrt((len(y) - 4) / len(y)), x


def test_the_difference_in_differences_and_its_standard_error() -> None:
    y, x = groups()
    fit = least_squares_fits(y[:, None], x, np.ones(len(y) - 1), WHITE)[0]
    for k, (value, error) in enumerate(PRINTED.values()):
        contrast = np.eye(4)[k]
        assert fit.mean(contrast) == pytest.approx(value, abs=5e-4)
        assert np.sqrt(fit.covariance[0, k, k]) == pytest.approx(error, abs=1e-3)
    low, high = fit.interval(np.eye(4)[3])
    assert low < 0 < high  # printed: t 1.588, p 0.1126
    assert fit.p_value(np.eye(4)[3]) == pytest.approx(0.1126, abs=1e-3)
