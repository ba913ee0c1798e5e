"""What the types of a plant description cannot check: values that fit each other and ids that are declared.

The checks hang on fields, each seeing the fields before its own, and not on whole parts: a validator of a
part runs only where all of its fields are right, and a reader is to see every fault at once. They run where
the context of the validation is a `DeclaredIds`, as in reading a file; a part made in code is taken as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import time
from difflib import get_close_matches
from functools import cache
from itertools import combinations
from typing import Any, Literal, cast, get_args
from zoneinfo import available_timezones

from pydantic import AfterValidator, ValidationError, ValidationInfo, ValidatorFunctionWrapHandler, WrapValidator
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from lineview.core.errors import Fault
from lineview.core.language import ENGLISH, languages, mark, spoken, tr, weekday_name
from lineview.plant.fields import TARGETS
from lineview.plant.positions import KeyPath

#: The type of a pydantic error that carries a Fault in its context.
FAULT = "fault"
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
#: The days in the order of `date.weekday()`.
WEEK: tuple[Day, ...] = get_args(Day)
_DAY_S = 86_400
_WEEK_S = 7 * _DAY_S

#: A fault and the keys that lead to it; its `where` is filled in once the line is known.
PlacedFault = tuple[KeyPath, Fault]
Check = Callable[[Any, ValidationInfo], Iterable[PlacedFault]]


def did_you_mean(word: object, vocabulary: list[str]) -> str:
    """A sentence for `Fault.do`: the nearest known word, else what there is."""
    near = nearest(word, vocabulary)
    if near:
        return tr("Did you mean '{name}'?", name=near)
    return tr("Known: {names}", names=", ".join(vocabulary[:12])) if vocabulary else tr("None is described yet")


def nearest(word: object, vocabulary: list[str]) -> str:
    """The known word that is near to one, "" where none is."""
    folded = {name.casefold(): name for name in vocabulary}
    near = get_close_matches(str(word).casefold(), list(folded), n=1, cutoff=0.6)
    return folded[near[0]] if near else ""


# Ids, read before the types


@dataclass(frozen=True)
class DeclaredIds:
    """The ids that a description declares, read before its types so that any reference can be checked."""

    lines: list[str]
    webs: list[str]
    channels: dict[str, list[str]]  # counters and gauges by machine; of two machines of one id, of both

    @classmethod
    def in_tables(cls, data: Mapping[str, Any]) -> DeclaredIds:
        """The ids in the tables of a description, whatever else may be wrong in them."""
        channels: dict[str, list[str]] = {}
        for _, machine in _rows(data, "machines"):
            of_machine = channels.setdefault(str(machine.get("id")), [])
            of_machine += _ids(machine, "counters") + _ids(machine, "gauges")
        return cls(_ids(data, "lines"), _ids(data, "webs"), channels)


_LISTS = (mark("shifts"), mark("lines"), mark("machines"), mark("webs"), mark("products"), mark("layouts"))


def repeated_ids(data: Mapping[str, Any]) -> list[PlacedFault]:
    """A fault for each id that stands twice in its list."""
    faults: list[PlacedFault] = []
    for name in _LISTS:
        faults += _repeated_ids(name, [((name, i), row) for i, row in _rows(data, name)])
    for m, machine in _rows(data, "machines"):
        channels: list[tuple[KeyPath, Mapping[str, Any]]] = []
        for name in ("counters", "gauges"):
            channels += [(("machines", m, name, i), row) for i, row in _rows(machine, name)]
        faults += _repeated_ids(mark("counters or gauges"), channels)
    return faults


def _repeated_ids(parts: str, rows: list[tuple[KeyPath, Mapping[str, Any]]]) -> Iterator[PlacedFault]:
    earlier: set[str] = set()
    for path, row in rows:
        name = row.get("id")
        if isinstance(name, str) and name in earlier:
            what = tr("two {parts} have the id '{name}'", parts=tr(parts), name=name)
            yield (*path, "id"), Fault(what, "", tr("ids that differ"), tr("Rename one"))
        earlier.add(str(name))


def _rows(data: Mapping[str, Any], name: str) -> list[tuple[int, Mapping[str, Any]]]:
    """The tables of an array with their index; whatever else stands in it is left out."""
    rows = data.get(name)
    return [(i, row) for i, row in enumerate(rows) if isinstance(row, Mapping)] if isinstance(rows, tuple) else []


def _ids(data: Mapping[str, Any], name: str) -> list[str]:
    return [row["id"] for _, row in _rows(data, name) if isinstance(row.get("id"), str)]


# How a check becomes a validator


def value_check(check: Check) -> AfterValidator:
    """A validator that checks one value."""

    def validate(value: Any, info: ValidationInfo) -> Any:
        if info.context is not None:
            _refuse(check(value, info), value)
        return value

    return AfterValidator(validate)


def together(check: Check, *looks_at: str) -> WrapValidator:
    """A validator that checks the parts of a list or table against each other, although some may be wrong."""

    def validate(parts: Any, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
        if info.context is None or not isinstance(parts, (tuple, dict)):
            return handler(parts)  # which says what type was expected

        def part_of(key: Any, part: Any) -> Any:
            return handler({key: part})[key] if isinstance(parts, dict) else handler((part,))[0]

        usable: dict[Any, Any] = {}
        errors: list[InitErrorDetails] = []
        for key, part in parts.items() if isinstance(parts, dict) else enumerate(parts):
            try:
                usable[key] = part_of(key, part)
            except ValidationError as error:
                details = error.errors()
                errors += [_at_path(detail, (key, *detail["loc"][1:])) for detail in details]
                wrong = {detail["loc"][1] for detail in details if len(detail["loc"]) > 1}
                if looks_at and isinstance(part, dict) and not wrong & set(looks_at):
                    with suppress(ValidationError):  # where a field that must be there is the wrong one
                        usable[key] = part_of(key, {k: v for k, v in part.items() if k not in wrong})
        _refuse(check(usable, info), parts, errors)
        return usable if isinstance(parts, dict) else tuple(usable.values())

    return WrapValidator(validate)


def _refuse(faults: Iterable[PlacedFault], value: object, more: Iterable[InitErrorDetails] = ()) -> None:
    """Raise the faults as errors of the value, if there are any."""
    details = list(more)
    for path, fault in faults:
        kind = PydanticCustomError(FAULT, "{what}", {"what": fault.what, "fault": fault})
        details.append(InitErrorDetails(type=kind, loc=path, input=value))
    if details:
        raise ValidationError.from_exception_data("plant description", details)


def _at_path(detail: ErrorDetails, path: KeyPath) -> InitErrorDetails:
    """The same error at another place."""
    context = detail.get("ctx", {})
    if detail["type"] == FAULT:
        kind = PydanticCustomError(FAULT, "{what}", context)
        return InitErrorDetails(type=kind, loc=path, input=detail["input"])
    return InitErrorDetails(type=detail["type"], loc=path, input=detail["input"], ctx=context)


# Single values


@cache
def _zone_names() -> list[str]:
    return sorted(available_timezones())  # read from the disk each time


def check_language(code: str, _info: ValidationInfo) -> Iterator[PlacedFault]:
    """A language that there is a catalogue for."""
    if code not in languages():
        what = tr("unknown language '{code}'", code=code)
        yield (), Fault(what, "", tr("one of {names}", names=", ".join(languages())))


def check_zone(zone: str, _info: ValidationInfo) -> Iterator[PlacedFault]:
    """A time zone that this computer knows, or ""."""
    if zone and zone not in _zone_names():
        is_near = nearest(zone, _zone_names())
        advice = did_you_mean(zone, _zone_names()) if is_near else tr("Write it as area and city")
        yield (), Fault(tr("unknown time zone '{zone}'", zone=zone), "", tr("a zone such as 'Europe/Paris'"), advice)


def check_encoding(name: str, _info: ValidationInfo) -> Iterator[PlacedFault]:
    """An encoding of text that this computer knows, or ""."""
    try:
        "é".encode(name or "utf-8", errors="replace")
    except (LookupError, UnicodeError):
        yield (), Fault(tr("unknown encoding '{name}'", name=name), "", tr("an encoding such as 'cp850' or 'cp437'"))


def _declared_ids(info: ValidationInfo) -> DeclaredIds:
    """The ids declared: the context in which every check runs."""
    return cast(DeclaredIds, info.context)


def check_line(line: str, info: ValidationInfo) -> Iterator[PlacedFault]:
    """The id of a line that is declared."""
    return _unknown_ids(mark("line"), line, _declared_ids(info).lines)


def check_machine(machine: str, info: ValidationInfo) -> Iterator[PlacedFault]:
    """The id of a machine that is declared."""
    return _unknown_ids(mark("machine"), machine, list(_declared_ids(info).channels))


def check_web(web: str, info: ValidationInfo) -> Iterator[PlacedFault]:
    """The id of a web that is declared."""
    return _unknown_ids(mark("web"), web, _declared_ids(info).webs)


def _unknown_ids(what: str, name: str, ids: list[str]) -> Iterator[PlacedFault]:
    if name not in ids:
        fault = tr("unknown {part} '{name}'", part=tr(what), name=name)
        yield (), Fault(fault, "", tr("the id of a {part}", part=f"[[{what}s]]"), did_you_mean(name, ids))


def check_band(band: tuple[float, float], _info: ValidationInfo) -> Iterator[PlacedFault]:
    """A band [pieces/min] with its low end first."""
    low, high = band
    if low > high:
        what = tr("the nominal band runs from {low:g} down to {high:g}", low=low, high=high)
        advice = tr("Write nominal_per_min = {band}", band=f"[{high:g}, {low:g}]")  # as the file has it
        yield (), Fault(what, "", tr("the low end first"), advice)


def check_core(core_mm: float, info: ValidationInfo) -> Iterator[PlacedFault]:
    """A core [mm] that is smaller than its reel."""
    outer_mm = info.data.get("reel_outer_mm")
    if outer_mm is not None and core_mm >= outer_mm:
        text = mark("the core of {core_mm:g} mm is not smaller than the reel of {outer_mm:g} mm")
        what = tr(text, core_mm=core_mm, outer_mm=outer_mm)
        expected = tr("reel_core_mm below reel_outer_mm")
        yield (), Fault(what, "", expected, tr("Check whether the two are swapped"))


def check_web_mass(density_g_cm3: float | None, info: ValidationInfo) -> Iterator[PlacedFault]:
    """A density [g/cm³] where the web's mass needs it: without grammage, with a thickness."""
    grammage, thickness = (info.data.get(key, "wrong") for key in ("grammage_g_m2", "thickness_um"))
    if grammage is None and (thickness is None or density_g_cm3 is None):
        what = tr("web '{id}' has no mass", id=info.data.get("id"))
        expected = tr("grammage_g_m2, or both thickness_um and density_g_cm3")
        yield (), Fault(what, "", expected, tr("Add for example: grammage_g_m2 = 40.0"))


# Parts of a list, together


def check_counters(counters: dict[int, Any], info: ValidationInfo) -> Iterator[PlacedFault]:
    """One counter of each count, and none too slow for the machine's nominal band."""
    earlier: set[str] = set()
    band = info.data.get("nominal_per_min")
    for i, counter in counters.items():
        if counter.counts in earlier:
            what = tr("machine '{id}' has two counters of {counted}", id=info.data.get("id"), counted=counter.counts)
            yield (i, "counts"), Fault(what, "", tr("one counter of each count"), tr("Leave one out"))
        earlier.add(counter.counts)
        pieces_per_min = counter.fastest_per_min * counter.unit_value
        if band and counter.counts in ("pieces", "good pieces") and pieces_per_min < band[1]:
            fault = Fault(
                tr("the fastest possible rate is {pieces_per_min:g} pieces a minute", pieces_per_min=pieces_per_min),
                "",
                tr("at least the nominal band's high end, {band:g}", band=band[1]),
                tr("Write the rate that the machine cannot exceed, or correct the band"),
            )
            yield (i, "fastest_per_min"), fault


def check_codes(codes: dict[str, str], info: ValidationInfo) -> Iterator[PlacedFault]:
    """Codes only for a gauge of states, and one meaning for each code."""
    measures = info.data.get("measures", "state")
    if codes and measures != "state":
        what = tr("gauge '{id}' measures {measures} and has codes of states", id=info.data.get("id"), measures=measures)
        yield (), Fault(what, "", tr('codes only where measures = "state"'), tr("Take the codes out"))
    meanings: dict[str, str] = {}
    for code, meaning in codes.items():
        earlier = meanings.setdefault(code.strip().casefold(), meaning)
        if earlier != meaning:
            what = tr(
                "the code '{code}' means both {earlier} and {meaning}", code=code, earlier=earlier, meaning=meaning
            )
            yield (), Fault(what, "", tr("one meaning a code, whatever its capitals"), tr("Leave one out"))


_WRONG_CHANNEL = mark("column '{header}' points at '{to}', which is not a counter or gauge of machine '{machine}'")
_WRONG_TARGET = mark("column '{header}' points at '{to}', which is not a counter or gauge of {kind} exports")
_WRONG_FIELD = mark("column '{header}' points at '{to}', which is not a field of {kind} exports")


def check_columns(columns: dict[str, Any], info: ValidationInfo) -> Iterator[PlacedFault]:
    """Targets that are channels of the layout's machine, or fields of its kind."""
    if not {"kind", "machine"} <= set(info.data):
        return  # a wrong kind or machine has its fault already
    kind, machine = info.data["kind"], info.data["machine"]
    fields, channels = list(TARGETS[kind]), _declared_ids(info).channels
    if kind == "readings":
        names = [c for m in channels if machine in (None, m) for c in channels[m]]
        targets = [*names, *(f"{m}/{channel}" for m in channels for channel in channels[m])]
        message = _WRONG_CHANNEL if machine else _WRONG_TARGET
    else:
        targets = [field for field in fields if field not in TARGETS["readings"]]
        message = _WRONG_FIELD
    for header, target in columns.items():
        if target.to not in (*targets, *fields):
            what = tr(message, header=header, to=target.to, machine=machine, kind=kind)
            expected = tr("the id of a field") if message == _WRONG_FIELD else tr("the id of a counter or gauge")
            yield (header, "to"), Fault(what, "", expected, did_you_mean(target.to, targets or fields))
    yield from _targeted_twice(columns, info)


#: What may stand in several columns: each column of masses is a weighing; of the others the first counts.
_SEVERAL = ("mass_g", "at", "machine", "line", "quality")


def _targeted_twice(columns: dict[str, Any], info: ValidationInfo) -> Iterator[PlacedFault]:
    """No two columns of a wide file for one counter, gauge or field, unless they are lanes that add."""
    if info.data.get("shape") == "long":
        return
    machine, earlier = info.data["machine"], dict[str, tuple[str, bool]]()
    for header, target in columns.items():
        to = target.to if "/" in target.to or not machine else f"{machine}/{target.to}"
        other, adds = earlier.setdefault(to, (header, target.adds))
        if other == header or target.to in _SEVERAL or (adds and target.adds):
            continue
        what = tr("columns '{other}' and '{header}' both point at '{to}'", other=other, header=header, to=target.to)
        advice = tr("Leave one out, or write adds = true in both where they are lanes that add")
        yield (header, "to"), Fault(what, "", tr("one column for each counter, gauge or field"), advice)


# Shifts and breaks, in the plant's wall time


def _span_s(start: time, end: time) -> tuple[int, int]:
    """Start and end [s] from the start's midnight."""
    first, last = (clock.hour * 3600 + clock.minute * 60 + clock.second for clock in (start, end))
    return first, last if last > first else last + _DAY_S


def check_breaks(breaks: dict[int, Any], info: ValidationInfo) -> Iterator[PlacedFault]:
    """Breaks within their shift, one after the other."""
    if not {"start", "end"} <= set(info.data):
        return  # a wrong time has its fault already
    shift_start, shift_end = info.data["start"], info.data["end"]
    first_s, last_s = _span_s(shift_start, shift_end)
    earlier: list[tuple[int, int]] = []
    for i, pause in breaks.items():
        start_s, end_s = _span_s(pause.start, pause.end)
        if start_s < first_s:  # after the shift's midnight
            start_s, end_s = start_s + _DAY_S, end_s + _DAY_S
        span = {"start": pause.start, "end": pause.end}
        if end_s > last_s:
            what = tr(
                "the break {start:%H:%M} to {end:%H:%M} is outside its shift '{shift}'",
                shift=info.data.get("id"),
                **span,
            )
            expected = tr("within {start:%H:%M} to {end:%H:%M}", start=shift_start, end=shift_end)
            yield (i,), Fault(what, "", expected, tr("Correct the break or the shift"))
        elif any(start_s < before_end and before_start < end_s for before_start, before_end in earlier):
            what = tr("the break {start:%H:%M} to {end:%H:%M} overlaps another", **span)
            yield (i,), Fault(what, "", tr("breaks one after the other"), tr("Leave one out"))
        earlier.append((start_s, end_s))


def check_shifts(shifts: dict[int, Any], _info: ValidationInfo) -> Iterator[PlacedFault]:
    """Shifts one after the other."""
    for (_, first), (i, second) in combinations(shifts.items(), 2):
        if day := _common_day(first, second):
            day = day if spoken() == ENGLISH else weekday_name(WEEK.index(day))
            what = tr("shifts '{first}' and '{second}' overlap on {day}", first=first.id, second=second.id, day=day)
            advice = tr("Correct the start, the end or the days of one")
            yield (i, "start"), Fault(what, "", tr("shifts one after the other"), advice)


def _common_day(first: Any, second: Any) -> str:
    """The first day on which two shifts run at once, "" where they never do; a week is a ring."""
    first_s, second_s = _span_s(first.start, first.end), _span_s(second.start, second.end)
    for day in first.days:
        start_s, end_s = (WEEK.index(day) * _DAY_S + s for s in first_s)
        for other in second.days:
            for turn_s in (-_WEEK_S, 0, _WEEK_S):
                other_start_s, other_end_s = (WEEK.index(other) * _DAY_S + turn_s + s for s in second_s)
                if start_s < other_end_s and other_start_s < end_s:
                    return str(day)
    return ""
