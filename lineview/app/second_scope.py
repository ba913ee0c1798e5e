"""A second scope beside the first: another period, line, machine, shift of the day or product, or before a day."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.core.language import mark, tr
from lineview.plant import Machine, Plant
from lineview.plant.periods import PeriodName, day_label, days_label, read_period, resolve
from lineview.report.answer import ALL_LINES, Scope

#: What a part of a text may be called; "before" has a day.
PARTS = ("line", "machine", "shift", "product", "before")
#: The time of the same length just before the first scope's.
PREVIOUS = "previous"
#: What is shorter than this is compared with the same hours of the day before.
_PART_OF_DAY = timedelta(hours=22)


@dataclass(frozen=True)
class SecondScope:
    """What the first scope is compared with; what is left open is as in the first.

    `period`: the name of a period; `previous`: whether it is the time of the same length just before; `line`,
    `machine`, `shift`, `product`: ids; a shift of the day, a product as the plant names it; `before`: a day: the
    first scope is cut to the time from it on, and the second is the time before it.
    """

    period: PeriodName | None = None
    previous: bool = False
    line: str | None = None
    machine: str | None = None
    shift: str | None = None
    product: str | None = None
    before: date | None = None


def read_second_scope(text: str) -> SecondScope:
    """Read what a scope is compared with; an AskError with all that cannot be read.

    `text` has parts with blanks, commas or semicolons between: "previous", the name of a period, "line=line2",
    "machine=wrap2", "shift=late", "product=honey", "before=2026-06-10". Whether line, machine, shift and product are in
    the plant is checked when it is answered.
    """
    faults: list[Fault] = []
    values: dict[str, str] = {}
    period: PeriodName | None = None
    previous = False
    for part in filter(None, re.split(r"[,;\s]+", text.strip())):
        name, is_named, value = part.partition("=")
        if is_named and name in PARTS and value:
            values[name] = value
        elif part == PREVIOUS:
            previous = True
        else:
            try:
                period = read_period(part)
            except AskError:
                form = mark("{previous}, a period, or one of {parts}")
                expected = tr(form, previous=PREVIOUS, parts=", ".join(f"{name}=…" for name in PARTS))
                faults.append(Fault(tr("'{part}' is no second scope", part=part), "--against", expected))
    day = _day(values.pop("before", ""), faults)
    if faults:
        raise AskError(faults)
    return SecondScope(period, previous, before=day, **values)


def _day(text: str, faults: list[Fault]) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        faults.append(Fault(tr("'{text}' is not a day", text=text), "--against", tr("for instance before=2026-06-10")))
        return None


@dataclass(frozen=True)
class Pick:
    """One side of a comparison: machines, their time, and the shift of the day and product it is cut to."""

    machines: tuple[Machine, ...]
    period: Period
    shift: str | None
    product: str | None
    label: str


def picks(
    plant: Plant,
    scope: Scope,
    machines: tuple[Machine, ...],
    only: SecondScope | None,
    against: SecondScope,
    span: Period,
) -> tuple[Pick, Pick]:
    """Both sides of a comparison, each with a label that says what sets it apart.

    `span` reaches from the first to the last reading; an AskError with all that cannot be compared.
    """
    only = only or SecondScope()
    faults: list[Fault] = []
    for given_scope in (only, against):
        _check(plant, given_scope, faults)
    others = _machines(plant, machines, against, faults)
    if faults:
        raise AskError(faults)
    first, second = _periods(plant, scope, against, span)
    shift, product = against.shift or only.shift, against.product or only.product
    parts = (
        (_when(plant, scope, first, against, first=True), _when(plant, scope, second, against, first=False)),
        (_whose(plant, machines), _whose(plant, others)),
        (_shift_words(only.shift), _shift_words(shift)),
        (only.product or tr("all products"), product or tr("all products")),
    )
    differing = [pair for pair in parts if pair[0] != pair[1]] or [parts[0]]
    labels = [", ".join(pair[side] for pair in differing) for side in (0, 1)]
    return (Pick(machines, first, only.shift, only.product, labels[0]), Pick(others, second, shift, product, labels[1]))


def _shift_words(shift: str | None) -> str:
    return tr("all shifts") if shift is None else tr("{shift} shifts", shift=shift)


def _check(plant: Plant, scope: SecondScope, faults: list[Fault]) -> None:
    shifts = [shift.id for shift in plant.shifts]
    if scope.shift is not None and scope.shift not in shifts:
        what = tr("unknown shift '{shift}'", shift=scope.shift)
        faults.append(Fault(what, "--against", tr("one of {names}", names=", ".join(shifts))))
    if scope.product is not None and plant.product(scope.product) is None:
        ids = ", ".join(product.id for product in plant.products)
        faults.append(
            Fault(
                tr("unknown product '{product}'", product=scope.product), "--against", tr("one of {names}", names=ids)
            )
        )


def _machines(
    plant: Plant, machines: tuple[Machine, ...], against: SecondScope, faults: list[Fault]
) -> tuple[Machine, ...]:
    able = tuple(m for m in plant.machines if m.kind == "cut-and-wrap machine")
    if against.machine is not None:
        chosen = tuple(m for m in able if m.id == against.machine)
        if not chosen:
            ids = ", ".join(m.id for m in able)
            what = tr("unknown cut-and-wrap machine '{machine}'", machine=against.machine)
            faults.append(Fault(what, "--against", tr("one of {names}", names=ids)))
        return chosen
    if against.line is not None:
        chosen = tuple(m for m in able if m.line == against.line)
        if not chosen:
            ids = ", ".join(line.id for line in plant.lines)
            what = tr("no cut-and-wrap machine on line '{line}'", line=against.line)
            faults.append(Fault(what, "--against", tr("one of {names}", names=ids)))
        return chosen
    return machines


def _periods(plant: Plant, scope: Scope, against: SecondScope, span: Period) -> tuple[Period, Period]:
    period = scope.period
    if against.before is not None:
        cut = datetime.combine(against.before, time(0), tzinfo=plant.tz).astimezone(UTC)
        if not period.start < cut < period.end:
            expected = tr("a day within the period; choose a longer one with --period")
            raise AskError(
                Fault(tr("{day} is not within {label}", day=against.before, label=scope.label), "--against", expected)
            )
        return Period(cut, period.end), Period(period.start, cut)
    if against.previous:
        # Whole days of the wall clock, so that a week is compared with the week before it, a shift with a shift.
        local = period.start.astimezone(plant.tz), period.end.astimezone(plant.tz)
        days = max(1, round((local[1].replace(tzinfo=None) - local[0].replace(tzinfo=None)) / timedelta(days=1)))
        start, end = ((at.replace(tzinfo=None) - timedelta(days=days)).replace(tzinfo=plant.tz) for at in local)
        end = end if period.end - period.start < _PART_OF_DAY else local[0]
        return period, Period(start.astimezone(UTC), end.astimezone(UTC))
    if against.period is not None:
        return period, resolve(against.period, plant.shifts, plant.tz, span)[0]
    return period, period


def _when(plant: Plant, scope: Scope, period: Period, against: SecondScope, *, first: bool) -> str:
    today = scope.now.astimezone(plant.tz).date()
    if against.before is not None:
        day = day_label(against.before, today)
        return tr("from {day} on", day=day) if first else tr("before {day}", day=day)
    if first or period == scope.period:
        return scope.label
    start, end = (m.astimezone(plant.tz) for m in (period.start, period.end - timedelta(seconds=1)))
    day = days_label(start.date(), end.date(), today)
    return tr("{day}, same hours", day=day) if against.previous and period.end < scope.period.start else day


def _whose(plant: Plant, machines: tuple[Machine, ...]) -> str:
    if len(machines) == 1:
        return machines[0].label
    lines = {m.line for m in machines}
    line_name = next((line.label for line in plant.lines if {line.id} == lines), None)
    return line_name or ALL_LINES
