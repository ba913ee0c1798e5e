"""Charts that watch for drift: EWMA and CUSUM of batch residuals, limits from a wanted false-alarm rate."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.measures.rope_model import RopeModel
from lineview.statistics.cusum import cusum
from lineview.statistics.ewma import ewma
from lineview.statistics.run_length import cusum_limit, ewma_width
from lineview.statistics.tridiagonal_noise import one_step

Floats = NDArray[np.float64]

#: Running hours to a false alarm, on average [h].
FALSE_ALARM_H = 200.0
#: Smoothing of the EWMA and allowance of the CUSUM. Of the smoothings tried, this one is never far from the
#: quickest chart for drifts of 0.0005 to 0.1 standard deviations a batch (tests/truth, table of delays).
SMOOTHING, ALLOWANCE = 0.065, 0.25


@dataclass(frozen=True)
class Watch:
    """The charts and what they say: the first batch of the last run of signals, or None."""

    ewma: pl.DataFrame
    cusum: pl.DataFrame
    run_length: float
    width: float
    limit: float
    signal: int | None


def fresh_residuals(model: RopeModel) -> Floats:
    """Give each batch's surprise, given only the batches before it, as a standard normal value.

    Steps and temperature are taken out; wear is left in, for that is what is watched for. The level is
    learnt as the batches come, anew after each step, and its uncertainty widens the early surprises' scale.

    Parameters
    ----------
    model : RopeModel
        The fitted model.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Independent and standard normal where there is no wear; 0 for the first batch after each step.

    Notes
    -----
    Source: quesenberry-1991, derived-rope

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> import numpy as np, polars as pl
    >>> from lineview.measures.rope_model import fit_rope
    >>> rows = [{"at": datetime(2026, 6, 9, tzinfo=UTC) + timedelta(minutes=10 * i), "running_h": i / 6,
    ...     "deviation_mm": float(np.sin(9 * i)), "temperature_c": None} for i in range(30)]
    >>> model = fit_rope(pl.DataFrame(rows, schema_overrides={"temperature_c": pl.Float64}), [])
    >>> float(fresh_residuals(model)[0])
    0.0
    """
    mode = model.fit.mode
    theta, sd = one_step(model.fit.noises[mode])
    scale = sd * float(np.sqrt(model.fit.variance[mode]))
    beta = model.fit.weight @ model.fit.beta
    moved = model.columns[:, 2:] @ beta[2:]
    left = model.deviation - moved
    edges = [0, *(a.first for a in model.adjustments), model.n]
    return np.concatenate(
        [
            _segment(left[a:b], model.fit.noises[mode].phi, theta, scale, float(model.fit.df[mode]))
            for a, b in pairwise(edges)
        ]
    )


def _segment(y: Floats, phi: float, theta: float, scale: float, df: float) -> Floats:
    """Recursive residuals of a constant in filtered noise, brought from t to normal."""
    from scipy.signal import lfilter
    from scipy.special import ndtri, stdtr

    if y.size == 0:
        return y
    white = lfilter([1, -phi], [1, -theta], np.column_stack([y, np.ones(y.size)]), axis=0)
    e, x = white[1:, 0], white[1:, 1]
    first = (y[0], 1.0)
    weight = float((1 - phi**2 + (phi - theta) ** 2) / (1 - theta**2)) if abs(theta) < 1 else 1.0
    xx = np.cumsum(np.r_[first[1] ** 2 / weight, x**2])[:-1] if weight else np.cumsum(x**2)
    xe = np.cumsum(np.r_[first[0] * first[1] / weight, x * e])[:-1]
    t = (e - x * xe / xx) / (scale * np.sqrt(1 + x**2 / xx))
    z = ndtri(np.clip(stdtr(df, t), 1e-15, 1 - 1e-15))
    return np.asarray(np.r_[0.0, z], dtype=np.float64)


def watch(model: RopeModel, false_alarm_h: float = FALSE_ALARM_H) -> Watch:
    """Chart the batches' surprises.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    false_alarm_h : float
        Wanted running hours to a false alarm [h].

    Returns
    -------
    Watch
        Frames `ewma` (running_h, at, value, low, high [mm], signal) and `cusum` (running_h, at, upper,
        lower, limit [batch standard deviations], signal).

    Notes
    -----
    Source: iso-7870-4, iso-7870-6, crowder-1987, lucas-crosier-1982
    """
    z = fresh_residuals(model)
    spacing = float(np.ptp(model.hours)) / max(1, model.n - 1)
    run_length = max(20.0, false_alarm_h / spacing)
    width = ewma_width(SMOOTHING, round(run_length, 1))
    limit = cusum_limit(ALLOWANCE, round(run_length, 1))
    averaged = ewma(z, smoothing=SMOOTHING, centre=0.0, sd=1.0, width=width, exact=False)
    summed = cusum(z, target=0.0, allowance=ALLOWANCE, limit=limit)
    mm = model.fit.sd()
    keys = model.points.select("running_h", "at")
    chart = keys.with_columns(
        value=pl.Series(averaged.value * mm),
        low=pl.Series(averaged.low * mm),
        high=pl.Series(averaged.high * mm),
        signal=pl.Series(averaged.outside),
    )
    sums = keys.with_columns(
        upper=pl.Series(summed.upper), lower=pl.Series(summed.lower), limit=pl.lit(limit),
        signal=pl.Series(summed.outside),
    )  # fmt: skip
    return Watch(chart, sums, run_length, width, limit, _last_signal(averaged.outside))


def _last_signal(outside: NDArray[np.bool_]) -> int | None:
    """First point of the run of signals that reaches the last point, or None."""
    if outside.size == 0 or not outside[-1]:
        return None
    inside = np.flatnonzero(~outside)
    return int(inside[-1]) + 1 if inside.size else 0
