"""The quality that a machine wrote beside a value: words, OPC UA status codes, or the classic byte."""

from __future__ import annotations

import re
from collections.abc import Iterable

import polars as pl

from lineview.intake.detect.header import BAD, GOOD

_HEX = re.compile(r"0[xX][0-9a-fA-F]{1,8}|(?=.*[a-fA-F])[0-9a-fA-F]{8}")


def judge(texts: pl.Series) -> pl.Series | None:
    """Judge a column of quality cells.

    Words count by their meaning; a word nobody knows is uncertain. Of a 32-bit status code the top two bits
    count: 00 good, 01 uncertain, else bad. Of the classic byte: 192 and above good, 64 to 127 uncertain, else
    bad. Numbers are codes where one of the column is above 255 or written in hexadecimal, bytes otherwise.
    An empty cell is good where the column marks exceptions only, and uncertain elsewhere.
    Source: opc-ua-status, opc-classic-quality
    """
    distinct = [text or "" for text in texts.unique().to_list()]
    meaning = meanings(distinct)
    if set(meaning.values()) <= {"good"}:
        return None
    return texts.fill_null("").replace_strict(meaning, return_dtype=pl.String())


def meanings(distinct: Iterable[str]) -> dict[str, str]:
    """The meaning of each distinct cell: "good", "uncertain" or "bad"."""
    keys = {text: "".join(text.casefold().split()).rstrip(".") for text in distinct}
    numbers = {text: number for text in keys if (number := _number(text)) is not None}
    wide = any(number > 255 for number in numbers.values()) or any(_HEX.fullmatch(t.strip()) for t in numbers)
    meaning_of = {text: _of_code(number) if wide else _of_byte(number) for text, number in numbers.items()}
    for text, key in keys.items():
        if key and text not in meaning_of:
            meaning_of[text] = _of_word(key)
    only_exceptions = "good" not in meaning_of.values() and not numbers
    return {text: meaning_of.get(text, "good" if only_exceptions else "uncertain") for text in keys}


def _number(text: str) -> int | None:
    bare = re.sub(r"(E0|\.0+)$", "", text.strip())
    if re.fullmatch(r"-?\d{1,10}", bare):
        return int(bare) & 0xFFFFFFFF
    return int(bare, 16) if _HEX.fullmatch(bare) else None


def _of_code(code: int) -> str:
    return ("good", "uncertain", "bad", "bad")[code >> 30]


def _of_byte(byte: int) -> str:
    return ("bad", "uncertain", "bad", "good")[byte >> 6]


def _of_word(key: str) -> str:
    if key in GOOD or key.startswith("good"):
        return "good"
    if key in BAD or key.startswith("bad"):
        return "bad"
    return "uncertain"
