"""What is wrong with the types of a plant description, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from lineview.core.errors import Fault
from lineview.plant import model as plant
from lineview.plant.positions import Path

_MODELS: dict[str, type[plant.Part]] = {
    "shifts": plant.Shift,
    "breaks": plant.Break,
    "lines": plant.Line,
    "machines": plant.Machine,
    "counters": plant.Counter,
    "gauges": plant.Gauge,
    "webs": plant.Web,
    "products": plant.Product,
    "layouts": plant.Layout,
    "columns": plant.ColumnTarget,
}

_MARKS: dict[str, object] = {
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
    "string_pattern_mismatch": "letters, figures, blanks, _ . and -, beginning with a letter or figure",
}


def did_you_mean(word: object, known: list[str]) -> str:
    """Suggest the nearest known word, else list what there is.

    Parameters
    ----------
    word : object
        What was written.
    known : list of str
        What could have been meant.

    Returns
    -------
    str
        A sentence for `Fault.do`.

    Examples
    --------
    >>> did_you_mean("wrapp1", ["wrap1", "sizer1"])
    "Did you mean 'wrap1'?"
    """
    folded = {name.casefold(): name for name in known}
    near = get_close_matches(str(word).casefold(), list(folded), n=1, cutoff=0.6)
    if near:
        return f"Did you mean '{folded[near[0]]}'?"
    return f"Known: {', '.join(known[:12])}" if known else "None is described yet"


def type_faults(error: ValidationError, data: Mapping[str, Any]) -> list[tuple[Path, Fault]]:
    """Give each wrong place once, with what was found, what was expected and a suggestion.

    Parameters
    ----------
    error : pydantic.ValidationError
        From validating `data`.
    data : mapping
        What was validated.

    Returns
    -------
    list of (path, Fault)
        The fault's `where` is still empty: the caller knows the lines.
    """
    places: dict[Path, list[ErrorDetails]] = {}
    for detail in error.errors():
        places.setdefault(_path(detail, data), []).append(detail)
    return [(path, _fault(path, details)) for path, details in places.items()]


def _path(detail: ErrorDetails, data: Any) -> Path:
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


def _fault(path: Path, details: list[ErrorDetails]) -> Fault:
    detail = details[0]
    key, place = path[-1] if path else "file", _place(path[:-1])
    if detail["type"] == "missing":
        if isinstance(key, int):
            return Fault(f"'{path[-2]}' has too few items", expected=f"at least {key + 1}")
        mark = _MARKS.get(str(key))
        advice = f"Add for example: {key} = {mark}" if mark is not None else f"Add the key '{key}'"
        return Fault(f"'{key}' is missing in {place}", expected=f"the key '{key}'", do=advice)
    if detail["type"] == "extra_forbidden":
        known = list(_model(path).model_fields)
        return Fault(
            f"unknown key '{key}' in {place}", expected="a key of this table", do=did_you_mean(key, known)
        )
    expected = " or ".join(dict.fromkeys(_expected(one) for one in details))
    found = detail["input"]
    return Fault(f"{_name(path)} is {_shown(found)}", expected=expected, do=_advice(found, details))


def _expected(detail: ErrorDetails) -> str:
    pattern = _EXPECTED.get(detail["type"], "another value")
    if detail["type"] == "dict_type" or detail["type"] == "model_type":
        return pattern
    return pattern.format(**detail.get("ctx", {}))


def _advice(found: object, details: list[ErrorDetails]) -> str:
    options: list[str] = []
    for detail in details:
        if detail["type"] == "literal_error":
            listed = str(detail["ctx"]["expected"]).replace(" or ", ", ")
            options += [name.strip("'") for name in listed.split(", ")]
    if options and isinstance(found, str):
        return did_you_mean(found, [name for name in options if name])
    if isinstance(found, str) and any("float" in d["type"] or "int" in d["type"] for d in details):
        return "Write the number without quotes and with a point, not a comma"
    return "Correct the value"


def _model(path: Path) -> type[plant.Part]:
    names = [step for step in path[:-1] if isinstance(step, str) and step in _MODELS]
    if "columns" in path[:-1]:
        return plant.ColumnTarget
    return _MODELS[names[-1]] if names else plant.Plant


def _name(path: Path) -> str:
    keys = [step for step in path if isinstance(step, str)]
    return f"'{keys[-1]}'" if keys else "the file"


def _place(path: Path) -> str:
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
