"""References that tests hold the project to, themselves held to what is printed.

Lucas and Saccucci (1990), table 3: partly read, partly from memory; Crowder (1987), table 1: read in the R package
spc; Narasimhan & Jordache, Data Reconciliation and Gross Error Detection, table 1-1: from memory.
"""

import numpy as np
import pytest

from tests.references.ewma_run_lengths import ewma_run_length
from tests.references.reconciled import reconcile

MEASURED = [101.91, 64.45, 34.65, 64.20, 36.44, 98.88]
BALANCES = [[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]]


def test_heat_exchanger_with_bypass() -> None:
    out = reconcile(MEASURED, np.ones(6), BALANCES)
    assert out.values == pytest.approx([100.22, 64.50, 35.72, 64.50, 35.72, 100.22], abs=5.1e-3)
    assert np.array(BALANCES) @ out.values == pytest.approx(np.zeros(4), abs=1e-9)
    # Recomputed: the global statistic with unit variances, on 4 degrees of freedom.
    assert out.statistic == pytest.approx(6.4075, abs=5e-5)
    assert out.df == 4


def test_reconciled_values_are_never_less_certain_than_measured_ones() -> None:
    out = reconcile(MEASURED, [1.0, 0.5, 0.5, 0.8, 0.4, 1.2], BALANCES)
    assert (out.sd <= np.array([1.0, 0.5, 0.5, 0.8, 0.4, 1.2]) + 1e-12).all()
    assert out.adjustments == pytest.approx(out.values - np.array(MEASURED))


@pytest.mark.parametrize(
    ("smoothing", "width", "printed"),
    [
        (0.5, 3.071, (500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.5, 1.93, 1.58, 1.34, 1.07)),
        (0.03, 2.437, (500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.8, 4.03, 3.49, 3.11, 2.55)),
    ],
)
def test_lucas_saccucci_1990_table_3_ewma_partly_from_memory(smoothing, width, printed):
    shifts = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5)
    for shift, length in zip(shifts, printed, strict=True):
        assert ewma_run_length(smoothing, width, shift) == pytest.approx(length, rel=0.005, abs=0.0051)


@pytest.mark.parametrize(
    ("smoothing", "printed"),
    [
        # the paper prints 3.95 at shift 1.25, a known misprint for 3.59
        (0.5, (26.45, 20.12, 11.89, 7.29, 4.91, 3.59, 2.8, 2.29, 1.94, 1.7, 1.51, 1.37, 1.26, 1.18, 1.12,
        1.08, 1.05)),
        (0.05, (127.53, 43.94, 18.97, 11.64, 8.38, 6.56, 5.41, 4.62, 4.04, 3.61, 3.26, 2.99, 2.76, 2.56,
        2.39, 2.26,
                2.15)),
    ],
)  # fmt: skip
def test_crowder_1987_table_1_ewma(smoothing, printed):
    for i, length in enumerate(printed):
        assert ewma_run_length(smoothing, 2.0, 0.25 * i) == pytest.approx(length, abs=0.0075)
