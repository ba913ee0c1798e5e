"""Trials as people note them: read with all faults, planned, changed, closed, undone, and written down by whom."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from lineview.app.question import read_question
from lineview.app.trials import TrialText, close_trial, edit_trial, note_trial, trial_words, trials_table
from lineview.app.week_inputs import trial_of
from lineview.app.works import Works
from lineview.board.trials_form import _short
from lineview.cli.main import app
from lineview.core.errors import AskError
from lineview.core.language import speak
from lineview.store.audit import acting
from lineview.week.trial_answer import verdict_words

NEW = TrialText("new knife", "2026-06-12", line="line1", shifts="20")


@pytest.fixture
def noted(week: Works) -> Iterator[int]:
    """A trial that is gone again afterwards."""
    number = note_trial(week, NEW).number
    yield number
    while number in [row["number"] for row in trials_table(week).rows]:
        week.store.undo_trial(number)


def test_a_trial_is_noted_with_whom_and_says_what_it_waits_for(week: Works, noted: int) -> None:
    assert "judged by effective rate over 20 shifts (5 % is worth having), Line 2, not" in trial_words(week, noted)
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
    assert week.store.undo_trial(noted)
    assert (trials_table(week).rows[0]["what"], trials_table(week).rows[0]["shifts"]) == ("new knife", 20)
    assert week.store.accounts.entries(1)["action"][0] == "trial undone"
    assert not week.store.undo_trial(noted)
    assert noted not in [row["number"] for row in trials_table(week).rows]
    again = note_trial(week, NEW).number  # its number is not given a second time
    assert again > noted
    week.store.undo_trial(again)
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


def test_a_kept_verdict_has_nothing_where_nothing_is_known_and_the_list_of_writing_says_kept(week, noted):
    edit_trial(week, noted, TrialText(begins="2026-07-01"))
    close_trial(week, noted, "the new knife stays")
    trial = trial_of(week.store, noted)
    kept = json.loads(trial.verdict, parse_constant=pytest.fail)
    assert None in kept["level"]
    assert "not known yet" in verdict_words(trial, week.plant)
    entry = json.loads(week.store.accounts.entries(1)["after"][0])
    assert (entry["verdict"], entry["decision"]) == ("kept", "the new knife stays")


def test_more_than_a_field_takes_is_refused_and_not_cut():
    assert _short("decision", " it stays ") == "it stays"
    with pytest.raises(AskError, match="decision: 121 characters; expected up to 120"):
        _short("decision", "x" * 121)


def test_what_was_noted_stands_with_the_lasting_changes_of_that_day(week: Works, noted: int) -> None:
    from lineview.app.inputs import Measured
    from lineview.app.week_inputs import WeekFetcher

    with week.store.snapshot() as store:
        fetcher = WeekFetcher(store, week.records, week.plant, Measured())
        span = store.span()
        assert f"trial {noted}: new knife" in [words for _, words in fetcher._notes(["line1"], (span.start, span.end))]


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
    assert "lower speed, Cut-and-wrap 2, from Fri 12 June 2026, 00:00, judged by rejects over 9 shifts" in said
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
    again = run("trial", "edit", number, "--shifts", "13")
    assert "it is open again, without 'back to the old speed'. lineview trial undo" in again
    for _ in range(4):
        assert "Undone." in run("trial", "undo", number)
    assert f"nothing of trial {number} is left" in run("trial", "undo", number)


def test_a_verdict_is_read_in_the_language_of_who_reads_it(week: Works, noted: int) -> None:
    close_trial(week, noted, "the new knife stays")
    trial, plant = trial_of(week.store, noted), week.plant
    english = verdict_words(trial, plant)
    assert [note for note in week.ask(read_question("week", trial=noted)).notes if note.endswith(f": {english}")]
    assert "248.3 before" in english
    speak("de")
    assert "248,3 davor" in verdict_words(trial, plant)
    assert "good pieces" not in verdict_words(trial, plant)


def test_a_verdict_kept_in_words_is_shown_in_those(week: Works, noted: int) -> None:
    trial = replace(trial_of(week.store, noted), verdict="New knife: better by 3 %.", decision="it stays")
    assert verdict_words(trial, week.plant) == "New knife: better by 3 %."


@pytest.mark.parametrize(
    ("beside", "called", "words"),
    [
        (None, 0, "12.5 good pieces a minute against 10.0 before; too early to judge, 12 of 20 shifts."),
        ((11.0, 11.5), 12, "12.5 good pieces a minute against 10.0 before, Line 2 11.5 against 11.0; better than"),
    ],
)
def test_a_verdict_is_made_of_its_values(
    week: Works, noted: int, beside: tuple[float, float] | None, called: int, words: str
) -> None:
    kept = {"before": 30, "since": 12, "level": (10.0, 12.5), "level_beside": beside, "called_after": called}
    verdict = json.dumps({**kept, "verdict": "better" if called else "too early to judge", "known": ()})
    trial = replace(trial_of(week.store, noted), verdict=verdict, beside="line2", measure="effective rate")
    assert words in verdict_words(trial, week.plant)


def test_of_two_people_who_close_a_trial_the_second_is_told(week: Works, noted: int) -> None:
    with acting("ana"):
        close_trial(week, noted, "the new knife stays")
    with acting("ben"), pytest.raises(AskError, match="was closed by ana: the new knife stays"):
        close_trial(week, noted, "back to the old knife")
    close_trial(week, noted, "the new knife stays")  # pressed twice
    assert trials_table(week).rows[0]["decision"] == "the new knife stays"


def test_a_change_of_what_somebody_else_has_changed_since_it_was_read_is_refused(
    week: Works, noted: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = trial_of(week.store, noted)
    with acting("ana"):
        close_trial(week, noted, "the new knife stays")
    monkeypatch.setattr("lineview.app.trials.trial_of", lambda store, number: read)
    for change in (lambda: close_trial(week, noted, "back"), lambda: edit_trial(week, noted, TrialText(what="knife"))):
        with acting("ben"), pytest.raises(AskError, match="was changed by ana meanwhile"):
            change()
    monkeypatch.undo()
    assert trials_table(week).rows[0]["decision"] == "the new knife stays"


@pytest.mark.parametrize(
    ("text", "sentence", "soft"),
    [
        (TrialText(begins="2026-06-01"), "not known yet, too few shifts before it: needs 10, has 0.", ""),
        (TrialText(begins="2027-01-05"), "not known yet, it begins after the last reading.", "20 more shifts to come."),
        (TrialText(), "; not judged, too few shifts before it: needs 10, has 8.", "18 more shifts to come."),
        (TrialText(ends="2026-06-12 15:00"), "has 8.", "It ended after 1 of 20 shifts."),
        (TrialText(what="Ü<b>" + "x" * 300), "", "18 more shifts to come."),
    ],
)
def test_a_trial_that_cannot_be_judged_says_why(
    week: Works, noted: int, text: TrialText, sentence: str, soft: str
) -> None:
    edit_trial(week, noted, replace(text, shifts="20"))
    answer = week.ask(read_question("week", trial=noted))
    assert answer.text.endswith(sentence)
    begins, ends = (trial_of(week.store, noted).begins_at, trial_of(week.store, noted).ends_at)
    assert answer.scope.period.end == (ends or max(begins, answer.scope.now))
    assert len(answer.text) < 220
    assert answer.soft.strip().startswith(soft)
    assert "too early" not in answer.text
