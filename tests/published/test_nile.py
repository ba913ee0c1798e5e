"""The Nile's yearly flow 1871 to 1970: Cobb, Biometrika 65 (1978); R strucchange help page (read there)."""

import numpy as np
import pytest

from lineview.statistics.change_points import find_steps
from lineview.statistics.local_level import local_level
from lineview.statistics.single_change import cusum_of_residuals, pettitt, single_change
from lineview.statistics.trend import mann_kendall, median_slope

# fmt: off
NILE = np.array([
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0, 994.0,
    1020.0, 960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0, 1030.0,
    1100.0,
    774.0, 840.0, 874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0, 831.0, 726.0,
    456.0, 824.0, 702.0, 1120.0, 1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0, 698.0, 845.0,
    744.0, 796.0, 1040.0, 759.0, 781.0, 865.0, 845.0, 944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0,
    649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0, 848.0, 890.0, 744.0, 749.0, 838.0, 1050.0,
    918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0, 912.0, 746.0, 919.0, 718.0,
    714.0, 740.0,
])
# fmt: on


def test_strucchange_breakpoint():
    found = single_change(NILE)
    assert found.last == 28  # 1898
    assert (found.before, found.after) == pytest.approx((1097.75, 849.9722), abs=6e-5)
    assert found.squares == pytest.approx((2835156.75, 1597457.194), abs=6e-4)
    assert found.bic == pytest.approx((1318.242, 1270.084), abs=6e-4)
    assert found.sup_f == pytest.approx(75.929769, abs=1e-4)
    assert cusum_of_residuals(NILE) == pytest.approx(2.9517661, abs=1e-6)


def test_pettitt_1979():
    last, k, p = pettitt(NILE)
    assert (last, k) == (28, 1617)
    assert p == pytest.approx(3.591e-07, abs=6e-11)


def test_change_points_against_ruptures():
    import ruptures

    ours = find_steps(NILE, np.ones((100, 1)), np.ones(99)).found
    theirs = ruptures.Pelt(model="l2", min_size=3, jump=1).fit(NILE).predict(pen=3 * np.log(100) * NILE.var())
    assert list(ours) == theirs[:-1] == [28]


def test_mann_kendall_computed_from_the_data():
    found, line = mann_kendall(NILE), median_slope(np.arange(100.0), NILE)
    assert found.s == -1387
    assert found.variance == pytest.approx(112728.33, abs=0.006)
    assert (found.z, found.p) == pytest.approx((-4.12807, 3.658e-5), abs=6e-6)
    assert (line.slope, line.low, line.high) == pytest.approx((-2.6, -3.62793, -1.42844), abs=6e-6)


def test_durbin_koopman_local_level_from_memory():
    found = local_level(NILE)
    assert found.noise == pytest.approx(15099, abs=0.6)
    assert found.wander == pytest.approx(1469.1, abs=0.1)  # the maximum lies at 1469.18, printed cut short


def test_local_level_against_statsmodels():
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    model = UnobservedComponents(NILE, "llevel", use_exact_diffuse=True)
    found = local_level(NILE)
    ours = model.loglike([found.noise, found.wander])
    assert ours == pytest.approx(found.log_likelihood, abs=1e-6)
    for noise, wander in ((1.02, 1), (0.98, 1), (1, 1.05), (1, 0.95)):
        assert model.loglike([found.noise * noise, found.wander * wander]) < ours
