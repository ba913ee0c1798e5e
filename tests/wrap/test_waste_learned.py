"""Waste learned by regression: what it puts in it finds, and uneven changeovers leave the rest as sure as it was."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.wrap.learning import SETTLES_US, WrapBin, _regress, _Windows
from lineview.wrap.waste import WrapEvents

HOUR_US = 3_600_000_000
NET_M, RESTART_M, SHARE, CHANGEOVER_M = 1000.0, 0.4, 0.005, 20.0


def stretches(uneven_m: float) -> list[WrapBin]:
    """Sixty stretches, each fifth with a changeover that costs 20 m give or take so much."""
    rng = np.random.default_rng(11)
    out = []
    for k in range(60):
        changed, restarts = k % 5 == 0, int(rng.integers(0, 6))
        net, cost = NET_M * rng.uniform(0.5, 1), CHANGEOVER_M + rng.normal(0, uneven_m)
        over = RESTART_M * restarts + SHARE * net + rng.normal(0, 0.2) + changed * cost
        out.append(WrapBin(False, net + over, net, restarts, int(changed), 0.0))
    return out


@pytest.mark.parametrize("uneven_m", [0.0, 8.0])
def test_what_was_put_in_is_found(uneven_m: float) -> None:
    found = _regress(stretches(uneven_m))
    assert set(found) == {"restart", "changeover", "proportional"}
    for name, truth in (("restart", RESTART_M), ("changeover", CHANGEOVER_M), ("proportional", SHARE)):
        half = (found[name].high - found[name].low) / 2
        assert abs(found[name].metres - truth) < 2 * half < 0.6 * truth, name  # one draw: twice its 95 %
        assert found[name].is_learned
    assert (found["restart"].n, found["changeover"].n, found["proportional"].n) == (
        sum(b.restarts for b in stretches(uneven_m)), 12, 60
    )  # fmt: skip


def test_uneven_changeovers_leave_restarts_as_sure_as_they_were() -> None:
    """Their stretches have a spread of their own: as one, the others would be taken for as uneven."""
    even, uneven = (_regress(stretches(uneven_m)) for uneven_m in (0.0, 8.0))
    for name in ("restart", "proportional"):
        widths = [one[name].high - one[name].low for one in (even, uneven)]
        assert widths[1] < 1.5 * widths[0], name
    assert uneven["changeover"].high - uneven["changeover"].low > 5 * (even["changeover"].high - even["changeover"].low)


@pytest.mark.parametrize(("hour", "window"), [(-1, None), (0, 0), (1, 0), (2, None), (3, None), (4, 1), (6, None)])
def test_a_moment_lies_in_a_standing_from_its_begin_up_to_its_end(hour: int, window: int | None) -> None:
    sides = [(a * HOUR_US, (a + 2) * HOUR_US) for a in (0, 4)]
    windows = _Windows(WrapEvents((), (), tuple((begin, end - SETTLES_US) for begin, end in sides)))
    moment = hour * HOUR_US
    expected = (moment, moment) if window is None else sides[window]
    assert (windows.before(moment), windows.after(moment)) == expected
