"""A machine of which two systems tell: asked about, and left out of the works once."""

from __future__ import annotations

import numpy as np

from lineview.app.setup import SetUp
from tests.app.test_set_up_strange import made, rows, shown

MINUTES = 40 * 60


def counted(seed: int) -> list[int]:
    """A counter of 0.5 % scatter, with a stop of up to nine minutes in each hour."""
    rng = np.random.default_rng(seed)
    pace = rng.integers(330, 350, MINUTES)
    for hour in range(0, MINUTES, 60):
        pace[hour : hour + int(rng.integers(0, 10))] = 0
    return [4711, *(4711 + np.cumsum(pace)).tolist()]


def two(folder, seconds: int, other: int, **answers: str) -> SetUp:
    every = counted(1)
    shown(folder, "Time;Pieces\n" + rows(lambda k: f"{every[k]}", minutes=MINUTES + 1), "wrapper_raw.csv")
    another, form = counted(other), f"%Y-%m-%d %H:%M:{seconds:02}"
    text = "Time;Pieces\n" + rows(lambda k: f"{another[k]}", form, MINUTES + 1)
    return shown(folder, text, "wrapper_hall.csv", **{"same wrapper": "each"}, **answers)


def test_one_counter_through_two_systems_is_asked_about(tmp_path):
    (asked,) = two(tmp_path, 17, 1).open
    assert (asked.key, asked.suggested) == ("twice wrapper hall / wrapper raw", None)
    assert [option for option, _ in asked.options] == ["wrapper raw", "wrapper hall", "both"]
    came = two(tmp_path, 17, 1, **{asked.key: "wrapper hall"})
    assert asked.key in [question.key for question in came.questions]  # a form that asks on keeps its answer
    assert [machine.id for machine in came.read.draft.machines] == ["wrapper raw"]
    assert 'id = "wrapper raw"' in came.text
    assert 'id = "wrapper hall"' not in came.text
    every = counted(1)
    assert made_by_raw(tmp_path, came) == every[480] - every[0]
    assert len(two(tmp_path, 17, 1, **{asked.key: "both"}).read.draft.machines) == 2


def made_by_raw(folder, came: SetUp) -> float | None:
    (folder / "exports" / "wrapper_hall.csv").unlink()
    return made(folder, came).value


def test_a_corrected_export_of_fewer_hours_is_asked_about(tmp_path):
    every = counted(1)
    shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{every[k]}", minutes=20 * 60 + 25), "wrapper_raw.csv")
    corrected = "Time;Pieces\n" + rows(lambda k: f"{every[k] + 300 * (k > 70)}", minutes=MINUTES + 1)
    came = shown(tmp_path, corrected, "wrapper_hall.csv", **{"same wrapper": "each"})
    assert [question.key for question in came.open] == ["twice wrapper hall / wrapper raw"]


def test_two_machines_side_by_side_are_not_asked_about(tmp_path):
    came = two(tmp_path, 0, 2)
    assert not came.open
    assert len(came.read.draft.machines) == 2


def test_headers_that_nobody_knows_are_named_with_what_would_do(tmp_path):
    """Counters in a column a machine, each headed by the machine's name alone."""
    came = shown(tmp_path, "Time;wrap1;wrap2\n" + rows(lambda k: f"{340 * k};{310 * k}"), "counters.csv")
    assert "('Wrapper 1 pieces'). Found: 'wrap1', 'wrap2'." in str(came.faults[-1])
    text = "Time;Wrapper 1 pieces;Wrapper 2 pieces\n" + rows(lambda k: f"{340 * k};{310 * k}")
    named = shown(tmp_path, text, "counters.csv")
    assert [machine.id for machine in named.read.draft.machines] == ["Wrapper 1", "Wrapper 2"]
