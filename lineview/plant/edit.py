"""Changes to the text of plant.toml that leave its comments and order as they are."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Comment, Item, Table, Whitespace

from lineview.core.errors import AskError, Fault
from lineview.core.language import ENGLISH, tr

#: Names the file's own keys, which stand in no table: shop, language, zone.
WORKS = "works"


@dataclass(frozen=True)
class Edit:
    """A change of one part, as TOML values by key.

    Parameters
    ----------
    table : str
        Such as "webs".
    id : str
        Of the part.
    before, after : mapping of str to str, or None
        The keys that change, "" where one is not there; None where the whole part is not there.
    """

    table: str
    id: str
    before: Mapping[str, str] | None
    after: Mapping[str, str] | None

    @property
    def undone(self) -> Edit:
        """The change that takes this one back."""
        return Edit(self.table, self.id, self.after, self.before)


def edit_for(text: str, table: str, part: str, values: Mapping[str, str]) -> Edit:
    """The change that gives a part these values, or adds it.

    Parameters
    ----------
    text : str
        Of plant.toml.
    table, part : str
        Where.
    values : mapping of str to str
        TOML values by key, "" for none.

    Returns
    -------
    Edit
        With the keys alone that differ.
    """
    row = _part(tomlkit.parse(text), table, part)
    if row is None:
        return Edit(table, part, None, {key: value for key, value in values.items() if value})
    before = {key: _value_text(row, key) for key in values}
    changed = [key for key in values if not _same(before[key], values[key])]
    return Edit(table, part, {k: before[k] for k in changed}, {k: values[k] for k in changed})


def with_language(text: str, code: str) -> str:
    """The text of a plant.toml with this language.

    Parameters
    ----------
    text : str
        Of plant.toml.
    code : str
        Such as "de"; English needs no key.
    """
    edit = edit_for(text, WORKS, "", {"language": "" if code == ENGLISH else json.dumps(code)})
    return apply_edit(text, edit) if edit.before != edit.after else text


def removal_of(text: str, table: str, part: str) -> Edit:
    """The change that removes a part.

    Parameters
    ----------
    text : str
        Of plant.toml.
    table, part : str
        Which.

    Returns
    -------
    Edit
        With all of its keys before.

    Raises
    ------
    AskError
        Where there is no such part.
    """
    row = _part(tomlkit.parse(text), table, part)
    if row is None:
        raise AskError(Fault(tr("there is no '{part}' in {table}", part=part, table=table), "plant.toml"))
    return Edit(table, part, {str(key): _value_text(row, str(key)) for key in row}, None)


def apply_edit(text: str, edit: Edit) -> str:
    """The text with a change made.

    Parameters
    ----------
    text : str
        Of plant.toml.
    edit : Edit
        From `edit_for`, `removal_of`, or the one that takes an earlier one back.

    Returns
    -------
    str
        With comments and order as they were.

    Raises
    ------
    AskError
        Where the text no longer says what the change found before.
    """
    document = tomlkit.parse(text)
    row = _part(document, edit.table, edit.id)
    stale = (edit.before is None) != (row is None)
    if row is not None and edit.before is not None and edit.after is not None:
        stale = any(not _same(_value_text(row, key), value) for key, value in edit.before.items())
    if stale:
        what = tr("'{id}' in {table} was changed since", id=edit.id, table=edit.table)
        raise AskError(Fault(what, "plant.toml", do=tr("Look at the page again, or edit the file by hand.")))
    if edit.after is None:
        return _without(text, edit.table, document[edit.table], edit.id)
    if row is None:
        _add(document, edit.table, edit.after)
    else:
        for key, value in edit.after.items():
            if value:
                _set(row, key, value)
            else:
                row.pop(key, None)
    return tomlkit.dumps(document)


def _set(part: Any, key: str, value: str) -> None:
    """Set a value and keep the comment behind it."""
    fresh = tomlkit.value(value)
    old = part.get(key)
    if isinstance(old, Item):
        fresh.trivia.indent, fresh.trivia.comment_ws = old.trivia.indent, old.trivia.comment_ws
        fresh.trivia.comment, fresh.trivia.trail = old.trivia.comment, old.trivia.trail
    if old is None and isinstance(part, TOMLDocument) and "shop" in part:  # else behind the heading of the first table
        part._insert_after("shop", key, fresh)  # there is no public way to place a key
    else:
        part[key] = fresh


def _add(document: Any, table: str, values: Mapping[str, str]) -> None:
    fresh = tomlkit.table()
    for key, value in values.items():
        fresh.add(key, tomlkit.value(value))
    rows = document.get(table)
    if rows is None:
        rows = tomlkit.aot()
        rows.append(fresh)
        if not tomlkit.dumps(document).endswith("\n"):
            document.add(tomlkit.nl())
        document.add(tomlkit.nl())
        document.add(table, rows)
        return
    behind = _tail(rows.body[-1]) if isinstance(rows, AoT) else []
    if isinstance(rows, AoT):
        rows.body[-1].add(tomlkit.nl())
    for item in behind or [tomlkit.nl()]:
        fresh.add(item)
    rows.append(fresh)


def _without(text: str, table: str, rows: Any, part: str) -> str:
    """The text without a part; comments at its end stay, since they head what follows."""
    if not isinstance(rows, AoT):
        raise AskError(
            Fault(
                tr("'{part}' stands in a list on one line", part=part),
                "plant.toml",
                do=tr("Remove it in the file by hand."),
            )
        )
    row = rows.body[_ids(rows).index(part)]
    row_text = row.as_string()
    tail = "".join(item.as_string() for item in _tail(row))
    place = text.index(row_text)
    start = text.rindex("[[", 0, place)
    after = text[place + len(row_text) - len(tail) :]
    remaining = text[:start] + after.removeprefix("\n")
    expected = tomlkit.parse(text).unwrap()
    expected[table] = [row for row in expected[table] if row.get("id") != part]
    if tomlkit.parse(remaining).unwrap() != {name: rows for name, rows in expected.items() if name != table or rows}:
        raise AskError(
            Fault(
                tr("'{part}' cannot be cut out of {table}", part=part, table=table),
                "plant.toml",
                do=tr("Remove it in the file by hand."),
            )
        )
    return remaining


def _tail(part: Table) -> list[Any]:
    """Take blank lines and comments off the end of a part: they head what follows."""
    body = part.value.body
    tail: list[Any] = []
    while body and body[-1][0] is None and isinstance(body[-1][1], (Comment, Whitespace)):
        tail.insert(0, body.pop()[1])
    return tail


def _part(document: Any, table: str, part: str) -> Any | None:
    if table == WORKS:
        return document
    rows = document.get(table)
    names = _ids(rows) if rows is not None else []
    return rows[names.index(part)] if rows is not None and part in names else None


def _ids(rows: Any) -> list[str]:
    return [str(row.get("id", "")) for row in rows]


def _value_text(part: Any, key: str) -> str:
    """A value as TOML, "" where it is not there."""
    if key not in part:
        return ""
    item = part.item(key) if hasattr(part, "item") else part[key]
    if isinstance(item, (AoT, Table)):
        raise AskError(
            Fault(tr("'{key}' is a table of its own", key=key), "plant.toml", do=tr("Edit it in the file by hand."))
        )
    return str(item.as_string()).strip()


def _same(first: str, second: str) -> bool:
    """Whether two TOML values are the same, however they are written."""
    if not first or not second:
        return first == second
    try:
        return bool(tomlkit.value(first).unwrap() == tomlkit.value(second).unwrap())
    except TOMLKitError:
        return first == second
