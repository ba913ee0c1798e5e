"""Rates of over-dispersed counts: child deaths by age in three cohorts of births (Rodríguez, Stata's manual of nbreg).

Table and printed output are from memory; that one gives the other to the last digit but one speaks for both.
statsmodels is a second opinion.
"""

import math

import numpy as np
import pytest

from lineview.stats.dispersed_rates import dispersed_rates

DEATHS = ((168, 48, 63, 89, 102, 81, 40), (197, 48, 62, 81, 97, 103, 39), (195, 55, 58, 85, 87, 70, 10))
EXPOSURE = (
    (278.4, 538.8, 794.4, 1550.8, 3006.0, 8743.5, 14270.0),
    (403.2, 786.0, 1165.3, 2294.8, 4500.5, 13201.5, 19525.0),
    (495.3, 956.7, 1381.4, 2604.5, 4618.5, 9814.5, 5802.5),
)
COHORTS = [(np.array(counts, dtype=float), np.array(time)) for counts, time in zip(DEATHS, EXPOSURE, strict=True)]


def test_deaths_in_three_cohorts() -> None:
    fit = dispersed_rates(COHORTS, restricted=False)
    assert fit.dispersion == pytest.approx(1.811212, abs=1e-6)
    assert math.log(fit.rates[0]) == pytest.approx(-2.086731, abs=1e-6)
    assert math.log(fit.ratio(1, 0).ratio) == pytest.approx(-0.2676187, abs=2e-6)
    assert math.log(fit.ratio(2, 0).ratio) == pytest.approx(-0.4573957, abs=2e-6)
    errors = [math.sqrt(v + (fit.log_variances[0] if k else 0.0)) for k, v in enumerate(fit.log_variances)]
    assert errors == pytest.approx([0.511856, 0.7237203, 0.7236651], abs=4e-6)


def test_statsmodels_finds_the_same() -> None:
    from statsmodels.discrete.discrete_model import NegativeBinomial

    fit = dispersed_rates(COHORTS, restricted=False)
    y, exposure = np.concatenate([c for c, _ in COHORTS]), np.concatenate([t for _, t in COHORTS])
    x = np.column_stack([np.ones(21), np.repeat([0, 1, 0], 7), np.repeat([0, 0, 1], 7)])
    start = [math.log(fit.rates[0]), 0.0, 0.0, 1.0]
    theirs = NegativeBinomial(y, x, exposure=exposure).fit(start, method="newton", disp=0, maxiter=100)
    assert theirs.params[-1] == pytest.approx(fit.dispersion, rel=1e-5)
    assert theirs.params[1:3] == pytest.approx([math.log(fit.rates[k] / fit.rates[0]) for k in (1, 2)], abs=1e-5)
