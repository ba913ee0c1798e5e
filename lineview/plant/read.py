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
from lineview.plant.checks import cross_faults
from lineview.plant.messages import type_faults
from lineview.plant.model import Plant
from lineview.plant.positions import Lines
from lineview.plant.tables import Found
from lineview.plant.write import layout_toml

__all__ = ["layout_toml", "read_plant"]

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?")
_CLOCK_KEYS = {"start", "end"}


def read_plant(path: Path, extra: Path | None = None) -> Plant:
    """Read the plant description, and the layouts that were accepted later.

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
        With every fault, each with its file and line, what was found, what was expected and a suggestion.
    """
    data, lines = _load(path)
    more, more_lines = _load(extra) if extra is not None and extra.exists() else ({}, Lines(""))
    own, added = _layouts(data), _layouts(more)
    if added:
        data["layouts"] = (*own, *added)
    plant, found = _checked(data)
    faults = []
    for place, fault in found:
        late = place[:1] == ("layouts",) and isinstance(place[1], int) and place[1] >= len(own)
        where = ("layouts", int(place[1]) - len(own), *place[2:]) if late else place
        faults.append((late, (more_lines if late else lines).of(where), fault))
    strays = [key for key in more if key != "layouts" or not isinstance(more[key], tuple)]
    faults += [(True, more_lines.of((key,)), _not_a_layout(key)) for key in strays]
    if plant is None or faults:
        faults.sort(key=lambda one: one[:2])
        names = {False: path.name, True: extra.name if extra else ""}
        raise PlantError(replace(fault, where=f"{names[late]} line {line}") for late, line, fault in faults)
    return plant


def _checked(data: dict[str, Any]) -> tuple[Plant | None, list[Found]]:
    """Validate types and the ids between tables; no plant where a type is wrong."""
    found = cross_faults(data)
    try:
        return Plant.model_validate(data, strict=True), found
    except ValidationError as error:
        return None, type_faults(error, data) + found


def _layouts(data: Mapping[str, Any]) -> tuple[Any, ...]:
    listed = data.get("layouts", ())
    return listed if isinstance(listed, tuple) else ()


def _not_a_layout(key: str) -> Fault:
    return Fault(f"'{key}' does not belong here", "", "only [[layouts]]", "Move it to the plant description")


def _load(path: Path) -> tuple[dict[str, Any], Lines]:
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
        fault = Fault(
            "a character is not UTF-8", f"{name} line {line}", "text in UTF-8", "Save the file as UTF-8"
        )
        raise PlantError(fault) from None
    try:
        return _plain(tomllib.loads(text), ""), Lines(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantError(_syntax(str(error), text, name)) from None
    except RecursionError:
        fault = Fault("brackets stand too deep in each other", name, "tables and lists a few levels deep")
        raise PlantError(fault) from None


def _syntax(message: str, text: str, name: str) -> Fault:
    """Say a TOML syntax error in plain words, with the line as it stands."""
    place = re.search(r"\(at line (\d+), column \d+\)", message)
    rows = text.splitlines() or [""]
    line = int(place.group(1)) if place else len(rows)
    shown = rows[min(line, len(rows)) - 1].strip()[:80]
    if "overwrite" in message or "twice" in message or "redefine" in message or "mutate" in message:
        what, expected = f"a key or table stands twice: {shown}", "each key once"
        return Fault(
            what, f"{name} line {line}", expected, "Leave one out, or use [[ ]] for a list of tables"
        )
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
