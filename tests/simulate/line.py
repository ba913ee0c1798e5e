"""One line of the invented works, run bare: its truth, and its readings as the store would hand them out."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.demo.line import LineRun, LineTruth
from lineview.demo.spec import LineSpec, Window
from lineview.demo.truth import CounterTruth
from tests import factories

Floats = NDArray[np.float64]
COUNTERS = ("good", "rejects", "blanks", "pieces", "film", "paper")


def plain_windows(hours: float, shift_h: float = 8.0, start_s: float = 1_780_000_000.0) -> list[Window]:
    """Give shifts without breaks, one after the other, for a bare line.

    Parameters
    ----------
    hours : float
        Length of the whole period [h], rounded to whole shifts.
    shift_h : float
        Length of a shift [h].
    start_s : float
        When the first shift starts [s], since 1970, UTC.

    Returns
    -------
    list of Window
        In order, all under one date, without breaks.

    Examples
    --------
    >>> [w.end_s - w.start_s for w in plain_windows(16.0)]
    [28800.0, 28800.0]
    """
    day = date(2026, 6, 8)
    edges: Iterator[float] = (start_s + i * shift_h * 3600.0 for i in range(round(hours / shift_h)))
    return [Window(f"shift{i + 1}", day, at, at + shift_h * 3600.0) for i, at in enumerate(edges)]


def simulate(spec: LineSpec, seed: int, windows: Sequence[Window]) -> LineTruth:
    """Run a bare line over these shifts, without writing a file.

    Parameters
    ----------
    spec : LineSpec
        Its physics.
    seed : int
        The same seed gives the same line.
    windows : sequence of Window
        The shifts, in order; `plain_windows(hours)` gives some.

    Returns
    -------
    LineTruth
        Everything that happened; `lineview.demo.readings` samples it as machines would.

    Examples
    --------
    >>> from lineview.demo.spec import demo_plant, line_specs
    >>> from lineview.demo.spec import plain_windows
    >>> truth = simulate(line_specs(demo_plant())[0], 1, plain_windows(8.0))
    >>> round(sum(s.seconds for s in truth.shifts[0].stretches))
    28800
    """
    run = LineRun(spec, seed)
    for window in windows:
        run.truth.shifts.append(run.shift(window))
    return run.truth


def readings(
    truth: LineTruth,
    *,
    every_s: float = 10.0,
    jitter_s: float = 0.0,
    gauge_every_s: float = 20.0,
    modulus: Mapping[str, int] | None = None,
    seed: int = 0,
) -> pl.DataFrame:
    """Sample a line's counters and gauges.

    Parameters
    ----------
    truth : LineTruth
        From `simulate`.
    every_s : float
        Time between counter readings [s].
    jitter_s : float
        Standard deviation of the counter's sampling moment [s]; the value belongs to the moment given.
    gauge_every_s : float
        Time between gauge readings [s].
    modulus : mapping of str to int, optional
        Where counters roll over, by channel.
    seed : int
        For jitter and gauge noise.

    Returns
    -------
    polars.DataFrame
        READINGS, by machine, channel and moment. Counters good, rejects, blanks, pieces [pieces], film and
        paper [m] of the wrap machine; rope [m], rope_diameter [mm] and rope_temperature [°C] of the sizer.
    """
    rng = np.random.default_rng([seed, 7])
    counters = CounterTruth(truth.spec, truth.shifts)
    start, end = truth.shifts[0].window.start_s, truth.shifts[-1].window.end_s
    at = np.arange(start, end + every_s / 2, every_s)
    if jitter_s:
        at = np.sort(at + rng.normal(0.0, jitter_s, len(at)))
    values = counters.at(at)
    frames = []
    for channel in COUNTERS:
        value = values[channel] % modulus[channel] if modulus and channel in modulus else values[channel]
        frames.append(_frame(truth.spec.wrap, channel, at, value))
    gauge_at = np.arange(start, end, gauge_every_s)
    gauges = counters.gauges(gauge_at)
    noise = rng.normal(0.0, truth.spec.sd_gauge_mm, len(gauge_at))
    frames.append(_frame(truth.spec.sizer, "rope_diameter", gauge_at, gauges["diameter"] + noise))
    frames.append(_frame(truth.spec.sizer, "rope_temperature", gauge_at, gauges["temperature"]))
    frames.append(_frame(truth.spec.sizer, "rope", gauge_at, counters.at(gauge_at)["rope"]))
    return pl.concat(frames).sort("machine", "channel", "at")


def _frame(machine: str, channel: str, at_s: Floats, value: Floats) -> pl.DataFrame:
    kept = ~np.isnan(value)
    return factories.readings(machine, channel, factories.moments(at_s[kept]), value[kept])
