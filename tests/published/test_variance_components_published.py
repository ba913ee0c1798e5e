"""Variance components by REML: Dyestuff (Davies and Goldsmith, table 6.3) and Oxide (Littell et al., p. 155).

Printed results: the lme4 documentation and Pinheiro and Bates, section 4.2.
"""

from __future__ import annotations

import numpy as np
import pytest

from lineview.stats.variance_components import reml

# fmt: off
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]
#: Eight lots, three wafers each (one a row), three sites each.
OXIDE = [
    [2006, 1999, 2007],
    [1980, 1988, 1982],
    [2000, 1998, 2007],
    [1991, 1990, 1988],
    [1987, 1989, 1988],
    [1985, 1983, 1989],
    [2000, 2004, 2004],
    [2001, 1996, 2004],
    [1999, 2000, 2002],
    [1997, 1994, 1996],
    [1996, 2000, 2002],
    [1987, 1990, 1995],
    [2013, 2004, 2009],
    [2023, 2018, 2010],
    [2020, 2023, 2015],
    [2032, 2036, 2030],
    [2018, 2022, 2026],
    [2009, 2010, 2011],
    [1984, 1993, 1993],
    [1992, 1992, 1990],
    [1996, 1993, 1987],
    [1996, 1989, 1996],
    [1997, 1993, 1996],
    [1990, 1989, 1992],
]
# fmt: on


def test_dyestuff() -> None:
    y, batch = np.ravel(DYESTUFF), np.repeat(np.arange(6), 5)
    components = reml(y, [batch])
    assert components.sds == pytest.approx((42.0006, 49.5101), abs=0.001)
    assert components.mean == pytest.approx(1527.5, abs=1e-6)
    assert reml(y, [batch], maximum_likelihood=True).sds == pytest.approx((37.26035, 49.5101), abs=0.001)


def test_oxide() -> None:
    y = np.ravel(OXIDE)
    lot, wafer = np.repeat(np.arange(8), 9), np.repeat(np.arange(24), 3)
    components = reml(y, [lot, wafer])
    assert components.variances[0] == pytest.approx(129.90719, abs=0.02)
    assert components.variances[1] == pytest.approx(35.86575, abs=0.002)
    assert components.variances[2] == pytest.approx(12.56944, abs=0.0002)
    assert components.sds == pytest.approx((11.3977, 5.9888, 3.5453), abs=0.001)
    assert components.mean == pytest.approx(2000.152778, abs=1e-6)
