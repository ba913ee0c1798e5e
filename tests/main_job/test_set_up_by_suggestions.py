"""Works that nobody described, set up by suggestions alone: right, or asked, never silently wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.simulate.set_up_by_suggestions import judged
from tests.simulate.undescribed import make_undescribed

#: A gzipped CSV, a CSV and a TSV in three languages, with one shift a day and two.
FEW = (8, 15, 36)
MANY = range(40)
#: So many of the forty are right with at most so many questions; the others ask.
RIGHT, QUESTIONS = 36, 5


@pytest.mark.slow
@pytest.mark.parametrize("number", FEW)
def test_suggestions_alone_give_the_true_shifts(number: int, tmp_path: Path) -> None:
    came = judged(make_undescribed(number, tmp_path / "exports"), tmp_path / "works")
    assert (came.verdict, came.differs) == ("right", ())
    assert came.questions <= QUESTIONS


@pytest.mark.long
def test_of_forty_works_none_is_silently_wrong(tmp_path: Path) -> None:
    verdicts = []
    for number in MANY:
        came = judged(make_undescribed(number, tmp_path / f"{number}"), tmp_path / f"works{number}")
        verdicts.append(came.verdict)
        print(number, came.verdict, came.questions, "; ".join(came.differs[:3]))
        assert came.verdict != "wrong", came.differs
    print({verdict: verdicts.count(verdict) for verdict in sorted(set(verdicts))})
    assert verdicts.count("right") >= RIGHT
