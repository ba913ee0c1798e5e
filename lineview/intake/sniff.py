"""From bytes to text lines: encoding, ends of lines, NUL padding, and the cell separator."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Sequence

SEPARATORS = ("\t", ";", "|", ",")


def as_utf8(data: bytes) -> tuple[bytes, str]:
    r"""Give the text as UTF-8 without mark or NULs, with "\n" or "\r\n" line ends, and its encoding.

    Parameters
    ----------
    data : bytes
        As the machine wrote them.

    Returns
    -------
    tuple of (bytes, str)
        The text, and the encoding's name for the notes.

    Examples
    --------
    >>> as_utf8(codecs.BOM_UTF16_LE + "Stück".encode("utf-16-le"))
    (b'St\xc3\xbcck', 'UTF-16')
    >>> as_utf8("Stück".encode("cp1252"))[1]
    'Windows-1252'
    """
    text, encoding = _decoded(data)
    if b"\x00" in text:
        text = text.replace(b"\x00", b"")
    if b"\r" in text and b"\n" not in text:
        text = text.replace(b"\r", b"\n")
    return text, encoding


def _decoded(data: bytes) -> tuple[bytes, str]:
    if data.startswith(codecs.BOM_UTF8):
        return _if_utf8(data[3:])
    if data.startswith(
        (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)
    ):  # before UTF-16, whose mark it begins with
        return data.decode("utf-32", errors="replace").encode(), "UTF-32"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace").encode(), "UTF-16"
    start = data[:4096]
    even, odd = start[0::2].count(0), start[1::2].count(0)
    half = max(1, len(start) // 2)
    if odd > half * 0.4 and even < half * 0.1:
        return data.decode("utf-16-le", errors="replace").encode(), "UTF-16"
    if even > half * 0.4 and odd < half * 0.1:
        return data.decode("utf-16-be", errors="replace").encode(), "UTF-16"
    return _if_utf8(data)


def _if_utf8(data: bytes) -> tuple[bytes, str]:
    if data.isascii():
        return data, "UTF-8"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace").encode(), "Windows-1252"
    return data, "UTF-8"


def separator_of(lines: Sequence[str]) -> str:
    """Give the cell separator of a sample of lines.

    Parameters
    ----------
    lines : sequence of str
        Some first lines, preamble and header among them.

    Returns
    -------
    str
        Tab, semicolon, bar or comma: the first of these that cuts most lines alike. Decimal commas
        therefore never pass for separators where another one is there.

    Examples
    --------
    >>> separator_of(["Zeit;A;B", "1;2,5;3,5", "2;2,6;3,6"])
    ';'
    """
    filled = [line for line in lines if line.strip()]
    shares = {mark: _share_alike(filled, mark) for mark in SEPARATORS}
    best = max(shares.values(), default=0.0)
    return next((mark for mark in SEPARATORS if shares[mark] and shares[mark] >= 0.8 * best), ",")


def _share_alike(lines: Sequence[str], mark: str) -> float:
    """Give the share of lines with the commonest number of cells above one."""
    counts = Counter(_cells(line, mark) for line in lines)
    counts.pop(1, None)
    return counts.most_common(1)[0][1] / len(lines) if counts else 0.0


def _cells(line: str, mark: str) -> int:
    if '"' not in line:
        return line.count(mark) + 1
    return len(next(csv.reader([line], delimiter=mark)))
