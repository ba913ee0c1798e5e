"""What is wrong with a plant description, in plain words: errors of pydantic as faults."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from lineview.core.errors import Fault
from lineview.plant import model
from lineview.plant.checks import FAULT, PlacedFault, did_you_mean
from lineview.plant.positions import KeyPath

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

_EXAMPLES: dict[str, object] = {
    "shop": '"Our works"',
    "id": '"wrap1"',
    "kind": "see the values expected",
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
    "greater_than": "a number above {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "finite_number": "a finite number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "time_type": 'a time of day such as 06:00:00 or "06:00"',
    "time_parsing": 'a time of day such as 06:00:00 or "06:00"',
    "tuple_type": "a list in [ ]",
    "dict_type": "a table of keys and values",
    "model_type": "a table of keys and values",
    "literal_error": "{expected}",
    "too_long": "at most {max_length} items",
    "string_too_long": "at most {max_length} characters",
    "string_pattern_mismatch": "letters, digits, blanks, _ . and -, beginning with a letter or digit",
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
            return Fault(f"'{path[-2]}' has too few items", expected=f"at least {key + 1}")
        example = _EXAMPLES.get(str(key))
        advice = f"Add for example: {key} = {example}" if example is not None else f"Add the key '{key}'"
        return Fault(f"'{key}' is missing in {place}", expected=f"the key '{key}'", do=advice)
    if detail["type"] == "extra_forbidden":
        known = list(_model(path).model_fields)
        return Fault(f"unknown key '{key}' in {place}", expected="a key of this table", do=did_you_mean(key, known))
    expected = " or ".join(dict.fromkeys(_expected(detail) for detail in details))
    value = detail["input"]
    return Fault(f"{_name(path)} is {_shown(value)}", expected=expected, do=_advice(value, details))


def _expected(detail: ErrorDetails) -> str:
    pattern = _EXPECTED.get(detail["type"], "another value")
    if detail["type"] == "dict_type" or detail["type"] == "model_type":
        return pattern
    return pattern.format(**detail.get("ctx", {}))


def _advice(value: object, details: list[ErrorDetails]) -> str:
    options: list[str] = []
    for detail in details:
        if detail["type"] == "literal_error":
            listed = str(detail["ctx"]["expected"]).replace(" or ", ", ")
            options += [name.strip("'") for name in listed.split(", ")]
    if options and isinstance(value, str):
        return did_you_mean(value, [name for name in options if name])
    if isinstance(value, str) and any("float" in d["type"] or "int" in d["type"] for d in details):
        return "Write the number without quotes and with a point, not a comma"
    return "Correct the value"


def _model(path: KeyPath) -> type[model.Part]:
    names = [step for step in path[:-1] if isinstance(step, str) and step in _MODELS]
    if "columns" in path[:-1]:
        return model.ColumnTarget
    return _MODELS[names[-1]] if names else model.Plant


def _name(path: KeyPath) -> str:
    keys = [step for step in path if isinstance(step, str)]
    return f"'{keys[-1]}'" if keys else "the file"


def _place(path: KeyPath) -> str:
    keys = [step for step in path if isinstance(step, str)]
    return f"[[{'.'.join(keys)}]]" if keys else "the file"


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f"'{value[:60]}'"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "a table"
    return "a list" if isinstance(value, (list, tuple)) else str(value)
