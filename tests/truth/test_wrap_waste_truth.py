"""Waste of film at changeovers, restarts and in proportion, of machines written apart from the estimators."""

from dataclasses import asdict
from datetime import timedelta

import polars as pl
import pytest
from scipy.stats import binom

from lineview.machine.pieces import micros
from lineview.wrap.waste import wrap_events
from tests.simulate.wasteful import Wasted, WastefulRun, wasteful_line
from tests.simulate.webs import START
from tests.truth.test_wrap_truth import account_from

TRUE = Wasted()
CAUSES = ("restart", "changeover", "proportional")


def waste_of(made: WastefulRun):
    return account_from(made.plant, made.scope, made.frames).waste["film"]


def coverage(lines, causes) -> dict[str, tuple[int, int]]:
    """Of each cause: lines whose stated interval holds the truth, and lines that state one."""
    hits = {cause: [] for cause in causes}
    for made in lines:
        waste = waste_of(made)
        for cause in causes:
            allowance = getattr(waste, cause)
            if allowance is not None and allowance.is_learned:
                hits[cause].append(allowance.low <= asdict(TRUE)[cause] <= allowance.high)
    return {cause: (sum(held), len(held)) for cause, held in hits.items()}


CONDITIONS = {
    "fed at the restart": {},
    "fed while standing": {"at_restart": False},
    "with a reel log": {"log_late_s": 0.0},
    "with a reel log 8 minutes late": {"log_late_s": 480.0},
    "with a reel log 15 minutes late": {"log_late_s": 900.0},
}


def assert_holds(condition: str, runs: int, first: int) -> None:
    """Whether so many lines hold what they state, within the binomial error (99.8 %) of their count."""
    made = (wasteful_line(seed, TRUE, **CONDITIONS[condition]) for seed in range(first, first + runs))
    causes = (*CAUSES, "reel_start") if "log" in condition else CAUSES
    for cause, (held, stated) in coverage(made, causes).items():
        print(f"{condition}, {cause}: {held} of {stated} within their 95 % interval, {runs} lines")
        assert stated == runs
        least, most = binom.interval(0.998, stated, 0.95)
        assert least <= held <= most, cause


@pytest.mark.parametrize("condition", [name for name in CONDITIONS if "15" not in name])
def test_waste_of_skewed_events_holds_its_interval(condition: str) -> None:
    assert_holds(condition, 60, 10_000)


@pytest.mark.long
@pytest.mark.parametrize("condition", CONDITIONS)
def test_waste_of_skewed_events_holds_its_interval_in_300_lines(condition: str) -> None:
    assert_holds(condition, 300, 0)


def test_a_break_within_a_changeover_leaves_one_changeover_at_its_restart() -> None:
    at = [START + timedelta(minutes=m) for m in (0, 10, 20, 30, 40, 50, 60)]
    states = ["running", "stop", "changeover", "break", "changeover", "running"]
    timeline = pl.DataFrame({"start": at[:-1], "end": at[1:], "state": states})
    events = wrap_events(timeline)
    us = micros(at).tolist()
    assert events.changeovers_us == events.restarts_us == (us[5],)
    assert events.standings_us == ((us[1], us[5]),)
