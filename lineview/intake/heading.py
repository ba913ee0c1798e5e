"""The header row of a table: where it is, what it says, and the units row under it."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from lineview.core.units import unit_named
from lineview.intake.records import Records

#: How many rows from the top a header is looked for.
LOOK = 100
_NUMBER = re.compile(r"[+\-−]?\d[\d.,'’\s]*(?:[eE][+-]?\d+)?")
_TIME = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}.*|\d{1,2}:\d{2}.*|\d{4}-?W\d{2}.*|\d{1,2}[- ][A-Za-z]{3}[- ].*"
)
_PLACE = re.compile(r"column[1-9]\d*")
_CLOSING = ("]", ")", "}")
_BRACKETS = re.compile(r"^(.*?)\s*[\[({]([^\[\](){}]*)[\])}]\s*$")


@dataclass(frozen=True)
class Heading:
    """What the header row says.

    Parameters
    ----------
    place : int
        Its position among the records, -1 where there is none: columns are then called by their place.
    names : tuple of str
        Headers as written, "" for a column without one; a repeated one is told apart as "X (2)".
    units : mapping of int to str
        Units of columns by the units row, as written.
    first : int
        Position of the first record after header and units row.
    passed : tuple of str
        Texts of preamble, header and units row: rows that repeat them are no data.
    """

    place: int
    names: tuple[str, ...]
    units: dict[int, str] = field(default_factory=dict)
    first: int = 0
    passed: tuple[str, ...] = ()

    @property
    def above(self) -> int:
        """Number of records above header and data."""
        return self.place if self.place >= 0 else self.first

    @property
    def width(self) -> int:
        """Number of columns up to the last that has a header."""
        return max((i + 1 for i, name in enumerate(self.names) if name), default=0)

    def find(self, header: str) -> int | None:
        """Give the column of a header, case, blanks and a bracketed unit aside, or None."""
        key = same(header)
        exact = [i for i, name in enumerate(self.names) if same(name) == key]
        if exact:
            return exact[0]
        bare = [i for i, name in enumerate(self.names) if name and same(without_unit(name)) == key]
        return bare[0] if len(bare) == 1 else None


def same(text: str) -> str:
    r"""Give the form in which headers and names are compared.

    Examples
    --------
    >>> same(" Stu\u0308ck  Gesamt ") == same("stück gesamt")
    True
    """
    if text.isascii():
        return "".join(text.casefold().split())
    return "".join(unicodedata.normalize("NFC", text).casefold().replace("\ufeff", "").split())


def without_unit(header: str) -> str:
    """Give a header without the bracket that ends it."""
    match = _BRACKETS.match(header) if header.rstrip().endswith(_CLOSING) else None
    return match[1] if match and match[1] else header


def unit_of(header: str) -> str:
    """Give the unit in the bracket that ends a header, "" where there is none that is known."""
    match = _BRACKETS.match(header)
    return unit_named(match[2]) if match else ""


def is_valueless(cell: str) -> bool:
    """Tell whether a cell holds words: neither number nor time."""
    bare = cell.strip()
    return not (_NUMBER.fullmatch(bare) or _TIME.fullmatch(bare))


def heading_at(records: Records, place: int) -> Heading:
    """Read the header row at a position, and the units row under it if there is one.

    Parameters
    ----------
    records : Records
        The table.
    place : int
        Position of the header row among the records.
    """
    cells = records.top(place + 20)
    texts = records.frame["text"].head(place + 20).to_list()
    names = _told_apart(cells[place])
    first, units = place + 1, {}
    below = next((i for i in range(place + 1, len(cells)) if any(cells[i])), None)
    if below is not None and _is_units_row(cells[below]):
        first = below + 1
        units = {i: cell for i, cell in enumerate(cells[below]) if cell}
    passed = tuple(text for text in texts[:first] if text.strip())
    return Heading(place, names, units, first, passed)


@dataclass(frozen=True)
class HeaderRow:
    """One record as a header row: its place, and the keys by which its columns are looked up.

    `written` are the headers as they stand, `bare` those that a bracketed unit leaves and only one has.
    """

    place: int
    written: frozenset[str]
    bare: frozenset[str]

    def lacks(self, keys: Sequence[str]) -> list[int]:
        """Give the positions of the wanted keys that no column of the row has."""
        return [i for i, key in enumerate(keys) if key not in self.written and key not in self.bare]


def header_rows(records: Records) -> list[HeaderRow]:
    """Give the first records that could be a header row, each looked at once for every layout.

    Parameters
    ----------
    records : Records
        The table.
    """
    rows = []
    for place, row in enumerate(records.top(LOOK)):
        if sum(map(bool, row)) < 2:
            continue
        names = _told_apart(row)
        bare = Counter(same(without_unit(name)) for name in names if name)
        single = frozenset(key for key, count in bare.items() if count == 1)
        rows.append(HeaderRow(place, frozenset(map(same, names)), single))
    return rows


def best_place(rows: Sequence[HeaderRow], wanted: Sequence[str]) -> tuple[int, list[str]]:
    """Give the record that holds most of the wanted headers, and those it lacks.

    Parameters
    ----------
    rows : sequence of HeaderRow
        Of the table.
    wanted : sequence of str
        The headers a layout names.
    """
    keys = [same(header) for header in wanted]
    best, lacking = -1, list(range(len(wanted)))
    for row in rows:
        missing = row.lacks(keys)
        if len(missing) < len(lacking):
            best, lacking = row.place, missing
    return best, [wanted[i] for i in lacking]


def guessed_place(records: Records) -> int:
    """Give the likeliest position of a header row where no layout names one, or -1."""
    rows = records.top(LOOK)
    widths = Counter(len(row) for row in rows if sum(map(bool, row)) > 1)
    usual = widths.most_common(1)[0][0] if widths else 0
    for place, row in enumerate(rows):
        filled = [cell for cell in row if cell]
        if len(filled) < 2 or len(row) < usual - 1 or len(filled) < len(row) / 2:
            continue
        if sum(map(is_valueless, filled)) < 0.8 * len(filled):
            continue
        below = [r for r in rows[place + 1 :] if any(r)][:4]
        if any(not is_valueless(cell) for r in below for cell in r if cell):
            return place
    return -1


def names_places(wanted: Sequence[str]) -> bool:
    """Tell whether a layout calls columns by their place, as in a file without a header row.

    Examples
    --------
    >>> names_places(["column 1", "column 3"]), names_places(["column 1", "Stück"])
    (True, False)
    """
    return bool(wanted) and all(_PLACE.fullmatch(same(header)) for header in wanted)


def bare_heading(records: Records) -> Heading:
    """Give the heading of a table without a header row: "column 1", "column 2", and so on.

    Parameters
    ----------
    records : Records
        The table; its data begin at the first row that is as wide as most and holds a number or a time.
    """
    rows = records.top(LOOK)
    widths = Counter(len(row) for row in rows if sum(map(bool, row)) > 1)
    usual = widths.most_common(1)[0][0] if widths else 0
    first = next(
        (i for i, row in enumerate(rows) if len(row) == usual and not all(map(is_valueless, row))), 0
    )
    texts = records.frame["text"].head(first).to_list()
    names = tuple(f"column {place + 1}" for place in range(usual))
    return Heading(-1, names, {}, first, tuple(text for text in texts if text.strip()))


def _told_apart(cells: Sequence[str]) -> tuple[str, ...]:
    seen: Counter[str] = Counter()
    names = []
    for cell in cells:
        name = re.sub(r"E0$", "", cell) if _NUMBER.fullmatch(cell) else cell
        key = same(name)
        seen[key] += 1
        names.append(f"{name} ({seen[key]})" if name and seen[key] > 1 else name)
    return tuple(names)


_WORDS_OF_UNITS = re.compile(
    r"[\[(]?(-|–|%|#|text|string|date|time|datum|zeit|utc|local|hh:mm(:ss)?|[ymdthsj:./\- ]{5,}|iso.*)[\])]?",
    re.I,
)


def _is_units_row(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    if not filled or not all(map(is_valueless, filled)):
        return False
    units = sum(1 for cell in filled if unit_named(cell))
    if not units or any(len(cell) > 20 for cell in filled):
        return False
    # under an empty time cell most words being units is enough
    telling = all(unit_named(cell) or _WORDS_OF_UNITS.fullmatch(cell) for cell in filled)
    return telling or (2 * units > len(filled) and not cells[0])


def blank(texts: pl.Series) -> pl.Series:
    """Tell which lines hold nothing but blanks and separators."""
    return ~texts.str.contains(r"[^\s;,|\x1a\x0c]")
