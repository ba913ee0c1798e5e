"""The capability that reaches a reader of a mean that is off, either way, against its truth and its draws."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lineview.report.answer import to_json
from lineview.weight.account import weight_account
from tests.from_frames import answered, inputs
from tests.simulate.weighed_line import frames, plant, scope, weights

TARGET_G, TOLERANCE_G, BETWEEN_G, WITHIN_G, OFF_G = 6.57, 0.6, 0.08, 0.25, 0.2
#: The indices' truth: of a mean that is off by OFF_G, either way.
CP, CPK = TOLERANCE_G / (3 * WITHIN_G), (TOLERANCE_G - OFF_G) / (3 * WITHIN_G)
TOTAL_G = np.hypot(BETWEEN_G, WITHIN_G)
PP, PPK = TOLERANCE_G / (3 * TOTAL_G), (TOLERANCE_G - OFF_G) / (3 * TOTAL_G)


@pytest.fixture(scope="module", params=[-1, 1], ids=["light", "heavy"])
def shown(request: pytest.FixtureRequest) -> tuple[dict, object]:
    weighed = weights(batches=40, mean=TARGET_G + request.param * OFF_G, between=BETWEEN_G, within=WITHIN_G, seed=3)
    given = inputs("weight", plant(), scope(), frames(weighed))
    period = (scope().period.start, scope().period.end)
    account = weight_account(plant(), given.weights, given.batches, given.counts, period)
    figures = json.loads(to_json(answered("weight", plant(), scope(), frames(weighed))))["figures"]
    return figures, account.scaled


def test_the_indices_hold_their_truth(shown) -> None:
    figures, _ = shown
    for name, truth in (("cp", CP), ("cpk", CPK), ("pp", PP), ("ppk", PPK)):
        figure = figures[name]
        assert figure["low"] < truth < figure["high"], (name, truth, figure)
        assert figure["value"] == pytest.approx(truth, rel=0.12), name


def test_their_limits_are_the_draws_at_95_percent(shown) -> None:
    figures, scaled = shown
    for names, variances in ((("cp", "cpk"), scaled.draws_within), (("pp", "ppk"), scaled.draws_total)):
        roots = 3 * np.sqrt(variances)
        near = (1 - scaled.draws_mean) if scaled.mean > 0 else (1 + scaled.draws_mean)  # the limit that is near
        for name, index in zip(names, (1 / roots, near / roots), strict=True):
            low, high = np.quantile(index, [0.025, 0.975])
            assert (figures[name]["low"], figures[name]["high"]) == pytest.approx((low, high), rel=1e-6), name
