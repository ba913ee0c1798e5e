"""The rope model on simulated lines: coverage, false alarms, steps found; the figures are printed."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.rope.drift_model import fit_rope
from lineview.rope.forecast import HORIZON_H, time_to_leave
from lineview.rope.watch import watch
from tests.simulate.rope_batches import line

TOLERANCE_MM = 0.3


def wear_and_leaving(lines: int, seed: int, unrecorded: int = 0) -> dict[str, float]:
    """Share of lines whose wear, and time to tolerance, lie in their intervals; steps found and invented."""
    rng = np.random.default_rng(seed)
    wear = leaving = asked = hits = steps = invented = 0
    for _ in range(lines):
        points, truth = line(rng, unrecorded=unrecorded)
        model = fit_rope(points, truth.recorded)
        assert model is not None
        low, high = model.fit.interval(model.contrast(wear=1.0))
        wear += low < truth.wear < high
        found = [a.first for a in model.adjustments if not a.recorded]
        steps += len(truth.steps)
        hits += sum(any(abs(at - f) <= 2 for f in found) for at, _ in truth.steps)
        invented += any(all(abs(at - f) > 2 for at, _ in truth.steps) for f in found)
        if abs(truth.level_now) < TOLERANCE_MM:
            asked += 1
            edge = np.copysign(TOLERANCE_MM, truth.wear)
            hours = (edge - truth.level_now) / truth.wear
            hours = hours if hours <= HORIZON_H else np.inf
            time = time_to_leave(model, float(model.hours[-1]), -TOLERANCE_MM, TOLERANCE_MM)
            start = np.inf if time.low_h is None else time.low_h
            end = np.inf if time.high_h is None else time.high_h
            leaving += start <= hours <= end
    return {
        "lines": lines, "wear covered": wear / lines, "leaving covered": leaving / max(1, asked),
        "asked": asked, "steps found": hits / max(1, steps), "lines with a step invented": invented / lines,
    }  # fmt: skip


def false_alarms(lines: int, seed: int, false_alarm_h: float) -> dict[str, float]:
    """Alarms without wear over those expected of the rate asked for; each line counts up to its first."""
    rng = np.random.default_rng(seed)
    alarms, expected = {"joint": 0, "cusum": 0}, {"joint": 0.0, "cusum": 0.0}
    for _ in range(lines):
        points, truth = line(rng, wear=0.0, batches=290, recorded=0)
        model = fit_rope(points, truth.recorded)
        assert model is not None
        charts = watch(model, false_alarm_h)
        together = [frame["signal"].to_numpy() for frame in (charts.ewma, charts.quick, charts.single)]
        summed = charts.cusum["signal"].to_numpy()
        for name, signal in (("joint", np.any(together, axis=0)), ("cusum", summed)):
            outside = np.flatnonzero(signal)
            alarms[name] += outside.size > 0
            expected[name] += (outside[0] + 1 if outside.size else signal.size) / charts.run_length
    return {name: alarms[name] / expected[name] for name in alarms} | {"lines": lines}


def test_wear_and_leaving_few():
    found = wear_and_leaving(60, 101)
    print(found)
    assert found["wear covered"] >= 0.86  # 0.95 less three standard errors of 60 lines
    assert found["leaving covered"] >= 0.75
    assert found["lines with a step invented"] <= 0.2


def test_steps_few():
    found = wear_and_leaving(40, 102, unrecorded=1)
    print(found)
    assert found["steps found"] >= 0.85
    assert found["wear covered"] >= 0.84


def test_false_alarms_few():
    found = false_alarms(40, 103, 30.0)
    print(found)
    assert 0.5 <= found["joint"] <= 1.6
    assert 0.5 <= found["cusum"] <= 1.6


@pytest.mark.long
def test_wear_and_leaving_500_lines():
    found = wear_and_leaving(500, 1)
    print(found)
    assert 0.93 <= found["wear covered"] <= 0.97
    assert 0.88 <= found["leaving covered"] <= 0.92


@pytest.mark.long
def test_steps_500_lines():
    found = wear_and_leaving(500, 2, unrecorded=1)
    print(found)
    assert found["steps found"] >= 0.95
    assert 0.93 <= found["wear covered"] <= 0.97


@pytest.mark.long
def test_false_alarms_500_lines():
    found = false_alarms(500, 3, 30.0)
    print(found)
    assert 0.85 <= found["joint"] <= 1.15
    assert 0.85 <= found["cusum"] <= 1.15
