"""Common practice of the trade, without a source, and one maker's page (68 to 70 pieces a pound)."""

import pytest

from lineview.core.units import convert

POUND_G = convert(1, "lb", "g")


def test_a_fifty_pound_batch_lasts_nine_and_a_half_minutes() -> None:
    assert pytest.approx(9.5, abs=0.05) == 50 * POUND_G / 6.8 / 350


def test_sixty_eight_to_seventy_pieces_a_pound() -> None:
    # A maker's page: 68-70 pieces a pound at 450 a minute is about 6.5 lb a minute.
    assert [POUND_G / n for n in (68, 70)] == pytest.approx([6.67, 6.48], abs=0.006)
    assert [450 / n for n in (68, 70)] == pytest.approx([6.62, 6.43], abs=0.006)


def test_three_to_four_hundred_a_minute_by_the_hour() -> None:
    assert [60 * rate for rate in (300, 400)] == [18_000, 24_000]
