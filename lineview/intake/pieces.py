"""The bytes of a big text export in pieces that end with a line, plain or gzipped."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import polars as pl

from lineview.intake.detect.delimited import Records, split_quoted
from lineview.intake.exports import NotInPieces
from lineview.intake.find import MOST_LINE

#: Files from this size on are read in pieces; gzipped ones from an eighth of it, as text packs so [bytes].
BIG = 32 << 20
_PACKING = 8
#: A gzip that holds more than so many times its size is no export.
_MOST_TIMES = 200
#: Some 200,000 rows.
_PIECE = 11 << 20
_HEAD = 1 << 20
_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Head:
    """The whole lines that a big file begins with, and how many bytes stand before its text."""

    text: bytes
    mark: int


def head_of(path: Path) -> Head | None:
    """The first lines of a file that may be read in pieces, or None."""
    try:
        is_packed = _is_packed(path)
        size = _unpacked_size(path) if is_packed else path.stat().st_size
        if size < BIG and not (is_packed and path.stat().st_size >= BIG // _PACKING):
            return None
        if is_packed and _has_many_members(path):
            return None
        with _open(path, is_packed) as file:
            start = file.read(_HEAD)
    except (OSError, EOFError, zlib.error):
        return None  # the reading of the whole file says what is wrong
    mark = len(_MARK) if start.startswith(_MARK) else 0
    text = start[mark : start.rfind(b"\n") + 1]
    plain = text and text.lstrip()[:1] not in (b"{", b"[") and b"\x00" not in text
    plain = plain and not _has_bare_returns(text) and _is_utf8(text)
    return Head(text, mark) if plain and not _has_odd_quotes(text) else None


def _unpacked_size(path: Path) -> int:
    """What a gzip says that it holds [bytes], of which only the last 32 bits are written."""
    with path.open("rb") as file:
        file.seek(-4, 2)
        return int.from_bytes(file.read(4), "little")


def _has_many_members(path: Path) -> bool:
    """Whether a gzip begins with many small parts, going through which takes long and gives little."""
    with path.open("rb") as file:
        return file.read(_HEAD).count(b"\x1f\x8b\x08") > _HEAD >> 8


def pieces_of(path: Path, skip: int) -> Iterator[bytes]:
    """A file's text in pieces."""
    try:
        is_packed = _is_packed(path)
        remaining = _MOST_TIMES * path.stat().st_size if is_packed else None
        with _open(path, is_packed) as file:
            file.read(skip)
            while block := _unpacked_piece(file) if is_packed else _plain_piece(file):
                remaining = None if remaining is None else remaining - len(block)
                if remaining is not None and remaining < 0:
                    raise NotInPieces  # it says what is wrong here too
                yield block
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise NotInPieces from None


def _unpacked_piece(file: BinaryIO) -> bytes:
    block = file.read(_PIECE)
    return block + (b"" if block.endswith(b"\n") else _line_end(file))


def _plain_piece(file: BinaryIO) -> bytes:
    """The next piece, whose end is looked for first, so that it is not put together of two."""
    start = file.tell()
    file.seek(start + _PIECE - 1)
    _line_end(file)
    end = file.tell()
    file.seek(start)
    return file.read(end - start)


def _line_end(file: BinaryIO) -> bytes:
    line = file.readline(MOST_LINE)
    if len(line) == MOST_LINE:
        raise NotInPieces  # the reading of the whole file says what is wrong
    return line


def parts_of(data: bytes, size: int) -> Iterator[bytes]:
    """A piece cut at line ends into parts of about `size` bytes."""
    start = 0
    while start < len(data):
        end = data.find(b"\n", start + size) + 1 or len(data)
        yield data[start:end]
        start = end


def _is_packed(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(2) == b"\x1f\x8b"


def _open(path: Path, is_packed: bool) -> BinaryIO:
    return cast(BinaryIO, gzip.open(path)) if is_packed else path.open("rb")


def is_plain(text: bytes) -> bool:
    """Whether text has no quotes, no NULs, whole line ends, and is UTF-8."""
    return b'"' not in text and b"\x00" not in text and not _has_bare_returns(text) and _is_utf8(text)


def _has_bare_returns(text: bytes) -> bool:
    return b"\r" in text and text.count(b"\r") != text.count(b"\r\n")


def _is_utf8(text: bytes) -> bool:
    if text.isascii():
        return True
    try:
        text.decode()
    except UnicodeDecodeError:
        return False
    return True


def _has_odd_quotes(text: bytes) -> bool:
    """Whether a line has an odd number of quotes, so that a cell may go on in the next."""
    return b'"' in text and any(line.count(b'"') % 2 for line in text.split(b"\n"))


def records_of(data: bytes, separator: str, row: int) -> Records:
    """Cut a piece into records."""
    if not _is_utf8(data) or _has_odd_quotes(data) or b'="' in data:
        raise NotInPieces
    bare = data.replace(b"\x00", b"") if b"\x00" in data else data
    lines = pl.Series("text", [bare.removesuffix(b"\n").decode()]).str.split("\n").explode()
    texts = lines.str.strip_suffix("\r") if b"\r" in bare else lines
    number = pl.int_range(row, row + len(texts), dtype=pl.Int64, eager=True)
    frame = pl.DataFrame({"row": number, "text": texts})
    cut = split_quoted(frame, separator) if b'"' in bare else frame
    return Records("", cut, separator, ends_open=not bare.endswith(b"\n"))
