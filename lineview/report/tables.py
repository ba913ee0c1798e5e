"""Tables and figures as text: the one form that board, PDF, CSV and command line write."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeGuard

from lineview.core.figure import Figure
from lineview.core.language import in_digits, mark, tr, tr_in
from lineview.core.units import US, in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import OF_ROW, Table, columns_of


@dataclass(frozen=True)
class TableText:
    """A table as text: headings, cells by row, and which columns hold numbers (and stand at the right)."""

    headings: list[str]
    rows: list[list[str]]
    numbers: list[bool]


def table_text(table: Table, plant: Plant) -> TableText:
    """A table in the plant's units, as people read it.

    Parameters
    ----------
    table : Table
        Of an answer.
    plant : Plant
        Units and zone.

    Returns
    -------
    TableText
        With as many decimals in each column as its numbers justify.
    """
    places = table_places(table, plant)
    contents = [[row.get(key) for row in table.rows] for key, _, _ in table.columns]
    mixed = row_decimals(table, plant)
    cells = [
        [
            _with_unit(c, row["unit"], plant, mixed[at])
            if unit == OF_ROW
            else cell(c, unit, plant, places[key] if c else None)
            for at, (row, c) in enumerate(zip(table.rows, column, strict=True))
        ]
        for (key, _, unit), column in zip(table.columns, contents, strict=True)
    ]
    _with_seconds(table, cells, plant)
    headings = [heading(words, unit, plant) for _, words, unit in table.columns]
    rows = [list(row) for row in zip(*cells, strict=True)]
    return TableText(headings, rows, [_are_numbers(column) for column in contents])


def _with_unit(content: Any, unit: str, plant: Plant, decimals: int | None) -> str:
    text = cell(content, unit, plant, decimals)
    return text if content is None else f"{text} {show.unit_words(unit, plant.units)}".rstrip()


def row_decimals(table: Table, plant: Plant) -> list[int | None]:
    """The places of each row's numbers where its columns leave the unit to the row; 245.6 beside 31.06 keeps one.

    Parameters
    ----------
    table : Table
        Of an answer.
    plant : Plant
        Its units.
    """
    keys = [key for key, _, unit in table.columns if unit == OF_ROW]
    if not keys:
        return [None] * len(table.rows)
    return [_of_row([row.get(key) for key in keys], row["unit"], plant) for row in table.rows]


def _of_row(contents: Sequence[Any], unit: str, plant: Plant) -> int | None:
    parts = [c for c in contents if _counts(c) and not float(c).is_integer()]
    places = column_decimals(contents, unit, plant)
    return 1 if places == 0 and parts and max(map(abs, parts)) < 1000 else places


def _with_seconds(table: Table, cells: list[list[str]], plant: Plant) -> None:
    """Write "from" and "to" with seconds where minutes would print one moment twice in a row."""
    keys = [key for key, _, _ in table.columns]
    if not {"start", "end"} <= set(keys):
        return
    ends = [(row.get("start"), row.get("end")) for row in table.rows]
    stretches = [(a, b) for a, b in ends if isinstance(a, datetime) and isinstance(b, datetime)]
    if not any(show.within_a_minute(a, b) for a, b in stretches):
        return
    for key in ("start", "end"):
        moments = [row.get(key) for row in table.rows]
        cells[keys.index(key)] = [
            show.moment(at, plant, seconds=True) if isinstance(at, datetime) else cell(at, "", plant) for at in moments
        ]


def _are_numbers(contents: Sequence[Any]) -> bool:
    values = [c for c in contents if c is not None]
    return bool(values) and all(isinstance(c, int | float) and not isinstance(c, bool) for c in values)


#: Headings of figures as text.
FIGURE_HEADINGS = (mark("figure"), mark("value"), mark("interval"), mark("what the interval is"), "n")


def figure_text(figure: Figure, plant: Plant) -> tuple[str, str, str, str, str]:
    """A figure as text, by FIGURE_HEADINGS.

    Parameters
    ----------
    figure : Figure
        Of an answer; one without a value shows its reason.
    plant : Plant
        Units and zone.
    """
    kind = "" if figure.why_none else figure.interval_kind
    return figure.label, show.value(figure, plant), show.interval(figure, plant), kind, in_digits(f"{figure.n:,}")


#: No column is written finer than its largest number has figures worth reading.
MOST_FIGURES = 5


def cell(content: Any, unit: str, plant: Plant, decimals: int | None = None) -> str:
    """Write a table's cell.

    Parameters
    ----------
    content : str, number, datetime, date, bool or None
        None is what is not known.
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
        return show.NOTHING
    if isinstance(content, bool):
        return tr_in("of a fact", "yes") if content else tr_in("of a fact", "no")
    if isinstance(content, datetime):
        return show.moment(content, plant)
    if isinstance(content, date):
        return show.a_day(content, plant)
    if isinstance(content, int | float):
        return show.number(in_units(content, unit, plant.units)[0], decimals)
    return tr(str(content))


def column_decimals(contents: Sequence[Any], unit: str, plant: Plant) -> int | None:
    """The places one column of a table uses, so that its points stand below each other."""
    numbers = [in_units(c, unit, plant.units)[0] for c in contents if _counts(c)]
    if not numbers:
        return None
    if all(float(v).is_integer() for v in numbers):
        return 0
    if unit in ("min", "reels"):
        return 1  # as everywhere: minutes, and reels begun, have one decimal
    needed = max(_places_needed(v) for v in numbers)
    largest, least = max(abs(v) for v in numbers), min((abs(v) for v in numbers if v), default=1.0)
    of_largest = show.decimals_of(largest + 1e-9)  # three figures of the largest; the least keeps one
    return min(needed, max(of_largest, min(show.decimals_of(least + 1e-12) - 2, of_largest + 3)))


def table_places(table: Table, plant: Plant) -> dict[str, int | None]:
    """The places of each column of a table, as `table_decimals` gives them, and two where it asks for them.

    Parameters
    ----------
    table : Table
        Of an answer.
    plant : Plant
        Its units.

    Returns
    -------
    dict of str to int or None
        By key; None for a column without numbers.
    """
    places = table_decimals(table.columns, table.rows, plant)
    asked = {key: [row.get(key) for row in table.rows] for key in table.to_hundredths}
    uneven = [key for key, cells in asked.items() if any(_counts(c) and not float(c).is_integer() for c in cells)]
    return places | dict.fromkeys(uneven, 2)


def table_decimals(
    columns: Sequence[tuple[str, str, str]], rows: Sequence[Mapping[str, Any]], plant: Plant
) -> dict[str, int | None]:
    """The places of each column; those of one measure agree, so that their differences can be checked.

    Of one measure as many as the finest column needs for two figures, where that makes no more than five of
    the largest number.

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
        needed = {key: max(0, show.decimals_of(most + 1e-9) - 1) for key, most in largest.items()}
        finest = max(needed.values(), default=0)
        agreed = min((places[key] or 0 for key in largest), default=0)
        for key, most in largest.items():
            places[key] = max(agreed, needed[key], min(finest, MOST_FIGURES - len(str(int(most)))))
    return places


def _counts(content: Any) -> TypeGuard[float]:
    return isinstance(content, int | float) and not isinstance(content, bool) and math.isfinite(content)


def _places_needed(value: float) -> int:
    """The places that three figures of a number take, without zeros at their end."""
    text = f"{value:.{show.decimals_of(value)}f}".rstrip("0")
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
    unit_text = "" if unit == OF_ROW else show.unit_words(unit, plant.units)
    starts = len(unit_text) > 2 and any(word.startswith(unit_text) for word in words.casefold().split())
    has_unit = unit_text in words.split() or starts
    return words if has_unit or not unit_text else f"{words}, {unit_text}"


#: Words of frames' names and of their columns, looked up where they are shown.
_FRAME_WORDS = {
    word
    for word, _, _ in columns_of(
        "adjustments; batches; causes; components; deliveries; fan; forecast; losses; pattern stops; pieces; quick; "
        "rate; residuals; state timeline; differences; trial shifts; trial looks; assumed; at; batch; cause; code; "
        "coded; cost; deviation; diameter; end; kind; label; lower; m per thousand; machine; mass; mean; minutes; "
        "pattern; pieces high; pieces low; product; products; rate per min; reason; recorded; reels; running; sd; "
        "shift; shifts; signal; stands; start; state; steps; taper; target; temperature; upper; value; verdict; wear; "
        "web; week; words; low; mid; high; low50; low90; high50; high90; limit; since; beside; change; difference; on "
        "order; advised; order by; id; file; taken at; layouts; rows; kept; duplicate; refused; uncertain; conflicts; "
        "undone; row; line; column; text; what; expected; sheet; cusum; ewma; course; channel; quality; sample; "
        "duration; reel; splices; length; left; whole reels; part reel outer; on order reels; expected on; mass in"
    )
}


#: Frames whose name in JSON and addresses, which stays as it was, is not a word for a reader.
_SHOWN_AS = {"timeline": "state timeline"}


def frame_words(name: str) -> str:
    """The name of a frame or of a column of one, as words.

    Parameters
    ----------
    name : str
        As the frame has it.

    Examples
    --------
    >>> frame_words("taken_at")
    'taken at'
    """
    words = _SHOWN_AS.get(name) or name.replace("_", " ")
    return tr(words) if words in _FRAME_WORDS else words
