"""NIST Statistical Reference Datasets, univariate: certified values (partly from memory).

Lew, Michelso, NumAcc1 to NumAcc4. The data are decimals; sums are made exactly on them as written, so the
certified digits come out although the binary doubles of NumAcc3 and NumAcc4 are themselves off in the ninth.
"""

from __future__ import annotations

import math

import pytest

from lineview.stats.means import summarize

# fmt: off
LEW = [
    -213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125, -559, 92,
    -21, -579, -52, 99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572, -8, 83, -541,
    -224, 180, -420, -374, 201, -236, -531, 83, 27, -564, -112, 131, -507, -254, 199, -311, -495, 143,
    -46, -579, -90, 136, -472, -338, 202, -287, -477, 169, -124, -568, 17, 48, -568, -135, 162, -430,
    -422, 172, -74, -577, -13, 92, -534, -243, 194, -355, -465, 156, -81, -578, -64, 139, -449, -384,
    193, -198, -538, 110, -44, -577, -6, 66, -552, -164, 161, -460, -344, 205, -281, -504, 134, -28,
    -576, -118, 156, -437, -381, 200, -220, -540, 83, 11, -568, -160, 172, -414, -408, 188, -125, -572,
    -32, 139, -492, -321, 205, -262, -504, 142, -83, -574, 0, 48, -571, -106, 137, -501, -266, 190,
    -391, -406, 194, -186, -553, 83, -13, -577, -49, 103, -515, -280, 201, 300, -506, 131, -45, -578,
    -80, 138, -462, -361, 201, -211, -554, 32, 74, -533, -235, 187, -372, -442, 182, -147, -566, 25, 68,
    -535, -244, 194, -351, -463, 174, -125, -570, 15, 72, -550, -190, 172, -424, -385, 198, -218, -536,
    96,
]
MICHELSO = [
    299.85, 299.74, 299.9, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88, 300.0, 299.98,
    299.93, 299.65, 299.76, 299.81, 300.0, 300.0, 299.96, 299.96, 299.96, 299.94, 299.96, 299.94,
    299.88, 299.8, 299.85, 299.88, 299.9, 299.84, 299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.8,
    299.79, 299.76, 299.8, 299.88, 299.88, 299.88, 299.86, 299.72, 299.72, 299.62, 299.86, 299.97,
    299.95, 299.88, 299.91, 299.85, 299.87, 299.84, 299.84, 299.85, 299.84, 299.84, 299.84, 299.89,
    299.81, 299.81, 299.82, 299.8, 299.77, 299.76, 299.74, 299.75, 299.76, 299.91, 299.92, 299.89,
    299.86, 299.88, 299.72, 299.84, 299.85, 299.85, 299.78, 299.89, 299.84, 299.78, 299.81, 299.76,
    299.81, 299.79, 299.81, 299.82, 299.85, 299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95,
    299.8, 299.81, 299.87,
]
# fmt: on


def digits(value: float | None, certified: float) -> float:
    """Give how many digits agree: NIST's log relative error, 15 where nothing differs."""
    off = abs((value or 0.0) - certified) / abs(certified)
    return 15.0 if off == 0 else min(-math.log10(off), 15.0)


def numacc(first: float, low: float, high: float) -> list[float]:
    return [first, *([low, high] * 500)]


CERTIFIED = {
    "Lew": (LEW, -177.435, 277.332168044316, -0.307304800605679),
    "Michelso": (MICHELSO, 299.8524, 0.0790105478190518, 0.535199668621283),
    "NumAcc1": ([10000001, 10000003, 10000002], 10000002, 1, -0.5),
    "NumAcc2": (numacc(1.2, 1.1, 1.3), 1.2, 0.1, -0.999),
    "NumAcc3": (numacc(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999),
    "NumAcc4": (numacc(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_nist_strd_univariate_to_14_digits(name: str) -> None:
    values, mean, sd, r1 = CERTIFIED[name]
    summary = summarize(values)
    assert summary.n == len(values)
    agreement = [digits(f, c) for f, c in ((summary.mean, mean), (summary.sd, sd), (summary.r1, r1))]
    print(f"\nNIST StRD {name}: mean, sd, r1 agree to {', '.join(f'{d:.1f}' for d in agreement)} digits")
    assert summary.mean == pytest.approx(mean, rel=1e-14)
    assert summary.sd == pytest.approx(sd, rel=1e-14)
    assert summary.r1 == pytest.approx(r1, rel=2e-14)
