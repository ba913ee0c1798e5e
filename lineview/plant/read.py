"""Reading the plant description from its TOML file: every fault at once, in plain words, with its line."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from lineview.core.errors import Fault, PlantError
from lineview.core.language import ENGLISH, languages, mark, tr, tr_in
from lineview.plant import model
from lineview.plant.checks import FAULT, DeclaredIds, PlacedFault, did_you_mean, repeated_ids
from lineview.plant.counting import with_counting
from lineview.plant.model import Plant
from lineview.plant.positions import KeyLines, KeyPath

_MODELS: dict[str, type[model.Part]] = {
    "shifts": model.Shift,
    "breaks": model.Break,
    "lines": model.Line,
    "machines": model.Machine,
    "counters": model.Counter,
    "gauges": model.Gauge,
    "webs": model.Web,
    "products": model.Product,
    "layouts": model.Layout,
    "columns": model.ColumnTarget,
}

_SEE = mark("see the values expected")
_EXAMPLES: dict[str, object] = {
    "shop": '"Our works"',
    "id": '"wrap1"',
    "line": '"line1"',
    "start": "06:00:00",
    "end": "14:00:00",
    "counts": '"pieces"',
    "measures": '"rope diameter"',
    "fastest_per_min": 450,
    "flavour": '"banana"',
    "mass_g": 6.8,
    "mass_tolerance_g": 0.3,
    "diameter_mm": 14.0,
    "diameter_tolerance_mm": 0.4,
    "cut_length_mm": 40.0,
    "width_mm": 90.0,
    "reel_outer_mm": 300.0,
    "reel_core_mm": 76.2,
    "to": '"pieces"',
}

#: What each kind of type error expected, in plain words.
_EXPECTED = {
    "greater_than": mark("a number above {gt:g}"),
    "greater_than_equal": mark("{ge:g} or more"),
    "float_type": mark("a number"),
    "float_parsing": mark("a number"),
    "int_type": mark("a whole number"),
    "int_from_float": mark("a whole number"),
    "int_parsing": mark("a whole number"),
    "finite_number": mark("a finite number"),
    "string_type": mark("text in quotes"),
    "bool_type": mark("true or false"),
    "time_type": mark('a time of day such as 06:00:00 or "06:00"'),
    "time_parsing": mark('a time of day such as 06:00:00 or "06:00"'),
    "tuple_type": mark("a list in [ ]"),
    "dict_type": mark("a table of keys and values"),
    "model_type": mark("a table of keys and values"),
    "too_long": mark("at most {max_length} items"),
    "string_too_long": mark("at most {max_length} characters"),
    "string_pattern_mismatch": mark("letters, digits, blanks, _ . and -, beginning with a letter or digit"),
}


def faults_of(error: ValidationError, data: Mapping[str, Any]) -> list[PlacedFault]:
    """Each wrong place once, with what it is, what was expected and a suggestion."""
    faults: list[PlacedFault] = []
    types: dict[KeyPath, list[ErrorDetails]] = {}
    for detail in error.errors():
        path = _path(detail, data)
        if detail["type"] == FAULT:
            faults.append((path, detail["ctx"]["fault"]))
        else:  # a union has an error for each of its branches
            types.setdefault(path, []).append(detail)
    return faults + [(path, _fault(path, details)) for path, details in types.items()]


def _path(detail: ErrorDetails, data: Any) -> KeyPath:
    """Keep of a location only the steps that the data has: a union adds names of its branches."""
    path: list[str | int] = []
    for step in detail["loc"]:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            continue
        path.append(step)
    if detail["type"] == "missing":
        path.append(detail["loc"][-1])
    return tuple(path)


def _fault(path: KeyPath, details: list[ErrorDetails]) -> Fault:
    detail = details[0]
    key, place = path[-1] if path else "file", _place(path[:-1])
    if detail["type"] == "missing":
        if isinstance(key, int):
            return Fault(tr("'{key}' has too few items", key=path[-2]), expected=tr("at least {count}", count=key + 1))
        example = tr(_SEE) if key == "kind" else _EXAMPLES.get(str(key))
        advice = (
            tr("Add for example: {line}", line=f"{key} = {example}")  # a number as the file has it
            if example is not None
            else tr("Add the key '{key}'", key=key)
        )
        return Fault(
            tr("'{key}' is missing in {place}", key=key, place=place),
            expected=tr("the key '{key}'", key=key),
            do=advice,
        )
    if detail["type"] == "extra_forbidden":
        keys = list(_model(path).model_fields)
        return Fault(
            tr("unknown key '{key}' in {place}", key=key, place=place),
            expected=tr("a key of this table"),
            do=did_you_mean(key, keys),
        )
    expected = tr(" or ").join(dict.fromkeys(_expectation(detail) for detail in details))
    value = detail["input"]
    return Fault(
        tr("{key} is {value}", key=_name(path), value=_value_text(value)), expected=expected, do=_advice(value, details)
    )


def _expectation(detail: ErrorDetails) -> str:
    pattern = _EXPECTED.get(detail["type"], mark("another value"))
    if detail["type"] == "literal_error":
        return str(detail["ctx"]["expected"]).replace(" or ", tr(" or "))
    return tr(pattern, **{} if detail["type"] in ("dict_type", "model_type") else detail.get("ctx", {}))


def _advice(value: object, details: list[ErrorDetails]) -> str:
    options: list[str] = []
    for detail in details:
        if detail["type"] == "literal_error":
            listed = str(detail["ctx"]["expected"]).replace(" or ", ", ")
            options += [name.strip("'") for name in listed.split(", ")]
    if options and isinstance(value, str):
        return did_you_mean(value, [name for name in options if name])
    if isinstance(value, str) and any("float" in d["type"] or "int" in d["type"] for d in details):
        return tr("Write the number without quotes and with a point, not a comma")
    return tr("Correct the value")


def _model(path: KeyPath) -> type[model.Part]:
    names = [step for step in path[:-1] if isinstance(step, str) and step in _MODELS]
    if "columns" in path[:-1]:
        return model.ColumnTarget
    return _MODELS[names[-1]] if names else model.Plant


def _name(path: KeyPath) -> str:
    keys = [step for step in path if isinstance(step, str)]
    return f"'{keys[-1]}'" if keys else tr("the file")


def _place(path: KeyPath) -> str:
    keys = [step for step in path if isinstance(step, str)]
    return f"[[{'.'.join(keys)}]]" if keys else tr_in("behind 'in'", "the file")


def _value_text(value: object) -> str:
    if isinstance(value, str):
        return f"'{value[:60]}'"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return tr("a table")
    return tr("a list") if isinstance(value, (list, tuple)) else str(value)


_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?")
_CLOCK_KEYS = {"start", "end"}


def read_plant(path: Path, extra: Path | None = None) -> Plant:
    """Read the plant description, and the layouts accepted later.

    Parameters
    ----------
    path : pathlib.Path
        The plant description, TOML in UTF-8.
    extra : pathlib.Path, optional
        A second TOML file that holds only further [[layouts]]; it may be absent.

    Returns
    -------
    Plant
        Checked whole: types, and ids that fit together.

    Raises
    ------
    PlantError
        With every fault: its file and line, what is wrong, what was expected and a suggestion.
    """
    data, lines = _load(path)
    further, further_lines = _load(extra) if extra is not None and extra.exists() else ({}, KeyLines(""))
    first_further = len(_layouts(data))
    if _layouts(further):
        data["layouts"] = (*_layouts(data), *_layouts(further))
    plant, placed = _validate(data)
    faults = []
    for keys, fault in placed:
        in_further = keys[:1] == ("layouts",) and isinstance(keys[1], int) and keys[1] >= first_further
        line = further_lines.of(("layouts", int(keys[1]) - first_further, *keys[2:])) if in_further else lines.of(keys)
        faults.append((in_further, line, fault))
    strays = [key for key in further if key != "layouts" or not isinstance(further[key], tuple)]
    faults += [(True, further_lines.of((key,)), _not_a_layout(key)) for key in strays]
    if plant is None or faults:
        faults.sort(key=lambda row: row[:2])
        names = {False: path.name, True: extra.name if extra else ""}
        raise PlantError(replace(fault, where=_line_of(names[late], line)) for late, line, fault in faults)
    return plant


def plant_of_json(data: dict[str, Any]) -> Plant:
    """The plant description from what `Plant.model_dump_json` wrote.

    Parameters
    ----------
    data : dict
        The JSON's values.

    Returns
    -------
    Plant
        Equal to the one that was written.
    """
    return Plant.model_validate_json(json.dumps(data), context=DeclaredIds.in_tables(_plain(data, "")))


def check_text(text: str, name: str = "plant.toml") -> list[Fault]:
    """Every fault of a plant description that is not written yet.

    Parameters
    ----------
    text : str
        As the file would be.
    name : str
        Of the file, for the messages.

    Returns
    -------
    list of Fault
        Each with its line; none where all is right.
    """
    try:
        data, lines = _plain(tomllib.loads(text), ""), KeyLines(text)
    except tomllib.TOMLDecodeError as error:
        return [_syntax(str(error), text, name)]
    _, placed = _validate(data)
    faults = sorted(((lines.of(keys), fault) for keys, fault in placed), key=lambda row: row[0])
    return [replace(fault, where=_line_of(name, line)) for line, fault in faults]


def language_in(path: Path) -> str:
    """The language that a plant description names, whatever else is wrong in it; English where it names none."""
    try:
        text = path.read_text("utf-8-sig", errors="replace")
    except OSError:
        return ENGLISH
    match = re.search(r"^\s*language\s*=\s*[\"'](\w+)[\"']", text.partition("\n[")[0], re.MULTILINE)
    return match[1] if match and match[1] in languages() else ENGLISH


def _line_of(name: str, line: int) -> str:
    return tr("{file} line {line}", file=name, line=line)


def _validate(data: dict[str, Any]) -> tuple[Plant | None, list[PlacedFault]]:
    """Validate types, values and references; no plant where one of them is wrong."""
    faults = repeated_ids(data)
    try:
        plant = Plant.model_validate(data, strict=True, context=DeclaredIds.in_tables(data))
    except ValidationError as error:
        return None, faults_of(error, data) + faults
    plant, contradictions = with_counting(plant)
    return plant, faults + contradictions


def _layouts(data: Mapping[str, Any]) -> tuple[Any, ...]:
    listed = data.get("layouts", ())
    return listed if isinstance(listed, tuple) else ()


def _not_a_layout(key: str) -> Fault:
    return Fault(
        tr("'{key}' does not belong here", key=key), "", tr("only [[layouts]]"), tr("Move it to the plant description")
    )


def _load(path: Path) -> tuple[dict[str, Any], KeyLines]:
    """Read one TOML file into plain values and the lines of its keys."""
    name = path.name
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise PlantError(Fault(tr("there is no file {path}", path=path), name, tr("the plant description"))) from None
    except OSError as error:
        raise PlantError(
            Fault(tr("{path} cannot be read: {reason}", path=path, reason=error.strerror), name, tr("a TOML file"))
        ) from None
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        fault = Fault(
            tr("a character is not UTF-8"), _line_of(name, line), tr("text in UTF-8"), tr("Save the file as UTF-8")
        )
        raise PlantError(fault) from None
    try:
        return _plain(tomllib.loads(text), ""), KeyLines(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantError(_syntax(str(error), text, name)) from None
    except RecursionError:
        fault = Fault(tr("brackets are nested too deep"), name, tr("tables and lists a few levels deep"))
        raise PlantError(fault) from None


def _syntax(message: str, text: str, name: str) -> Fault:
    """A TOML syntax error in plain words, with the text of its line."""
    place = re.search(r"\(at line (\d+), column \d+\)", message)
    rows = text.splitlines() or [""]
    line = int(place.group(1)) if place else len(rows)
    line_text = rows[min(line, len(rows)) - 1].strip()[:80]
    if "overwrite" in message or "twice" in message or "redefine" in message or "mutate" in message:
        what, expected = tr("a key or table is there twice: {text}", text=line_text), tr("each key once")
        return Fault(what, _line_of(name, line), expected, tr("Leave one out, or use [[ ]] for a list of tables"))
    what = tr("the line cannot be read as TOML: {text}", text=line_text) if line_text else tr("the file ends too early")
    advice = tr("Check quotes, brackets, commas and the = sign on this line and the one before")
    return Fault(what, _line_of(name, line), tr("key = value, [table] or [[table]]"), advice)


def _plain(value: Any, key: str) -> Any:
    """Turn arrays into tuples and times and dates written as text or TOML into one form."""
    if isinstance(value, dict):
        if key == "columns":
            return {header: _target(target) for header, target in value.items()}
        return {name: _plain(item, name) for name, item in value.items()}
    if isinstance(value, list):
        return tuple(_plain(item, key) for item in value)
    if key in _CLOCK_KEYS and isinstance(value, str) and (clock := _CLOCK.fullmatch(value.strip())):
        hour, minute, second = (int(part or 0) for part in clock.groups())
        return time(hour, minute, second)
    return value.isoformat() if key.endswith("_on") and isinstance(value, date) else value


def _target(value: Any) -> Any:
    """Let `"Good" = "pieces"` stand for `"Good" = { to = "pieces" }`."""
    return {"to": value} if isinstance(value, str) else _plain(value, "")
