"""Which machines wrote some exports, a first description of each, and which of them may be one."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import combinations, pairwise
from pathlib import Path
from typing import cast

import polars as pl

from lineview.core.errors import Fault
from lineview.core.language import tr
from lineview.intake.layout.rivals import lot_of
from lineview.intake.layout.survey import Survey, SurveyedColumn
from lineview.machine.pieces import piece_counter
from lineview.plant import Counter, Gauge, Layout, Line, Machine, MachineKind, Plant
from lineview.plant.counting import counters_of

#: Ids of counters and gauges by what they count or measure.
COUNTER_IDS = {
    "pieces": "pieces",
    "good pieces": "good",
    "rejects": "rejects",
    "blank wraps": "blanks",
    "film": "film",
    "wax paper": "paper",
    "rope": "rope",
}
GAUGE_IDS = {
    "rope diameter": "diameter",
    "rope temperature": "temperature",
    "roller speed": "speed",
    "batch": "batch",
    "product": "product",
}
GAUGE_UNITS = {"rope diameter": "mm", "rope temperature": "°C", "roller speed": "m/min"}
WRAPS = {"pieces", "good pieces", "rejects", "blank wraps", "film", "wax paper"}
SIZES = {"rope diameter", "rope", "roller speed"}
METRES = {"m": 1.0, "dm": 0.1, "cm": 0.01, "mm": 0.001}
#: A counter goes on where the next file begins at most so many counts later, and that is clear where it is
#: so for this share of the files.
GOES_ON, CLEAR = 2000.0, 0.75
#: The end of a machine's name, which may be the number or the part of a file.
_END = re.compile(r"[\s_-]*\d+$|[\s_-]+[^\W\d_]+$")
#: Files overlap where they share more than this of the shorter one's time.
SHARED = 0.3
#: A question on whether two machines are one begins so. It is asked where, over at least so many hours, the median
#: difference of their counts is below this share of the median deviation of one's.
#: Or they read the same at so many moments with different values, and at this share of the moments of one of them.
TWICE, SAME_HOURS, SAME_SPREAD, SAME_VALUES, SAME_SHARE = "twice ", 16, 0.25, 5, 0.5
#: So begins the question whether a machine was renamed.
RENAMED = "renamed "
#: What one count is answered by.
NUMBER = re.compile(r"\s*(?=.*[1-9])\d+(\.\d+)?\s*")
#: A question whether rows hold a pace begins so; a pace is so many pieces a minute, from and to.
PACE, _PACE = "pace ", (150.0, 600.0)
#: Until readings are looked at, no counter is too fast [counts/min].
UNBOUND = 1e12
Readings = dict[tuple[str, str], pl.DataFrame]  # by machine and channel


@dataclass(frozen=True)
class SetUpQuestion:
    """Something that the exports cannot say by themselves.

    Parameters
    ----------
    key : str
        By which an answer names it.
    text : str
        The question.
    suggested : str or None
        The answer that the data suggest; None where they suggest none and a person has to give it.
    why : str
        What the suggestion comes from.
    options : tuple of (str, str)
        The answers to choose from, with what each means; none where the answer is written.
    """

    key: str
    text: str
    suggested: str | None
    why: str = ""
    options: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Group:
    """Exports of one header and one origin.

    `id`: by which answers name it; `surveys`: in the order of their file names; `machines`: ids of the machines
    they hold; `aside`: why they are left for later, "" where they are not.
    """

    id: str
    surveys: tuple[Survey, ...]
    machines: tuple[str, ...] = ()
    aside: str = ""

    @property
    def first(self) -> Survey:
        """What all of them share."""
        return self.surveys[0]

    @property
    def paths(self) -> list[Path]:
        """The files."""
        return [survey.path for survey in self.surveys]


@dataclass
class _Draft:
    """What is known of one machine: its name, and its columns by meaning."""

    name: str
    columns: dict[str, list[SurveyedColumn]] = field(default_factory=dict)

    def add(self, columns: Iterable[SurveyedColumn]) -> None:
        here: dict[str, list[SurveyedColumn]] = {}
        for column in columns:
            if column.meaning:
                here.setdefault(column.meaning, []).append(column)
        for meaning, some in here.items():
            if len(some) > len(self.columns.get(meaning, [])):
                self.columns[meaning] = some

    @property
    def kind(self) -> MachineKind | None:
        if set(self.columns) & WRAPS:
            return "cut-and-wrap machine"
        return "sizer" if set(self.columns) & SIZES else None


def grouped(surveys: Sequence[Survey], shop: str, zone: str) -> tuple[list[Group], Plant]:
    """Exports that belong together, and a draft of the works that wrote them: all on one line, without a layout."""
    by_key: dict[tuple[object, ...], list[Survey]] = {}
    for survey in _with_machines(sorted(surveys, key=lambda s: s.path.name)):
        name = "" if survey.machines or survey.owners else survey.machine.casefold()
        key = (survey.kind, survey.headers, survey.sheet, name, survey.pattern.rpartition(".")[2])
        by_key.setdefault(key, []).append(survey)
    drafts: dict[str, _Draft] = {}
    pairs = [(some, _machines_in(some, drafts)) for some in by_key.values()]
    ids = _ids([draft for draft in drafts.values() if draft.kind])
    groups = []
    for number, (some, keys) in enumerate(pairs):
        known = tuple(ids[key] for key in keys if key in ids)
        groups.append(Group(f"g{number + 1}", tuple(some), known, _why_aside(some[0], known)))
    machines = tuple(_machine(ids[key], draft) for key, draft in drafts.items() if key in ids)
    return groups, Plant(shop=shop, zone=zone, lines=(Line(id="1"),), machines=machines)


def _with_machines(surveys: Sequence[Survey]) -> list[Survey]:
    """Exports with the machine that their names give.

    What stands behind the date in a name is part of the machine's name where nothing stands before it, or
    where files of the same header that differ in it were written at the same time; else it names a shift.
    """
    alike: dict[tuple[object, ...], list[Survey]] = {}
    for survey in surveys:
        alike.setdefault((survey.headers, survey.sheet, survey.machine.casefold()), []).append(survey)
    result = []
    for some in alike.values():
        apart = _apart(some)
        for survey in some:
            name = f"{survey.machine} {survey.part}".strip() if apart else survey.machine
            result.append(replace(survey, machine=name))
    return sorted(result, key=lambda s: s.path.name)


def could_be_one(surveys: Sequence[Survey]) -> list[tuple[str, tuple[Survey, ...], bool | None]]:
    """Files of one header that differ in the end of their machines' names, and of which one may go on in the next.

    With the name they share, and whether a counter goes on from one to the next; None where that is not clear.
    """
    alike: dict[tuple[object, ...], list[Survey]] = {}
    for survey in _with_machines(surveys):
        name = _END.sub("", survey.machine)
        if name and survey.kind == "readings" and not survey.machines and not survey.owners and survey.span:
            key = (survey.headers, survey.sheet, name.casefold())
            alike.setdefault(key, []).append(replace(survey, part=survey.machine.casefold()))
    several = [some for some in alike.values() if len({survey.part for survey in some}) > 1 and _may_be_one(some)]
    names = [(_END.sub("", some[0].machine), tuple(some)) for some in several]
    return [(name, some, _are_one(some)) for name, some in names]


def _may_be_one(surveys: Sequence[Survey]) -> bool:
    """Whether files never run at once, or each begins within the one before, in time and in counts, and ends later."""
    if not _at_once(surveys):
        return True
    ordered = sorted(surveys, key=lambda s: s.span or ())
    ends = [(s.span[0], s.span[1], *s.counts) for s in ordered if s.span and s.counts]
    within = (a[0] < b[0] and a[1] < b[1] and a[2] <= b[2] <= a[3] <= b[3] for a, b in pairwise(ends) if b[0] < a[1])
    return len(ends) == len(surveys) and all(within)


def _apart(surveys: Sequence[Survey]) -> bool:
    """Whether files of one header that differ in the end of their names are of different machines.

    They are where they run at the same time, or where no counter goes on from one file to the next. Where
    neither says, words in the place of a name are one, unless they are bare words that could name shifts.
    """
    parts = {survey.part for survey in surveys}
    if len(parts) == 1:
        return not surveys[0].machine
    if _at_once(surveys):
        return True
    goes_on = _goes_on(surveys)
    if goes_on is not None:
        return not goes_on
    return not surveys[0].machine and all(any(c.isdigit() for c in part) for part in parts)


def _goes_on(surveys: Sequence[Survey]) -> bool | None:
    """Whether the counter goes on from a file to the next of another name; None where that is not clear."""
    ordered = sorted((s for s in surveys if s.span and s.counts), key=lambda s: s.span or ())
    pairs = [(before.counts, other.counts) for before, other in pairwise(ordered) if before.part != other.part]
    # one that begins near 0 was set back, which any counter may be
    steps = [other[0] - before[1] for before, other in pairs if before and other and other[0] > GOES_ON]
    share = sum(0 <= step <= GOES_ON for step in steps) / len(steps) if steps else 0.5
    return True if share >= CLEAR else False if share <= 1 - CLEAR else None


def _are_one(surveys: Sequence[Survey]) -> bool | None:
    """Whether files of other names are one machine's; None where not clear, as with counts that are no totals."""
    goes_on = None if _at_once(surveys) else _goes_on(surveys)
    are_totals = all(survey.counts[0] <= survey.counts[1] for survey in surveys if survey.counts)
    return goes_on if goes_on or are_totals else None


def _at_once(surveys: Sequence[Survey]) -> bool:
    """Whether files that differ in the end of their name run at the same time."""
    spans = sorted((s.span, s.part) for s in surveys if s.span)
    for ((start, end), part), ((next_start, next_end), next_part) in pairwise(spans):
        shared = (min(end, next_end) - next_start).total_seconds()
        shorter = min((end - start).total_seconds(), (next_end - next_start).total_seconds())
        if part != next_part and shared > SHARED * max(shorter, 1.0):
            return True
    return False


def _machines_in(surveys: Sequence[Survey], drafts: dict[str, _Draft]) -> list[str]:
    """The keys of the machines that exports of one header are from; what they hold is added to the drafts."""
    first = surveys[0]
    if first.kind != "readings":
        return []
    keys = []

    def add(name: str, columns: Iterable[SurveyedColumn]) -> None:
        key = "".join(name.casefold().split())
        drafts.setdefault(key, _Draft(name)).add(columns)
        if key not in keys:
            keys.append(key)

    for survey in surveys:
        if survey.machines:
            for name, headers in survey.machines.items():
                add(name, [column for column in survey.columns if column.header in headers])
        elif survey.owners:
            for owner in survey.owners:
                add(owner, [column for column in survey.columns if column.owner == owner])
        else:
            by_content = "wrap" if {column.meaning for column in survey.columns} & WRAPS else "sizer"
            add(survey.machine or by_content, survey.columns)
    return [key for name in keys for key in _split(name, drafts)]


def _split(key: str, drafts: dict[str, _Draft]) -> list[str]:
    """A machine that counts pieces and measures the rope is two: a cut-and-wrap machine and its sizer."""
    draft = drafts[key]
    rope = set(draft.columns) & {"rope diameter", "rope temperature", "rope"}
    if not set(draft.columns) & WRAPS or not set(draft.columns) & {"rope diameter", "rope"}:
        if set(draft.columns) & WRAPS:
            draft.columns.pop("roller speed", None)  # of the machine itself, not of sizing rollers
        return [key]
    other = drafts.setdefault(f"{key}sizer", _Draft(f"{draft.name} sizer"))
    other.add(column for meaning in rope | {"roller speed"} for column in draft.columns.get(meaning, []))
    for meaning in rope | {"roller speed"}:
        draft.columns.pop(meaning, None)
    return [key, f"{key}sizer"]


def _ids(drafts: Sequence[_Draft]) -> dict[str, str]:
    """An id for each machine: its name in plain letters."""
    ids: dict[str, str] = {}
    for draft in drafts:
        plain = unicodedata.normalize("NFKD", draft.name.replace("ß", "ss"))
        plain = re.sub(r"[^A-Za-z0-9_. -]+", "", plain.encode("ascii", "ignore").decode()).strip(" ._-")[:50]
        base = plain or ("wrap" if draft.kind == "cut-and-wrap machine" else "sizer")
        in_use = set(ids.values())
        free = (base if n == 1 else f"{base} {n}" for n in range(1, len(in_use) + 2))
        ids["".join(draft.name.casefold().split())] = next(name for name in free if name not in in_use)
    return ids


def as_counted(draft: Plant, answers: Mapping[str, str]) -> Plant:
    """The machines with what one count is as answered: pieces, or metres of a web."""
    machines = []
    for machine in draft.machines:
        each = [(c, answers.get(f"count {machine.id}/{c.id}") or c.unit_value) for c in machine.counters]
        counters = tuple(c.model_copy(update={"unit_value": float(value)}) for c, value in each)
        machines.append(machine.model_copy(update={"counters": counters}))
    return draft.model_copy(update={"machines": tuple(machines)})


def _machine(machine_id: str, draft: _Draft) -> Machine:
    counters = [
        Counter(id=COUNTER_IDS[meaning], counts=meaning, fastest_per_min=UNBOUND, unit_value=_count_m(columns[0]))
        for meaning, columns in draft.columns.items()
        if meaning in COUNTER_IDS
    ]
    gauges = []
    for meaning, columns in draft.columns.items():
        if meaning not in GAUGE_IDS:
            continue
        several = len(columns) if meaning == "roller speed" else 1
        for number in range(1, several + 1):
            name = GAUGE_IDS[meaning] + (str(number) if several > 1 else "")
            pair = number if several > 1 else None
            gauges.append(Gauge(id=name, measures=meaning, unit=GAUGE_UNITS.get(meaning, ""), pair=pair))
    name = "" if draft.name == machine_id else draft.name
    parts = {"counters": tuple(counters), "gauges": tuple(gauges)}
    return Machine(id=machine_id, kind=draft.kind or "sizer", name=name, line="1", **parts)


def _count_m(column: SurveyedColumn) -> float:
    """What one count is by its header: metres of a web or the rope, or pieces; 1 where it does not say."""
    if column.meaning in ("film", "wax paper", "rope"):
        return METRES.get(column.unit, 1.0)
    return float(lot_of(column.header))


def _why_aside(first: Survey, machines: tuple[str, ...]) -> str:
    if first.kind != "readings":
        return tr("an export of {kind}: upload it on the intake page later", kind=tr(first.kind))
    return "" if machines else tr("no counter or gauge that is known: upload it on the intake page later")


def one_machine_questions(draft: Plant, readings: Readings, answers: Mapping[str, str]) -> list[SetUpQuestion]:
    """Whether machines that count the same pieces hour by hour, or one after the other, are one.

    Those were exported by two systems; these may have been renamed.
    """
    hourly, frames, spans = {}, {}, {}
    for machine in draft.machines:
        counter = piece_counter(machine)
        frame = readings.get((machine.id, counter.id)) if counter else None
        every = [frame] if frame is not None else [f for (name, _), f in readings.items() if name == machine.id]
        if every:
            spans[machine.id] = every[0].select("at", "value")[[0, -1]].rows()
        if frame is not None:
            frames[machine.id] = frame.select("at", "value")
            hour = (pl.col("at") - pl.duration(seconds=30)).dt.truncate("1h")
            counts = frame.select(hour=hour, n=pl.col("value").diff()).filter(pl.col("n") > 0)
            hourly[machine.id] = counts.group_by("hour", maintain_order=True).agg(pl.col("n").sum())
    keys = [key for key in answers if key.startswith(TWICE)]
    for (first, counts), (other, others) in combinations(hourly.items(), 2):
        same = frames[first].join(frames[other], on=["at", "value"], maintain_order="left")["value"].n_unique()
        n = counts.join(others, on="hour", maintain_order="left")
        apart, spread = (n["n"] - n["n_right"]).abs(), (n["n"] - n["n"].median()).abs()
        alike = n.height >= SAME_HOURS and cast(float, apart.median()) < SAME_SPREAD * cast(float, spread.median())
        if alike or same >= max(SAME_VALUES, SAME_SHARE * min(frames[first].height, frames[other].height)):
            keys.append(f"{TWICE}{first} / {other}")
    names = [key for key in answers if key.startswith(RENAMED)]
    each = [key[5:].casefold() for key, answer in answers.items() if key.startswith("same ") and answer == "each"]
    for first, other in pairwise(sorted(spans, key=lambda name: spans[name])):
        is_answered = any(all(m.casefold().startswith(name) for m in (first, other)) for name in each)
        if spans[first][1][0] < spans[other][0][0] and not is_answered and _could_be_renamed(first, other, spans):
            names.append(f"{RENAMED}{first} / {other}")
    return [*map(_twice_question, dict.fromkeys(keys)), *map(_renamed_question, dict.fromkeys(names))]


def _could_be_renamed(earlier: str, other: str, spans: Mapping[str, list[tuple[datetime, float]]]) -> bool:
    """Whether names have the same letter and numbers, or the counter of one goes on in the other."""
    (first, numbers), (letter, others) = (
        (name[:1].casefold(), [int(n) for n in re.findall(r"\d+", name)]) for name in (earlier, other)
    )
    step = spans[other][0][1] - spans[earlier][1][1]
    return (first == letter and numbers == others != []) or (0 <= step <= GOES_ON < spans[other][0][1])


def _renamed_question(key: str) -> SetUpQuestion:
    name, _, other = key.removeprefix(RENAMED).partition(" / ")
    text = tr("{other} is read only after {one}: one machine that was renamed?", one=name, other=other)
    options = (("one", tr("one machine, {name}", name=other)), ("two", tr("two machines")))
    return SetUpQuestion(key, text, None, "", options)


def merge_renamed(groups: list[Group], draft: Plant, answers: Mapping[str, str]) -> tuple[list[Group], Plant]:
    """The same, with machines that were renamed as one: its id is the old name, and its name the new one."""
    for key in (key for key, answer in answers.items() if key.startswith(RENAMED) and answer == "one"):
        old, _, new = key.removeprefix(RENAMED).partition(" / ")
        machines = {machine.id: machine for machine in draft.machines}
        if old in machines and new in machines:
            before, after = machines[old], machines.pop(new)
            parts = {
                kind: tuple({part.id: part for of in (after, before) for part in getattr(of, kind)}.values())
                for kind in ("counters", "gauges")
            }
            machines[old] = before.model_copy(update={"name": after.label, **parts})
            draft = draft.model_copy(update={"machines": tuple(machines.values())})
            groups = [
                replace(group, machines=tuple(dict.fromkeys(old if m == new else m for m in group.machines)))
                for group in groups
            ]
    return groups, draft


def _twice_question(key: str) -> SetUpQuestion:
    first, _, other = key.removeprefix(TWICE).partition(" / ")
    text = tr("{one} and {other} count the same hour by hour: one machine exported twice?", one=first, other=other)
    left = [(name, tr("one machine: leave out {name}", name=name)) for name in (other, first)]
    return SetUpQuestion(key, text, None, "", (*left, ("both", tr("two machines"))))


def pace_questions(draft: Plant, readings: Readings, layouts: Mapping[str, Layout]) -> list[SetUpQuestion]:
    """Whether rows that hold as much as a machine makes a minute, and are not a minute apart, are its pace."""
    columns = [column for layout in layouts.values() for column in counters_of(layout, draft.machines)]
    keys = {(machine, channel) for _, machine, channel, counting in columns if counting == "since last row"}
    options = (("counts", tr("pieces since the row before")), ("pace", tr("pieces a minute")))
    questions = []
    for machine, channel in sorted(keys & readings.keys() & piece_counters(draft).keys()):
        frame = readings[machine, channel].select(pl.col("at").diff().dt.total_seconds(), pl.col("value").diff())
        median = frame.filter(pl.col("value") > 0)["value"].median()
        apart_s = cast(float, frame["at"].median() or 60.0)
        if _PACE[0] <= cast(float, median or 0.0) <= _PACE[1] and not 40.0 <= apart_s <= 90.0:
            text = tr("{machine}: what does a row of its pieces say?", machine=machine)
            why = tr("it holds about {n:,.0f}, and rows are {s:,.0f} s apart", n=median, s=apart_s)
            questions.append(SetUpQuestion(f"{PACE}{machine}/{channel}", text, None, why, options))
    return questions


def piece_counters(draft: Plant) -> dict[tuple[str, str], Counter]:
    """The counter of pieces of each machine that has one, by machine and counter."""
    return {(machine.id, counter.id): counter for machine in draft.machines if (counter := piece_counter(machine))}


def pace_fault(key: str) -> Fault:
    """Why a pace is not taken."""
    do = tr("Export the counter of pieces, or what came in each interval.")
    return Fault(tr("a pace does not say what was made between its rows"), key, tr("counts of pieces"), do)
