"""Every question about one shift stands on the same good pieces and bounds, and they hold the truth."""

import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import to_json
from tests.bench.answers_of import QUESTIONS, answer, run
from tests.main_job.pieces_shown import Shown, pieces_shown
from tests.main_job.troubled_shifts import TROUBLES, Case, cases, write_works

CASES = cases()
#: The counter stood, was not read for 160 s and came back at 0; this is what the simulator wrapped.
RESET = {"line": "line2", "machine": "wrap2", "token": "2026-06-09.late", "good": 108_277}
#: Pieces of rounding that an edge between two readings may leave.
ROUNDING = 0.5
FASTEST_PER_S = 450 / 60
SIZERS = {"wrapA": "sizerA", "wrapB": "sizerB", "wrap1": "sizer1", "wrap2": "sizer2"}


class Asked:
    """Answers of a works, each asked once."""

    def __init__(self, ask: Callable[[str, str, str], dict[str, Any]]) -> None:
        self.ask = cache(ask)

    def answer(self, question: str, machine: str, token: str) -> dict[str, Any]:
        return self.ask(question, SIZERS[machine] if QUESTIONS[question] == "sizer" else machine, token)

    def shown(self, question: str, machine: str, token: str) -> Shown:
        """The good pieces of an answer about one shift."""
        given = self.answer(question, machine, token)
        assert "error" not in given, given["error"]
        return pieces_shown(given)


def asked_of(works: Works) -> Asked:
    """Answers of an open works."""

    def ask(question: str, machine: str, token: str) -> dict[str, Any]:
        answer: dict[str, Any] = json.loads(to_json(works.ask(read_question(question, None, machine, token))))
        return answer

    return Asked(ask)


@pytest.fixture(scope="module")
def troubled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asked]:
    folder = tmp_path_factory.mktemp("troubled") / "works"
    write_works(folder)
    with Works(folder) as works:
        assert all(taken.receipt for taken in works.take([folder / "exports"]))
        yield asked_of(works)


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "works"
    made = run(["demo", "--days", "7", "--seed", "3", "--into", str(folder)])
    taken = run(["intake", str(folder / "exports"), "--works", str(folder)])
    assert (made[0], taken[0]) == (0, 0), made[2] + taken[2]
    return folder


@pytest.fixture(scope="module")
def demo_week(demo_folder: Path) -> Asked:
    """Answers of the demo as the command prints them."""
    return Asked(lambda question, machine, token: answer(demo_folder, question, machine, "--period", token))


@pytest.fixture(scope="module")
def demo_days(demo_folder: Path) -> Iterator[Asked]:
    """Answers of the demo, opened once."""
    with Works(demo_folder) as works:
        yield asked_of(works)


def holds(shown: Shown, good: int) -> bool:
    """Whether the truth lies within the bounds."""
    assert shown.low is not None and shown.high is not None
    return shown.low - ROUNDING <= good <= shown.high + ROUNDING


def widest(open_s: float) -> float:
    """The most that bounds may be apart [pieces]: at the fastest rate, in two counters at most.

    Two stamps may be off by a second each and the rate by a twentieth, at each of two ends.
    """
    return 2 * (1.05 * FASTEST_PER_S * (open_s + 4) + 2) if open_s else 0.0


def test_there_are_twenty_troubled_shifts_of_every_kind() -> None:
    assert len(CASES) >= 20
    assert {case.trouble for case in CASES} == set(TROUBLES)
    assert all(100_000 < case.good < 160_000 for case in CASES)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_every_question_shows_the_same_pieces(troubled: Asked, case: Case) -> None:
    shown = {question: troubled.shown(question, case.machine, case.token) for question in QUESTIONS}
    assert len(set(shown.values())) == 1, shown


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_truth_lies_inside_and_is_exact_where_readings_decide_it(
    troubled: Asked, case: Case, question: str
) -> None:
    shown = troubled.shown(question, case.machine, case.token)
    print(f"{case} {question}: {shown.value} ({shown.low} to {shown.high}), truth {case.good:,}")
    assert holds(shown, case.good)
    assert shown.value is not None, "the likeliest count is always known"
    assert shown.low <= shown.value <= shown.high
    if not case.trouble.open_s:
        assert shown.exact
    assert shown.high - shown.low <= widest(case.trouble.open_s), "wider than the fastest rate allows"
    if case.trouble.likely:
        assert shown.value == case.good


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_reset_in_a_gap_at_a_standstill_of_the_demo_week(demo_week: Asked, question: str) -> None:
    shown = demo_week.shown(question, RESET["machine"], RESET["token"])
    assert shown.value == RESET["good"]
    assert holds(shown, RESET["good"])
    assert shown.high is not None and shown.high > RESET["good"], "what was made unread is bounded, not known"


def test_every_question_about_the_demo_week_shows_the_same_pieces(demo_week: Asked) -> None:
    shown = {q: demo_week.shown(q, RESET["machine"], RESET["token"]) for q in QUESTIONS}
    assert len(set(shown.values())) == 1, shown


@pytest.mark.parametrize("machine", ["wrap1", "wrap2"])
def test_a_day_is_the_sum_of_its_shifts_in_every_question(demo_days: Asked, machine: str) -> None:
    """Readings at the edge between two shifts may leave a piece to either; the sums are the same."""
    for question in QUESTIONS:
        day = demo_days.shown(question, machine, "2026-06-09")
        shifts = [demo_days.shown(question, machine, f"2026-06-09.{shift}") for shift in ("early", "late")]
        assert day.value == pytest.approx(sum(s.value for s in shifts), abs=1), question
        assert day.low == pytest.approx(sum(s.low for s in shifts), abs=2), question
        assert day.high == pytest.approx(sum(s.high for s in shifts), abs=2), question
