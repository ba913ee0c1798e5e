"""What stands first on the rope's page, and what a plant's own adjustments teach."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from lineview.core.frames import ADJUSTMENTS
from lineview.report.answer import Answer
from lineview.rope.forecast import Effect
from lineview.rope.lead import habit_of, habit_words
from tests import factories
from tests.simulate.rope import START, adjusted, ask, rope, sheet, works
from tests.simulate.rope_batches import ar1

#: Each adjustment of the simulated plant goes this far beyond the target [mm]; the rope thickens again after it.
OVERSHOT, RISE, BATCHES_BETWEEN, TIMES = 0.05, 0.17, 50, 6


def lead(answer: Answer) -> dict[str, str]:
    table = next(t for t in answer.tables if t.name == "lead")
    return {row["what"]: row["said"] for row in table.rows}


def overshooting(seed: int) -> Answer:
    """A rope that is set back six times, each time beyond its target by some 0.05 mm, 0.02 apart."""
    rng = np.random.default_rng(seed)
    n = BATCHES_BETWEEN * (TIMES + 1)
    beyond = OVERSHOT + rng.normal(0, 0.02, TIMES)
    starts = np.concatenate(([-OVERSHOT], -beyond))
    level = np.concatenate(
        [start + RISE * np.arange(BATCHES_BETWEEN * 30) / (BATCHES_BETWEEN * 30) for start in starts]
    )
    value = 14 + level + np.repeat(rng.normal(0, 0.03, n), 30) + 0.03 * ar1(n * 30, 0.7, rng)
    frame = factories.readings("sizer2", "dia", factories.moments(START.timestamp() + 20.0 * np.arange(n * 30)), value)
    at = [START + timedelta(minutes=10.0 * BATCHES_BETWEEN * k - 0.5) for k in range(1, TIMES + 1)]
    done = factories.rows(ADJUSTMENTS, [{"machine": "sizer2", "at": t, "what": "pair 3"} for t in at], note="")
    return ask(frame, sheet(n, 10), done)


def test_the_rope_leads_with_what_a_person_at_the_machine_needs() -> None:
    said = lead(ask(rope(wear=0.006), sheet(120, 10)))
    assert list(said) == ["sizer", "since", "likely cause", "out of tolerance", "to set"]
    assert said["sizer"] == "sizer 2, 1"
    assert "the first batch shown" in said["since"]
    assert said["likely cause"].startswith("rollers wear or a setting creeps; rope temperature was not exported")
    assert said["out of tolerance"].startswith("in ")
    assert "thinner" in said["to set"] and "too few adjustments" in said["to set"]


def test_a_steady_rope_and_a_jump_have_their_own_words() -> None:
    steady = lead(ask(rope(level=0.0), sheet(120, 10)))
    assert steady["likely cause"] == "no measurable drift"
    assert steady["to set"].startswith("nothing: ")
    answer = ask(rope(step=(70, 0.15), level=0.0), sheet(120, 10))
    jumped = lead(answer)
    assert "nobody noted it" in jumped["likely cause"]
    # 70 batches of ten minutes, read every 20 s: midway between the middles of the 70th and the 71st
    midway = START + timedelta(seconds=70 * 600 + 290 - 300)
    (jump,) = next(t for t in answer.tables if t.name == "adjustments").rows
    assert (jump["at"], jump["what"]) == (midway, "unexplained jump")
    assert jumped["since"] == f"Monday {midway:%H:%M}, the last unexplained jump"
    repaired = lead(ask(rope(step=(70, -0.13), level=0.15), sheet(120, 10), adjusted(701)))
    assert "the last adjustment" in repaired["since"]


def test_one_batch_leaves_only_the_sizer() -> None:
    assert list(lead(ask(rope(1), sheet(1, 10)))) == ["sizer"]


def effect(before: float, after: float, half: float = 0.02, *, recorded: bool = True) -> Effect:
    size = after - before
    return Effect(START, 0.0, "set", recorded, size, size - half, size + half, before, after)


def test_the_habit_is_the_mean_beyond_the_target_worked_by_hand() -> None:
    # 0.04, 0.05, 0.06 beyond: mean 0.05, standard error 0.01/√3 = 0.005774, Student's t of 2 degrees 4.303 (any table)
    habit = habit_of([effect(0.1, -0.04), effect(0.12, -0.05), effect(-0.1, 0.06)])
    assert habit is not None
    assert habit.count == 3
    assert habit.overshoot.value == pytest.approx(0.05)
    assert habit.overshoot.low == pytest.approx(0.05 - 4.303 * 0.005774, abs=1e-4)
    short = habit_of([effect(0.1, 0.04), effect(0.12, 0.05), effect(-0.1, -0.06)])
    assert short is not None and short.overshoot.value == pytest.approx(-0.05)


def test_jumps_that_nobody_made_and_effects_that_cannot_be_measured_teach_nothing() -> None:
    others = [effect(0.1, -0.04, recorded=False), effect(0.1, 0.099, half=0.02), effect(0.1, 0.2)]
    assert habit_of([effect(0.1, -0.04), effect(0.12, -0.05), *others]) is None


def test_the_advice_is_never_to_turn_as_if_for_nothing() -> None:
    plant = works()
    habit = habit_of([effect(0.2, -0.045), effect(0.2, -0.05), effect(0.2, -0.055)])
    assert habit is not None
    # 0.05 mm beyond on average: of 0.12 mm wanted 0.07 mm are left, of 0.054 mm and of 0.03 mm none that can be set
    assert habit_words(habit, 0.12, 0.02, plant).endswith("turn less, as if for 0.07 mm")
    for off in (0.054, 0.03):
        assert habit_words(habit, off, 0.02, plant).endswith(
            "as much as the correction wanted now: make the smallest turn and look at the next batches"
        )
    # where the rope's place is known no better than to 0.1 mm, 0.04 mm left is none that can be set either
    assert "smallest turn" in habit_words(habit, 0.09, 0.12, plant)


@pytest.mark.parametrize("seeds", [6, pytest.param(100, marks=pytest.mark.long)])
def test_the_habit_of_a_simulated_plant_is_recovered(seeds: int) -> None:
    held, words = 0, []
    for seed in range(seeds):
        answer = overshooting(seed)
        said = lead(answer)["to set"]
        words.append(said)
        effects = [
            effect(row["before"], row["after"], abs(row["high"] - row["size"]))
            for row in next(t for t in answer.tables if t.name == "adjustments").rows
        ]
        habit = habit_of(effects)
        assert habit is not None
        held += habit.overshoot.low <= OVERSHOT <= habit.overshoot.high
        assert "The last 6 adjustments of this sizer overshot by 0.0" in said
        assert "turn less" in said
        assert all(len(number.partition(".")[2]) <= 2 for number in _numbers(said)), said  # no finer than 0.01 mm
    print(f"{held} of {seeds} intervals hold the truth; {words[0]}")
    assert held >= 0.83 * seeds


def _numbers(text: str) -> list[str]:
    return [word.strip("(),.;") for word in text.split() if word.strip("(),.;").replace(".", "").isdigit()]
