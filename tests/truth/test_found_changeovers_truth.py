"""Changeovers found without batch marks, against simulated lines whose truth is known."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from lineview.demo.spec import demo_plant, line_specs
from lineview.machine.changeovers import rope_changeovers
from lineview.plant import Counter, Machine
from tests.one_count import count_machine
from tests.simulate.line import plain_windows, readings, simulate

HOURS = 24.0


def moment(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def one_line(seed: int, every_s: float) -> tuple[pl.DataFrame, list[tuple[float, float]]]:
    """Changeovers found without marks, and the true ones [s since 1970]."""
    plant = demo_plant()
    spec, windows = line_specs(plant)[0], plain_windows(HOURS)
    truth = simulate(spec, seed, windows)
    frame = readings(truth, every_s=every_s, jitter_s=0.3, seed=seed)
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=450)
    wrapper = Machine(id=spec.wrap, kind="cut-and-wrap machine", line="1", counters=(counter,))
    seen = count_machine(wrapper, frame.filter(pl.col("machine") == spec.wrap), gap_s=120).activity
    gauges = ("rope_temperature", "rope_diameter")
    rope = [frame.filter(pl.col("channel") == name).select("at", "value") for name in gauges]
    shifts = pl.DataFrame(
        {"start": [moment(w.start_s) for w in windows], "end": [moment(w.end_s) for w in windows]}
    ).cast(pl.Datetime("us", "UTC"))
    shifts = shifts.with_row_index("date").with_columns(shift=pl.lit("a"), part=pl.lit("planned"))
    found = rope_changeovers(seen, rope, shifts)
    assert not rope_changeovers(seen, [], shifts).height
    true = [(s.t0, s.t1) for shift in truth.shifts for s in shift.stretches if s.state == "changeover"]
    return found, _joined(true)


def _joined(parts: list[tuple[float, float]]) -> list[tuple[float, float]]:
    whole: list[tuple[float, float]] = []
    for a, b in sorted(parts):
        if whole and a - whole[-1][1] < 1:
            whole[-1] = (whole[-1][0], b)
        else:
            whole.append((a, b))
    return whole


def compare(seeds: range, every_s: float) -> tuple[int, int, int, list[float]]:
    """Give true, found and invented changeovers, and the errors of the found ones' minutes."""
    true_count = hits = invented = 0
    errors: list[float] = []
    for seed in seeds:
        found, true = one_line(seed, every_s)
        spans = [(a.timestamp(), b.timestamp()) for a, b in found.select("start", "end").rows()]
        true_count += len(true)
        for a, b in true:
            met = [s for s in spans if s[0] < b and s[1] > a]
            hits += bool(met)
            if met:
                errors.append((met[0][1] - met[0][0] - (b - a)) / 60)
        invented += sum(not any(a < s[1] and b > s[0] for a, b in true) for s in spans)
    return true_count, hits, invented, errors


def check(seeds: range, every_s: float) -> None:
    true, hits, invented, errors = compare(seeds, every_s)
    off = np.array(errors)
    print(
        f"changeovers without marks, readings every {every_s:g} s, {len(seeds)} lines of {HOURS:g} h: "
        f"{hits} of {true} found, {invented} invented; minutes off: median {np.median(off):+.2f}, "
        f"mean {off.mean():+.2f}, 90 % within {np.quantile(np.abs(off), 0.9):.2f}"
    )
    assert hits >= 0.8 * true
    assert invented <= 0.25 * hits


def test_most_changeovers_are_found_without_marks() -> None:
    check(range(900, 903), 10.0)


@pytest.mark.long
@pytest.mark.parametrize("every_s", [10.0, 60.0])
def test_changeovers_without_marks_at_full_count(every_s: float) -> None:
    check(range(910, 940), every_s)
