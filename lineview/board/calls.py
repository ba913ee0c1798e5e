"""What a browser may call: each callback with the right it takes, and the form its values must have."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from dash import Dash

#: Characters of one value, by its component; of any other the last.
LENGTHS = {"export": 14_000_000, "bags-file": 14_000_000, "bags-masses": 200_000}
OTHER_LENGTH = 4_000
#: Values of one list, and parts of one value that is a list or a mapping.
MOST_VALUES = 500
#: The types of a value by its property, and by component and property where it differs from that.
TYPES: dict[str, type | tuple[type, ...]] = {
    "pathname": str,
    "search": str,
    "contents": str,
    "filename": str,
    "value": str,
    "n_clicks": int,
    "n_intervals": int,
    "id": dict,
}
OWN_TYPES: dict[tuple[str, str], type | tuple[type, ...]] = {
    ("stops", "value"): list,
    ("screen", "data"): dict,
    ("version", "data"): (str, int),
    ("shown", "data"): str,
    ("under-way", "children"): str,
    ("pattern-mark", "data"): int,
}
#: The types of what a mapping or list that a page sends may hold, by its key; of any other a text.
PARTS: dict[str, type] = {"narrow": bool, "intake": int}


class Calls:
    """The callbacks of a board, each with the right that it takes."""

    def __init__(self, app: Dash) -> None:
        self.app = app
        self.rights: dict[str, str] = {}
        self.outputs: dict[str, str] = {}

    def bind(self, right: str, *places: Any, **options: Any) -> Callable[[Callable[..., Any]], None]:
        """Bind a function to its places for those who have a right of lineview.app.access.RIGHTS."""

        def bound(function: Callable[..., Any]) -> None:
            before = set(self.app.callback_map)
            self.app.callback(*places, **options)(function)
            (name,) = set(self.app.callback_map) - before
            self.rights[name] = right
            self.outputs[function.__name__] = name

        return bound

    def right_for(self, body: Any) -> str | None:
        """The right of RIGHTS that a call's JSON takes; None where the call is none of this board's, or misshapen."""
        if not isinstance(body, dict) or not isinstance(body.get("output"), str):
            return None
        right, callback = self.rights.get(body["output"]), self.app.callback_map.get(body["output"])
        if right is None or callback is None:
            return None
        shaped = all(_fits(body.get(part, []), callback[part]) for part in ("inputs", "state"))
        if not shaped or not _are_inputs(body.get("changedPropIds", []), body.get("inputs", [])):
            return None
        return right if _is_target(body.get("outputs"), body["output"]) else None


def _are_inputs(names: Any, inputs: list[Any]) -> bool:
    """Whether what has changed is among the inputs."""
    if not isinstance(names, list) or len(names) > MOST_VALUES or not all(isinstance(n, str) for n in names):
        return False
    places = [item for place in inputs for item in (place if isinstance(place, list) else [place])]
    inputs_of_call = {f"{_component_id(item['id'])}.{item['property']}" for item in places}
    return set(names) <= inputs_of_call


def _component_id(place: Any) -> str:
    """A component's id as the browser writes it."""
    return (
        place
        if isinstance(place, str)
        else json.dumps(place, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    )


def _is_target(outputs: Any, output: str) -> bool:
    """Whether the outputs are as many as the callback has, each with its name."""
    if not output.startswith(".."):
        return _is_place(outputs)
    several = isinstance(outputs, list) and len(outputs) == output.count("...") + 1
    return several and all(_is_place(item) for item in outputs)


def _is_place(item: Any) -> bool:
    return isinstance(item, dict) and all(
        isinstance(item.get(part), str) and len(item[part]) <= OTHER_LENGTH for part in ("id", "property")
    )


def _fits(values: Any, places: list[dict[str, Any]]) -> bool:
    """Whether the values are those that the callback asks for, in its order."""
    if not isinstance(values, list) or len(values) != len(places):
        return False
    return all(_is_value(value, place) for value, place in zip(values, places, strict=True))


def _is_value(value: Any, place: Mapping[str, Any]) -> bool:
    name = place["id"]
    if name.startswith("{"):  # a pattern: a list of the components that fit it
        if not isinstance(value, list) or len(value) > MOST_VALUES:
            return False
        keys = set(json.loads(name))
        return all(_is_entry(entry, place, OTHER_LENGTH) and _has_keys(entry["id"], keys) for entry in value)
    return _is_entry(value, place, LENGTHS.get(name, OTHER_LENGTH)) and value["id"] == name


def _has_keys(ident: Any, keys: set[str]) -> bool:
    return isinstance(ident, dict) and set(ident) == keys and _are_parts(ident.values(), ident)


def _is_entry(entry: Any, place: Mapping[str, Any], length: int) -> bool:
    prop = place["property"]
    if not isinstance(entry, dict) or entry.get("property") != prop or not isinstance(entry.get("id"), str | dict):
        return False
    value, types = entry.get("value"), OWN_TYPES.get((place["id"], prop), TYPES.get(prop))
    return value is None or (types is not None and isinstance(value, types) and _is_plain(value, length))


def _is_plain(value: Any, length: int) -> bool:
    """Whether a value is a short text, a number, or a small list or mapping of such."""
    if isinstance(value, str):
        return _is_text(value, length)
    if isinstance(value, dict):
        return _are_parts(value.values(), value)
    return _are_parts(value) if isinstance(value, list) else type(value) is int and abs(value) < 1 << 53


def _are_parts(values: Collection[Any], keys: Iterable[Any] = ()) -> bool:
    """Whether the parts of a list or mapping are few, short, and of the types that they must have."""
    if len(values) > MOST_VALUES:
        return False
    names = list(keys) or [""] * len(values)
    return all(
        isinstance(value, PARTS.get(name, str)) and _is_part(name) and _is_part(value)
        for name, value in zip(names, values, strict=True)
    )


def _is_part(value: Any) -> bool:
    return _is_text(value, OTHER_LENGTH) if isinstance(value, str) else abs(value) < 1 << 53


def _is_text(value: str, length: int) -> bool:
    if len(value) > length or "\0" in value:
        return False
    try:
        value.encode()
    except UnicodeEncodeError:  # half of a sign, which no page sends
        return False
    return True
