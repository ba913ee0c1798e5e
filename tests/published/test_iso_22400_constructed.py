"""ISO 22400-2:2014 formulas as in OPC 40501-1 Annex C.2.4: constructed cases, and one from memory."""

import pytest

from lineview.machine.stops import StopCount
from lineview.shift.key_figures import TimeElements, iso_key_figures

SHIFT = TimeElements(450, 390, 25, 35, 1 / 350, 125_000, 122_500, 2_100, 400)


def figures(elements: TimeElements) -> dict[str, float | None]:
    return {key.name: key.value for key in iso_key_figures(elements)}


def test_constructed_shift() -> None:
    assert SHIFT.processing_min == 415
    assert SHIFT.busy_min == 450
    assert figures(SHIFT) == pytest.approx(
        {
            "availability": 0.866667,
            "effectiveness": 0.915751,
            "quality_ratio": 0.98,
            "oee_index": 0.777778,
            "nee_index": 0.827635,
            "allocation_efficiency": 1.0,
            "utilization_efficiency": 0.866667,
            "technical_efficiency": 0.917647,
            "setup_ratio": 0.060241,
            "scrap_ratio": 0.0168,
            "rework_ratio": 0.0032,
        },
        abs=1e-5,
    )
    assert SHIFT.produced / SHIFT.planned_busy_min == pytest.approx(277.777778)


def test_constructed_effectiveness_above_one_is_not_capped() -> None:
    ratios = figures(TimeElements(40, 40, 0, 0, 1 / 300, 14_000, 14_000))
    assert ratios["effectiveness"] == pytest.approx(1.166667, abs=1e-5)


def test_nothing_planned_gives_no_ratio() -> None:
    assert set(figures(TimeElements(0, 0, 0, 0, 1 / 350, 0, 0)).values()) == {None}


def test_reliability_divisors_from_memory() -> None:
    """The standard divides by FE + 1 for the mean time between failures, by FE for the mean time to restoration.

    Between failures the page divides by the failures: a shift's ends cut its first and last stretch off, and time
    over failures is the estimate that cut-off stretches do not shorten.
    """
    runs, restore = [120, 95, 140, 35], [6, 14, 10]
    count = StopCount(events=3, restored=3, stopped_min=sum(restore), run_min=sum(runs))
    assert count.mean_to_restore_min == 10
    assert count.mean_between_min == 130
    assert count.run_min / (count.events + 1) == 97.5  # the standard's, of stretches between failures
