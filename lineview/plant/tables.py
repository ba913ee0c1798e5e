"""Looking at the raw tables of a plant description, whatever may be wrong in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lineview.core.errors import Fault
from lineview.plant.positions import Path

Table = Mapping[str, Any]
#: A fault and the key path where it stands; its `where` is filled in once the line is known.
Found = tuple[Path, Fault]


def tables(data: Table, name: str) -> list[tuple[int, Table]]:
    """Give the tables of an array with their index, whatever else stands in it left out.

    Parameters
    ----------
    data : mapping
        The table that holds the array.
    name : str
        The array's key.
    """
    rows = data.get(name, ())
    return [(i, row) for i, row in enumerate(rows) if isinstance(row, Mapping)] if is_list(rows) else []


def ids(data: Table, name: str) -> list[str]:
    """Give the ids of an array of tables.

    Parameters
    ----------
    data : mapping
        The table that holds the array.
    name : str
        The array's key.
    """
    return [row["id"] for _, row in tables(data, name) if isinstance(row.get("id"), str)]


def is_list(value: object) -> bool:
    """Whether this is a TOML array."""
    return isinstance(value, (list, tuple))


def number(row: Table, key: str) -> float | None:
    """Give the number of a key, None where there is none.

    Parameters
    ----------
    row : mapping
        A table.
    key : str
        The key.
    """
    value = row.get(key)
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
