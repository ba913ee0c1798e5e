"""The commands of trials: noted, listed, changed, closed with their verdict, and undone."""

from __future__ import annotations

from typing import Annotated

import typer

from lineview.cli.console import HERE, JournalUrl, WorksFolder
from lineview.core.language import tr

trials = typer.Typer(help="Trials: what was changed from when on, and whether it helped.", no_args_is_help=True)
TrialFrom = Annotated[
    str | None, typer.Option("--from", help="From when on, in wall time: 2026-06-09, or 2026-06-09 14:00.")
]
TrialTo = Annotated[str | None, typer.Option("--to", help="Until when, where it was undone.")]
TrialLine = Annotated[str | None, typer.Option("--line", help="Id of the line that was changed.")]
TrialMachine = Annotated[str | None, typer.Option("--machine", help="Id of the one machine that was changed.")]
TrialBeside = Annotated[
    str | None, typer.Option("--beside", help="Id of a line that was not changed, to hold it to; or none.")
]
TrialBy = Annotated[
    str | None,
    typer.Option("--by", help="Judged by rate (default), uptime, stops, changeovers, film, paper, or a cause."),
]
TrialWorth = Annotated[str | None, typer.Option("--worth", help="The change worth having, in percent; by default 5.")]
TrialShifts = Annotated[
    str | None, typer.Option("--shifts", help="Shifts planned; by default as many as show the change worth having.")
]
TrialNumber = Annotated[int, typer.Argument(help="Its number.")]


@trials.command("add")
def trial_add(
    what: Annotated[str, typer.Argument(help="What was changed, for instance 'new knife'.")],
    begins: TrialFrom = None,
    ends: TrialTo = None,
    line: TrialLine = None,
    machine: TrialMachine = None,
    beside: TrialBeside = None,
    by: TrialBy = None,
    worth: TrialWorth = None,
    shifts: TrialShifts = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
) -> None:
    """Note a trial before its first shift is over: what is chosen then decides how it is judged."""
    from lineview.app.trials import TrialText, note_trial, trial_words
    from lineview.app.works import Works

    with Works(works, journal) as opened:
        trial = note_trial(opened, TrialText(what, begins, ends, line, machine, beside, by, worth, shifts))
        _print_words(trial_words(opened, trial.number))


@trials.command("list")
def trial_list(works: WorksFolder = HERE, journal: JournalUrl = None) -> None:
    """List trials."""
    from lineview.app.trials import trials_table
    from lineview.app.works import Works
    from lineview.cli.answers import printed_table
    from lineview.cli.console import print_table

    with Works(works, journal) as opened:
        table = trials_table(opened)
        if not table.rows:
            return _print_words(tr("No trial was noted; lineview trial add notes one."))
        print_table(printed_table(table, opened.plant))
    return _print_words(f"{tr('How one goes:')} lineview answer week --trial {tr('NUMBER')}")


@trials.command("edit")
def trial_edit(
    number: TrialNumber,
    what: Annotated[str | None, typer.Option(help="What was changed.")] = None,
    begins: TrialFrom = None,
    ends: TrialTo = None,
    line: TrialLine = None,
    machine: TrialMachine = None,
    beside: TrialBeside = None,
    by: TrialBy = None,
    worth: TrialWorth = None,
    shifts: TrialShifts = None,
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
) -> None:
    """Change a trial; what is not named stays. Judged otherwise, its shifts are planned anew unless --shifts says."""
    from lineview.app.trials import TrialText, edit_trial, trial_words
    from lineview.app.week_inputs import trial_of
    from lineview.app.works import Works

    with Works(works, journal) as opened:
        before = trial_of(opened.store, number)
        planned = before.shifts
        changed = edit_trial(opened, number, TrialText(what, begins, ends, line, machine, beside, by, worth, shifts))
        _print_words(trial_words(opened, number))
        if before.decision and not changed.decision:
            words = tr("What is judged has changed: it is open again, without '{decision}'.", decision=before.decision)
            _print_words(words + " " + tr("lineview trial undo {number} brings that back.", number=number))
        if shifts is None and changed.shifts != planned:
            _print_words(
                tr(
                    "Planned anew: {shifts} shifts instead of {planned}. To keep {planned}: --shifts {planned}.",
                    shifts=changed.shifts,
                    planned=planned,
                )
            )


@trials.command("close")
def trial_close(
    number: TrialNumber,
    decision: Annotated[str, typer.Option(help="What was decided, for instance 'the new knife stays'.")],
    works: WorksFolder = HERE,
    journal: JournalUrl = None,
) -> None:
    """Keep a trial's verdict as it stands now, and what was decided."""
    from lineview.app.trials import close_trial
    from lineview.app.works import Works

    with Works(works, journal) as opened:
        _print_words(close_trial(opened, number, decision))


@trials.command("undo")
def trial_undo(number: TrialNumber, works: WorksFolder = HERE, journal: JournalUrl = None) -> None:
    """Take back what was last said of a trial; again for what was said before."""
    from lineview.app.trials import trial_words
    from lineview.app.works import Works

    with Works(works, journal) as opened:
        if opened.store.undo_trial(number):
            _print_words(tr("Undone. {trial}", trial=trial_words(opened, number)))
        else:
            _print_words(tr("Undone: nothing of trial {number} is left.", number=number))


def _print_words(words: str) -> None:
    from lineview.cli.console import say

    say(words)
