"""Diameter and mass: constructed checks of the rope's geometry."""

import pytest

from lineview.rope.mass import mass_change_g, mass_ratio


def test_one_percent_of_diameter_is_two_percent_of_mass_constructed():
    assert 100 * (mass_ratio(14.14, 14.0) - 1) == pytest.approx(2.01, abs=1e-6)


def test_mass_change_constructed():
    assert mass_change_g(6.5738, 14.0, 0.14) == pytest.approx(6.5738 * 0.0201, abs=1e-9)
