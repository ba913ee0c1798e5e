"""Trials held to works whose change is known; no source, constructed.

Shifts are drawn as gamma around levels that wander, which is another noise than the judging takes for granted: skewed,
over-dispersed, and from one shift to the next an autoregression of the levels' logarithm. Printed: how often a trial
of nothing is called, looked at after every shift, and how often one that is worth having.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from statistics import NormalDist

import numpy as np
import polars as pl
import pytest

from lineview.core.errors import AskError
from lineview.report.answer import to_json
from lineview.stats.multiple_tests import FALSE_ALARMS, POWER, wrong_way_chance
from lineview.week.compare import RATE, Side
from lineview.week.trend import BETTER, STEADY, WORSE
from lineview.week.trial import TOO_EARLY, Trial, TrialAccount, TrialInputs, shifts_to_plan, trial_account
from lineview.week.trial_answer import answer_trial
from tests.simulate.shift_losses import MONDAY, PLANNED_MIN, Drawn, between, draw
from tests.week.test_ledger import works

WEIGHED = pl.DataFrame(schema={"batch": pl.String, "off_g": pl.Float64})
WEEKS_BEFORE, WEEKS = 9, 22
FIRST = WEEKS_BEFORE * 10
BEGINS = MONDAY + timedelta(weeks=WEEKS_BEFORE)
#: Noises, and by how much what they are judged by has to change to be seen within the weeks there are [%].
NOISES = {
    "independent shifts": (Drawn(weeks=WEEKS), 25.0),
    "shifts that go together": (Drawn(weeks=WEEKS, memory=0.6, wander=0.25), 50.0),
    "a mix that drifts": (
        Drawn(weeks=WEEKS, drifting_mix=True, on_second={"changeovers": 1.5, "stops: jam": 2.0}),
        25.0,
    ),
}
SHORT_STOPS = "short stops without a reason"
#: What trials of nothing are judged by, over how many shifts: a rate, and losses that are ever more skewed.
JUDGED = ((RATE, 20), (SHORT_STOPS, 20), ("stops: jam", 40), ("stops: drive fault", 30))


def trial(measure: str = RATE, worth: float = 5.0, shifts: int = 20) -> Trial:
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    return Trial(1, "new knife", BEGINS, None, "1", "", "", measure, worth, shifts, "", "", "ann", moment, moment)


def inputs(seed: int, drawn: Drawn, of: Trial, *, beside: bool = False, shifts: int | None = None) -> TrialInputs:
    """The trial's line up to so many shifts, and one beside it on which nothing changes."""
    sides = []
    for k, machine in enumerate(("w1", "w2") if beside else ("w1",)):
        part, mix = draw(np.random.default_rng([seed, k]), drawn if k == 0 else replace(drawn, factor={}), machine)
        n = part.shifts.height if shifts is None else shifts
        sides.append(Side(machine, [between(part, 0, n)], [mix.filter(pl.col("place") < n)], WEIGHED))
    return TrialInputs(of, sides[0], sides[1] if beside else None)


def account(seed: int, drawn: Drawn, of: Trial, *, beside: bool = False) -> TrialAccount:
    return trial_account(inputs(seed, drawn, of, beside=beside))


def called_share(works: int, judged: Sequence[tuple[str, int]] = JUDGED) -> dict[str, float]:
    out = {}
    for name, (drawn, _) in NOISES.items():
        for measure, shifts in judged:
            for beside in (False, True):
                of = trial(measure, shifts=shifts)
                called = [account(seed, drawn, of, beside=beside).called_after > 0 for seed in range(works)]
                key = f"{name}, {measure}{', a line beside' * beside}"
                out[key] = float(np.mean(called))
                print(f"{key}: {out[key]:.1%} of {works} trials of nothing are called, looked at after every shift")
    return out


def power_share(works: int, besides: Sequence[bool] = (False, True)) -> dict[str, tuple[float, float]]:
    """Shares called, and called the wrong way, of changes worth having over the shifts planned for them."""
    out = {}
    for name, (drawn, worth) in NOISES.items():
        for beside in besides:
            judged = []
            for seed in range(works):
                of = trial(SHORT_STOPS, worth)
                try:
                    planned = shifts_to_plan(inputs(seed, drawn, of, beside=beside, shifts=FIRST))
                except AskError:  # no number of shifts would do
                    continue
                if planned > 10 * (WEEKS - WEEKS_BEFORE):
                    continue  # no so many shifts are drawn
                changed = replace(drawn, factor={of.measure: (FIRST, 1 - worth / 100)})
                judged.append(account(seed, changed, replace(of, shifts=planned), beside=beside))
            key = f"{name}{', a line beside' * beside}"
            shares = [float(np.mean([one.verdict == verdict for one in judged])) for verdict in (BETTER, WORSE)]
            planned = [one.trial.shifts for one in judged]
            print(f"{key}: {shares[0]:.1%} of {len(judged)} are seen in {np.median(planned):.0f} shifts (80 % stated)")
            out[key] = (shares[0], shares[1])
    return out


def test_trials_of_nothing_are_seldom_called() -> None:
    shares = called_share(4, (JUDGED[0], JUDGED[-1]))
    assert np.mean(list(shares.values())) <= 0.125  # of 48: six or fewer where 5 % are stated


def test_a_change_worth_having_is_seen() -> None:
    shares = power_share(6, [False])
    assert np.mean([seen for seen, _ in shares.values()]) >= 0.6  # of 18: eleven or more where 80 % are stated
    assert max(wrong for _, wrong in shares.values()) == 0


def test_nothing_is_called_before_the_limit_and_the_verdict_stays() -> None:
    of = trial(SHORT_STOPS, shifts=30)
    drawn = Drawn(weeks=WEEKS, factor={SHORT_STOPS: (FIRST, 0.7)})
    at = account(5, drawn, of).called_after
    assert 0 < at < 30
    early = trial_account(inputs(5, drawn, of, shifts=FIRST + at - 1))
    assert (early.verdict, early.called_after) == (TOO_EARLY, 0)
    assert all(row.verdict == "" for row in early.rows)
    later = [trial_account(inputs(5, drawn, of, shifts=FIRST + at + k)) for k in (0, 5, 60)]
    assert {(one.verdict, one.called_after) for one in later} == {(BETTER, at)}
    lost = inputs(5, drawn, of).side.losses[0].losses.filter(cause=SHORT_STOPS).filter(pl.col("start") < BEGINS)
    assert later[0].level[0] == pytest.approx(lost["pieces"].sum() / (FIRST * PLANNED_MIN))  # pieces a planned minute
    look = next(look for look in later[0].looks if look.shifts == at)
    assert look.effect.ends[1] < 0  # the interval leaves 0 when it is called


def test_what_slows_both_lines_is_no_effect() -> None:
    """A line beside takes out what both share; the time before alone does not."""
    of = trial(shifts=30)
    drawn = Drawn(weeks=WEEKS, factor={"changeovers": (FIRST, 1.6)})
    given = inputs(7, drawn, of, beside=True)
    part, mix = draw(np.random.default_rng([7, 1]), drawn, "w2")
    both = replace(given, beside=Side("w2", [part], [mix], WEIGHED))
    assert trial_account(replace(given, beside=None)).verdict == WORSE
    assert trial_account(both).verdict == STEADY
    moved = replace(inputs(7, Drawn(weeks=WEEKS), of), beside=both.beside)  # the line beside alone is slower
    judged = trial_account(moved)
    assert (judged.verdict, judged.by_beside) == (BETTER, True)


def test_a_line_that_came_too_late_is_not_held_beside() -> None:
    given = inputs(3, Drawn(weeks=WEEKS), trial(), beside=True)
    late = replace(given.beside, losses=[between(given.beside.losses[0], FIRST - 5, FIRST + 40)])
    judged = trial_account(replace(given, beside=late))
    assert judged.level_beside is None
    assert judged.verdict == STEADY


def test_what_a_reader_gets_are_the_sums_before_and_since() -> None:
    planned, of = 20, trial(SHORT_STOPS, shifts=20)
    given = inputs(3, Drawn(weeks=WEEKS, factor={SHORT_STOPS: (FIRST, 0.6)}), of)
    shown = json.loads(to_json(answer_trial(works(1), given, MONDAY + timedelta(weeks=WEEKS))))
    part, _ = draw(np.random.default_rng([3, 0]), Drawn(weeks=WEEKS, factor={SHORT_STOPS: (FIRST, 0.6)}), "w1")
    lost = part.losses.filter(pl.col("cause") == SHORT_STOPS).group_by("start").agg(pl.sum("pieces"))
    shifts = part.shifts.join(lost, on="start", how="left", maintain_order="left").with_columns(
        pl.col("pieces").fill_null(0.0)
    )
    before, since = (
        rows["pieces"].sum() / rows["planned_min"].sum() for rows in (shifts[:FIRST], shifts[FIRST : FIRST + planned])
    )
    figures = shown["figures"]
    expected = {
        "trial_planned_shifts": (planned, "shifts", 0), "trial_shifts_before": (FIRST, "shifts", 0),
        "trial_shifts_since": (planned, "shifts", 0), "trial_before": (before, "pieces/min", FIRST),
        "trial_since": (since, "pieces/min", planned), "trial_change": (since - before, "pieces/min", planned),
    }  # fmt: skip
    for name, (value, unit, n) in expected.items():
        assert figures[name]["value"] == pytest.approx(value), name
        assert (figures[name]["unit"], figures[name]["n"]) == (unit, n), name
    change = figures["trial_change"]
    assert change["low"] < -0.4 * before < change["high"] < 0  # what was drawn
    words = f"{since:.1f} pieces a minute lost to short stops without a reason against {before:.1f} before; better"
    assert shown["sentence"].startswith(f"New knife, 1: {words} beyond chance after ")
    assert f"Change −{before - since:.2f} (−{-change['low']:.2f} to −{-change['high']:.2f}, 95 %" in shown["soft"]
    line, difference = shown["tables"]["trial"]["rows"]
    assert (line["before"], line["since"], line["change"]) == (
        round(before, 2),
        round(since, 2),
        round(since - before, 2),
    )
    assert (difference["low"], difference["high"]) == (round(change["low"], 2), round(change["high"], 2))
    looks = shown["tables"]["looks"]["rows"]
    assert [(row["at"], row["shifts"], row["low"], row["high"]) for row in looks] == [
        (one["at"], one["shifts"], round(one["low"], 2), round(one["high"], 2))
        for one in shown["series"]["trial_looks"]
    ]
    assert all(row["low"] < row["change"] < row["high"] for row in looks)
    last = looks[-1]
    assert (last["shifts"], last["change"]) == (planned, round(since - before, 2))
    assert min(row["shifts"] for row in looks if row["high"] < 0) == int(
        difference["verdict"].split(" after ")[1].split()[0]
    )


def test_at_one_mix_a_change_is_that_of_least_squares_with_the_share_of_a_product() -> None:
    drawn, since = NOISES["a mix that drifts"][0], 40
    judged = account(4, drawn, trial("changeovers", shifts=since))
    part, mix = draw(np.random.default_rng([4, 0]), drawn)
    n = FIRST + since
    lost = part.losses.filter(pl.col("cause") == "changeovers").sort("start")["pieces"].to_numpy()[:n] / PLANNED_MIN
    share = np.zeros(n)
    (product,) = judged.mix
    of_product = mix.filter((pl.col("product") == product.removeprefix("product ")) & (pl.col("place") < n))
    share[of_product["place"].to_numpy()] = of_product["share"].to_numpy()
    x = np.column_stack([np.ones(n), np.arange(n) >= FIRST, share])
    half = (judged.effect.ends[1] - judged.effect.ends[0]) / 2
    expected = np.linalg.lstsq(x, lost, rcond=None)[0][1]
    assert judged.effect.value == pytest.approx(expected, abs=0.05 * half)  # shifts may go together a little
    assert abs(lost[FIRST:].mean() - lost[:FIRST].mean() - expected) > 0.2 * half


def test_too_few_shifts_say_how_many_are_needed() -> None:
    few = trial_account(inputs(3, Drawn(weeks=WEEKS), trial(), shifts=FIRST + 4))
    assert few.why_none == "too few shifts since: needs 5, has 4"
    assert (few.effect.value, few.called_after, few.looks) == (None, 0, ())
    assert few.level[0] > 0  # the means there are stay shown
    with pytest.raises(AskError, match="is less than 400 shifts would show"):
        shifts_to_plan(inputs(3, Drawn(weeks=WEEKS), trial("stops: drive fault", 0.5), shifts=FIRST))


@pytest.mark.long
def test_trials_of_nothing_are_called_as_often_as_stated_at_full_count() -> None:
    assert max(called_share(300).values()) <= 0.05 + 3 * 0.0126


@pytest.mark.long
def test_changes_worth_having_are_seen_as_often_as_stated_at_full_count() -> None:
    shares = power_share(300)
    assert min(seen for seen, _ in shares.values()) >= 0.8 - 3 * 0.0231
    assert max(wrong for _, wrong in shares.values()) <= 0.005


@pytest.mark.parametrize("effect", [0.0, 0.2])
def test_the_chance_of_the_wrong_way_is_that_of_drawn_walks(effect: float) -> None:
    """Looks 400 times between the start and the planned end see a little less than looks without a gap."""
    normal = NormalDist()
    limit = normal.inv_cdf(1 - FALSE_ALARMS / 4)
    drift = effect * (limit + normal.inv_cdf(POWER))
    steps = np.random.default_rng(8).normal(drift / 400, 400**-0.5, (20_000, 400))
    drawn = float(np.mean(np.cumsum(steps, axis=1).min(axis=1) <= -limit))
    print(f"change of {effect:g}: {drawn:.3%} of drawn walks go the wrong way, {wrong_way_chance(effect):.3%} said")
    assert 0.75 * wrong_way_chance(effect) <= drawn <= 1.1 * wrong_way_chance(effect)


def test_a_trials_reader_is_told_the_chance_of_the_wrong_way() -> None:
    answer = answer_trial(
        works(1), inputs(3, Drawn(weeks=WEEKS), trial(SHORT_STOPS, 25.0)), MONDAY + timedelta(weeks=9)
    )
    (said,) = [note for note in answer.notes if "wrong way round" in note]
    assert said.startswith("A change of 25 % is called the wrong way round with a chance of at most ")
    before, seeable = (float(answer.figure(name).value) for name in ("trial_before", "trial_seeable"))
    assert float(said.split()[-2]) == math.ceil(1000 * wrong_way_chance(0.25 * before / seeable)) / 10
