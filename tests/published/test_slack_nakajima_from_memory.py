"""Slack, Chambers and Johnston; Nakajima, Introduction to TPM (1988): the classic chains, from memory."""

import pytest

from lineview.shift.key_figures import TimeElements, iso_key_figures


def figures(elements: TimeElements) -> dict[str, float]:
    return {key.name: key.value or 0.0 for key in iso_key_figures(elements)}


def test_slack_chain() -> None:
    # 150 h loading, 10 h changeover, 5 h breakdown, 5 h waiting and 90 % speed in performance, 3 % defective.
    # The book sets waiting against performance, so the run time here holds the 5 hours.
    run = 150 - 10 - 5
    net = (run - 5) * 0.9
    ratios = figures(TimeElements(150, run, 10, 5, 1.0, net, net * 0.97))
    assert net == 117
    assert net * 0.97 == pytest.approx(113.49)
    assert ratios["availability"] == pytest.approx(0.9)
    assert ratios["effectiveness"] == pytest.approx(0.866667, abs=1e-5)
    assert ratios["quality_ratio"] == pytest.approx(0.97)
    assert 100 * ratios["oee_index"] == pytest.approx(75.66, abs=0.005)


def test_waiting_moves_between_two_factors_and_leaves_the_product() -> None:
    # ISO 22400-2 puts waiting in delay time, hence in availability: other factors, the same index.
    net = 117.0
    slack = figures(TimeElements(150, 135, 10, 5, 1.0, net, net * 0.97))
    iso = figures(TimeElements(150, 130, 10, 10, 1.0, net, net * 0.97))
    assert iso["availability"] < slack["availability"]
    assert iso["effectiveness"] > slack["effectiveness"]
    assert iso["oee_index"] == pytest.approx(slack["oee_index"])


def test_nakajima_chain() -> None:
    # 480 - 20 minutes loading, 60 down, 0.5 minutes ideal and 0.8 actual cycle, 400 made, 98 % good.
    ratios = figures(TimeElements(460, 400, 0, 60, 0.5, 400, 392))
    assert ratios["availability"] == pytest.approx(0.87, abs=0.001)
    assert ratios["effectiveness"] == pytest.approx(0.5)
    assert pytest.approx(0.625) == 0.5 / 0.8
    assert pytest.approx(0.8) == 0.8 * 400 / 400
    assert ratios["oee_index"] == pytest.approx(0.426, abs=5e-4)
