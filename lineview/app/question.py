"""What somebody asks: read once from the texts of an address or a command, and checked there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar, get_args

from lineview.app.second_scope import SecondScope, read_second_scope
from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.core.language import mark, tr
from lineview.plant import Machine, MachineKind, Plant
from lineview.plant.periods import DEFAULTS, PeriodName, at_wall_time, read_period, read_wall_time, resolve
from lineview.report import show
from lineview.report.answer import Question, Scope

if TYPE_CHECKING:  # only the order needs it, and the others start the quicker for it
    from lineview.order.what_if import WhatIf

T = TypeVar("T")
QUESTIONS: tuple[Question, ...] = get_args(Question)


@dataclass(frozen=True)
class QuestionScope:
    """A question as it is asked; what is left open is chosen by what was read.

    Parameters
    ----------
    question : str
        Which of the six.
    line, machine : str, optional
        Ids; by default the first line's machine that the question is about.
    period : str, ShiftOfDay or Days, optional
        The name of a period; by default the one that suits the question.
    start, end : datetime.datetime, optional
        Moments in the plant's wall time or with an offset; either takes the place of `period`.
    only, against : SecondScope, optional
        Of the week: the shift and product it is cut to, and what it is compared with.
    what_if : WhatIf, optional
        Of the order: what is supposed.
    trial : int, optional
        Of the week: the number of a trial, which is judged instead.
    """

    question: Question
    line: str | None = None
    machine: str | None = None
    period: PeriodName | None = None
    start: datetime | None = None
    end: datetime | None = None
    only: SecondScope | None = None
    against: SecondScope | None = None
    trial: int | None = None
    what_if: WhatIf | None = None

    @property
    def named_period(self) -> PeriodName:
        """The period asked for, or the one that suits the question."""
        return DEFAULTS[self.question] if self.period is None else self.period


def read_question(
    question: str,
    line: str | None = None,
    machine: str | None = None,
    period: str | None = None,
    start: str | None = None,
    end: str | None = None,
    only: str | None = None,
    against: str | None = None,
    trial: int | None = None,
) -> QuestionScope:
    """Read what is asked; an empty text is as good as none.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap", "order" or "week".
    line, machine : str, optional
        Ids.
    period : str, optional
        As in lineview.plant.periods.read_period.
    start, end : str, optional
        Moments, as in lineview.plant.periods.read_wall_time.
    only, against : str, optional
        Of the week, as in lineview.app.second_scope.read_second_scope.
    trial : int, optional
        Of the week: the number of a trial.

    Returns
    -------
    QuestionScope
        Whether line, machine and shift are in the plant is checked when it is answered.

    Raises
    ------
    AskError
        With all that cannot be read, at once.

    Examples
    --------
    >>> read_question("shift", line="1", period="2026-06-09.early").period
    ShiftOfDay(day=datetime.date(2026, 6, 9), shift='early')
    """
    faults: list[Fault] = []
    name_of_question = next((q for q in QUESTIONS if q == question), None)
    if name_of_question is None:
        names = ", ".join(QUESTIONS)
        what = tr("unknown question '{question}'", question=question)
        faults.append(Fault(what, "question", tr("one of {names}", names=names)))
    name = _read(read_period, period, faults)
    first = _read(lambda text: read_wall_time(text, "--from"), start, faults)
    last = _read(lambda text: read_wall_time(text, "--to"), end, faults)
    part, other = (_read(read_second_scope, text, faults) for text in (only, against))
    if (part or other) and name_of_question not in (None, "week"):
        faults.append(
            Fault(tr("'{question}' is not compared", question=name_of_question), "--against", tr("the question week"))
        )
    if part is not None and part != SecondScope(shift=part.shift, product=part.product):
        faults.append(
            Fault(tr("the first scope is cut to a shift or a product alone"), "--only", tr("shift=… or product=…"))
        )
    if trial is not None and name_of_question not in (None, "week"):
        faults.append(
            Fault(tr("'{question}' has no trials", question=name_of_question), "--trial", tr("the question week"))
        )
    if name_of_question is None or faults:
        raise AskError(faults)
    return QuestionScope(name_of_question, line or None, machine or None, name, first, last, part, other, trial)


def _read(read: Callable[[str], T], text: str | None, faults: list[Fault]) -> T | None:
    """Read a text, or add what is wrong with it."""
    if not text:
        return None
    try:
        return read(text)
    except AskError as error:
        faults += error.faults
        return None


def kind_for(question: Question) -> MachineKind:
    """The kind of machine a question is about."""
    return "sizer" if question == "rope" else "cut-and-wrap machine"


def known_machine(plant: Plant, name: str) -> Machine:
    """The machine of this id."""
    entry = plant.machine(name)
    if entry is None:
        ids = ", ".join(m.id for m in plant.machines)
        raise AskError(Fault(tr("unknown machine '{name}'", name=name), "--machine", tr("one of {names}", names=ids)))
    return entry


def machines_asked(plant: Plant, question: Question, line: str | None = None) -> list[Machine]:
    """The machines, of one line or of all, that a question can be asked of.

    Parameters
    ----------
    plant : Plant
        The plant description.
    question : str
        Which of the six.
    line : str, optional
        Id of a line.

    Returns
    -------
    list of Machine
        In the order of the plant description.
    """
    kind = kind_for(question)
    return [m for m in plant.machines if m.kind == kind and line in (None, m.line)]


def choose_machine(plant: Plant, question: QuestionScope, span_of: Callable[[str], Period | None]) -> Machine:
    """Choose the machine a question is asked of."""
    line = question.line
    _check_line(plant, line)
    fitting = machines_asked(plant, question.question, line)
    if question.machine:
        return _fitting(question, known_machine(plant, question.machine), fitting)
    if not fitting:
        where = tr(" on line {line}", line=line) if line else ""
        what = tr("there is no {kind}{where}", kind=tr(kind_for(question.question)), where=where)
        raise AskError(Fault(what, "plant.toml", tr("one to ask about")))
    return next((m for m in fitting if span_of(m.id) is not None), fitting[0])


def machines_of_week(plant: Plant, question: QuestionScope) -> list[Machine]:
    """The cut-and-wrap machines that a week is asked of: one, those of a line, or all."""
    _check_line(plant, question.line)
    fitting = machines_asked(plant, question.question, question.line)
    if question.machine:
        return [_fitting(question, known_machine(plant, question.machine), fitting)]
    if not fitting:
        where = tr(" on line {line}", line=question.line) if question.line else ""
        what = tr("there is no cut-and-wrap machine{where}", where=where)
        raise AskError(Fault(what, "plant.toml", tr("one to ask about")))
    return fitting


def _check_line(plant: Plant, line: str | None) -> None:
    if line is not None and line not in (ids := [entry.id for entry in plant.lines]):
        raise AskError(
            Fault(tr("unknown line '{line}'", line=line), "--line", tr("one of {names}", names=", ".join(ids)))
        )


def _fitting(question: QuestionScope, machine: Machine, fitting: list[Machine]) -> Machine:
    kind = kind_for(question.question)
    others = ", ".join(m.id for m in fitting) or tr("none there")
    if question.line is not None and machine.line != question.line:
        what = tr("'{machine}' is not on line {line}", machine=machine.id, line=question.line)
        raise AskError(Fault(what, "--machine", tr("one of {names}", names=others)))
    if machine.kind != kind:
        text = mark("'{machine}' is a {kind}, and '{question}' is asked of a {wanted}")
        what = tr(text, machine=machine.id, kind=tr(machine.kind), question=question.question, wanted=tr(kind))
        raise AskError(Fault(what, "--machine", tr("one of {names}", names=others)))
    return machine


def scope_of(plant: Plant, question: QuestionScope, machine: Machine | None, span: Period) -> Scope:
    """The scope of a question; without a machine that of the lines asked about."""
    if question.start or question.end:
        period = _between(question, plant, span)
        ends, now = (period.start, period.end), span.end.astimezone(plant.tz)
        start, end = (show.moment(at, plant, year=at.astimezone(plant.tz).year != now.year) for at in ends)
        label = tr("{start} to {end}", start=start, end=end)
    else:
        period, label = resolve(question.named_period, plant.shifts, plant.tz, span)
    if question.question == "order" and (period.start >= span.end or period.end <= span.start):
        what = tr("nothing was read in {label}, so there is no history to order by", label=label)
        raise AskError(Fault(what, "period", tr("a period with readings, or none to use all of them")))
    if machine is None:
        return Scope(question.line or "", "", period, span.end, label)
    return Scope(machine.line, machine.id, period, span.end, label)


def _between(question: QuestionScope, plant: Plant, span: Period) -> Period:
    first = at_wall_time(question.start, plant.tz, "--from") if question.start else span.start
    last = at_wall_time(question.end, plant.tz, "--to") if question.end else span.end
    if last <= first:
        what = tr("the period has no length") if last == first else tr("the period ends before it starts")
        raise AskError(Fault(what, "--to", tr("a moment after --from")))
    return Period(first, last)
