"""Average run lengths as printed by Lucas and Crosier, Lucas and Saccucci, Crowder, Champ and Woodall.

Partly read, partly from memory, except Crowder's table (read in the R package spc).
"""

import pytest

from lineview.stats.control_charts import run_rule_length
from lineview.stats.run_lengths import cusum_limit, cusum_run_length
from tests.references.ewma_run_lengths import ewma_run_length
from tests.references.western_rules import WESTERN

SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5)


@pytest.mark.parametrize(
    ("limit", "headstart", "printed"),
    [
        (4, 0, (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71, 1.31)),
        (4, 2, (149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07, 1.01)),
        (5, 0, (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01, 1.69)),
    ],
)
def test_lucas_crosier_1982_table_1_cusum_partly_from_memory(limit, headstart, printed):
    for shift, length in zip(SHIFTS, printed, strict=True):
        assert cusum_run_length(0.5, limit, shift, headstart) == pytest.approx(length, rel=0.005, abs=0.0051)


def test_montgomery_table_9_4_cusum_limits_from_memory():
    for k, h in ((0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)):
        assert cusum_limit(k, 370.0) == pytest.approx(h, abs=0.0065)


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


@pytest.mark.parametrize(
    ("rules", "printed"),
    [
        ((1,), 370.4), ((1, 2), 225.44), ((1, 3), 166.05), ((1, 4), 152.73), ((1, 2, 3), 132.89),
        ((1, 2, 4), 122.05), ((1, 3, 4), 105.78), ((1, 2, 3, 4), 91.75),
    ],
)  # fmt: skip
def test_champ_woodall_1987_table_1_run_rules_partly_from_memory(rules, printed):
    assert run_rule_length(tuple(WESTERN[r] for r in rules)) == pytest.approx(printed, abs=0.011)
