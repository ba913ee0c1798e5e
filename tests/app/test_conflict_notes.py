"""Every answer says how much of what it is about is given in two versions."""

from __future__ import annotations

from lineview.app.conflict_notes import conflict_groups
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


def test_conflicts_are_grouped_by_exports_and_column_in_the_works_time(tmp_path):
    works = SmallWorks(tmp_path / "works", LAYOUT)
    works.take("time;pieces\n" + rows(stamps(960, 60), total))
    works.take("time;pieces\n" + rows(stamps(12, 60), lambda minute: total(minute) + 7), name="again.csv")
    works.take("time;pieces\n" + rows(stamps(960, 60)[100:105], lambda minute: 1 + minute), name="third.csv")
    with Works(works.folder) as opened:
        groups = conflict_groups(opened.store.conflicts(), opened.plant)
        assert [(group.count, len(group.exports)) for group in groups] == [(12, 2), (5, 2)]
        twelve = groups[0]
        assert [file for _, file in twelve.exports] == ["wrap1.csv", "again.csv"]
        assert twelve.span(opened.plant) == "Mon 8 June, 06:00 to Mon 8 June, 06:11"  # Berlin; 04:00 UTC
        assert len(twelve.examples) == 3
        assert twelve.examples[0] == "Mon 8 June, 06:00: 5,000 (intake 1) or 5,007 (intake 2)"
        for intake, _ in (group.exports[1] for group in groups):
            opened.undo(intake)
        assert conflict_groups(opened.store.conflicts(), opened.plant) == []
