"""What a browser may call: each callback with the right it takes, and the form its values must have."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dash import Dash

#: Characters of one value, by its component; of any other the last.
LENGTHS = {"export": 14_000_000, "bags-file": 14_000_000, "bags-masses": 200_000}
OTHER_LENGTH = 4_000
#: Values of one list, and parts of one value that is a list or a mapping.
MOST_VALUES = 500
#: The types of a value by its property; properties that are not here may have any plain value.
TYPES: dict[str, type] = {
    "pathname": str,
    "search": str,
    "contents": str,
    "filename": str,
    "n_clicks": int,
    "n_intervals": int,
}


class Calls:
    """The callbacks of a board, each with the right that it takes.

    Parameters
    ----------
    app : dash.Dash
        Of the board.
    """

    def __init__(self, app: Dash) -> None:
        self.app = app
        self.rights: dict[str, str] = {}

    def bind(self, right: str, *places: Any, **options: Any) -> Callable[[Callable[..., Any]], None]:
        """Bind a function to its places for those who have a right.

        Parameters
        ----------
        right : str
            Of lineview.app.access.RIGHTS.
        places : Output, Input or State
            As Dash takes them.
        options
            As Dash takes them.

        Returns
        -------
        callable
            Binds the function that it is given.
        """

        def bound(function: Callable[..., Any]) -> None:
            before = set(self.app.callback_map)
            self.app.callback(*places, **options)(function)
            (name,) = set(self.app.callback_map) - before
            self.rights[name] = right

        return bound

    def right_for(self, body: Any) -> str | None:
        """The right that a call takes; None where the call is none of this board's, or misshapen.

        Parameters
        ----------
        body : object
            The JSON of the call.

        Returns
        -------
        str or None
            Of RIGHTS.
        """
        if not isinstance(body, dict) or not isinstance(body.get("output"), str):
            return None
        right, known = self.rights.get(body["output"]), self.app.callback_map.get(body["output"])
        if right is None or known is None or not _changed(body.get("changedPropIds", [])):
            return None
        shaped = all(_fits(body.get(part, []), known[part]) for part in ("inputs", "state"))
        return right if shaped and _is_target(body.get("outputs"), body["output"]) else None


def _changed(names: Any) -> bool:
    return isinstance(names, list) and len(names) <= MOST_VALUES and all(isinstance(n, str) for n in names)


def _is_target(given: Any, output: str) -> bool:
    """Whether the outputs are as many as the callback has, each with its name."""
    if not output.startswith(".."):
        return _is_place(given)
    several = isinstance(given, list) and len(given) == output.count("...") + 1
    return several and all(_is_place(one) for one in given)


def _is_place(given: Any) -> bool:
    return isinstance(given, dict) and all(
        isinstance(given.get(part), str) and len(given[part]) <= OTHER_LENGTH for part in ("id", "property")
    )


def _fits(given: Any, wanted: list[dict[str, Any]]) -> bool:
    """Whether the values are those that the callback asks for, in its order."""
    if not isinstance(given, list) or len(given) != len(wanted):
        return False
    return all(_is_value(one, place) for one, place in zip(given, wanted, strict=True))


def _is_value(given: Any, place: Mapping[str, Any]) -> bool:
    name = place["id"]
    if name.startswith("{"):  # a pattern: a list of the components that fit it
        if not isinstance(given, list) or len(given) > MOST_VALUES:
            return False
        return all(_is_entry(one, place["property"], dict, OTHER_LENGTH) for one in given)
    length = LENGTHS.get(name, OTHER_LENGTH)
    return _is_entry(given, place["property"], str, length) and given["id"] == name


def _is_entry(given: Any, prop: str, id_type: type, length: int) -> bool:
    if not isinstance(given, dict) or given.get("property") != prop or not isinstance(given.get("id"), id_type):
        return False
    value = given.get("value")
    if not _is_plain(given["id"], OTHER_LENGTH, 2) or not _is_plain(value, length, 3):
        return False
    return value is None or isinstance(value, TYPES.get(prop, object))


def _is_plain(value: Any, length: int, depth: int) -> bool:
    """Whether a value is short text, a number, or a small list or mapping of such."""
    if isinstance(value, str):
        return len(value) <= length and "\0" not in value
    if isinstance(value, list | dict):
        parts = value if isinstance(value, list) else [*value.keys(), *value.values()]
        return depth > 0 and len(value) <= MOST_VALUES and all(_is_plain(p, length, depth - 1) for p in parts)
    return value is None or isinstance(value, bool | float) or (isinstance(value, int) and abs(value) < 1 << 63)
