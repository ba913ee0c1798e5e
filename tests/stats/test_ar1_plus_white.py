"""Noise with memory against its covariance written out."""

import numpy as np
import pytest

from lineview.stats.correlated_regression import Noise, innovation_form, inverse_times


@pytest.mark.parametrize("noise", [Noise(0.6, 0.3), Noise(0.9, 0.0), Noise(-0.4, 0.0), Noise(0.97, 0.8)])
def test_inverse_and_determinant_against_dense(noise):
    rng = np.random.default_rng(1)
    steps = rng.integers(1, 4, 39).astype(float)
    at = np.r_[0.0, np.cumsum(steps)]
    gaps = np.abs(at[:, None] - at[None, :])
    memory = np.sign(noise.phi) ** gaps * np.abs(noise.phi) ** gaps
    dense = (1 - noise.white) * memory + noise.white * np.eye(40)
    product, log_det = inverse_times(noise, steps, np.eye(40))
    assert product == pytest.approx(np.linalg.inv(dense), abs=1e-9)
    assert log_det == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-9)


def test_moving_average_form_has_the_same_autocovariances():
    noise = Noise(0.6, 0.3)
    theta, sd = innovation_form(noise)
    # of u[t] − φ u[t−1], from the covariances of u: 1, 0.7 φ, 0.7 φ², ...
    assert (1 + theta**2) * sd**2 == pytest.approx(1 + 0.36 - 2 * 0.6 * 0.7 * 0.6)
    assert -theta * sd**2 == pytest.approx(0.7 * 0.6 - 0.6 * (1 + 0.7 * 0.36) + 0.36 * 0.7 * 0.6)
