"""Exponential smoothing and demand now and then: R's ets on AirPassengers, Croston in R."""

import math

import numpy as np
import pytest

from lineview.stats.croston import croston

# Box & Jenkins series G, as in R's AirPassengers.
AIR = [
    112, 118, 132, 129, 121, 135, 148, 148, 136, 119, 104, 118, 115, 126, 141, 135, 125, 149, 170, 170, 158,
    133, 114, 140, 145, 150, 178, 163, 172, 178, 199, 199, 184, 162, 146, 166, 171, 180, 193, 181, 183, 218,
    230, 242, 209, 191, 172, 194, 196, 196, 236, 235, 229, 243, 264, 272, 237, 211, 180, 201, 204, 188, 235,
    227, 234, 264, 302, 293, 259, 229, 203, 229, 242, 233, 267, 269, 270, 315, 364, 347, 312, 274, 237, 278,
    284, 277, 317, 313, 318, 374, 413, 405, 355, 306, 271, 306, 315, 301, 356, 348, 355, 422, 465, 467, 404,
    347, 305, 336, 340, 318, 362, 348, 363, 435, 491, 505, 404, 359, 310, 337, 360, 342, 406, 396, 420, 472,
    548, 559, 463, 407, 362, 405, 417, 391, 419, 461, 472, 535, 622, 606, 508, 461, 390, 432,
]  # fmt: skip
START = [
    0.885377815022177, 0.956702662008391, 1.056047900051293, 0.99999180855271, 0.919180306022048,
    1.085134031807439, 1.179508600961119, 1.175260207179007, 1.073990502896665, 0.935173924204861,
    0.814655016855593, 0.918977224438701,
]  # fmt: skip


def test_croston_1972_as_in_r_forecast() -> None:
    y = [0, 1, 0, 0, 3, 0, 0, 0, 2, 0, 1, 0, 0, 0, 0, 4, 0, 2, 0, 0]
    assert croston(y, 0.1).per_period == pytest.approx(0.634365139, abs=1e-8)
    assert croston(y, 0.2).per_period == pytest.approx(0.703446681, abs=1e-8)
    assert croston(y, 0.2).unbiased == pytest.approx(0.9 * 0.703446681, abs=1e-8)


@pytest.mark.parametrize(
    ("damped", "smoothing", "printed", "parameters"),
    [
        (True, {"smoothing_level": 0.7096, "smoothing_trend": 0.0204, "smoothing_seasonal": 0.0001,
                "damping_trend": 0.98}, 1395.166, 18),
        (False, {"smoothing_level": 0.395, "smoothing_trend": 0.0107, "smoothing_seasonal": 0.3995},
         1398.807, 17),
    ],
)  # fmt: skip
def test_r_forecast_ets_airpassengers_at_its_printed_parameters(
    damped: bool, smoothing: dict[str, float], printed: float, parameters: int
) -> None:
    """R forecast 8.20, ets(AirPassengers): the library that seasons are fitted with, held against R's.

    R leaves constants out of its likelihood; with them put back, the library's best starting states at R's
    own smoothing parameters reach an AIC 0.57 and 0.62 below the printed one: R's search stopped that short.
    The optimum itself depends on the search (the library's own damped one ends at 1396.23): it is not held.
    """
    from statsmodels.tsa.exponential_smoothing.ets import ETSModel

    n = len(AIR)
    model = ETSModel(
        np.array(AIR, float), error="mul", trend="add", seasonal="mul", damped_trend=damped,
        seasonal_periods=12,
    )  # fmt: skip
    with model.fix_params(smoothing):
        fit = model.fit(disp=False, maxiter=10_000)
    left_out = n * (math.log(n) - math.log(2.0 * math.pi) - 1.0)
    aic = -2.0 * fit.llf + 2 * parameters + left_out
    print(f"AIC {aic:.3f}, R prints {printed}")
    assert printed - 0.7 < aic <= printed
