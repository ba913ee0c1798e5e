"""Diameter and mass: constructed checks of the rope's geometry."""

from itertools import pairwise

import pytest

from lineview.measures.rope_continuity import continuous_speeds
from lineview.measures.rope_weight import mass_change_g, mass_ratio, piece_mass_g


def test_one_percent_of_diameter_is_two_percent_of_mass_constructed():
    assert 100 * (mass_ratio(14.14, 14.0) - 1) == pytest.approx(2.01, abs=1e-6)


def test_piece_mass_constructed():
    assert piece_mass_g(14.0, 35.587, 1.2) == pytest.approx(6.5738, abs=1e-4)
    assert mass_change_g(6.5738, 14.0, 0.14) == pytest.approx(6.5738 * 0.0201, abs=1e-9)


def test_roller_train_constructed():
    speeds = continuous_speeds([40, 28, 20, 14], last_speed=207.6)
    assert speeds == pytest.approx([25.43, 51.9, 101.72, 207.6], abs=0.01)
    ratios = [b / a for a, b in pairwise(speeds)]
    assert ratios == pytest.approx([2.0408, 1.96, 2.0408], abs=0.01)
