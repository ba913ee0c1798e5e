"""A trial's answer: its sentence, tables, figures and the frames of its pictures."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime
from typing import Any

import polars as pl

from lineview.core.figure import Figure, Period
from lineview.core.language import mark, tr, tr_count
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import OF_ROW, Answer, Column, Scope, Span, Table, columns_of, scope_name
from lineview.report.figures import FigureList
from lineview.stats.multiple_tests import FALSE_ALARMS, POWER, wrong_way_chance
from lineview.week.compare import CHANGES, FILM, PAPER, RATE, STOPS, UPTIME, Difference
from lineview.week.losses import cause_cell, cause_words
from lineview.week.trend import BETTER, STEADY, WORSE
from lineview.week.trial import (
    LEAST_BEFORE,
    TOO_EARLY,
    Trial,
    TrialAccount,
    TrialInputs,
    trial_account,
    unit_of_measure,
    why_unjudged,
)
from lineview.week.words import CAUTIONS, subject_of

#: How the value of a measure is read out.
SPOKEN = {
    RATE: mark("{number} good pieces a minute"),
    UPTIME: mark("{number} % uptime"),
    STOPS: mark("{number} stops per running hour"),
    CHANGES: mark("{number} changeover minutes an hour"),
    FILM: mark("{number} {unit} of film per thousand pieces"),
    PAPER: mark("{number} {unit} of wax paper per thousand pieces"),
}
#: Words and characters of what was changed that the sentence says.
MOST_WORDS, MOST_SIGNS = 6, 60
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
    if trial.begins_at > now:
        account = replace(account, why_none=tr("it begins after the last reading"))
    first = account.frame["at"][0] if account.frame.height else trial.begins_at
    period = Period(first, max(now if trial.ends_at is None else min(now, trial.ends_at), trial.begins_at))
    scope = Scope(trial.line, trial.machine, period, now, tr("trial {number}", number=trial.number))
    return Answer(
        question="week",
        scope=scope,
        sentence=_sentence(account, plant),
        soft=_soft(account, plant, now),
        figures=_figures(account, period),
        tables=(_trial_table(account, plant), _other_table(account), _look_table(account)),
        series={"trial_shifts": account.frame, "trial_looks": _look_series(account)},
        notes=_notes(account, inputs, plant),
        cautions=tuple(map(tr, CAUTIONS)),
    )


#: What makes the words of a verdict.
_FIELDS = ("before", "since", "level", "level_beside", "verdict", "called_after", "known")
#: Those of them that are numbers, null where one is not known.
_LEVELS = ("level", "level_beside")


def kept_verdict(inputs: TrialInputs) -> str:
    """The verdict as it stands, as it is kept: what makes its words, in no language.

    Parameters
    ----------
    inputs : TrialInputs
        The trial and the shifts before and since.
    """
    account = trial_account(inputs)
    data = {name: getattr(account, name) for name in _FIELDS}
    for name in _LEVELS:
        data[name] = data[name] and [None if math.isnan(level) else level for level in data[name]]
    return json.dumps(data)


def verdict_words(trial: Trial, plant: Plant) -> str:
    """A closed trial's verdict in a sentence; one that was kept in words, in those.

    Parameters
    ----------
    trial : Trial
        As it was closed.
    plant : Plant
        The works.
    """
    if not trial.verdict.startswith('{"before"'):
        return trial.verdict
    data = json.loads(trial.verdict)
    data |= {name: data[name] and [math.nan if level is None else level for level in data[name]] for name in _LEVELS}
    why = why_unjudged(data["before"], data["since"], trial.measure, data["known"])
    account = TrialAccount(trial, unit_of_measure(trial.measure), **data, why_none=why)
    return "".join(span.text for span in _sentence(account, plant))


def _sentence(account: TrialAccount, plant: Plant) -> tuple[Span, ...]:
    trial = account.trial
    scope = Scope(trial.line, trial.machine, Period(trial.begins_at, trial.begins_at), trial.set_at)
    words = trial.what.split()
    what = " ".join(words[:MOST_WORDS])[:MOST_SIGNS]
    what += " …" if len(what) < len(" ".join(words)) else ""
    start = f"{show.capital(what)}, {scope_name(scope, plant)}: "
    if any(map(math.isnan, account.level)):
        why = account.why_none or tr("no shift since is over")
        return (Span(start + tr("not known yet, {why}.", why=why)),)
    levels = (_value_words(account, plant, account.level[1]), _value_words(account, plant, account.level[0], bare=True))
    much = Span(tr("{now} against {before} before", now=levels[0], before=levels[1]), call=account.verdict == WORSE)
    beside = ""
    if account.level_beside:
        before, since = (_value_words(account, plant, level, bare=True) for level in account.level_beside)
        on_it = {"line": _line(plant, trial.beside), "since": since, "before": before}
        beside = tr(", {line} {since} against {before}", **on_it)
    return (Span(start), much, Span(f"{beside}; {_verdict(account)}."))


def _line(plant: Plant, line: str) -> str:
    """A line as the works calls it, within a sentence."""
    names = (described.name for described in plant.lines if described.id == line and described.name)
    return next(names, tr("line {line}", line=line))


def _verdict(account: TrialAccount) -> str:
    planned = account.trial.shifts
    if account.called_after:
        of = tr(" after {shifts} of {planned} shifts", shifts=account.called_after, planned=planned)
        return _called(account.verdict == BETTER, beside=bool(account.level_beside)) + of
    if account.before < LEAST_BEFORE:
        return tr("not judged, {why}", why=account.why_none)
    if account.verdict == STEADY:
        return tr("no change beyond chance in the {planned} shifts planned", planned=planned)
    return tr("too early to judge, {shifts} of {planned} shifts", shifts=account.since, planned=planned)


def _called(is_better: bool, *, beside: bool) -> str:
    if beside:
        return tr("better than beside beyond chance") if is_better else tr("worse than beside beyond chance")
    return tr("better beyond chance") if is_better else tr("worse beyond chance")


def _value_words(account: TrialAccount, plant: Plant, value: float, *, bare: bool = False) -> str:
    """A value of the trial's measure as it is read out."""
    amount, unit = in_units(value, account.unit, plant.units)
    number = show.number(amount, 1 if abs(amount) >= 10 else 2)
    if bare:
        return number
    measure = account.trial.measure
    if measure in SPOKEN:
        return tr(SPOKEN[measure], number=number, unit=unit)
    return tr("{number} pieces a minute lost to {cause}", number=number, cause=subject_of(measure))


def _soft(account: TrialAccount, plant: Plant, now: datetime) -> str:
    """The line below: the change with its interval, what is beside it, and how many shifts are to come."""
    parts = []
    if account.effect.value is not None:
        low, high = (_signed_text(account, plant, end) for end in account.effect.ends)
        words = {"low": low, "high": high, "interval": tr(account.effect.interval)}
        change = _signed_text(account, plant, account.effect.number)
        parts.append(tr("Change {change} ({low} to {high}, {interval})", change=change, **words))
        if account.level_beside:
            parts[-1] += tr(", less the change on {line}", line=_line(plant, account.trial.beside))
        parts[-1] += "."
    if account.is_over or account.called_after:
        parts.append(_least(account, plant))
    elif account.trial.ends_at is not None and account.trial.ends_at <= now:
        of = {"since": account.since, "planned": account.trial.shifts}
        parts.append(tr("It ended after {since} of {planned} shifts.", **of))
    else:
        remaining = account.trial.shifts - account.since
        to_come = tr_count("{count} more shift to come.", "{count:,} more shifts to come.", remaining)
        parts.append(f"{to_come} {_least(account, plant)}")
    if account.trial.decision:
        parts.append(tr("Closed: {decision}.", decision=account.trial.decision))
    return " ".join(part for part in parts if part)


def _least(account: TrialAccount, plant: Plant) -> str:
    """The change that the planned shifts show, beside the one worth having."""
    if account.seeable is None or not account.level[0]:
        return ""
    percent = 100 * account.seeable / abs(account.level[0])
    return tr_count(
        "{count} shift show a change of {percent} % with a chance of {chance:.0f} %; {worth} % is worth having.",
        "{count:,} shifts show a change of {percent} % with a chance of {chance:.0f} %; {worth} % is worth having.",
        account.trial.shifts,
        percent=show.number(percent, 1),
        chance=100 * POWER,
        worth=show.number(account.trial.worth_percent),
    )


def _signed_text(account: TrialAccount, plant: Plant, value: float) -> str:
    amount = in_units(value, account.unit, plant.units)[0]
    return show.number(amount, 1 if abs(amount) >= 10 else 2, signed=True)


def _figures(account: TrialAccount, period: Period) -> tuple[Figure, ...]:
    trial = account.trial
    figures = FigureList(period, say=cause_words, measure=trial.measure, unit=account.unit)
    planned = tr("to show {percent:g} %, or as it was given", percent=trial.worth_percent)
    figures.add("trial_planned_shifts", trial.shifts, planned)
    figures.add("trial_shifts_before", account.before, tr("whole shifts before, the one in which it began left out"))
    figures.add("trial_shifts_since", account.since, tr("whole shifts since, of {shifts} planned", shifts=trial.shifts))
    counts = (account.before, account.since)
    for name, level, n in zip(("trial_before", "trial_since"), account.level, counts, strict=True):
        if not math.isnan(level):
            figures.add(name, level, tr("sum over sum"), n=n)
    if account.effect.value is None:
        figures.unknown("trial_change", account.why_none or tr(TOO_EARLY))
        return figures.all
    working = tr("{since:.4g} − {before:.4g} as it stands", since=account.level[1], before=account.level[0])
    if account.level_beside:
        before, since = account.level_beside
        on_it = {"since": since, "before": before, "line": trial.beside}
        working += tr(", less {since:.4g} − {before:.4g} on line {line}", **on_it)
    mix = tr("; as if the same products had been made") if account.mix else ""
    figures.add("trial_change", account.effect, f"{working}{mix}: {_verdict(account)}")
    if account.seeable is not None:
        working = tr("in {since} shifts since, {before} before", since=trial.shifts, before=account.before)
        figures.add("trial_seeable", account.seeable, working)
    return figures.all


def _trial_table(account: TrialAccount, plant: Plant) -> Table:
    """What it is judged by, before and since, on its line and beside it."""
    rows: list[dict[str, Any]] = []
    if account.frame.height:
        rows.append(_row(_line(plant, account.trial.line), account.level))
    if account.level_beside:
        rows.append(_row(tr("{line}, not changed", line=_line(plant, account.trial.beside)), account.level_beside))
    if account.effect.value is not None:
        low, high = account.effect.ends
        ends = {"change": account.effect.number, "low": low, "high": high}
        ends_shown = {key: _fine(value) for key, value in ends.items()}
        row_name = tr("difference of the two changes") if account.level_beside else tr("difference")
        mix = tr(", same products") if account.mix else ""
        rows.append({"what": f"{row_name}{mix}", **ends_shown, "verdict": _verdict(account)})
    measure = cause_words(account.trial.measure)
    title = tr("{measure}, before and since", measure=show.capital(measure))
    return Table("trial", title, _columns(tr("where"), account.unit), rows)


def _columns(what: str, unit: str) -> tuple[Column, ...]:
    rest = columns_of("before [u]; since [u]; change [u]; low: from [u]; high: to [u]; verdict", u=unit)
    return (("what", what, ""), *rest)


def _row(where: str, level: tuple[float, float]) -> dict[str, Any]:
    before, since = level
    return {"what": where, "before": _fine(before), "since": _fine(since), "change": _fine(since - before)}


def _fine(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 2)


def _other_table(account: TrialAccount) -> Table:
    """What else is different since; called only once the planned shifts are over."""
    rows = [_other(row) for row in account.rows]
    title = tr("What else is different since")
    title += "" if account.is_over else tr("; judged when the planned shifts are over")
    return Table("other measures", title, _columns(tr("measure or cause"), OF_ROW), rows)


def _other(row: Difference) -> dict[str, Any]:
    amounts = {"before": row.second, "since": row.first, "change": row.same_mix.value}
    amounts |= {"low": row.same_mix.low, "high": row.same_mix.high}
    values = {key: None if value is None else round(value, 6) for key, value in amounts.items()}
    return {"what": cause_cell(row.name), "unit": row.unit, **values, "verdict": row.verdict}


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
    columns = columns_of(
        "at: after the shift that ended; shifts: shifts since; change [u]; low: from [u]; high: to [u]", u=account.unit
    )
    return Table("looks", tr("What was known after each shift"), columns, rows)


def _look_series(account: TrialAccount) -> pl.DataFrame:
    rows = [(look.at, look.shifts, look.effect.number, *look.effect.ends) for look in account.looks]
    return pl.DataFrame(rows, schema=LOOK_SERIES, orient="row")


def _notes(account: TrialAccount, inputs: TrialInputs, plant: Plant) -> tuple[str, ...]:
    trial = account.trial
    begins = show.moment(trial.begins_at, plant, year=True)
    remarks = [tr("Trial {number}, from {moment}, noted by {who}.", number=trial.number, moment=begins, who=trial.who)]
    if account.noted_after:
        remarks.append(
            tr_count(
                "It was noted, or what it is judged by was changed, when {count} shift of it were over: the chance "
                "stated holds only where that was not chosen in their sight.",
                "It was noted, or what it is judged by was changed, when {count:,} shifts of it were over: the chance "
                "stated holds only where that was not chosen in their sight.",
                account.noted_after,
            )
        )
    remarks += _beside_notes(account, plant)
    remarks += [_beside_words(other, plant) for other in inputs.others]
    if account.why_none:
        remarks.append(tr("Not judged: {why}.", why=account.why_none))
    remarks.append(
        tr(
            "It may be looked at after every shift: all looks together call a change where there is none with a chance "
            "of {percent:.0f} %, by a limit that falls until the planned shifts are over (O'Brien and Fleming "
            "1979, for looks at any time as by Lan and DeMets 1983). Later shifts do not change the verdict.",
            percent=100 * FALSE_ALARMS,
        )
    )
    if account.seeable:
        effect = trial.worth_percent / 100 * abs(account.level[0]) / account.seeable
        percent = math.ceil(1000 * wrong_way_chance(effect)) / 10
        words = mark("A change of {worth:g} % is called the wrong way round with a chance of at most {percent:g} %.")
        remarks.append(tr(words, worth=trial.worth_percent, percent=percent))
    if trial.verdict:
        parts = {
            "moment": show.moment(trial.set_at, plant, year=True),
            "who": trial.who,
            "verdict": verdict_words(trial, plant),
        }
        remarks.append(tr("Verdict kept on {moment} by {who}: {verdict}", **parts))
    return tuple(remarks)


def _beside_notes(account: TrialAccount, plant: Plant) -> list[str]:
    """What the line beside it says of the verdict."""
    trial, remarks = account.trial, []
    if trial.beside and not account.level_beside and account.since:
        text = mark("Line {line} did not run beside it in most shifts, so the time before is all it is held to.")
        remarks.append(tr(text, line=trial.beside))
    elif not trial.beside:
        remarks.append(
            tr("No line without the change is beside it: what else changed since it began is taken for its effect.")
        )
    if account.by_beside:
        remarks.append(
            tr(
                "The verdict comes from {beside}, which changed by itself beyond chance while {line} did not: it holds "
                "only where what moved {beside} would have moved {line} too. To hold it to the time before alone: no "
                "line beside it.",
                line=_line(plant, trial.line),
                beside=_line(plant, trial.beside),
            )
        )
    return remarks


def _beside_words(other: Trial, plant: Plant) -> str:
    """A note on another trial, on the line or beside it, whose change cannot be separated from this one's."""
    begins = show.moment(other.begins_at, plant, year=True)
    return tr(
        "Trial {number} ({what}) on line {line} from {moment}: their effects cannot be separated where both ran.",
        number=other.number,
        what=other.what,
        line=other.line,
        moment=begins,
    )
