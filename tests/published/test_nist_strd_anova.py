"""NIST Statistical Reference Datasets, analysis of variance: certified values.

SmLs01 to SmLs09 share one rule: groups of 21, 201 or 2001 values about 1.4, with 0, 1e6 or 1e12 added. The
rule and the certified F of 21, 201 and 2001 for SmLs02, 03, 05, 06, 08 and 09 are from memory; 01 and 07 were
read. The 14-digit decimals of SmLs07 to 09 are no binary doubles: exact sums on the doubles themselves give
F = 21.0008, and only the decimals as written give the certified 21.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from test_nist_strd_univariate import digits

from lineview.statistics.anova import one_way

# fmt: off
SIRSTV = [
    [196.3052, 196.124, 196.189, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.185, 196.0052, 196.209],
]
ATMWTAG = [
    [107.8681568, 107.8681465, 107.8681572, 107.8681785, 107.8681446, 107.8681903, 107.8681526,
    107.8681494, 107.8681616, 107.8681587, 107.8681519, 107.8681486, 107.8681419, 107.8681569,
    107.8681508, 107.8681672, 107.8681385, 107.8681518, 107.8681662, 107.8681424, 107.868136,
    107.8681333, 107.868161, 107.8681477],
    [107.8681079, 107.8681344, 107.8681513, 107.8681197, 107.8681604, 107.8681385, 107.8681642,
    107.8681365, 107.8681151, 107.8681082, 107.8681517, 107.8681448, 107.8681198, 107.8681482,
    107.8681334, 107.8681609, 107.8681101, 107.8681512, 107.8681469, 107.868136, 107.8681254,
    107.8681261, 107.868145, 107.8681368],
]
# fmt: on


def smls(each: int, added: int) -> list[list[float]]:
    """Give the nine groups: the first value of each, then two values in turn a tenth either side of it."""
    groups = []
    for middle in (4, 3, 5, 3, 5, 3, 5, 3, 5):
        tenths = [middle, *([middle - 1, middle + 1] * ((each - 1) // 2))]
        groups.append([float(f"{added + 1}.{t}") for t in tenths])
    return groups


CERTIFIED = {
    "SiRstv": (SIRSTV, 0.0511462616, 0.21663656, 1.18046237440255),
    "AtmWtAg": (ATMWTAG, 3.638341875e-09, 1.04951729166667e-08, 15.946733567793),
    "SmLs01": (smls(21, 0), 1.68, 1.80, 21.0),
    "SmLs02 (from memory)": (smls(201, 0), 16.08, 18.0, 201.0),
    "SmLs03 (from memory)": (smls(2001, 0), 160.08, 180.0, 2001.0),
    "SmLs04 (from memory)": (smls(21, 10**6), 1.68, 1.80, 21.0),
    "SmLs05 (from memory)": (smls(201, 10**6), 16.08, 18.0, 201.0),
    "SmLs06 (from memory)": (smls(2001, 10**6), 160.08, 180.0, 2001.0),
    "SmLs07": (smls(21, 10**12), 1.68, 1.80, 21.0),
    "SmLs08 (from memory)": (smls(201, 10**12), 16.08, 18.0, 201.0),
    "SmLs09 (from memory)": (smls(2001, 10**12), 160.08, 180.0, 2001.0),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_nist_strd_anova_to_13_digits(name: str) -> None:
    groups, between, within, f = CERTIFIED[name]
    found = one_way(groups)
    pairs = ((found.ss_between, between), (found.ss_within, within), (found.f, f))
    told = [digits(value, certified) for value, certified in pairs]
    print(f"\nNIST StRD {name}: between, within, F agree to {', '.join(f'{d:.1f}' for d in told)} digits")
    assert found.ss_between == pytest.approx(between, rel=1e-13)
    assert found.ss_within == pytest.approx(within, rel=1e-13)
    assert found.f == pytest.approx(f, rel=1e-13)


def test_smls07_in_binary_doubles_is_another_data_set() -> None:
    """What the doubles, taken as they are, would give: 21.00081188782, which is no fault of a program."""
    groups = [[Fraction(v) for v in g] for g in smls(21, 10**12)]
    values = [v for g in groups for v in g]
    grand = sum(values) / len(values)
    means = [sum(g) / len(g) for g in groups]
    between = sum(len(g) * (m - grand) ** 2 for g, m in zip(groups, means, strict=True)) / 8
    within = sum((v - m) ** 2 for g, m in zip(groups, means, strict=True) for v in g) / 180
    assert float(between / within) == pytest.approx(21.00081188782, rel=1e-12)
