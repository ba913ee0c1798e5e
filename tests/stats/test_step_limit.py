"""The gain that chance reaches among all places of a step, both ways."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from lineview.stats.change_points import find_steps, step_limit


@pytest.mark.parametrize(("n", "share"), [(60, 0.05), (300, 0.05), (300, 0.01)])
def test_it_is_shared_out_over_the_places_and_both_signs(n: int, share: float) -> None:
    z = np.sqrt(step_limit(n, share) / (1 + 6 / n))
    assert n * (norm.sf(z) + norm.cdf(-z)) == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_step_either_way_is_found(sign: int) -> None:
    y = np.sin(np.arange(60.0) * 9) + sign * np.repeat([0.0, 6.0], 30)
    assert find_steps(y, np.ones((60, 1)), np.ones(59)).steps == (30,)
