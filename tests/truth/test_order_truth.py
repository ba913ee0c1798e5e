"""Simulated stock: the chance promised beside the chance simulated, day by day, with real lead times."""

import math

import numpy as np
import pytest

from lineview.order.demand import Need
from lineview.order.policy import DailyNeed, Supply, advise, chance_of_running_out, lead_time_values, reorder_point


def simulate_policy(
    need: DailyNeed, point: float, quantity: float, lead: float, lead_sd: float, cycles: int, seed: int
) -> float:
    """Share of deliveries before which the stock ran out: need drawn daily, position looked at each evening.

    Lead times are gamma-distributed and end within the day; nothing of the tool's own formulas is used.
    """
    rng = np.random.default_rng(seed)
    days = int(cycles * quantity / need.mean * 1.05) + 400
    shape, scale = (need.mean / need.sd) ** 2, need.sd**2 / need.mean
    demand = rng.gamma(shape, scale, days)
    position = point + quantity
    after = position  # net stock, short as negative
    due: list[tuple[float, float]] = []
    runs = short = 0
    for day in range(days):
        rest = 1.0
        start = float(day)
        for at, reels in [d for d in due if d[0] < day + 1]:
            part = demand[day] * (at - start)
            after -= part
            runs += 1
            short += after < 0
            after += reels
            rest -= at - start
            start = at
        due = [d for d in due if d[0] >= day + 1]
        after -= demand[day] * rest
        position -= demand[day]
        while position <= point:
            position += quantity
            at = day + 1 + (rng.gamma((lead / lead_sd) ** 2, lead_sd**2 / lead) if lead_sd > 0 else lead)
            # A later order does not overtake an earlier one from the same supplier.
            at = max([at, *(d[0] for d in due)])
            due.append((at, quantity))
    return short / runs


CASES = [
    # daily mean, daily sd, lead, lead sd, quantity, accepted chance
    (0.7, 0.25, 21.0, 4.0, 36.0, 0.05),
    (0.7, 0.25, 21.0, 0.0, 30.0, 0.05),
    (2.0, 1.5, 14.0, 2.0, 60.0, 0.02),
    (0.3, 0.4, 30.0, 8.0, 24.0, 0.10),
    (5.0, 1.0, 7.0, 3.0, 80.0, 0.05),
]


def promised_and_simulated(cycles: int) -> list[tuple[float, float]]:
    out = []
    for k, (mean, sd, lead, lead_sd, quantity, risk) in enumerate(CASES):
        need = DailyNeed(mean, sd)
        point = reorder_point(need, risk, lead_days=lead, lead_sd_days=lead_sd)
        promised = chance_of_running_out(need, point, lead_days=lead, lead_sd_days=lead_sd)
        assert promised == pytest.approx(risk, abs=1e-6)
        simulated = simulate_policy(need, point, quantity, lead, lead_sd, cycles, seed=k)
        told = f"promised {promised:.3f}, simulated {simulated:.3f}"
        print(f"need {mean} ± {sd} a day, lead {lead} ± {lead_sd}: {told}")
        out.append((promised, simulated))
    return out


def test_service_promised_is_the_service_simulated() -> None:
    cycles = 1500
    for promised, simulated in promised_and_simulated(cycles):
        # One point, and what so few cycles can tell.
        assert abs(promised - simulated) < 0.01 + 2.5 * math.sqrt(promised * (1 - promised) / cycles)


@pytest.mark.long
def test_service_promised_is_within_a_point_of_the_service_simulated() -> None:
    for promised, simulated in promised_and_simulated(20_000):
        assert abs(promised - simulated) < 0.01


def simulate_advice(need: Need, supply: Supply, order_in: float, lead: float, lead_sd: float, runs: int) -> float:
    """Share of futures in which all is used before the advised order comes; need drawn by the day."""
    rng = np.random.default_rng(5)
    leads = rng.gamma((lead / lead_sd) ** 2, lead_sd**2 / lead, runs)
    level = rng.gamma(1 / need.level_cv**2, need.level_cv**2, runs)
    days = 300
    weekly, sd = need.week_mean, need.week_sd
    index = np.minimum(np.arange(days) // 7, len(weekly) - 1)
    mean, var = weekly[index] / 7.0, sd[index] ** 2 / 7.0
    daily = rng.gamma(mean**2 / var, var / mean, (runs, days))
    used = np.cumsum(daily, axis=1) + (level - 1.0)[:, None] * np.cumsum(mean)[None, :]
    end = order_in + leads
    whole = np.minimum(end.astype(int), days - 1)
    rows = np.arange(runs)
    before = np.where(whole > 0, used[rows, np.maximum(whole - 1, 0)], 0.0)
    at_end = before + (end - whole) * (used[rows, whole] - before)
    there = supply.on_hand + sum((at < end) * reels for at, reels in supply.coming)
    return float((at_end > there).mean())


@pytest.mark.parametrize("rising", [1.0, 1.08])
def test_chances_of_an_advice_hold_in_simulated_futures(rising: float) -> None:
    need = Need(4.0 * rising ** np.arange(26), 1.2 * rising ** np.arange(26), 0.08)
    supply = Supply(30.0, ((10.0, 12.0),))
    advice = advise(need, supply, lead_days=21, lead_sd_days=5, risk=0.05, quantity=24)
    assert advice.order_in_days is not None
    for wait, promised in ((0.0, advice.chance), (7.0, advice.chance_week_later)):
        simulated = simulate_advice(need, supply, advice.order_in_days + wait, 21, 5, 40_000)
        print(f"rising {rising}: ordered on day {advice.order_in_days + wait:g}: promised {promised:.3f}, "
              f"simulated {simulated:.3f}")  # fmt: skip
        assert abs(promised - simulated) < 0.01


def test_lead_time_values_keep_mean_and_spread() -> None:
    values = lead_time_values(21, 4)
    assert values.mean() == pytest.approx(21, abs=0.02)
    assert values.std() == pytest.approx(4, rel=0.03)


def test_a_web_that_is_needed_seldom_and_then_much_has_a_reorder_point() -> None:
    """Once in half a year, say: what is then taken at once outweighs all else."""
    need = DailyNeed(0.001, 0.05)
    point = reorder_point(need, 0.02, lead_days=5.0, lead_sd_days=2.0)
    assert chance_of_running_out(need, point, lead_days=5.0, lead_sd_days=2.0) == pytest.approx(0.02, abs=1e-6)
    assert point > need.sd**2 / (2 * need.mean)
