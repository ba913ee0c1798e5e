"""The bare line: its clock adds up, its counters are what its cycles say, its physics is what was asked."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from lineview.core.frames import READINGS, require
from lineview.demo.line import LineTruth
from lineview.demo.spec import BLANK, GOOD, MOVING, REJECT, demo_plant, line_specs, windows
from lineview.demo.truth import CounterTruth
from lineview.demo.weighing import batch_pieces
from tests.simulate.line import plain_windows, readings, simulate

SPECS = line_specs(demo_plant())


@pytest.fixture(scope="module")
def truth() -> LineTruth:
    return simulate(SPECS[0], 11, plain_windows(40.0))


def test_stretches_fill_each_shift_without_gap_or_overlap(truth: LineTruth) -> None:
    for shift in truth.shifts:
        parts = shift.stretches
        assert parts[0].t0 == shift.window.start_s
        assert parts[-1].t1 == shift.window.end_s
        assert all(a.t1 == b.t0 for a, b in pairwise(parts))
        assert all(p.seconds > 0 for p in parts)


def test_breaks_stand_exactly_as_planned() -> None:
    plant = demo_plant()
    truth = simulate(SPECS[1], 3, windows(plant, date(2026, 6, 8), 4))
    for shift in truth.shifts:
        breaks = [(s.t0, s.t1) for s in shift.stretches if s.state == "break"]
        assert breaks == list(shift.window.breaks)


def test_short_stops_are_under_five_minutes_and_stops_are_not(truth: LineTruth) -> None:
    states = [(s.state, s.seconds) for shift in truth.shifts for s in shift.stretches]
    assert all(seconds < 300 for state, seconds in states if state == "short stop")
    assert all(seconds >= 300 for state, seconds in states if state == "stop")


def test_counters_end_where_the_cycles_say(truth: LineTruth) -> None:
    counters = CounterTruth(truth.spec, truth.shifts)
    end = counters.at(np.array([truth.shifts[-1].window.end_s]))
    for name, kind in (("good", GOOD), ("rejects", REJECT), ("blanks", BLANK)):
        assert end[name][0] == sum(s.count(kind) for s in truth.shifts)
    assert end["pieces"][0] == sum(b.pieces_cut for b in truth.batches)


def test_counters_never_fall_and_stand_still_in_stops(truth: LineTruth) -> None:
    counters = CounterTruth(truth.spec, truth.shifts)
    edges = np.array([(s.t0, s.t1) for shift in truth.shifts for s in shift.stretches if s.state not in MOVING])
    assert np.array_equal(counters.at(edges[:, 0])["good"], counters.at(edges[:, 1])["good"])
    grid = np.arange(edges[0, 0], edges[-1, 1], 7.3)
    for values in counters.at(grid).values():
        assert np.all(np.diff(values) >= -1e-9)


def test_rates_are_those_set_and_slow_ones_are_below_300(truth: LineTruth) -> None:
    for shift in truth.shifts:
        for s in shift.stretches:
            if s.state in MOVING and s.seconds > 20:
                rate = s.cycles / s.seconds * 60.0
                assert (rate < 300) == (s.state == "slow")


def test_web_on_the_reels_is_what_was_fed(truth: LineTruth) -> None:
    """For each reel that ran from full to empty: its true length less what was left = what was drawn."""
    counters = CounterTruth(truth.spec, truth.shifts)
    papers = [m for m in truth.mounts if m.kind == "wax paper"]
    assert len(papers) > 10
    for mount, following in pairwise(papers):
        # The threading of the first reel of all comes later than its mounting.
        fed = counters.at(np.array([mount.at_s, following.at_s]))["paper"]
        assert following.old_left_m is not None
        assert mount.true_m - following.old_left_m == pytest.approx(fed[1] - fed[0], abs=0.02)


def test_the_mislabelled_reel_is_short(truth: LineTruth) -> None:
    papers = [m for m in truth.mounts if m.kind == "wax paper"]
    errors = [m.true_m / m.label_m - 1.0 for m in papers]
    assert errors[8] == pytest.approx(-0.055)
    assert all(abs(e) < 0.02 for i, e in enumerate(errors) if i != 8)


def test_the_same_seed_gives_the_same_line_and_another_another() -> None:
    spec = SPECS[0]
    first, two, other = (simulate(spec, seed, plain_windows(8.0)) for seed in (5, 5, 6))
    assert np.array_equal(first.shifts[0].masses_g, two.shifts[0].masses_g, equal_nan=True)
    assert first.shifts[0].count(GOOD) != other.shifts[0].count(GOOD)


def test_piece_mass_spread_within_batches_is_what_its_causes_add_up_to() -> None:
    spec = replace(SPECS[0], wear_mm_per_h=0.0, adjustments=(), mm_per_c=0.0)
    truth = simulate(spec, 2, plain_windows(24.0))
    pieces = [p for s in truth.shifts for p in batch_pieces(s)]
    relative = np.array([p.sd_g / p.mean_g for p in pieces])
    diameter = 15.0
    taper = spec.taper_mm**2 / 12.0
    expected = np.sqrt(spec.sd_cut**2 + spec.sd_density_piece**2 + 4.0 * (spec.sd_noise_mm**2 + taper) / diameter**2)
    assert np.sqrt(np.mean(relative**2)) == pytest.approx(expected, rel=0.02)


def test_the_drift_in_the_batch_means_is_the_one_asked_for() -> None:
    spec = replace(SPECS[0], wear_mm_per_h=0.02, adjustments=(), sd_batch_mm=0.01)
    truth = simulate(spec, 8, plain_windows(40.0))
    off = {p.batch: p.diameter_mm for s in truth.shifts for p in batch_pieces(s)}
    hours = np.array([b.run_h for b in truth.batches])
    deviation = np.array([off[b.id] - b.product.diameter_mm for b in truth.batches])
    assert np.polyfit(hours, deviation, 1)[0] == pytest.approx(0.02, abs=0.001)


def test_batch_mass_is_pieces_and_a_little_scrap(truth: LineTruth) -> None:
    total = {p.batch: p.total_kg for s in truth.shifts for p in batch_pieces(s)}
    share = np.array([1.0 - total[b.id] / b.mass_in_kg for b in truth.batches if not b.cut_short])
    assert np.mean(share) == pytest.approx(truth.spec.scrap_share, abs=0.004)


def test_readings_have_the_columns_of_the_store(truth: LineTruth) -> None:
    frame = readings(truth, every_s=10.0, jitter_s=0.5, modulus={"pieces": 65536})
    require(frame, READINGS, "readings")
    pieces = frame.filter(channel="pieces")["value"].to_numpy().astype(np.int64)
    assert pieces.max() < 65536
    assert int(np.sum(np.diff(pieces) % 65536)) == sum(b.pieces_cut for b in truth.batches)
