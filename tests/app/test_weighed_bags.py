"""Weighed bags as text: every bad line told, other units recognised, odd samples remarked on."""

from __future__ import annotations

import pytest

from lineview.app.bags import check_bags, lot_words, read_masses
from lineview.core.errors import AskError, IntakeError, MeasureError


def test_masses_are_read_with_point_or_comma_and_the_tare_is_taken_off() -> None:
    text = "\ufeff".strip("\ufeff") + "# invented\n454.5\n455,25 # the second\n\n"
    assert read_masses(text, "bags", 0.5) == [454.0, 454.75]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("heavy", "is not a mass"),
        ("nan", "is not a mass"),
        ("inf", "is not a mass"),
        ("1.234,5", "is not a mass"),
        ("454;455", "is not a mass"),
        ("=1+1", "is not a mass"),
        ("0", "more than the tare of 2 g"),
        ("-454", "more than the tare of 2 g"),
        ("2", "more than the tare of 2 g"),
    ],
)
def test_what_is_no_bag_is_refused_with_its_line_and_reason(line: str, words: str) -> None:
    with pytest.raises(IntakeError) as told:
        read_masses(f"454\n{line}\n455\n", "masses", 2.0)
    assert [fault.where for fault in told.value.faults] == ["masses line 2"]
    assert words in str(told.value.faults[0])


def test_no_mass_at_all_and_far_too_many_faults() -> None:
    with pytest.raises(IntakeError, match="there is not a mass"):
        read_masses("# nothing\n\n", "masses")
    with pytest.raises(IntakeError) as told:
        read_masses("x\n" * 400, "masses")
    assert len(told.value.faults) == 51
    assert "350 further lines" in str(told.value.faults[-1])


@pytest.mark.parametrize(
    ("factor", "words"),
    [(1 / 28.349523125, "ounces, not grams"), (0.001, "kilograms, not grams"), (1 / 453.59237, "pounds, not")],
)
def test_masses_in_another_unit_are_told_and_not_checked(factor: float, words: str) -> None:
    with pytest.raises(AskError, match=words):
        check_bags([454 * factor] * 12, 454.0, 200, "hb133")


def test_a_label_that_is_none_or_of_another_bag() -> None:
    with pytest.raises(AskError, match="above 0 g"):
        check_bags([454.0], 0.0, 200, "eu")
    with pytest.raises(AskError, match="far from its label"):
        check_bags([454.0], 150.0, 200, "eu")
    with pytest.raises(MeasureError, match="of a lot of 2"):
        check_bags([454.0] * 3, 454.0, 2, "eu")


def test_one_bag_and_equal_bags_are_remarked_on() -> None:
    one = lot_words(check_bags([455.0], 454.0, 1, "hb133"))
    assert any("no spread" in reason for reason in one.reasons)
    assert "standard deviation" not in one.numbers
    equal = lot_words(check_bags([455.0] * 12, 454.0, 200, "hb133"))
    assert any("was stuck" in reason for reason in equal.reasons)


def test_a_mass_that_can_be_read_in_two_ways_is_refused() -> None:
    with pytest.raises(IntakeError, match="'1,012' is not a mass; expected 1012 or 1"):
        read_masses("1012.5\n1,012\n", "bags")
