"""Lot checks: hand-made lots that pass and fail for one reason each."""

from __future__ import annotations

import pytest

from lineview.app.bags import net_contents_tables
from lineview.core.errors import MeasureError
from lineview.core.language import speak, tr
from lineview.weight.contents import check_lot

TABLES = net_contents_tables()


def bags(mean: float, step: float = 1.0, n: int = 24) -> list[float]:
    return [mean + step * (i - (n - 1) / 2) / n for i in range(n)]


def test_a_lot_above_its_label_passes_and_says_so() -> None:
    found = check_lot(bags(455), 454, 1000, TABLES["hb133"])
    assert found.passed
    assert found.reasons[0] == "The mean is 1.00 g above the label."
    assert "not compared" in found.banner


def test_a_mean_within_chance_passes_and_beyond_fails() -> None:
    within = check_lot(bags(453.9), 454, 1000, TABLES["hb133"])
    assert within.passed and "within the" in within.reasons[0]
    beyond = check_lot(bags(453.8), 454, 1000, TABLES["hb133"])
    assert not beyond.passed
    assert "below the label, more than" in beyond.reasons[0]


def test_the_boundary_of_the_mean_is_the_factor_times_s() -> None:
    sample = bags(454, 10.0)
    sd = check_lot(sample, 454, 1000, TABLES["hb133"]).sd_g
    assert sd is not None
    slack = 0.422 * sd
    assert check_lot([v - slack + 1e-6 for v in sample], 454, 1000, TABLES["hb133"]).passed
    assert not check_lot([v - slack - 1e-6 for v in sample], 454, 1000, TABLES["hb133"]).passed


def test_one_bag_far_short_fails_a_lot_whose_mean_is_right() -> None:
    sample = [*bags(456, n=23), 434.0]
    found = check_lot(sample, 454, 1000, TABLES["hb133"])
    assert not found.passed
    assert found.reasons[0].startswith("1 packages are below 434.1 g (label less 19.9 g); 0 may be")


def test_eu_takes_the_first_30_for_the_mean_and_50_for_the_rest() -> None:
    sample = bags(251, n=30) + bags(245, n=20)
    assert check_lot(sample, 250, 300, TABLES["eu"]).passed
    assert not check_lot(sample[::-1], 250, 300, TABLES["eu"]).passed


def test_none_may_be_short_by_twice_the_error() -> None:
    sample = [*bags(252, n=49), 231.9]
    found = check_lot(sample, 250, 300, TABLES["eu"])
    assert found.reasons[0] == "1 packages are below 232.0 g; none may be."


@pytest.mark.parametrize("mean", [456, 440])
def test_too_small_a_sample_gets_no_verdict(mean: float) -> None:
    found = check_lot(bags(mean, n=23), 454, 1000, TABLES["hb133"])
    assert found.passed is None
    assert found.reasons[0] == "The plan for a lot of 1000 needs 24 packages; 23 weighed so far."
    assert check_lot(bags(mean, n=24), 454, 1000, TABLES["hb133"]).passed is (mean > 454)


@pytest.mark.parametrize(
    ("masses", "lot", "words"),
    [
        ([], 10, "no package"),
        ([454.0, 0.0], 10, "nothing or less"),
        ([454.0, -3.0], 10, "nothing or less"),
        ([454.0] * 5, 3, "5 packages of a lot of 3"),
    ],
)
def test_faults_are_told(masses: list[float], lot: int, words: str) -> None:
    with pytest.raises(MeasureError, match=words):
        check_lot(masses, 454, lot, TABLES["hb133"])


def test_a_package_short_by_exactly_the_allowance_is_not_beyond_it() -> None:
    at_once = check_lot([*bags(252, n=49), 241.0], 250, 300, TABLES["eu"])  # 250 g may be 9 g short
    assert at_once.allowance_g == 9
    assert at_once.beyond == 0
    assert check_lot([*bags(252, n=49), 240.999], 250, 300, TABLES["eu"]).beyond == 1
    assert check_lot([*bags(252, n=49), 232.0], 250, 300, TABLES["eu"]).passed
    assert not check_lot([*bags(252, n=49), 231.999], 250, 300, TABLES["eu"]).passed


@pytest.mark.parametrize("rules", TABLES)
def test_what_the_shipped_tables_say_of_themselves_is_translated(rules: str) -> None:
    table = TABLES[rules]
    speak("de")
    try:
        assert tr(table.edition) != table.edition
        assert tr(table.not_compared) != table.not_compared
    finally:
        speak("en")
