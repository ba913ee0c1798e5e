"""von Alven (ed.), Reliability Engineering (1964) p. 156: active repair times; from memory.

Chhikara and Folks, Technometrics 19 (1977) 461, print mean 3.61 and lambda 1.66 of the inverse Gaussian.
"""

import pytest

from lineview.statistics.lengths import inverse_gaussian, lognormal

HOURS = [
    0.2, 0.3, 0.5, 0.5, 0.5, 0.5, 0.6, 0.6, 0.7, 0.7, 0.7, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0, 1.1, 1.3, 1.5,
    1.5, 1.5, 1.5, 2.0, 2.0, 2.2, 2.5, 2.7, 3.0, 3.0, 3.3, 3.3, 4.0, 4.0, 4.5, 4.7, 5.0, 5.4, 5.4, 7.0,
    7.5, 8.8, 9.0, 10.3, 22.0, 24.5,
]  # fmt: skip


def test_inverse_gaussian() -> None:
    assert len(HOURS) == 46
    assert inverse_gaussian(HOURS) == pytest.approx((3.61, 1.66), abs=0.0051)


def test_lognormal_recomputed() -> None:
    fit = lognormal(HOURS)
    assert (fit.mu, fit.sigma) == pytest.approx((0.6583924, 1.1017910), abs=6e-8)
    assert sorted(HOURS)[22:24] == [1.5, 2.0]
    assert fit.mean_low < fit.mean < fit.mean_high
