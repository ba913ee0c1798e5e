"""Run rules on the batches' residuals, where somebody asks for them and where they are valid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lineview.measures.rope_model import RopeModel
from lineview.measures.rope_watch import fresh_residuals
from lineview.stats.correlated_regression import innovations
from lineview.stats.run_rules import RunRule, nelson_test, run_rule_length
from lineview.stats.serial_correlation import LjungBox, ljung_box

#: Residuals that are independent fail the test in this share of lines.
FAILS = 0.05
#: Autocorrelations pooled, and batches needed for them.
LAGS, LEAST = 10, 30
#: The tests whose run length together can be worked out.
LENGTHS = {
    1: RunRule(1, 1, 3.0, np.inf),
    2: RunRule(9, 9, 0.0, np.inf),
    5: RunRule(2, 3, 2.0, np.inf),
    6: RunRule(4, 5, 1.0, np.inf),
}


@dataclass(frozen=True)
class RunRules:
    """The tests asked for and where each signals; `refused` says why none was applied, "" where they were.

    `run_length` is how many batches pass to a false alarm of all of them together, on average; None where
    it cannot be worked out.
    """

    signals: dict[int, NDArray[np.bool_]]
    run_length: float | None
    refused: str = ""


def run_rules(model: RopeModel, tests: Sequence[int]) -> RunRules:
    """Apply run rules to a rope's residuals.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    tests : sequence of int
        Of Nelson's eight, 1 to 8.

    Returns
    -------
    RunRules
        Refused where the residuals about the model still depend on each other, or where too few batches
        tell: the rules take independent points for granted.

    Notes
    -----
    Source: nelson-1984, champ-woodall-1987, nist-handbook
    """
    wanted = sorted(set(tests))
    if model.n < LEAST:
        return RunRules({}, None, f"too few batches to see whether residuals are independent: needs {LEAST}")
    left = left_over(model)
    if left.p < FAILS:
        return RunRules(
            {},
            None,
            "the residuals still depend on each other (Ljung–Box "
            f"{left.statistic:.1f} on {left.df} degrees of freedom, chance {left.p:.1%})",
        )
    z = fresh_residuals(model)
    length = _length(tuple(wanted)) if set(wanted) <= set(LENGTHS) else None
    return RunRules({test: nelson_test(z, test) for test in wanted}, length)


def left_over(model: RopeModel) -> LjungBox:
    """Test whether the residuals about the whole model, wear taken out too, still depend on each other.

    Parameters
    ----------
    model : RopeModel
        The fitted model.

    Returns
    -------
    LjungBox
        Of the residuals filtered by the likeliest noise.

    Notes
    -----
    Source: nist-handbook
    """
    noise = model.fit.noises[model.fit.mode]
    white = innovations(noise, model.deviation - model.expected())
    fitted = (noise.phi != 0.0) + (noise.white != 0.0)
    return ljung_box(white[1:], LAGS, fitted)


@lru_cache(maxsize=32)
def _length(tests: tuple[int, ...]) -> float:
    return run_rule_length(tuple(LENGTHS[test] for test in tests))
