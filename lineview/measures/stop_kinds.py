"""Whose stop it was: the machine's own, or one by a cause outside it; blocked and starved told apart."""

from __future__ import annotations

import re

import polars as pl

from lineview.columns import TAPE, require

#: What a stop can be put down to. "own" holds those without a reason too: nobody said otherwise.
KINDS = ("own", "blocked", "starved", "outside", "cleaning", "maintenance")
#: Kinds whose cause lies outside the machine.
OUTSIDE_KINDS = ("blocked", "starved", "outside")
_WORDS = (
    ("blocked", re.compile(r"\b(blocked|downstream)\b", re.IGNORECASE)),
    ("starved", re.compile(r"\b(starved|upstream|no (batch|product|rope|material))\b", re.IGNORECASE)),
    ("outside", re.compile(r"\b(outside|waiting|power cut|no staff)\b|^break$", re.IGNORECASE)),
)
_CODED = ("cleaning", "maintenance")


def stop_kind(reason: str | None, code: str | None = None) -> str:
    """Give the kind of a stop.

    Parameters
    ----------
    reason : str or None
        As somebody or the machine's state gave it.
    code : str or None
        What the machine's state said meanwhile, one of MEANINGS.

    Returns
    -------
    str
        One of KINDS: a reason that names a cause outside goes before the code, the code before other words.

    Examples
    --------
    >>> stop_kind("blocked by the packer"), stop_kind("jam", "starved"), stop_kind(None)
    ('blocked', 'starved', 'own')
    """
    for text in (reason, code):
        for kind, words in _WORDS:
            if text and words.search(text):
                return kind
        if text in _CODED:
            return str(text)
    return "own"


def with_kinds(tape: pl.DataFrame) -> pl.DataFrame:
    """Give a tape with the kind of each stop.

    Parameters
    ----------
    tape : polars.DataFrame
        TAPE; a column `code` is read where there is one.

    Returns
    -------
    polars.DataFrame
        With `kind`, one of KINDS on stops and short stops, null elsewhere.

    Raises
    ------
    MeasureError
        Where the tape lacks a column.
    """
    require(tape, TAPE, "tape")
    codes = tape["code"].to_list() if "code" in tape.columns else [None] * tape.height
    stands = tape["state"].is_in(["stop", "short stop"]).to_list()
    kinds = [
        stop_kind(why, code) if stood else None
        for stood, why, code in zip(stands, tape["reason"].to_list(), codes, strict=True)
    ]
    return tape.with_columns(kind=pl.Series("kind", kinds, dtype=pl.String))
