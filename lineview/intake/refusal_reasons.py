"""Why rows and cells are refused: kept in English with what stood in the cell, shown in the works' language."""

from __future__ import annotations

import re
from functools import lru_cache

import polars as pl

from lineview.core.language import mark, tr

TOO_LARGE = mark("'{}' is far too large")
ROUNDED = mark("'{}' is rounded: its last digits are not written")
NOT_FINITE = mark("'{}' is not a finite number")
PLACEHOLDER = mark("placeholder '{}' for a missing value")
NO_NUMBER = mark("'{}' is not a number with decimal '{}'")
NOT_WHOLE = mark("'{}' is not a whole number")
BELOW_ZERO = mark("'{}' is below zero")
NOT_ABOVE_ZERO = mark("'{}' is not above zero")
OF_PARTS = mark("'{}' is of a column of parts of pieces")
OF_BASE_16 = mark("'{}' is of a column of hexadecimal numbers")
OF_BOTH_MARKS = mark("'{}' is of a column in which thousands have a point here and a comma there")
SUM_OF_ROWS = mark("'{}' is the sum of rows beside it, which are counted")
NO_STOP = mark("'{}' says that the machine runs: no stop")
NO_VALUE = mark("no value")
NO_TIME = mark("no time")
NO_FIELD = mark("no {}")
NOT_A_TIME = mark("'{}' is not a time")
NOT_A_TIME_AS = mark("'{}' is not a time as '{}'")
NO_SUCH_TIME = mark("'{}' does not exist in {}: the clocks went forward")
FAR = mark("'{}' is far from the file's other times, {} to {}")
BEFORE_START = mark("'{}' is before the start")
NOT_A_WEEK = mark("'{}' is not a week with its year")
BAD_QUALITY = mark("quality '{}' is bad")
UNKNOWN_NAME = mark("name '{}' is not in the layout")
UNKNOWN_MACHINE = mark("unknown machine '{}'")
UNKNOWN_LINE = mark("unknown line '{}'")
UNKNOWN_WEB = mark("unknown web '{}'")
CUT_OFF = mark("cut off: {} cells where the header has {}")
OTHER_WIDTH = mark("{} cells where the header has {}")
BEGINS_LONGER = mark("the file ends within this row, without a line end: '{}' is the beginning of '{}'")
LAST_EMPTY = mark("the file ends within this row, without a line end: the last cell is empty")
FALLS = mark("the file ends within this row, without a line end: '{}' is less than '{}' before it")
SHORTER = mark("the file ends within this row, without a line end: '{}' is shorter than '{}' before it")

#: In the order in which a kept reason is looked up.
REASONS = (
    *(TOO_LARGE, ROUNDED, NOT_FINITE, PLACEHOLDER, NO_NUMBER, NOT_WHOLE, BELOW_ZERO, NOT_ABOVE_ZERO),
    *(OF_PARTS, OF_BASE_16, OF_BOTH_MARKS, SUM_OF_ROWS, NO_STOP),
    *(NO_VALUE, NO_TIME, NOT_A_TIME_AS, NOT_A_TIME, NO_SUCH_TIME, FAR, BEFORE_START, NOT_A_WEEK, BAD_QUALITY),
    *(UNKNOWN_NAME, UNKNOWN_MACHINE, UNKNOWN_LINE, UNKNOWN_WEB, CUT_OFF, OTHER_WIDTH),
    *(BEGINS_LONGER, LAST_EMPTY, FALLS, SHORTER, NO_FIELD),
)


def with_reasons_shown(refusals: pl.DataFrame) -> pl.DataFrame:
    """Translate the reasons of refusals to the works' language.

    Parameters
    ----------
    refusals : polars.DataFrame
        REFUSALS, as kept.

    Returns
    -------
    polars.DataFrame
        To be read by people; a reason that is not known stays as it is kept.
    """
    reasons = refusals["reason"]
    texts = {reason: show_reason(reason) for reason in reasons.unique().to_list() if reason is not None}
    return refusals.with_columns(reasons.replace_strict(texts, default=None, return_dtype=pl.String()))


def show_reason(reason: str) -> str:
    """A kept reason in the works' language."""
    for message, pattern in _patterns():
        if match := pattern.fullmatch(reason):
            return tr(message).format(*match.groups())
    return reason


@lru_cache(maxsize=1)
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple(
        (message, re.compile("(.*?)".join(map(re.escape, message.split("{}"))), re.DOTALL)) for message in REASONS
    )
