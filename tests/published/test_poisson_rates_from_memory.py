"""Two Poisson rates: the example of R's manual page of poisson.test (eba1977 of ISwR); its output from memory.

The page was read for the counts: 11 cases among 800 against 21 among 3,011.
"""

import pytest

from lineview.stats.events import rate_ratio


def test_lung_cancer_in_fredericia_against_three_cities() -> None:
    rates = rate_ratio(11, 800, 6 + 8 + 7, 1083 + 1050 + 878)
    assert rates.ratio == pytest.approx(1.971488, abs=5e-7)
    assert (rates.low, rates.high) == (pytest.approx(0.8584264, abs=5e-8), pytest.approx(4.2772659, abs=5e-8))
    assert rates.p == pytest.approx(0.07967, abs=5e-6)
