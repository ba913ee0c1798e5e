"""Average run lengths as printed by Lucas and Crosier, Champ and Woodall: partly read, partly from memory."""

import pytest

from lineview.stats.control_charts import run_rule_length
from lineview.stats.run_lengths import cusum_limit, cusum_run_length
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
    ("rules", "printed"),
    [
        ((1,), 370.4), ((1, 2), 225.44), ((1, 3), 166.05), ((1, 4), 152.73), ((1, 2, 3), 132.89),
        ((1, 2, 4), 122.05), ((1, 3, 4), 105.78), ((1, 2, 3, 4), 91.75),
    ],
)  # fmt: skip
def test_champ_woodall_1987_table_1_run_rules_partly_from_memory(rules, printed):
    assert run_rule_length(tuple(WESTERN[r] for r in rules)) == pytest.approx(printed, abs=0.011)
