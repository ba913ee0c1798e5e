"""From memory: Narasimhan & Jordache, Data Reconciliation and Gross Error Detection, Table 1-1."""

import numpy as np
import pytest

from lineview.stats.reconciliation import critical_adjustment, reconcile_views
from tests.references.reconciled import reconcile


def test_one_measurement_alone_is_tested_at_1_96() -> None:
    assert critical_adjustment(1) == pytest.approx(1.96, abs=5e-3)


def _by_view(values, view, thing, none=0.0):
    """One value a measurement, or a row of them, laid out by view and thing."""
    laid = np.full((*values.shape[1:], 3, 30), none)
    laid[..., view, thing] = values.T
    return laid


@pytest.mark.parametrize("seed", range(5))
def test_views_of_many_things_are_reconciled_as_by_matrices(seed: int) -> None:
    rng = np.random.default_rng(seed)
    views = rng.integers(1, 4, 30)
    views[0] = 3
    thing = np.repeat(np.arange(30), views)
    n = len(thing)
    own_sd, shared = rng.uniform(0.5, 2, n), rng.normal(0, 1, (n, 2))
    measured = 100 + rng.normal(0, 3, n)
    balances = np.zeros((n - 30, n))
    for row, k in enumerate(np.flatnonzero(thing[1:] == thing[:-1])):
        balances[row, k : k + 2] = 1, -1
    view = np.concatenate([np.arange(k) for k in views])
    laid = _by_view(measured, view, thing, np.nan)
    quick = reconcile_views(laid, _by_view(own_sd, view, thing), _by_view(shared, view, thing))
    plain = reconcile(measured, np.diag(own_sd**2) + shared @ shared.T, balances)
    assert quick.values[thing] == pytest.approx(plain.values, abs=1e-8)
    assert quick.adjustments[view, thing] == pytest.approx(plain.adjustments, abs=1e-8)
    assert quick.standardized[view, thing] == pytest.approx(plain.standardized, abs=1e-6)
    assert quick.statistic == pytest.approx(plain.statistic)
    assert quick.df == plain.df
    first = np.flatnonzero(np.concatenate(([True], thing[1:] != thing[:-1])))
    assert quick.sum_sd == pytest.approx(float(plain.covariance[np.ix_(first, first)].sum() ** 0.5))
