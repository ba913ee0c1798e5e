"""The layouts of exports that nobody described yet, what they leave open, and the readings they give."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.app.setup_machines import (
    PACE,
    RENAMED,
    TWICE,
    Group,
    Readings,
    SetUpQuestion,
    could_be_one,
    grouped,
    merge_renamed,
    one_machine_questions,
    pace_fault,
    pace_questions,
)
from lineview.core.errors import Fault, IntakeError, LineviewError
from lineview.core.language import mark, spoken, tr
from lineview.intake.exports import Export, Proposal, Question
from lineview.intake.find import find_exports
from lineview.intake.layout.propose import settle
from lineview.intake.layout.survey import Survey, original_of, survey_export
from lineview.intake.read import read_export
from lineview.machine.rhythm import clock_ahead, planned_minutes
from lineview.plant import Layout, Plant
from lineview.plant.answers import read_shifts
from lineview.plant.counting import counters_of

#: So many of the newest files of each kind are read before anything is asked.
FILES_READ = 16
#: What is refused of a file while nobody knows its layout for sure: with more, the layout is not believed.
MOST_REFUSED = 0.2
#: So many moments may have two values before files are taken for those of two machines.
MOST_DISAGREE = 0.02
#: A rope is this thick [mm] and this warm [°C] or, in the other units, the same in them.
USUAL = {"mm": (5.0, 60.0), "in": (0.2, 2.4), "°C": (15.0, 62.0), "°F": (70.0, 180.0)}

#: From this share of counting outside the shifts on the clock is asked about, where another leaves so much of it.
_OUTSIDE, _LEFT = 0.04, 0.2
#: The answer that times are afternoons on a clock of twelve hours.
_HALF_DAY = "+12 h"
#: That it is off by minutes, or on some days alone.
_MINUTES, _IN_PART = re.compile(r"-?\d+"), "part"


@dataclass(frozen=True)
class ReadSoFar:
    """What exports give with the layouts as far as they are known.

    The `draft` has all machines on one line; `proposals`, with a sample, and `layouts` in which nothing is open are by
    group, `readings` of the newest files by machine and channel. With files that contradict each other, or
    where none can be read (`mixed`), nothing is set up.
    """

    groups: tuple[Group, ...]
    draft: Plant
    proposals: Mapping[str, Proposal]
    layouts: Mapping[str, Layout]
    readings: Readings
    questions: tuple[SetUpQuestion, ...]
    faults: tuple[Fault, ...]
    mixed: tuple[Fault, ...]


@dataclass
class Surveyed:
    """Exports that were looked at once, and what was read of them with the answers given before.

    `shop` is what the works is called until it is named, `here` the time zone of this computer ("" where it
    is not known).
    """

    shop: str
    here: str
    surveys: list[Survey]
    faults: list[Fault]
    results: dict[object, ReadSoFar] = field(default_factory=dict)


def survey_folder(paths: Sequence[Path], shop: str, here: str) -> Surveyed:
    """Look at every export of some paths; those that cannot be read are among the faults."""
    surveys: list[Survey] = []
    faults: list[Fault] = []
    for path in find_exports(paths):
        if path.suffix.lower() == ".zip":
            faults.append(
                Fault(tr("a zip of exports"), path.name, tr("the exports in it"), tr("Unpack it to set up from them."))
            )
            continue
        try:
            surveys.append(survey_export(path))
        except LineviewError as error:
            faults += error.faults
    return Surveyed(shop, here, _copies_as_originals(surveys), faults)


def _copies_as_originals(surveys: Sequence[Survey]) -> list[Survey]:
    """Second downloads of a file that is there too are of the machine that it is of, and no further one."""
    originals = {survey.path.name: survey for survey in surveys}
    out = []
    for survey in surveys:
        original = originals.get(original_of(survey.path.name))
        alike = original is not None and original.headers == survey.headers
        out.append(replace(survey, machine=original.machine, part=original.part) if original and alike else survey)
    return out


def read_so_far(surveyed: Surveyed, zone: str, answers: Mapping[str, str]) -> ReadSoFar:
    """Read the newest exports with what is known; the same answers again are not worked out again."""
    surveys, same = _joined(surveyed.surveys, answers)
    groups, draft = grouped(surveys, surveyed.shop, zone)
    groups, draft = merge_renamed(groups, draft, answers)
    aside = {answer for key, answer in answers.items() if key.startswith(TWICE)}
    if aside:
        groups = [group for group in groups if not group.machines or set(group.machines) - aside]
        draft = draft.model_copy(update={"machines": tuple(m for m in draft.machines if m.id not in aside)})
    tried = {group.id: _best_proposal(group, draft) for group in groups if not group.aside}
    proposals = {group: proposal for group, (proposal, _) in tried.items() if proposal}
    failures = [fault for proposal, why in tried.values() if proposal is None for fault in why]
    questions, settled = _settled(groups, proposals, answers)
    machines = (
        *sorted({survey.machine for survey in surveys}),
        *sorted(aside),
        *(f"{key} {answer}" for key, answer in answers.items() if key.startswith((TWICE, RENAMED, PACE))),
    )
    key = (spoken(), zone, machines, tuple(sorted((g, tuple(sorted(s.items()))) for g, s in settled.items())))
    if key not in surveyed.results:
        layouts, faults = _layouts(groups, proposals, settled)
        readings, unread, mixed = _readings(groups, draft, layouts)
        every = (*surveyed.faults, *(failures if proposals else ()), *faults, *unread)
        mixed = mixed if proposals else (*mixed, *failures)
        more = [*one_machine_questions(draft, readings, answers), *pace_questions(draft, readings, layouts)]
        mixed += tuple(pace_fault(q.key) for q in more if q.key.startswith(PACE) and answers.get(q.key) == "pace")
        surveyed.results[key] = ReadSoFar(
            tuple(groups), draft, proposals, layouts, readings, (*same, *questions, *more), every, mixed
        )
    return _by_their_clocks(surveyed.results[key], zone, answers)


def _by_their_clocks(read: ReadSoFar, zone: str, answers: Mapping[str, str]) -> ReadSoFar:
    """The same, with what is asked of exports that mostly count outside the shifts answered, and what was answered."""
    try:
        planned = planned_minutes(read_shifts(answers.get("shifts", "")))
    except LineviewError:
        return read
    questions, faults, changed = [], [], dict(read.layouts)
    for group in read.groups:
        layout = read.layouts.get(group.id)
        if layout is None or layout.zone or layout.clock_offset_s:
            continue
        question = _clock_question(group, read.readings, planned, zone)
        if question is not None:
            questions.append(question)
            answer = answers.get(question.key, "")
            if answer == _IN_PART:
                do = tr("Export the days on which it was off apart, and write clock_offset_s in their layout.")
                faults.append(Fault(tr("a clock that is off on some days"), question.key, tr("one clock a file"), do))
            elif answer in dict(question.options):
                off_min = -720.0 if answer == _HALF_DAY else float(answer) if _MINUTES.fullmatch(answer) else None
                later = {"zone": answer} if off_min is None else {"clock_offset_s": 60.0 * off_min}
                changed[group.id] = layout.model_copy(update=later)
    if not questions:
        return read
    readings, _, mixed = _readings(read.groups, read.draft, changed)
    every = (*read.questions, *questions)
    return replace(read, layouts=changed, readings=readings, mixed=(*mixed, *faults), questions=every)


def _clock_question(group: Group, readings: Readings, planned: NDArray[np.bool_], zone: str) -> SetUpQuestion | None:
    """Whose clock times are of, where a machine counts outside the shifts by one and within them by another."""
    counted = [
        frame.select(at=pl.col("at").dt.convert_time_zone(zone), rose=pl.col("value").diff() > 0)
        for (machine, channel), frame in readings.items()
        if machine in group.machines and channel in ("pieces", "good pieces")
    ]
    first = group.first.moments[0].strip() if group.first.moments else ""
    says_utc = re.search(r"(Z|UTC|GMT|[+-]00:?00|^\d{9,})$", first)
    if not counted or (not says_utc and re.search(r":\d\d.*[+-]\d\d(:?\d\d)?$|[A-Z]{3,5}\)?$", first)):
        return None
    frame = pl.concat(counted)
    at = frame.filter("rose")["at"].dt.offset_by("-30s")
    if not len(at):
        return None
    minute = (
        (at.dt.weekday() - 1).cast(pl.Int64) * 1_440 + at.dt.hour().cast(pl.Int64) * 60 + at.dt.minute()
    ).to_numpy()
    base, later = (by.dt.total_minutes().to_numpy() for by in (at.dt.base_utc_offset(), at.dt.dst_offset()))
    ahead = base + later
    works, utc = (zone, tr("the works' clock, {zone}", zone=zone)), ("UTC", "UTC")
    clocks = {utc: 0 * ahead, works: -ahead} if says_utc else {works: 0 * ahead, utc: ahead}
    moved = _moved_min(zone, cast(datetime, at[0]))
    if not says_utc and moved and base[0] % 60 == 0:
        clocks[f"Etc/GMT{-base[0] // 60:+}", tr("winter time all year")] = later
        clocks[f"Etc/GMT{-(base[0] + moved) // 60:+}", tr("summer time all year")] = later - moved
    if not says_utc and frame["at"].dt.hour().is_between(1, 11).all():  # 12:30 would be of either half
        clocks[_HALF_DAY, tr("afternoons, of twelve hours")] = 0 * ahead + 720
    seasons = [rows for rows in (later > 0, later == 0) if rows.any()]
    as_read = ~planned[(minute + next(iter(clocks.values()))) % 10_080]
    worst = max(seasons, key=lambda rows: float(as_read[rows].mean()))
    outside = {clock: float((~planned[(minute + by) % 10_080])[worst].mean()) for clock, by in clocks.items()}
    read, *others = clocks
    other = min(others, key=outside.__getitem__)
    if outside[read] < _OUTSIDE or outside[other] > _LEFT * outside[read]:
        return _minutes_question(group, frame, planned)
    machines, shares = ", ".join(group.machines), {"share": outside[read], "left": outside[other]}
    text = tr("{machines}: whose clock are times such as '{example}' of?", machines=machines, example=first)
    why = mark(
        "read as {clock}, {share:.0%} of the time in which it counts lies outside the shifts; as {other} {left:.0%}"
    )
    why = tr(why, clock=read[1], other=other[1], **shares)
    return SetUpQuestion(f"clock {machines}", text, None, why, tuple(clocks))


def _minutes_question(group: Group, frame: pl.DataFrame, planned: NDArray[np.bool_]) -> SetUpQuestion | None:
    """Whether a clock is off by minutes, by which a machine counts before, or after, all of a shift."""
    local = frame.with_columns(at=pl.col("at").dt.replace_time_zone(None).dt.epoch("s") // 60).sort("at")
    off_min, days, of = clock_ahead(local["at"].to_numpy(), local["rose"].fill_null(False).to_numpy(), planned)
    if not off_min:
        return None
    machines, ahead = ", ".join(group.machines), tr("ahead") if off_min > 0 else tr("behind")
    text = tr("{machines}: is its clock {n} minutes {ahead}?", machines=machines, n=abs(off_min), ahead=ahead)
    why = tr("on {days} of {of} days it started and stopped counting that far from its shifts", days=days, of=of)
    options = (("0", tr("no, it is right")), (str(off_min), tr("yes, all the while")), (_IN_PART, tr("on some days")))
    return SetUpQuestion(f"clock {machines}", text, None, why, options)


def _moved_min(zone: str, at: datetime) -> int:
    """By how many minutes a zone's summer time is ahead of its winter time in the year of a moment; 0 without one."""
    months = (datetime(at.year, month, 1, tzinfo=ZoneInfo(zone)) for month in (1, 7))
    return max(int((moment.dst() or timedelta()).total_seconds()) // 60 for moment in months)


def _joined(surveys: Sequence[Survey], answers: Mapping[str, str]) -> tuple[list[Survey], list[SetUpQuestion]]:
    """Exports with the machine that they share where they are of one, and the question whether they are."""
    out, questions = list(surveys), []
    for name, some, goes_on in could_be_one(surveys):
        files = ", ".join(survey.path.name for survey in some[:4]) + (", …" if len(some) > 4 else "")
        text = tr("{files}: one machine's exports, or a machine each?", files=files)
        why = tr("the counter goes on from one to the next") if goes_on else tr("no counter goes on into the next")
        options = (("one", tr("one machine, {name}", name=name)), ("each", tr("a machine each")))
        suggested = None if goes_on is None else options[not goes_on][0]
        questions.append(SetUpQuestion(f"same {name}", text, suggested, why if suggested else "", options))
        if (answers.get(f"same {name}") or suggested) == "one":
            paths = {survey.path for survey in some}
            out = [replace(s, machine=name, part="") if s.path in paths else s for s in out]
    return out, questions


def _best_proposal(group: Group, draft: Plant) -> tuple[Proposal | None, tuple[Fault, ...]]:
    """The proposal from the file of a group that leaves least open, and why its newest file gives none."""
    machines = tuple(m for m in draft.machines if m.id in group.machines)
    plant = draft.model_copy(update={"machines": machines})
    best: Proposal | None = None
    faults: tuple[Fault, ...] = ()
    for path in group.paths[-4:]:
        try:
            proposal = read_export(path, plant, now=datetime.now(UTC))
        except LineviewError as error:
            faults = tuple(error.faults)
            continue
        if isinstance(proposal, Proposal) and (best is None or len(proposal.questions) < len(best.questions)):
            best = proposal
        if best is not None and not best.questions:
            break
    return best, faults


# What the files leave open


def _settled(
    groups: Sequence[Group], proposals: Mapping[str, Proposal], answers: Mapping[str, str]
) -> tuple[list[SetUpQuestion], dict[str, dict[str, str]]]:
    """What proposals ask, each question once, and the answers by group."""
    questions: dict[str, SetUpQuestion] = {}
    settled: dict[str, dict[str, str]] = {}
    for group in groups:
        proposal = proposals.get(group.id)
        for question in proposal.questions if proposal else ():
            suggested, why = _suggested(question, group)
            key = _key(question, group)
            if suggested is None or why:
                text = tr(
                    "Exports of {machines}: {question}", machines=", ".join(group.machines), question=question.text
                )
                questions.setdefault(key, SetUpQuestion(key, text, suggested, why, question.options))
            answer = answers.get(key) or suggested
            if answer is not None:
                settled.setdefault(group.id, {})[question.about] = answer
    return list(questions.values()), settled


def _key(question: Question, group: Group) -> str:
    """The same question about the same kind of files is asked once."""
    if question.about in ("time_format", "decimal", "zone"):
        return f"{question.about} {group.first.pattern.rpartition('.')[2]} {' '.join(group.first.times)}"
    return f"{question.about} {' '.join(group.first.headers)}"[:200]


def _suggested(question: Question, group: Group) -> tuple[str | None, str]:
    """The answer that the data suggest, and what from where a person should see it; "" where not."""
    options = [option for option, _ in question.options]
    if question.about == "machine" and len(group.machines) == 1:
        return group.machines[0], ""
    if question.about.startswith("unit of "):
        return _unit_by_size(question), tr("by the size of the numbers")
    if question.about == "time_format" and len(options) == 2:
        return _day_or_month((options[0], options[1]), group)
    return None, ""


def _unit_by_size(question: Question) -> str | None:
    """The only unit in which the middle value is a usual one for a rope."""
    fit = []
    for unit, label in question.options:
        number = re.match(r"-?[\d.]+(e[+-]?\d+)?", label.replace(",", "."))  # as the works' language writes it
        low, high = USUAL.get(unit, (1.0, 0.0))
        if number and low <= float(number[0]) <= high:
            fit.append(unit)
    return fit[0] if len(fit) == 1 else None


def _day_or_month(options: tuple[str, str], group: Group) -> tuple[str | None, str]:
    """Day or month first: as in the files' names, or whichever makes the files follow each other."""
    pairs = [(survey, *numbers) for survey in group.surveys for numbers in _dates_in(survey)]
    for survey, first, second, _ in pairs:
        date = re.search(r"(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)", survey.path.name)
        if date and first != second and sorted((first, second)) == sorted((int(date[2]), int(date[3]))):
            return options[0 if int(date[3]) == first else 1], tr("by the date in the files' names")
    spans = [_span([(y, m, d) for _, d, m, y in pairs]), _span([(y, m, d) for _, m, d, y in pairs])]
    if len({pair[1:] for pair in pairs}) > 1 and spans[0] != spans[1] and None not in spans:
        best = 0 if (spans[0] or 0) < (spans[1] or 0) else 1
        return options[best], tr("so that the days follow each other")
    return None, ""


def _dates_in(survey: Survey) -> list[tuple[int, int, int]]:
    """The dates that a file begins and ends with: first number, second number, year."""
    matches = (re.match(r"\s*(\d{1,2})[./-](\d{1,2})[./-](\d{2,4})\b", text) for text in survey.moments)
    return [(int(m[1]), int(m[2]), int(m[3]) % 100 + 2000) for m in matches if m]


def _span(dates: Sequence[tuple[int, int, int]]) -> int | None:
    """Days from the first date to the last; None where one is no date."""
    try:
        days = [date(year, month, day) for year, month, day in dates]
    except ValueError:
        return None
    return (max(days) - min(days)).days if days else None


# Reading


def _layouts(
    groups: Sequence[Group], proposals: Mapping[str, Proposal], settled: Mapping[str, Mapping[str, str]]
) -> tuple[dict[str, Layout], list[Fault]]:
    """The layouts in which nothing is open, each with an id and a pattern of its own."""
    layouts: dict[str, Layout] = {}
    faults: list[Fault] = []
    names: set[str] = set()
    for group in groups:
        proposal = proposals.get(group.id)
        answers = settled.get(group.id, {})
        if proposal is None or any(question.about not in answers for question in proposal.questions):
            continue
        try:
            layout = settle(proposal, answers)
        except IntakeError as error:
            faults += error.faults
            continue
        base = (group.machines[0] if len(group.machines) == 1 else layout.id) or "export"
        name = next(n for k in range(1, 99) if (n := base if k == 1 else f"{base} {k}") not in names)
        names.add(name)
        layouts[group.id] = layout.model_copy(update={"id": name, "files": _pattern(group, groups)})
    return layouts, faults


def _pattern(group: Group, groups: Sequence[Group]) -> str:
    """One pattern for the names of a group's files, which takes no file of another with the same headers."""
    patterns = sorted({survey.pattern for survey in group.surveys})
    if len(patterns) == 1:
        return patterns[0]
    originals = {original_of(pattern) or pattern for pattern in patterns}
    if len(originals) == 1:
        stem, _, ending = originals.pop().rpartition(".")
        return f"{stem}[ ._-]*{ending}"
    stem = _shared_start([pattern.rpartition(".")[0] for pattern in patterns])
    ending = patterns[0].rpartition(".")[2]
    return f"{stem.rstrip('*')}*.{ending}"


def _shared_start(texts: Sequence[str]) -> str:
    first, last = min(texts), max(texts)
    same = next((k for k, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
    return first[:same]


def _readings(
    groups: Sequence[Group], draft: Plant, layouts: Mapping[str, Layout]
) -> tuple[Readings, list[Fault], tuple[Fault, ...]]:
    """Readings by machine and channel of the newest files, each moment once."""
    frames: list[pl.DataFrame] = []
    faults: list[Fault] = []
    mixed: tuple[Fault, ...] = ()
    for group in groups:
        layout = layouts.get(group.id)
        for path in group.paths[-FILES_READ:] if layout else ():
            try:
                export = read_export(path, draft, layout=layout)
            except LineviewError as error:
                faults += error.faults
                continue
            if isinstance(export, Export):
                tidy = [part.tidy for part in export.parts if part.kind == "readings"]
                mixed += _mixed(pl.concat(tidy), path.name) if tidy else ()
                frames += tidy
                unread = _refused(export)
                is_mostly_refused = export.rows_refused * 2 > export.rows
                faults, mixed = (faults, (*mixed, *unread)) if is_mostly_refused else ([*faults, *unread], mixed)
    if not frames:
        return {}, faults, ()
    every = pl.concat(frames)
    whole = every.unique(["machine", "channel", "at"], keep="first", maintain_order=True)
    ordered = whole.sort("machine", "channel", "at")
    parts = ordered.partition_by("machine", "channel", as_dict=True, maintain_order=True)
    by_channel = {(str(key[0]), str(key[1])): part for key, part in parts.items()}
    counted = {key: _counting_up(part, key, draft, [*layouts.values()]) for key, part in by_channel.items()}
    return counted, faults, mixed or _mixed(every)


def _counting_up(readings: pl.DataFrame, key: tuple[str, str], draft: Plant, layouts: Sequence[Layout]) -> pl.DataFrame:
    """Readings of a counter; of one that holds differences, or what is left, what it has counted since its first."""
    columns = (column for layout in layouts for column in counters_of(layout, draft.machines))
    counting = {counting for _, machine, channel, counting in columns if (machine, channel) == key}
    value = pl.col("value")
    if "since last row" in counting:
        return readings.with_columns(value=value.fill_null(0).cum_sum())
    return readings.with_columns(value=value.max() - value) if "down" in counting else readings


def _mixed(every: pl.DataFrame, name: str = "") -> tuple[Fault, ...]:
    """Files, or rows of a named one, that say different things of the same moments.

    Files may be of two machines; rows of one file may have lost their seconds, or their hour stands elsewhere.
    """
    moments = every.unique(["machine", "channel", "at"], maintain_order=True).height
    values = every.unique(["machine", "channel", "at", "value", "text"], maintain_order=True)
    if values.height - moments <= MOST_DISAGREE * moments:
        return ()
    twice = values.filter(pl.struct("machine", "channel", "at").is_duplicated())
    if name:
        first = twice["at"].sort().dt.strftime("%Y-%m-%d %H:%M:%S")[0]
        what = tr("several rows have one time and different values, the first at {first} UTC", first=first)
        return (Fault(what, name, tr("a time of its own in each row, with its hour and seconds")),)
    names = ", ".join(twice["machine"].unique(maintain_order=True).sort().to_list())
    what = tr("files of {names} give different values for the same moments", names=names)
    return (Fault(what, "", tr("one machine a file name"), tr("Put the machine's name first in each file's name.")),)


def _refused(export: Export) -> list[Fault]:
    """A fault where much of a file cannot be read; names of a long file that nobody wants do not count."""
    rows = export.refusals.filter((pl.col("column") == "") & ~pl.col("reason").str.contains("is not in the layout"))
    if rows.height <= MOST_REFUSED * export.rows:
        return []
    what = tr("{lost:,} of {rows:,} rows cannot be read with the layout proposed", lost=rows.height, rows=export.rows)
    return [Fault(what, export.path.name, tr("nearly all rows"), str(rows["reason"][0]))]
