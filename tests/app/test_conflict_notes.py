"""Every answer says how much of what it is about is given in two versions."""

from __future__ import annotations

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.intake.small_works import SmallWorks, rows, stamps, total
from tests.records.test_runs_at_ends import LAYOUT


def notes(works: SmallWorks, question: str, period: str) -> list[str]:
    with Works(works.folder) as opened:
        answer = opened.ask(read_question(question, machine="wrap1", period=period))
    return [note for note in answer.notes if "versions" in note]


def test_moments_with_two_values_are_counted_in_the_answers_they_concern(tmp_path):
    works = SmallWorks(tmp_path / "works", LAYOUT)
    works.take("time;pieces\n" + rows(stamps(960, 60), total))
    assert notes(works, "shift", "2026-06-08.early") == []
    again = works.take("time;pieces\n" + rows(stamps(12, 60), lambda minute: total(minute) + 7), name="wrap1-again.csv")
    for question, period in (("shift", "2026-06-08.early"), ("wrap", "2026-06-08"), ("week", "2026-06-08")):
        (note,) = notes(works, question, period)
        assert note.startswith("12 readings are given in two versions, of which neither is used")
    assert notes(works, "shift", "2026-06-08.late") == []
    with Works(works.folder) as opened:
        opened.undo(again.receipt.intake)
    assert notes(works, "shift", "2026-06-08.early") == []
