"""What a gauge's readings are worth."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineview.rope.gauges import UNIT_SLIPS, Agreement, check_gauge, standing_still, unit_slip

START = datetime(2026, 6, 8, 4, tzinfo=UTC)


def frame(values: np.ndarray) -> pl.DataFrame:
    return pl.DataFrame({"at": [START + timedelta(seconds=i) for i in range(values.size)], "value": values})


@given(st.floats(5, 60), st.sampled_from(UNIT_SLIPS))
def test_every_slip_is_recognised_at_any_target(target, slip):
    factor, name = slip
    assert unit_slip(np.full(9, target * factor), target, target * 0.02) == name
    assert unit_slip(np.full(9, target * 1.05), target, target * 0.02) == ""


@pytest.mark.parametrize(
    ("share", "name"),
    [(0.8, ""), (1.2, ""), (0.6, ""), (1.4, ""), (0.45, "another unit"), (1.6, "another unit"), (3.7, "another unit")],
)
def test_half_as_thick_or_thin_again_is_no_rope(share: float, name: str) -> None:
    assert unit_slip(np.full(9, 14 * share), 14.0, 0.3) == name


def test_a_coarse_gauge_is_not_dead():
    rng = np.random.default_rng(1)
    coarse = np.round(14 + rng.normal(0, 0.02, 500), 1)  # mostly 14.0, now and then its neighbours
    coarse[::9] = 14.1
    assert not standing_still(coarse).any()


def test_readings_far_from_any_rope_are_left_out_and_counted():
    values = 14 + np.random.default_rng(2).normal(0, 0.02, 100)
    values[[5, 50]] = 0.0
    found = check_gauge(frame(values), 14.0, 0.3)
    assert (found.off_rope, found.usable.height) == (2, 98)


def test_no_readings_at_all():
    found = check_gauge(frame(np.array([])).cast({"value": pl.Float64}), 14.0, 0.3)
    assert found.usable.is_empty()
    assert not found.dead


@pytest.mark.parametrize(("low", "high", "apart"), [(0.001, 0.004, True), (-0.004, -0.001, True), (-0.001, 0.5, False)])
def test_gauges_drift_apart_where_their_interval_leaves_out_none(low: float, high: float, apart: bool) -> None:
    assert Agreement("a", "b", 0.0, (low + high) / 2, low, high, 20).wanders is apart
