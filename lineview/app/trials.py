"""Trials noted by people: read, planned, changed, closed with their verdict, and undone."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime

from lineview.app.question import known_machine, machines_asked
from lineview.app.week_inputs import WeekFetcher, trial_of, trials_of
from lineview.app.works import Works
from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr, typed_number
from lineview.plant import Plant
from lineview.plant.periods import moment
from lineview.report import show
from lineview.report.answer import Table, columns_of
from lineview.week.compare import MEASURES, SPREAD
from lineview.week.trial import LEAST_SINCE, MOST_SHIFTS, Trial, TrialInputs, shifts_to_plan
from lineview.week.trial_answer import kept_verdict, verdict_words

#: What a trial can be judged by, in one word; or a cause, as the ledger names it.
SHORT = {
    "rate": mark("effective rate"),
    "uptime": mark("uptime"),
    "stops": mark("stops per running hour"),
    "changeovers": mark("changeover minutes an hour planned"),
    "film": mark("film per thousand good pieces"),
    "paper": mark("wax paper per thousand good pieces"),
}
NO_LINE = "none"
#: The change worth having where nobody says one [%].
WORTH_PERCENT = 5.0


@dataclass(frozen=True)
class TrialText:
    """A trial as somebody types it; None is left as it is, or chosen where it is new.

    Parameters
    ----------
    what : str
        What was changed.
    begins, ends : str
        From and until when, in wall time.
    line, machine : str
        Ids.
    beside : str
        Id of a line that was not changed, or "none".
    measure : str
        What it is judged by: one of SHORT, or a cause of the ledger.
    worth : str
        The change worth having, in percent.
    shifts : str
        How many shifts are planned; by default as many as show the change worth having.
    """

    what: str | None = None
    begins: str | None = None
    ends: str | None = None
    line: str | None = None
    machine: str | None = None
    beside: str | None = None
    measure: str | None = None
    worth: str | None = None
    shifts: str | None = None


def note_trial(works: Works, text: TrialText) -> Trial:
    """Keep a new trial; its number of shifts is planned from the shifts before it, unless it is given.

    Parameters
    ----------
    works : Works
        The works folder.
    text : TrialText
        As it was typed; line and beginning are needed where there are several lines.

    Raises
    ------
    AskError
        With all that cannot be read, or where the number of shifts cannot be planned.
    """
    lines = list(dict.fromkeys(m.line for m in machines_asked(works.plant, "week")))
    if text.line is None and text.machine is None and len(lines) > 1:
        expected = tr("one of {names}, or a machine", names=", ".join(lines))
        raise AskError(Fault(tr("no line was named"), "--line", expected))
    now = datetime.now(UTC)
    empty = Trial(0, "", now, None, "", "", "", SHORT["rate"], WORTH_PERCENT, 0, "", "", "", now, now)
    return _store_trial(works, empty, _apply_text(works, empty, replace(text, line=text.line or (lines or [""])[0])))


def edit_trial(works: Works, number: int, text: TrialText) -> Trial:
    """Change a trial; what is judged differently from now on counts as noted now.

    Parameters
    ----------
    works : Works
        The works folder.
    number : int
        Of the trial.
    text : TrialText
        What is to be different.

    Raises
    ------
    AskError
        Where there is no such trial, or a text cannot be read.
    """
    before = trial_of(works.store, number)
    changed = _apply_text(works, before, text)
    if replace(before, what=changed.what) != changed:  # a verdict stands for what was judged
        changed = replace(changed, verdict="", decision="")
    return _store_trial(works, before, changed)


def close_trial(works: Works, number: int, decision: str) -> str:
    """Keep the verdict as it stands now, and what was decided; say both.

    Parameters
    ----------
    works : Works
        The works folder.
    number : int
        Of the trial.
    decision : str
        In the words of the works.

    Raises
    ------
    AskError
        Where there is no such trial, or somebody else has closed it.
    """
    if not decision.strip():
        raise AskError(Fault(tr("no decision was entered"), "--decision", tr("for instance 'the new knife stays'")))
    trial = trial_of(works.store, number)
    if trial.decision not in ("", decision.strip()):
        who = {"who": trial.who, "decision": trial.decision}
        what = tr("trial {number} was closed by {who}: {decision}", number=number, **who)
        raise AskError(Fault(what, do=tr("Take that back first to close it otherwise.")))
    closed = replace(trial, verdict=kept_verdict(_inputs(works, trial)), decision=decision.strip())
    words = {"verdict": verdict_words(_store_trial(works, trial, closed), works.plant), "decision": closed.decision}
    return tr("Kept: {verdict} Decided: {decision}.", **words)


def trial_words(works: Works, number: int) -> str:
    """A trial in a sentence: what, where, from when, what it is judged by and over how many shifts.

    Parameters
    ----------
    works : Works
        The works folder.
    number : int
        Of the trial.
    """
    trial, plant = trial_of(works.store, number), works.plant
    beside = tr("no line beside it")
    if trial.beside:
        beside = tr("{line}, not changed, beside it", line=_line(trial.beside, plant))
    ends = "" if trial.ends_at is None else tr(" to {end}", end=show.moment(trial.ends_at, plant, year=True))
    begins = show.moment(trial.begins_at, plant, year=True)
    return tr(
        "Trial {number}: {what}, {where}, from {begins}{ends}, judged by {measure} over {shifts} shifts "
        "({worth:g} % is worth having), {beside}.",
        number=trial.number,
        what=trial.what,
        where=_where(trial, plant),
        begins=begins,
        ends=ends,
        measure=tr(trial.measure),
        shifts=trial.shifts,
        worth=trial.worth_percent,
        beside=beside,
    )


def trials_table(works: Works) -> Table:
    """All trials that stand, the newest first.

    Parameters
    ----------
    works : Works
        The works folder.
    """
    columns = columns_of(
        "number; what: what was changed; where; begins_at: from; measure: judged by; shifts: shifts planned; "
        "decision; who: noted by"
    )
    rows = [
        {key: _where(trial, works.plant) if key == "where" else getattr(trial, key) for key, _, _ in columns}
        for trial in reversed(trials_of(works.store))
    ]
    return Table("trials", tr("Trials"), columns, rows)


def _where(trial: Trial, plant: Plant) -> str:
    machine = plant.machine(trial.machine) if trial.machine else None
    return _line(trial.line, plant) if machine is None else machine.label


def _line(line: str, plant: Plant) -> str:
    return next((entry.name for entry in plant.lines if entry.id == line and entry.name), tr("line {line}", line=line))


def _store_trial(works: Works, before: Trial, trial: Trial) -> Trial:
    """Keep a trial as it is from now on, unless somebody changed it since it was read."""
    fields = asdict(trial)
    for name in ("number", "who", "set_at", "noted_at"):
        del fields[name]
    return trial_of(works.store, works.store.set_trial(before.number or None, fields, before.set_at))


def _apply_text(works: Works, trial: Trial, text: TrialText) -> Trial:
    """The trial with what was typed, every fault said at once."""
    plant, faults = works.plant, list[Fault]()
    changed = trial
    if text.what is not None:
        changed = replace(changed, what=text.what.strip())
    if not changed.what:
        faults.append(Fault(tr("nothing says what was changed"), "what", tr("for instance 'new knife'")))
    changed = _place(plant, changed, text, faults)
    changed = _times(plant, changed, text, faults)
    changed = _judging(changed, text, faults)
    if faults:
        raise AskError(faults)
    return _plan_trial(works, trial, changed, text)


def _place(plant: Plant, trial: Trial, text: TrialText, faults: list[Fault]) -> Trial:
    lines = list(dict.fromkeys(m.line for m in machines_asked(plant, "week")))
    line, machine = trial.line if text.line is None else text.line, trial.machine
    if text.machine:
        try:
            changed = known_machine(plant, text.machine)
            line, machine = changed.line, changed.id
            if changed not in machines_asked(plant, "week"):
                faults.append(Fault(tr("'{machine}' is not a cut-and-wrap machine", machine=changed.id), "--machine"))
        except AskError as error:
            faults += error.faults
    elif text.line is not None or text.machine is not None:
        machine = ""
    if line not in lines:
        what = tr("no cut-and-wrap machine on line '{line}'", line=line)
        faults.append(Fault(what, "--line", tr("one of {names}", names=", ".join(lines))))
    beside = trial.beside
    if text.beside is not None:
        beside = "" if text.beside in ("", NO_LINE) else text.beside
        if beside and (beside not in lines or beside == line):
            others = ", ".join([other for other in lines if other != line] + [NO_LINE])
            what = tr("'{beside}' is not a line beside line '{line}'", beside=beside, line=line)
            faults.append(Fault(what, "--beside", tr("one of {names}", names=others)))
    return replace(trial, line=line, machine=machine, beside=beside)


def _times(plant: Plant, trial: Trial, text: TrialText, faults: list[Fault]) -> Trial:
    now, begins, ends = datetime.now(UTC), trial.begins_at, trial.ends_at
    try:
        if text.begins is not None:
            begins = moment(text.begins, plant.tz, "--from", now)
        elif trial.number == 0:
            faults.append(Fault(tr("no moment says from when on"), "--from", tr("for instance 2026-06-09")))
        if text.ends is not None:
            ends = moment(text.ends, plant.tz, "--to", now) if text.ends.strip() else None
    except AskError as error:
        faults += error.faults
    if ends is not None and ends <= begins:
        faults.append(Fault(tr("it ends before it begins"), "--to", tr("a moment after its beginning")))
    return replace(trial, begins_at=begins, ends_at=ends)


def _judging(trial: Trial, text: TrialText, faults: list[Fault]) -> Trial:
    worth = _number(text.worth, trial.worth_percent, "--worth", (0.1, 100.0), faults)
    shifts = _number(text.shifts, float(trial.shifts), "--shifts", (LEAST_SINCE, MOST_SHIFTS), faults)
    measure = trial.measure if text.measure is None else SHORT.get(text.measure.strip(), text.measure.strip())
    if measure == SPREAD:
        what = tr("a trial is not judged by {measure}", measure=tr(SPREAD))
        faults.append(Fault(what, "--by", tr("one of {names}, or a cause", names=", ".join(SHORT))))
    return replace(trial, worth_percent=worth, shifts=round(shifts), measure=measure)


def _number(text: str | None, before: float, where: str, ends: tuple[float, float], faults: list[Fault]) -> float:
    if not text:
        return before
    value = typed_number(text.strip().removesuffix("%"))
    if not ends[0] <= value <= ends[1]:
        expected = tr("a number from {least:g} to {most:g}", least=ends[0], most=ends[1])
        faults.append(Fault(tr("'{text}' is not allowed here", text=text), where, expected))
        return before
    return value


def _plan_trial(works: Works, before: Trial, trial: Trial, text: TrialText) -> Trial:
    """The trial with a line beside it, and with its number of shifts where nobody gave one."""
    if not before.number and text.beside is None:
        trial = replace(trial, beside=_free_line(works, trial))
    same = replace(before, what=trial.what, ends_at=trial.ends_at) == trial
    if text.shifts or (before.number and same):
        return _check_measure(works, trial)
    return replace(trial, shifts=shifts_to_plan(_inputs(works, trial)))


def _check_measure(works: Works, trial: Trial) -> Trial:
    """The trial as it is, where its measure is a key figure or a cause that was seen before it."""
    if trial.measure in MEASURES:
        return trial
    causes = {str(cause) for part in _inputs(works, trial).side.losses for cause in part.losses["cause"]}
    if trial.measure not in causes:
        measures = ", ".join([*SHORT, *sorted(causes)])
        what = tr("unknown measure '{measure}'", measure=trial.measure)
        raise AskError(Fault(what, "--by", tr("one of {names}", names=measures)))
    return trial


def _free_line(works: Works, trial: Trial) -> str:
    """Another line with readings from before the trial on which none was noted; "" where there is none."""
    lines = {other.line for other in trials_of(works.store)} | {trial.line}
    for machine in machines_asked(works.plant, "week"):
        span = works.store.span(machine.id)
        if machine.line not in lines and span is not None and span.start < trial.begins_at:
            return machine.line
    return ""


def _inputs(works: Works, trial: Trial) -> TrialInputs:
    from lineview.app.inputs import Measured

    with works.store.snapshot() as store:
        return WeekFetcher(store, works.records, works.plant, Measured()).trial(trial)
