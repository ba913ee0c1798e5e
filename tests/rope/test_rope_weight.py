"""Diameter and mass: constructed checks of the rope's geometry."""

import pytest

from lineview.app.question import read_question
from lineview.rope.mass import mass_change_g, mass_ratio


def test_one_percent_of_diameter_is_two_percent_of_mass_constructed():
    assert 100 * (mass_ratio(14.14, 14.0) - 1) == pytest.approx(2.01, abs=1e-6)


def test_mass_change_constructed():
    assert mass_change_g(6.5738, 14.0, 0.14) == pytest.approx(6.5738 * 0.0201, abs=1e-9)


def test_rope_and_weight_reconcile_their_money_for_the_same_line_and_week(week):
    rope, weight = (week.ask(read_question(q, "line1", None, "2026-06-08..2026-06-12")) for q in ("rope", "weight"))
    now, average = (rope.figure(f"{of}_effect_money_per_week") for of in ("weight", "average"))
    giveaway = weight.figure("giveaway_money_per_week")
    assert now.value > 2 * average.value  # the rope has thickened all week, and today's deviation is not the week's
    assert giveaway.low < average.value < giveaway.high  # weighed pieces say the same as the rope's average
    assert average.low < giveaway.value < average.high
    assert "the rope's part of the giveaway on the page Weight" in rope.soft
    assert "are on the page Rope" in weight.soft
