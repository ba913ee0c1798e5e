"""Trials as people note them: read with all faults, planned, changed, closed, undone, and written down by whom."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from typer.testing import CliRunner

from lineview.app.question import read_question
from lineview.app.trials import TrialText, close_trial, edit_trial, note_trial, trial_words, trials_table, undo_trial
from lineview.app.works import Works
from lineview.cli.main import app
from lineview.core.errors import AskError
from lineview.store.audit import acting

NEW = TrialText("new knife", "2026-06-12", line="line1", shifts="20")


@pytest.fixture
def noted(week: Works) -> Iterator[int]:
    """A trial that is gone again afterwards."""
    number = note_trial(week, NEW).number
    yield number
    while number in [row["number"] for row in trials_table(week).rows]:
        undo_trial(week, number)


def test_a_trial_is_noted_with_whom_and_says_what_it_waits_for(week: Works, noted: int) -> None:
    assert "judged by effective rate over 20 shifts (5 % is worth having), line line2" in trial_words(week, noted)
    answer = week.ask(read_question("week", trial=noted))
    assert answer.text.startswith("New knife, Line 1: ")
    assert "too few shifts before it: needs 10, has 8" in " ".join(answer.notes)
    assert answer.figure("trial_planned_shifts").value == 20
    assert answer.figure("trial_change").value is None
    assert trials_table(week).rows[0]["number"] == noted
    entries = week.store.accounts.entries(5).filter(action="trial")
    assert entries["about"][0] == f"trial {noted}"
    assert "new knife" in entries["after"][0]


def test_a_change_is_another_persons_and_is_undone(week: Works, noted: int) -> None:
    with acting("ben"):
        edit_trial(week, noted, TrialText(what="new knife, ground twice", shifts="30"))
    row = trials_table(week).rows[0]
    assert (row["what"], row["shifts"], row["who"]) == ("new knife, ground twice", 30, "ben")
    assert undo_trial(week, noted)
    assert (trials_table(week).rows[0]["what"], trials_table(week).rows[0]["shifts"]) == ("new knife", 20)
    assert week.store.accounts.entries(1)["action"][0] == "trial undone"
    assert not undo_trial(week, noted)
    assert noted not in [row["number"] for row in trials_table(week).rows]
    again = note_trial(week, NEW).number  # its number is not given a second time
    assert again > noted
    undo_trial(week, again)
    with pytest.raises(AskError, match="there is no trial"):
        week.ask(read_question("week", trial=noted))


def test_the_verdict_is_kept_until_what_is_judged_changes(week: Works, noted: int) -> None:
    close_trial(week, noted, "the new knife stays")
    answer = week.ask(read_question("week", trial=noted))
    assert "Closed: the new knife stays." in answer.soft
    assert any(note.startswith("Verdict kept on ") for note in answer.notes)
    edit_trial(week, noted, TrialText(what="a new knife"))
    assert trials_table(week).rows[0]["decision"] == "the new knife stays"
    edit_trial(week, noted, TrialText(shifts="25"))
    assert trials_table(week).rows[0]["decision"] == ""


def test_what_was_noted_stands_with_the_lasting_changes_of_that_day(week: Works, noted: int) -> None:
    from lineview.app.inputs import Measured
    from lineview.app.week_inputs import WeekFetcher

    with week.store.snapshot() as store:
        fetcher = WeekFetcher(store, week.records, week.plant, Measured())
        span = store.span()
        assert f"trial {noted}: new knife" in [words for _, words in fetcher._noted(["line1"], (span.start, span.end))]


def test_all_that_cannot_be_read_is_said_at_once(week: Works) -> None:
    wrong = TrialText("", "Tuesday", "soon", "line9", None, "line1", "rate", "none", "2")
    with pytest.raises(AskError) as caught:
        note_trial(week, wrong)
    assert {fault.where for fault in caught.value.faults} == {"what", "--from", "--line", "--worth", "--shifts"}
    with pytest.raises(AskError, match="unknown measure 'luck'"):
        note_trial(week, TrialText("x", "2026-06-12", line="line1", measure="luck", shifts="20"))
    with pytest.raises(AskError, match="cannot be planned: too few shifts before it: needs 10, has 0"):
        note_trial(week, TrialText("x", "2026-06-08", line="line1"))
    with pytest.raises(AskError, match="'shift' has no trials"):
        read_question("shift", trial=1)


def test_the_command_line_notes_lists_closes_and_undoes(week: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    def run(*words: str) -> str:
        result = CliRunner().invoke(app, [*words, "--works", str(week.folder)], catch_exceptions=False)
        assert result.exit_code == 0
        return " ".join(result.output.split())

    said = run(
        "trial", "add", "lower speed", "--from", "2026-06-12", "--machine", "wrap2", "--by", "rejects", "--shifts", "9"
    )
    number = said.removeprefix("Trial ").partition(":")[0]
    assert "lower speed, machine wrap2, from Fri 12 June 2026, 00:00, judged by rejects over 9 shifts" in said
    assert "lower speed" in run("trial", "list")
    assert "Lower speed" in run("answer", "week", "--trial", number)
    again = run(
        "trial", "add", "lower speed", "--from", "2026-06-12", "--machine", "wrap2", "--by", "rejects", "--shifts", "9"
    )
    assert again == said  # pressed twice, kept once
    with pytest.raises(AskError, match=f"this is trial {number} already, planned otherwise"):
        note_trial(week, TrialText("lower speed", "2026-06-12", machine="wrap2", measure="rejects", shifts="10"))
    assert "over 12 shifts" in run("trial", "edit", number, "--shifts", "12")
    monkeypatch.setattr("lineview.app.trials.shifts_to_plan", lambda _: 34)
    edited = run("trial", "edit", number, "--worth", "60")
    assert "Planned anew: 34 shifts instead of 12. To keep 12: --shifts 12." in edited
    assert "Decided: back to the old speed" in run("trial", "close", number, "--decision", "back to the old speed")
    for _ in range(3):
        assert "Undone." in run("trial", "undo", number)
    assert f"nothing of trial {number} is left" in run("trial", "undo", number)
