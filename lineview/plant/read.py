"""Reading the plant description from its TOML file, with every fault at once and its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lineview.core.errors import Fault, PlantError
from lineview.plant.checks import Declared, PlacedFault, repeated_ids
from lineview.plant.counting import with_counting
from lineview.plant.messages import faults_of
from lineview.plant.model import Plant
from lineview.plant.positions import KeyLines

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
    plant, placed = _checked(data)
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
        raise PlantError(replace(fault, where=f"{names[late]} line {line}") for late, line, fault in faults)
    return plant


def _checked(data: dict[str, Any]) -> tuple[Plant | None, list[PlacedFault]]:
    """Validate types, values and references; no plant where one of them is wrong."""
    faults = repeated_ids(data)
    try:
        plant = Plant.model_validate(data, strict=True, context=Declared.in_tables(data))
    except ValidationError as error:
        return None, faults_of(error, data) + faults
    plant, contradictions = with_counting(plant)
    return plant, faults + contradictions


def _layouts(data: Mapping[str, Any]) -> tuple[Any, ...]:
    listed = data.get("layouts", ())
    return listed if isinstance(listed, tuple) else ()


def _not_a_layout(key: str) -> Fault:
    return Fault(f"'{key}' does not belong here", "", "only [[layouts]]", "Move it to the plant description")


def _load(path: Path) -> tuple[dict[str, Any], KeyLines]:
    """Read one TOML file into plain values and the lines of its keys."""
    name = path.name
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise PlantError(Fault(f"there is no file {path}", name, "the plant description")) from None
    except OSError as error:
        raise PlantError(Fault(f"{path} cannot be read: {error.strerror}", name, "a TOML file")) from None
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        fault = Fault("a character is not UTF-8", f"{name} line {line}", "text in UTF-8", "Save the file as UTF-8")
        raise PlantError(fault) from None
    try:
        return _plain(tomllib.loads(text), ""), KeyLines(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantError(_syntax(str(error), text, name)) from None
    except RecursionError:
        fault = Fault("brackets are nested too deep", name, "tables and lists a few levels deep")
        raise PlantError(fault) from None


def _syntax(message: str, text: str, name: str) -> Fault:
    """A TOML syntax error in plain words, with the text of its line."""
    place = re.search(r"\(at line (\d+), column \d+\)", message)
    rows = text.splitlines() or [""]
    line = int(place.group(1)) if place else len(rows)
    shown = rows[min(line, len(rows)) - 1].strip()[:80]
    if "overwrite" in message or "twice" in message or "redefine" in message or "mutate" in message:
        what, expected = f"a key or table is there twice: {shown}", "each key once"
        return Fault(what, f"{name} line {line}", expected, "Leave one out, or use [[ ]] for a list of tables")
    what = f"the line cannot be read as TOML: {shown}" if shown else "the file ends too early"
    advice = "Check quotes, brackets, commas and the = sign on this line and the one before"
    return Fault(what, f"{name} line {line}", "key = value, [table] or [[table]]", advice)


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
    if key.endswith("_on") and isinstance(value, date):
        return value.isoformat()
    return value


def _target(value: Any) -> Any:
    """Let `"Good" = "pieces"` stand for `"Good" = { to = "pieces" }`."""
    return {"to": value} if isinstance(value, str) else _plain(value, "")
