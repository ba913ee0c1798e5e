"""From bytes to text lines: encoding, ends of lines, NUL padding, and the cell separator."""

from __future__ import annotations

import codecs
import hashlib
import re
import zlib
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import mark, tr
from lineview.intake.find import MOST_MEMBERS, MOST_WHOLE, check_size, check_text

SEPARATORS = ("\t", ";", "|", ",")


#: What a file holds that is not empty: more than blanks, line ends, NULs and marks of an encoding.
_FILLED = re.compile(rb"[^\x00 \t\r\n\xef\xbb\xbf\xff\xfe]")
#: A text that a spreadsheet is to leave alone, as ="00123" between separators.
_AS_TEXT = re.compile(rb'(?:^|(?<=[,;\t|\r\n]))="([^"\r\n]*)"(?=[,;\t|\r\n]|$)')


def as_utf8(data: bytes, encoding: str = "") -> tuple[bytes, str]:
    r"""The text as UTF-8 without mark or NULs, with "\n" or "\r\n" line ends, and its encoding."""
    if encoding:
        text = data.decode(encoding, errors="replace").removeprefix("\ufeff").encode(errors="replace")
    else:
        text, encoding = _decode(data)
    if b'"' in text and b'="' in text:  # two bytes take twenty times as long to look for
        text = _AS_TEXT.sub(rb'"\1"', text)
    if b"\x00" in text:
        text = text.replace(b"\x00", b"")
    if b"\r" in text and b"\n" not in text:
        text = text.replace(b"\r", b"\n")
    return text, encoding


def _decode(data: bytes) -> tuple[bytes, str]:
    if data.startswith(codecs.BOM_UTF8):
        return _if_utf8(data[3:])
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):  # before UTF-16, whose mark it begins with
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
    """The cell separator of a sample of lines."""
    filled = [line for line in lines if line.strip()]
    shares = {mark: _share_alike(filled, mark) for mark in SEPARATORS}
    best = max(shares.values())
    return next((mark for mark in SEPARATORS if shares[mark] and shares[mark] >= 0.8 * best), ",")


def _share_alike(lines: Sequence[str], mark: str) -> float:
    """The share of lines with the commonest number of cells above one."""
    counts = Counter(_cells(line, mark) for line in lines)
    counts.pop(1, None)
    return counts.most_common(1)[0][1] / len(lines) if counts else 0.0


def _cells(line: str, mark: str) -> int:
    return (re.sub(r'"(?:[^"]|"")*"', "", line) if '"' in line else line).count(mark) + 1


_BINARY_START = re.compile(
    rb"%PDF|\x89PNG|\xff\xd8\xff|GIF8|\x7fELF|MZ|SQLite format 3\x00|BZh"
    rb"|7z\xbc\xaf\x27\x1c|Rar!|\xfd7zXZ\x00|\x28\xb5\x2f\xfd"
)


@dataclass(frozen=True)
class OpenedFile:
    """An export's bytes: `data` unpacked, `name` without ``.gz``.

    The SHA-256 of the bytes as given (`digest`) is worked out beside the reading; what is neither workbook (XLSX, XLS,
    ODS) nor Parquet is text.
    """

    path: Path
    name: str
    digest: Future[str]
    size_bytes: int
    data: bytes
    is_workbook: bool
    is_parquet: bool


def open_export(path: Path) -> OpenedFile:
    """Read a file's bytes, hash them and unpack gzip."""
    check_size(path)
    raw = _bytes_of(path)
    with_digest = ThreadPoolExecutor(1)
    digest = with_digest.submit(lambda: hashlib.sha256(raw).hexdigest())
    with_digest.shutdown(wait=False)
    data = _unpack(path, raw) if raw[:2] == b"\x1f\x8b" else raw
    name = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
    if _FILLED.search(data) is None:
        raise IntakeError(Fault(tr("the file is empty"), str(path), tr("a header and rows"), tr("Export it again.")))
    workbook = _is_workbook(data, path)
    parquet = data.startswith(b"PAR1")
    ending = path.name.lower().removesuffix(".gz")
    # old workbooks are often text by another name, and sometimes a page of a browser
    is_workbook_name = ending.endswith((".xlsx", ".ods", ".xlsm")) or (
        ending.endswith(".xls") and data.lstrip()[:1] == b"<"
    )
    if is_workbook_name and not workbook:
        what = tr("the workbook cannot be opened: it is cut off or not a workbook")
        raise IntakeError(Fault(what, str(path), "", tr(_AGAIN)))
    if not workbook and not parquet and _is_binary(data):
        expected = tr("text with columns, XLSX, XLS, ODS or Parquet")
        raise IntakeError(Fault(tr("the file is binary, not an export"), str(path), expected, tr(_AGAIN)))
    if not workbook and not parquet:
        check_text(path, data)
    return OpenedFile(path, name, digest, len(raw), data, workbook, parquet)


def _is_workbook(data: bytes, path: Path) -> bool:
    """Whether bytes are a workbook; raise where it is protected."""
    if not data.startswith(_COMPOUND):
        return data[:4] == b"PK\x03\x04"
    if "EncryptedPackage".encode("utf-16-le") in data:
        what = tr("the workbook is protected by a password")
        raise IntakeError(Fault(what, str(path), tr("a workbook that opens without one"), tr("Save it without.")))
    return "Workbook".encode("utf-16-le") in data or "Book".encode("utf-16-le") in data


#: What compound files begin with: old workbooks, and new ones that are protected.
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_AGAIN = mark("Export it again or leave this file out.")


def _bytes_of(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise IntakeError(Fault(tr("there is no such file"), str(path), tr("the path of an export"))) from None
    except OSError as error:
        why = error.strerror or tr("it cannot be read")
        raise IntakeError(Fault(tr("the file cannot be read: {why}", why=why), str(path))) from error
    if not data:
        raise IntakeError(Fault(tr("the file is empty"), str(path), tr("a header and rows"), tr("Export it again.")))
    return data


#: An export unpacks to so many times its packed size at most, or to so many bytes.
_MOST_TIMES, _MOST_SURE = 200, 64 << 20
#: Bytes unpacked at a time.
_AT_ONCE = 16 << 20


def _unpack(path: Path, raw: bytes) -> bytes:
    most = min(max(_MOST_SURE, _MOST_TIMES * len(raw)), MOST_WHOLE)
    parts: list[bytes] = []
    start, size = 0, 0
    try:
        for _ in range(MOST_MEMBERS):  # there may be several, and padding may follow
            if raw[start : start + 2] != b"\x1f\x8b":
                return b"".join(parts)
            unpacker, step, block = zlib.decompressobj(31), 1 << 12, b""
            while not unpacker.eof:
                if not block:
                    block = raw[start : start + step]
                    start, step = start + len(block), min(2 * step, 1 << 20)
                if not block:
                    raise EOFError
                parts.append(unpacker.decompress(block, _AT_ONCE))
                block, size = unpacker.unconsumed_tail, size + len(parts[-1])
                if size > most:
                    raise IntakeError(_packed_too_well(path, most, len(raw)))
            start -= len(unpacker.unused_data)
    except (EOFError, zlib.error):
        raise IntakeError(
            Fault(tr("the gzip is cut off or damaged"), str(path), tr("a whole gzip file"), tr("Copy it again."))
        ) from None
    raise IntakeError(Fault(tr("the gzip has more than {most:,} parts", most=MOST_MEMBERS), str(path), tr("an export")))


def _packed_too_well(path: Path, most: int, size: int) -> Fault:
    """The fault of a gzip that holds more than it may."""
    if most < _MOST_TIMES * size:
        expected = tr("up to {most} MB unpacked", most=most // 1_000_000)
        return Fault(tr("the gzip holds too much to be read whole"), str(path), expected, tr("Export shorter periods."))
    return Fault(
        tr("the gzip holds more than {most} times its size", most=_MOST_TIMES),
        str(path),
        tr("an export, which does not pack so well"),
        tr("Look into it, and unpack it first where it is one."),
    )


def _is_binary(data: bytes) -> bool:
    """Tell from the start of the bytes whether they are no text in any encoding."""
    if _BINARY_START.match(data):
        return True
    start = data[:65536]
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        return False
    if start.count(0) > len(start) // 5 and not _is_utf16(start):
        return bool(start.replace(b"\x00", b"").translate(None, _TEXT_BYTES)) or not start.strip(b"\x00")
    control = len(start) - len(start.translate(None, _CONTROL_BYTES))
    return control > len(start) // 50


_CONTROL_BYTES = bytes(b for b in range(32) if b not in b"\x00\t\n\r\x0c\x1a\x1b\x1f")
_TEXT_BYTES = bytes([9, 10, 13, *range(32, 256)])


def _is_utf16(start: bytes) -> bool:
    even, odd = start[0::2].count(0), start[1::2].count(0)
    half = len(start) // 2
    return max(even, odd) > half * 0.4 and min(even, odd) < half * 0.1
