"""Whether a machine's stops come more often, on its clock of running minutes."""

from __future__ import annotations

from dataclasses import dataclass

from lineview.measures.run_clock import RunClock
from lineview.stats.events import PowerLaw, TrendTest, laplace, mil_hdbk_189, power_law

#: Stops that a trend needs.
LEAST_STOPS = 5


@dataclass(frozen=True)
class StopTrend:
    """Two tests of a constant rate and the power law of the stops, over `run_min` running minutes."""

    laplace: TrendTest
    handbook: TrendTest
    law: PowerLaw
    stops: int
    run_min: float

    @property
    def verdict(self) -> str:
        """What the tests say at 5 %, both of them agreeing."""
        low = max(self.laplace.p_two_sided, self.handbook.p_two_sided)
        if low > 0.05:
            return "no trend shown"
        return "more and more often" if self.laplace.statistic > 0 else "more and more rarely"


def stop_trend(clock: RunClock) -> StopTrend | None:
    """Test whether stops come more often.

    Parameters
    ----------
    clock : RunClock
        Of one machine.

    Returns
    -------
    StopTrend or None
        None where fewer than `LEAST_STOPS` began while it ran.

    Notes
    -----
    Source: nist-handbook, mil-hdbk-189
    """
    times = sorted(float(t) for t in clock.stops if 0 < t <= clock.run_min)
    if len(times) < LEAST_STOPS or times[0] >= clock.run_min:
        return None
    end = clock.run_min
    return StopTrend(laplace(times, end), mil_hdbk_189(times, end), power_law(times, end), len(times), end)
