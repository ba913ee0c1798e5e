"""Text to numbers: the decimal mark settled once a file, thousands marks, placeholders, nothing guessed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
import polars as pl

from lineview.core.errors import LineviewError
from lineview.core.units import convert, unit_named
from lineview.intake import refusal_reasons
from lineview.plant import ColumnTarget

_SPACES = "\u0020\u00a0\u202f\u2009\u2007"
_APOSTROPHES = "'’"
_PLACEHOLDERS = """
    - | -- | --- | ---- | – | — | . | .. | ... | ? | * | n/a | n.a. | na | #n/a | null | none | nil | bad | error |
    err | fail | failed | fault | timeout | no data | nodata | missing | void | overflow | underflow | overrange |
    underrange | over | under | ovf | ol | overload | open | invalid | unknown | disconnected | offline | comm fail
    | bad input | i/o timeout | #div/0! | #value! | #ref! | #num! | #name? | #null! | k.a. | fehler | ungültig |
    1.#qnan | -1.#qnan | 1.#ind | -1.#ind | 1.#snan | 1.#qnan0 | -1.#ind00
"""
#: What stands in a cell instead of a number, in lower case.
PLACEHOLDERS = tuple(text.strip() for text in _PLACEHOLDERS.split("|"))
#: Further from 0 nothing counts or measures; squares and sums of such numbers stay finite.
FARTHEST = 1e15
_NOT_FINITE = r"^[+-]?(nan|inf|infinity|∞|1\.#inf(00)?)$"


@dataclass(frozen=True)
class NumberSeparators:
    """How a file writes numbers: `decimal` "." or ","; `thousands` "" allows every usual mark but that."""

    decimal: str = "."
    thousands: str = ""


@dataclass(frozen=True)
class SeparatorCounts:
    """What cells say of the decimal mark: how many prove each, how many could be read both ways."""

    point: int = 0
    comma: int = 0
    both: int = 0
    example: str = ""
    both_comma: int = 0

    def __add__(self, other: SeparatorCounts) -> SeparatorCounts:
        """Pool the evidence of two columns."""
        return SeparatorCounts(
            self.point + other.point,
            self.comma + other.comma,
            self.both + other.both,
            self.example or other.example,
            self.both_comma + other.both_comma,
        )

    @property
    def mark(self) -> str | None:
        """The decimal mark, or None where the numbers do not show it."""
        if bool(self.point) != bool(self.comma):
            return "." if self.point else ","
        return "." if not self.point and not self.both else None


def pattern(decimal: str, thousands: str = "") -> str:
    """The regular expression of a number with these marks."""
    other = "," if decimal == "." else "."
    marks = _group(thousands) if thousands else f"[{other}{_SPACES}{_APOSTROPHES}]"
    return rf"^[+-]?(?:\d+|\d{{1,3}}(?:{marks}\d{{3}})+)?(?:[{decimal}]\d*)?(?:[eE][+-]?\d+)?$"


def _group(thousands: str) -> str:
    marks = _SPACES if thousands in _SPACES else _APOSTROPHES if thousands in _APOSTROPHES else thousands
    return "[" + marks.replace("]", r"\]").replace("\\", "\\\\") + "]"


def _proof(decimal: str) -> str:
    """The pattern of cells that can only be read with this decimal mark."""
    other = "," if decimal == "." else r"\."
    mark = r"\." if decimal == "." else ","
    quiet = f"[{_SPACES}{_APOSTROPHES}]"
    return (
        rf"^[+-]?(?:\d{{1,3}}(?:{other}\d{{3}})+{mark}\d*|\d{{1,3}}(?:{other}\d{{3}}){{2,}}"
        rf"|\d*{mark}\d{{1,2}}|\d+{mark}|\d*{mark}\d{{4,}}|0+{mark}\d{{3}}|{mark}\d{{3}}|\d{{4,}}{mark}\d{{3}}"
        rf"|\d{{1,3}}(?:{quiet}\d{{3}})+{mark}\d*)$"
    )


def evidence(texts: pl.Series) -> SeparatorCounts:
    """Gather what a column's cells say of the decimal mark."""
    if texts.cast(pl.Int64, strict=False).null_count() == texts.null_count():
        return SeparatorCounts()
    with_mark = texts.filter(texts.str.contains("[.,]")).drop_nulls()
    if not len(with_mark):
        return SeparatorCounts()
    with_mark = tidied(with_mark.unique()).str.replace(_UNIT_BEHIND, "$1")
    both = with_mark.filter(with_mark.str.contains(r"^[+-]?[1-9]\d{0,2}[.,]\d{3}$"))
    return SeparatorCounts(
        point=int(with_mark.str.contains(_proof(".")).sum()),
        comma=int(with_mark.str.contains(_proof(",")).sum()),
        both=len(both),
        example=str(both.sort()[0]) if len(both) else "",
        both_comma=int(both.str.contains(",", literal=True).sum()),
    )


def evidence_of_all(columns: Iterable[pl.Series]) -> SeparatorCounts:
    """Gather the evidence of all columns of a file: the mark is settled once a file."""
    return reduce(lambda a, b: a + b, map(evidence, columns), SeparatorCounts())


def tidied(texts: pl.Series) -> pl.Series:
    """Take blanks off the ends and write the minus sign as a hyphen."""
    return texts.str.strip_chars().str.replace("^−", "-")


def are_possible(numbers: pl.Series) -> bool:
    """Whether every number is finite and no further from 0 than any that counts or measures."""
    return bool((numbers.abs() <= FARTHEST).all())


def parse_numbers(texts: pl.Series, marks: NumberSeparators) -> tuple[pl.Series, pl.Series | None]:
    """Read a column of cells as numbers."""
    integers = texts.cast(pl.Int64, strict=False)
    if integers.null_count() == 0 and are_possible(numbers := integers.cast(pl.Float64)):
        return numbers, None
    plain = marks.decimal == "." and marks.thousands != "."
    values = texts.cast(pl.Float64, strict=False) if plain else integers.cast(pl.Float64)
    values = values.set(values.is_not_null() & ~(values.abs() <= FARTHEST), None)
    if plain:
        rounded = texts.str.contains(r"[eE]\+0*[1-9]|^\s*[+-]?\d+[eE]\d")  # these are looked at one by one
        values = values.set(rounded, None) if rounded.any() else values
    open_ = values.is_null()
    if not open_.any():
        return values, None
    odd = open_.arg_true()
    read, why = _parse_odd(texts.gather(odd), marks)
    if odd.len() == len(texts):
        return read, why if why.null_count() < len(why) else None
    values = values.scatter(odd, read)
    if why.null_count() == len(why):
        return values, None
    reasons = pl.Series(why.name, [None], dtype=pl.String()).new_from_index(0, len(texts))
    return values, reasons.scatter(odd, why)


def _parse_odd(texts: pl.Series, marks: NumberSeparators) -> tuple[pl.Series, pl.Series]:
    """Read the cells that are no bare number."""
    text = pl.col("text")
    other = "," if marks.decimal == "." else "."
    group = _group(marks.thousands) if marks.thousands else f"[{other}{_SPACES}{_APOSTROPHES}]"
    bare = text.str.replace_all(group, "")
    # a sheet's own number has an exponent and always a point
    number = (
        pl.when(text.str.contains(r"^[+-]?\d+(\.\d+)?[eE][+-]?\d+$") & ~_is_rounded(text))
        .then(text)
        .when(
            text.str.contains(pattern(marks.decimal, marks.thousands)) & text.str.contains(r"\d") & ~_is_rounded(text)
        )
        .then(bare.str.replace(",", ".", literal=True) if marks.decimal == "," else bare)
    )
    frame = pl.DataFrame({"text": tidied(texts)})
    read = frame.lazy().select("text", value=number.cast(pl.Float64, strict=False)).collect()
    too_far = read["value"].is_finite().fill_null(False) & (read["value"].abs() > FARTHEST)
    values = read["value"].set(too_far | ~read["value"].is_finite().fill_null(True), None)
    none = values.is_null().arg_true()
    reasons = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(values))
    if not len(none):
        return values, reasons
    why = reasons.scatter(none, _why_no_number(read["text"].gather(none), marks))
    far = read.select(pl.format(refusal_reasons.TOO_LARGE, "text")).to_series()
    return values, far.zip_with(too_far, why)


#: A number with a unit behind it in its cell.
_UNIT_BEHIND = r"^([+\-−]?[\d.,\x20\x{a0}\x{202f}'’]*\d[.,]?)\s*([^\d\s.,+\-][^\d]{0,11})$"


def units_behind(texts: pl.Series) -> dict[str, pl.Series]:
    """The places of cells with a unit behind their number, by the unit's name in the table of units."""
    behind = texts.str.strip_chars().str.extract(_UNIT_BEHIND, 2).str.strip_chars()
    suffixes = behind.drop_nulls().unique().to_list()
    unit_of_text = {text: unit for text in suffixes if (unit := unit_named(text.removesuffix(".")))}
    units = behind.replace_strict(unit_of_text, default=None, return_dtype=pl.String)
    return {unit: (units == unit).fill_null(False).arg_true() for unit in dict.fromkeys(unit_of_text.values())}


def without_units(texts: pl.Series) -> pl.Series:
    """Cells without the units behind their numbers."""
    return texts.str.strip_chars().str.replace(_UNIT_BEHIND, "$1")


def _is_rounded(text: pl.Expr) -> pl.Expr:
    """Whether a number shortened for a narrow column leaves whole digits open, as 4.29E+09 does, or 12E5."""
    parts = text.str.extract_groups(r"^[+-]?\d+(?:(?:[.,](\d*))?[eE]\+|[eE])(\d{1,4})$").struct
    exponent = parts.field("2").cast(pl.Int64, strict=False)
    decimals = parts.field("1").fill_null("").str.len_chars()
    return (exponent > decimals).fill_null(False)


def _why_no_number(texts: pl.Series, marks: NumberSeparators) -> pl.Series:
    """Say why cells are no numbers; an empty one needs no reason."""
    text, low = pl.col("text"), pl.col("text").str.to_lowercase()
    why = (
        pl.when(text.is_null() | (text == ""))
        .then(None)
        .when(_is_rounded(text))
        .then(pl.format(refusal_reasons.ROUNDED, text))
        .when(low.str.contains(_NOT_FINITE))
        .then(pl.format(refusal_reasons.NOT_FINITE, text))
        .when(low.is_in(PLACEHOLDERS) | text.str.contains("^#+$"))
        .then(pl.format(refusal_reasons.PLACEHOLDER, text))
        .otherwise(pl.format(refusal_reasons.NO_NUMBER, text, pl.lit(marks.decimal)))
    )
    return pl.DataFrame({"text": texts}).select(why.alias("why")).to_series()


#: A mean piece from this to that share of its product's mass is a piece of it.
LIKE_A_PIECE = (0.5, 1.6)
#: A reading of the marks fits where at least so many of the weights do, the other where at most so many do.
FITS, FITS_NOT = 0.9, 0.1


def mark_by_mass(
    columns: Mapping[str, ColumnTarget], cells: Mapping[str, pl.Series], masses_g: Sequence[float]
) -> str | None:
    """The decimal mark with which alone the weights are those of pieces."""
    fitting = {mark: _share(columns, cells, masses_g, mark) for mark in (".", ",")}
    for mark, other in ((".", ","), (",", ".")):
        if fitting[mark] >= FITS and fitting[other] <= FITS_NOT:
            return mark
    return None


def _share(
    columns: Mapping[str, ColumnTarget], cells: Mapping[str, pl.Series], masses_g: Sequence[float], mark: str
) -> float:
    """The share of weights that are like a piece of some product when read with a mark."""
    header = next((h for h, target in columns.items() if target.to == "mass_g" and h in cells), None)
    if header is None or not masses_g:
        return 0.0
    read = parse_numbers(cells[header], NumberSeparators(mark))[0]
    try:
        read = convert(read, columns[header].unit or "g", "g")
    except LineviewError:  # no unit of mass: the question stays
        return 0.0
    count_header = next((h for h, target in columns.items() if target.to == "pieces" and h in cells), None)
    if count_header is not None:
        read = read / parse_numbers(cells[count_header], NumberSeparators(mark))[0]
    masses_read = read.drop_nulls().to_numpy()
    if not masses_read.size:
        return 0.0
    low, high = LIKE_A_PIECE
    masses = np.asarray(masses_g, dtype=np.float64)
    like = (masses_read[:, None] >= low * masses) & (masses_read[:, None] <= high * masses)
    return float(like.any(axis=1).mean())
