"""A trial's answer: its sentence, tables, figures and the frames of its pictures."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import polars as pl

from lineview.core.figure import Figure, Period
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import OF_ROW, Answer, Column, Scope, Span, Table, columns_of, scope_name
from lineview.report.figures import FigureList
from lineview.stats.multiple_tests import FALSE_ALARMS, POWER
from lineview.week.compare import CHANGES, FILM, PAPER, RATE, STOPS, UPTIME, Difference
from lineview.week.trend import STEADY, WORSE
from lineview.week.trial import TOO_EARLY, Trial, TrialAccount, TrialInputs, trial_account
from lineview.week.words import CAUTIONS, subject_of

#: How the value of a measure is read out.
SPOKEN = {
    RATE: "good pieces a minute",
    UPTIME: "% uptime",
    STOPS: "stops per running hour",
    CHANGES: "changeover minutes an hour",
    FILM: "{unit} of film per thousand pieces",
    PAPER: "{unit} of wax paper per thousand pieces",
}
#: Words of what was changed that the sentence says.
MOST_WORDS = 6
LOOK_SERIES = {
    "at": pl.Datetime("us", "UTC"),
    "shifts": pl.Int64(),
    "change": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
}


def answer_trial(plant: Plant, inputs: TrialInputs, now: datetime) -> Answer:
    """Say whether a trial has helped, or how many shifts are still to come.

    Parameters
    ----------
    plant : Plant
        The works.
    inputs : TrialInputs
        The trial and the shifts before and since.
    now : datetime
        The last reading [UTC].
    """
    account, trial = trial_account(inputs), inputs.trial
    first = account.frame["at"][0] if account.frame.height else trial.begins_at
    period = Period(first, max(now if trial.ends_at is None else min(now, trial.ends_at), trial.begins_at))
    scope = Scope(trial.line, trial.machine, period, now, f"trial {trial.number}")
    return Answer(
        question="week",
        scope=scope,
        sentence=_sentence(account, plant, scope),
        soft=_soft(account, plant),
        figures=_figures(account, period),
        tables=(_trial_table(account, plant), _other_table(account), _look_table(account)),
        series={"trial_shifts": account.frame, "trial_looks": _look_series(account)},
        notes=_notes(account, inputs, plant),
        cautions=CAUTIONS,
    )


def _sentence(account: TrialAccount, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    trial = account.trial
    words = trial.what.split()
    what = " ".join(words[:MOST_WORDS]) + (" …" if len(words) > MOST_WORDS else "")
    start = f"{what[:1].upper()}{what[1:]}, {scope_name(scope, plant)}: "
    if not account.frame.height or math.isnan(account.level[1]):
        return (Span(f"{start}not known yet, {account.why_none or 'no shift since is over'}."),)
    levels = (_value_words(account, plant, account.level[1]), _value_words(account, plant, account.level[0], bare=True))
    much = Span(f"{levels[0]} against {levels[1]} before", call=account.verdict == WORSE)
    beside = ""
    if account.level_beside:
        before, since = (_value_words(account, plant, level, bare=True) for level in account.level_beside)
        beside = f", {_line(plant, trial.beside)} {since} against {before}"
    return (Span(start), much, Span(f"{beside}; {_verdict(account)}."))


def _line(plant: Plant, line: str) -> str:
    """A line as the works calls it, within a sentence."""
    return next(
        (described.name for described in plant.lines if described.id == line and described.name), f"line {line}"
    )


def _verdict(account: TrialAccount) -> str:
    planned = account.trial.shifts
    if account.called_after:
        against = " than beside" if account.level_beside else ""
        return f"{account.verdict}{against} beyond chance after {account.called_after} of {planned} shifts"
    if account.verdict == STEADY:
        return f"{STEADY} in the {planned} shifts planned"
    return f"{TOO_EARLY}, {account.since} of {planned} shifts"


def _value_words(account: TrialAccount, plant: Plant, value: float, *, bare: bool = False) -> str:
    """A value of the trial's measure as it is read out."""
    shown, unit = in_units(value, account.unit, plant.units)
    number = show.number(shown, 1 if abs(shown) >= 10 else 2)
    if bare:
        return number
    measure = account.trial.measure
    words = SPOKEN.get(measure, f"pieces a minute lost to {subject_of(measure)}").format(unit=unit)
    return f"{number}{'' if words.startswith('%') else ' '}{words}"


def _soft(account: TrialAccount, plant: Plant) -> str:
    """The line below: the change with its interval, what is beside it, and how many shifts are to come."""
    parts = []
    if account.effect.value is not None:
        low, high = (_signed_text(account, plant, end) for end in account.effect.ends)
        beside = f", less the change on {_line(plant, account.trial.beside)}" if account.level_beside else ""
        change = _signed_text(account, plant, account.effect.number)
        parts.append(f"Change {change} ({low} to {high}, {account.effect.interval}){beside}.")
    if account.is_over or account.called_after:
        parts.append(_least(account, plant))
    else:
        remaining = account.trial.shifts - account.since
        parts.append(f"{show.quantity(remaining, 'more shift')} to come. {_least(account, plant)}")
    if account.trial.decision:
        parts.append(f"Closed: {account.trial.decision}.")
    return " ".join(part for part in parts if part)


def _least(account: TrialAccount, plant: Plant) -> str:
    """The change that the planned shifts show, beside the one worth having."""
    if account.seeable is None or not account.level[0]:
        return ""
    percent = 100 * account.seeable / abs(account.level[0])
    return (
        f"{show.quantity(account.trial.shifts, 'shift')} show a change of {show.number(percent, 1)} % with a chance of "
        f"{100 * POWER:.0f} %; {show.number(account.trial.worth_percent)} % is worth having."
    )


def _signed_text(account: TrialAccount, plant: Plant, value: float) -> str:
    shown = in_units(value, account.unit, plant.units)[0]
    return show.number(shown, 1 if abs(shown) >= 10 else 2, signed=True)


def _figures(account: TrialAccount, period: Period) -> tuple[Figure, ...]:
    trial = account.trial
    figures = FigureList(period, measure=trial.measure, unit=account.unit)
    figures.add("trial_planned_shifts", trial.shifts, f"to show {trial.worth_percent:g} %, or as it was given")
    figures.add("trial_shifts_before", account.before, "whole shifts before, the one in which it began left out")
    figures.add("trial_shifts_since", account.since, f"whole shifts since, of {trial.shifts} planned")
    counts = (account.before, account.since)
    for name, level, n in zip(("trial_before", "trial_since"), account.level, counts, strict=True):
        if account.frame.height and not math.isnan(level):
            figures.add(name, level, "sum over sum", n=n)
    if account.effect.value is None:
        figures.unknown("trial_change", account.why_none or TOO_EARLY)
        return figures.all
    working = f"{account.level[1]:.4g} − {account.level[0]:.4g} as it stands"
    if account.level_beside:
        since, before = account.level_beside[1], account.level_beside[0]
        working += f", less {since:.4g} − {before:.4g} on line {trial.beside}"
    mix = "; as if the same products had been made" if account.mix else ""
    figures.add("trial_change", account.effect, f"{working}{mix}: {_verdict(account)}")
    if account.seeable is not None:
        figures.add("trial_seeable", account.seeable, f"in {trial.shifts} shifts since, {account.before} before")
    return figures.all


def _trial_table(account: TrialAccount, plant: Plant) -> Table:
    """What it is judged by, before and since, on its line and beside it."""
    rows: list[dict[str, Any]] = []
    if account.frame.height:
        rows.append(_row(_line(plant, account.trial.line), account.level))
    if account.level_beside:
        rows.append(_row(f"{_line(plant, account.trial.beside)}, not changed", account.level_beside))
    if account.effect.value is not None:
        low, high = account.effect.ends
        ends = {"change": account.effect.number, "low": low, "high": high}
        ends_shown = {key: _fine(value) for key, value in ends.items()}
        row_name = "difference of the two changes" if account.level_beside else "difference"
        mix = ", same products" if account.mix else ""
        rows.append({"what": f"{row_name}{mix}", **ends_shown, "verdict": _verdict(account)})
    measure = account.trial.measure
    return Table(
        "trial", f"{measure[:1].upper()}{measure[1:]}, before and since", _columns("where", account.unit), rows
    )


def _columns(what: str, unit: str) -> tuple[Column, ...]:
    return columns_of(f"what: {what}; before [u]; since [u]; change [u]; low: from [u]; high: to [u]; verdict", u=unit)


def _row(where: str, level: tuple[float, float]) -> dict[str, Any]:
    before, since = level
    return {"what": where, "before": _fine(before), "since": _fine(since), "change": _fine(since - before)}


def _fine(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 2)


def _other_table(account: TrialAccount) -> Table:
    """What else is different since; called only once the planned shifts are over."""
    rows = [_other(row) for row in account.rows]
    title = "What else is different since" + ("" if account.is_over else "; judged when the planned shifts are over")
    return Table("other measures", title, _columns("measure or cause", OF_ROW), rows)


def _other(row: Difference) -> dict[str, Any]:
    amounts = {"before": row.second, "since": row.first, "change": row.same_mix.value}
    amounts |= {"low": row.same_mix.low, "high": row.same_mix.high}
    values = {key: None if value is None else round(value, 6) for key, value in amounts.items()}
    return {"what": row.name, "unit": row.unit, **values, "verdict": row.verdict}


def _look_table(account: TrialAccount) -> Table:
    rows = [
        {
            "at": look.at,
            "shifts": look.shifts,
            "change": _fine(look.effect.number),
            "low": _fine(look.effect.ends[0]),
            "high": _fine(look.effect.ends[1]),
        }
        for look in account.looks
    ]
    text = "at: after the shift that ended; shifts: shifts since; change [u]; low: from [u]; high: to [u]"
    return Table("looks", "What was known after each shift", columns_of(text, u=account.unit), rows)


def _look_series(account: TrialAccount) -> pl.DataFrame:
    rows = [(look.at, look.shifts, look.effect.number, *look.effect.ends) for look in account.looks]
    return pl.DataFrame(rows, schema=LOOK_SERIES, orient="row")


def _notes(account: TrialAccount, inputs: TrialInputs, plant: Plant) -> tuple[str, ...]:
    trial = account.trial
    remarks = [f"Trial {trial.number}, from {show.moment(trial.begins_at, plant, year=True)}, noted by {trial.who}."]
    if account.noted_after:
        shifts = show.quantity(account.noted_after, "shift")
        remarks.append(
            f"It was noted, or what it is judged by was changed, when {shifts} of it were over: the chance stated "
            "holds only where that was not chosen in their sight."
        )
    if trial.beside and not account.level_beside:
        remarks.append(
            f"Line {trial.beside} did not run beside it in most shifts, so the time before is all it is held to."
        )
    elif not trial.beside:
        remarks.append(
            "No line without the change is beside it: what else changed since it began is taken for its effect."
        )
    if account.by_beside:
        line, beside = _line(plant, trial.line), _line(plant, trial.beside)
        remarks.append(
            f"The verdict comes from {beside}, which changed by itself beyond chance while {line} did not: it holds "
            f"only where what moved {beside} would have moved {line} too. To hold it to the time before alone: no "
            "line beside it."
        )
    remarks += _overlapping(inputs, plant)
    if account.why_none:
        remarks.append(f"Not judged: {account.why_none}.")
    remarks.append(
        "It may be looked at after every shift: all looks together call a change where there is none with a chance of "
        f"{100 * FALSE_ALARMS:.0f} %, by a limit that falls until the planned shifts are over (O'Brien and Fleming "
        "1979, for looks at any time as by Lan and DeMets 1983). Later shifts do not change the verdict."
    )
    if trial.verdict:
        remarks.append(f"Verdict kept on {show.moment(trial.set_at, plant, year=True)} by {trial.who}: {trial.verdict}")
    return tuple(remarks)


def _overlapping(inputs: TrialInputs, plant: Plant) -> list[str]:
    """Other trials on the line or beside it that its change cannot be told apart from."""
    return [_beside_words(other, plant) for other in inputs.others]


def _beside_words(other: Trial, plant: Plant) -> str:
    begins = show.moment(other.begins_at, plant, year=True)
    where = f"Trial {other.number} ({other.what}) on line {other.line} from {begins}"
    return f"{where}: the two cannot be told apart where both ran."
