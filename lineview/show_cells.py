"""Cells of tables as a person reads them: one column of numbers, one count of places."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, TypeGuard

from lineview.core.units import US, in_units
from lineview.plant import Plant
from lineview.show import NOTHING, a_day, decimals_of, moment, number, unit_words

#: No column is told finer than its largest number has figures worth reading.
MOST_FIGURES = 5


def cell(content: Any, unit: str, plant: Plant, decimals: int | None = None) -> str:
    """Write a table's cell.

    Parameters
    ----------
    content : str, number, datetime, date, bool or None
        None is what cannot be told.
    unit : str
        The column's unit as kept inside; the cell itself is written without it.
    plant : Plant
        Units and zone.
    decimals : int, optional
        Places that the whole column uses.

    Returns
    -------
    str
        The text of the cell.

    Examples
    --------
    >>> cell(None, "mm", Plant(shop="Invented Sweets"))
    '–'
    """
    if content is None:
        return NOTHING
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, datetime):
        return moment(content, plant)
    if isinstance(content, date):
        return a_day(content, plant)
    if isinstance(content, int | float):
        return number(in_units(content, unit, plant.units)[0], decimals)
    return str(content)


def column_decimals(contents: Sequence[Any], unit: str, plant: Plant) -> int | None:
    """Give the places one column of a table uses, so that its points stand below each other.

    Parameters
    ----------
    contents : sequence
        The column's cells.
    unit : str
        Its unit as kept inside.
    plant : Plant
        Its units.

    Returns
    -------
    int or None
        None where no cell is a number; 0 where all are whole.

    Examples
    --------
    >>> column_decimals([0.5, -0.011, None], "", Plant(shop="Invented Sweets"))
    3
    """
    numbers = [in_units(c, unit, plant.units)[0] for c in contents if _counts(c)]
    if not numbers:
        return None
    if all(float(v).is_integer() for v in numbers):
        return 0
    needed = max(_needed(v) for v in numbers)
    return min(needed, decimals_of(max(abs(v) for v in numbers) + 1e-9) + 3)


def table_decimals(
    columns: Sequence[tuple[str, str, str]], rows: Sequence[Mapping[str, Any]], plant: Plant
) -> dict[str, int | None]:
    """Give the places of each column; those of one measure agree, so that their differences can be checked.

    Parameters
    ----------
    columns : sequence of (key, heading, unit)
        A table's.
    rows : sequence of mapping
        Its rows by those keys.
    plant : Plant
        Its units.

    Returns
    -------
    dict
        By key, as column_decimals gives it; of one measure, as many as the finest column needs for two
        figures, where that makes no more than five of the largest number.

    Examples
    --------
    >>> columns = [("before", "before", "mm"), ("by", "changed by", "mm")]
    >>> table_decimals(columns, [{"before": 0.0912, "by": -0.13}], Plant(shop="Invented Sweets"))
    {'before': 3, 'by': 3}
    >>> columns = [("mean", "mean", "g"), ("target", "target", "g"), ("off", "off target", "g")]
    >>> rows = [{"mean": 6.7382, "target": 6.7, "off": 0.0382}]
    >>> table_decimals(columns, rows, Plant(shop="Invented Sweets"))
    {'mean': 3, 'target': 3, 'off': 3}
    """
    contents = {key: [row.get(key) for row in rows] for key, _, _ in columns}
    places = {key: column_decimals(contents[key], unit, plant) for key, _, unit in columns}
    for unit in US:
        largest = {
            key: max(abs(in_units(c, unit, plant.units)[0]) for c in contents[key] if _counts(c))
            for key, _, of in columns
            if of == unit and places[key]
        }
        own = {key: max(0, decimals_of(most + 1e-9) - 1) for key, most in largest.items()}
        finest = max(own.values(), default=0)
        agreed = min((places[key] or 0 for key in largest), default=0)
        for key, most in largest.items():
            places[key] = max(agreed, own[key], min(finest, MOST_FIGURES - len(str(int(most)))))
    return places


def _counts(content: Any) -> TypeGuard[float]:
    return isinstance(content, int | float) and not isinstance(content, bool) and math.isfinite(content)


def _needed(value: float) -> int:
    """Give the places that three figures of a number take, without zeros at their end."""
    text = f"{value:.{decimals_of(value)}f}".rstrip("0")
    return len(text.partition(".")[2])


def heading(words: str, unit: str, plant: Plant) -> str:
    """Write a column's heading with its unit, unless its words name the unit already.

    Parameters
    ----------
    words : str
        What the column holds.
    unit : str
        As kept inside; "" for none.
    plant : Plant
        Its units.

    Returns
    -------
    str
        For instance "diameter, mm".

    Examples
    --------
    >>> plant = Plant(shop="Invented Sweets")
    >>> heading("diameter", "mm", plant), heading("minutes", "min", plant)
    ('diameter, mm', 'minutes')
    """
    shown = unit_words(unit, plant.units)
    said = shown in words.split() or (len(shown) > 2 and words.startswith(shown))
    return words if said or not shown else f"{words}, {shown}"
