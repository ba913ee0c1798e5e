"""Willmott and McCarthy, TPM: A Route to World-Class Performance, worked examples on pages 85 and 127."""

import pytest

from lineview.shift.key_figures import TimeElements, iso_key_figures

VALUES = {"oee": [44.6, 43.8, 36.7, 31.9]}
WEEKS = list(zip([65.0, 58.0, 47.0, 44.7], [70.0, 77.0, 80.0, 72.5], [98.0, 98.0, 97.5, 98.5], strict=True))


def figures(elements: TimeElements) -> dict[str, float | None]:
    return {key.name: key.value for key in iso_key_figures(elements)}


def week(availability: float, performance: float, quality: float) -> TimeElements:
    """A week of 1,000 planned minutes with these ratios, at one piece a minute."""
    run = 1000 * availability / 100
    pieces = run * performance / 100
    return TimeElements(1000, run, 0, 1000 - run, 1.0, pieces, pieces * quality / 100)


def test_page_127_availability_and_performance() -> None:
    # 910 planned minutes, 115 of stops, 12 of changeover, three minutes a cycle, 203 cycles; here the book
    # counts changeover as downtime. It prints 77.7, truncated from 77.78.
    elements = TimeElements(910, 910 - 115 - 12, 12, 115, 3.0, 203, 203)
    assert elements.production_min == 783
    assert elements.setup_min + elements.delay_min == 127
    ratios = figures(elements)
    assert ratios["availability"] == pytest.approx(0.860, abs=6e-4)
    assert ratios["effectiveness"] == pytest.approx(0.777, abs=1e-3)
    assert elements.production_min / 3 == 261


@pytest.mark.parametrize(("ratios", "printed"), zip(WEEKS, VALUES["oee"], strict=True))
def test_page_85_weeks(ratios: tuple[float, float, float], printed: float) -> None:
    oee = figures(week(*ratios))["oee_index"]
    assert oee is not None
    assert 100 * oee == pytest.approx(printed, abs=0.06)
