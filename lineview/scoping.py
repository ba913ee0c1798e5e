"""From what a person asked to the line, machine and period meant."""

from __future__ import annotations

from collections.abc import Callable

from lineview.answers.answer import Question, Scope
from lineview.errors import AskError, Fault
from lineview.figure import Period
from lineview.plant import Machine, MachineKind, Plant
from lineview.plant.periods import DEFAULTS, moment, resolve


def kind_for(question: Question) -> MachineKind:
    """Give the kind of machine a question is about.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap" or "order".

    Returns
    -------
    str
        "sizer" or "cut-and-wrap machine".

    Examples
    --------
    >>> kind_for("rope")
    'sizer'
    """
    return "sizer" if question == "rope" else "cut-and-wrap machine"


def known_machine(plant: Plant, name: str) -> Machine:
    """Give the machine of this id.

    Parameters
    ----------
    plant : Plant
        The plant description.
    name : str
        The id.

    Returns
    -------
    Machine
        From the plant description.

    Raises
    ------
    AskError
        Where there is none.
    """
    found = plant.machine(name)
    if found is None:
        known = ", ".join(m.id for m in plant.machines)
        raise AskError(Fault(f"unknown machine '{name}'", "--machine", f"one of {known}"))
    return found


def choose_machine(
    plant: Plant,
    question: Question,
    line: str | None,
    machine: str | None,
    span_of: Callable[[str], Period | None],
) -> Machine:
    """Choose the machine a question is asked of.

    Parameters
    ----------
    plant : Plant
        The plant description.
    question : str
        Which of the five.
    line, machine : str or None
        As asked; without a machine, the first of the right kind that has readings.
    span_of : callable
        Gives the first and last reading of a machine, or None.

    Returns
    -------
    Machine
        From the plant description.

    Raises
    ------
    AskError
        Where the line or machine is unknown, or of another kind than the question is about.
    """
    wanted = kind_for(question)
    if line is not None and line not in (known := [one.id for one in plant.lines]):
        raise AskError(Fault(f"unknown line '{line}'", "--line", f"one of {', '.join(known)}"))
    if machine:
        return _named(plant, question, line, known_machine(plant, machine))
    fitting = [m for m in plant.machines if m.kind == wanted and line in (None, m.line)]
    if not fitting:
        where = f" on line {line}" if line else ""
        raise AskError(Fault(f"there is no {wanted}{where}", "plant.toml", "one to ask about"))
    with_readings = [m for m in fitting if span_of(m.id) is not None]
    return (with_readings or fitting)[0]


def _named(plant: Plant, question: Question, line: str | None, machine: Machine) -> Machine:
    wanted = kind_for(question)
    others = ", ".join(m.id for m in plant.machines if m.kind == wanted and line in (None, m.line))
    if line is not None and machine.line != line:
        raise AskError(
            Fault(f"'{machine.id}' is not on line {line}", "--machine", f"one of {others or 'none there'}")
        )
    if machine.kind != wanted:
        what = f"'{machine.id}' is a {machine.kind}, and '{question}' is asked of a {wanted}"
        raise AskError(Fault(what, "--machine", f"one of {others or 'none there'}"))
    return machine


def scope_of(
    plant: Plant,
    question: Question,
    machine: Machine,
    span: Period,
    period: str | None = None,
    start: str | None = None,
    end: str | None = None,
) -> Scope:
    """Give the scope of a question.

    Parameters
    ----------
    plant : Plant
        The plant description.
    question : str
        Which of the five.
    machine : Machine
        The one asked of.
    span : Period
        Its first and last reading [UTC].
    period : str or None
        A word of lineview.plant.periods; by default the one that suits the question.
    start, end : str or None
        Moments in the plant's wall time; either takes the place of `period`.

    Returns
    -------
    Scope
        With "now" at the last reading.

    Raises
    ------
    AskError
        For a period that is none, or ends before it starts.
    """
    if start or end:
        first = moment(start, plant.tz, "--from") if start else span.start
        last = moment(end, plant.tz, "--to") if end else span.end
        if last <= first:
            what = "the period has no length" if last == first else "the period ends before it starts"
            raise AskError(Fault(what, "--to", "a moment after --from"))
        asked, label = Period(first, last), "the period asked for"
    else:
        asked, label = resolve(period or DEFAULTS[question], plant.shifts, plant.tz, span)
    if question == "order" and (asked.start >= span.end or asked.end <= span.start):
        what = f"nothing was read in {label}, so there is no history to order by"
        raise AskError(Fault(what, "period", "a period with readings, or none to use all of them"))
    return Scope(machine.line, machine.id, asked, span.end, label)
