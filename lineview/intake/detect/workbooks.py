"""Workbooks read in a process of their own: one that asks for too much memory or time ends alone.

Notes
-----
A workbook is packed, and a cell far away makes a reader hold all cells up to it. Sizes are looked at before
anything is unpacked whole; what gets past that meets the process's limits of memory and processor time.
"""

from __future__ import annotations

import io
import json
import os
import re
import struct
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import IO

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.intake.detect.delimited import Records
from lineview.intake.limits import MOST_COLUMNS

#: Bytes of all parts of a workbook, unpacked.
MOST_UNPACKED = 600_000_000
#: Of the process that reads: memory [bytes], time on the clock and of the processor [s].
MEMORY_BYTES, CLOCK_S, PROCESSOR_S = 2_000_000_000, 180, 120
#: A last row beyond this, in a sheet of which less than this share of rows is filled, is a stray cell.
FAR_ROW, FILLED_SHARE = 20_000, 0.01

_DO = "Copy the filled cells to a new workbook and export that."


def sheet_records_apart(data: bytes, path: Path) -> list[Records]:
    """The visible sheets of a workbook, read by another process.

    Parameters
    ----------
    data : bytes
        Of the workbook.
    path : pathlib.Path
        For messages.

    Returns
    -------
    list of Records
        One a sheet.

    Raises
    ------
    IntakeError
        Where it is no workbook, holds nothing, or is larger than the limits.
    """
    _look_at(data, path)
    command = [sys.executable, "-P", "-m", "lineview.intake.detect.workbooks"]
    limited = {**os.environ, "POLARS_MAX_THREADS": "1", "LINEVIEW_WORKBOOK": str(path)}
    limited["PYTHONPATH"] = os.pathsep.join(str(Path(place).resolve()) for place in sys.path)
    try:
        with subprocess.Popen(  # noqa: S603 - this interpreter, with code of our own
            command, env=limited, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        ) as reader:
            try:
                given, _ = reader.communicate(data, timeout=CLOCK_S)
            except subprocess.TimeoutExpired:
                reader.kill()
                raise IntakeError(_too_large(path, f"more than {CLOCK_S} s")) from None
    except OSError as error:
        raise IntakeError(Fault(f"the workbook cannot be read apart: {error.strerror}", str(path))) from None
    if reader.returncode or not given:
        raise IntakeError(_too_large(path, f"more than {MEMORY_BYTES / 1e9:.0f} GB or {PROCESSOR_S} s"))
    return _unpacked(io.BytesIO(given))


def _too_large(path: Path, what: str) -> Fault:
    return Fault(f"reading the workbook would take {what}", str(path), "a workbook of filled cells", _DO)


# -- before reading ------------------------------------------------------------------------------------


def _look_at(data: bytes, path: Path) -> None:
    """Raise where a workbook is too large, or a cell stands far from all others."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            size = sum(part.file_size for part in parts)
            if size > MOST_UNPACKED or len(parts) > 10_000:
                wanted = f"up to {MOST_UNPACKED // 1_000_000} MB"
                raise IntakeError(Fault(f"the workbook unpacks to {size:,} bytes", str(path), wanted, _DO))
            for part in parts:
                if re.fullmatch(r"xl/worksheets/[^/]+\.xml", part.filename):
                    with packed.open(part) as sheet:
                        _look_at_sheet(sheet, path)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError, ValueError):
        return  # old or damaged ones: their reader says what is wrong


_COLUMN = re.compile(rb'<c r="([A-Z]{3})([0-9]{1,7})"')
_ROW = re.compile(rb'<row [^>]*?r="([0-9]{1,7})"')


def _look_at_sheet(sheet: IO[bytes], path: Path) -> None:
    rows, last, rest, size = 0, 0, b"", 0
    while block := sheet.read(1 << 20):
        size += len(block)
        if size > MOST_UNPACKED:  # a header that says less than there is
            raise IntakeError(Fault("the workbook unpacks to more than it says", str(path), "", _DO))
        text = rest + block
        cut = max(text.rfind(b"<"), 0)
        text, rest = text[:cut], text[cut:][-65_536:]
        for found in _COLUMN.finditer(text):
            letters, row = found.groups()
            if _place(letters) > MOST_COLUMNS:
                raise IntakeError(_stray(path, f"{letters.decode()}{row.decode()}"))
        rows += text.count(b"<row ")
        begin = text.rfind(b"<row ")
        found_row = _ROW.match(text, begin) if begin >= 0 else None
        last = max(last, int(found_row[1])) if found_row else last
    if last > FAR_ROW and rows < last * FILLED_SHARE:
        raise IntakeError(_stray(path, f"in row {last:,}"))


def _place(letters: bytes) -> int:
    """The number of a column from its letters, from 1."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _stray(path: Path, where: str) -> Fault:
    do = "Delete the rows and columns beyond the table, or copy it to a new workbook."
    return Fault(f"a cell stands far from the others, {where}", str(path), "cells side by side", do)


# -- the process that reads ----------------------------------------------------------------------------


def serve() -> None:
    """Read the workbook that comes in, and send its sheets, or the faults that stand in the way."""
    _limit()
    from lineview.intake.detect.sheets import sheet_records

    path = Path(os.environ["LINEVIEW_WORKBOOK"])
    try:
        tables, faults = sheet_records(sys.stdin.buffer.read(), path), []
    except IntakeError as error:
        tables, faults = [], [[f.what, f.where, f.expected, f.do] for f in error.faults]
    head = {"faults": faults, "sheets": [[t.sheet, t.separator, list(t.notes)] for t in tables]}
    _send(json.dumps(head).encode())
    for table in tables:
        out = io.BytesIO()
        table.frame.write_ipc(out)
        _send(out.getvalue())


def _limit() -> None:
    if sys.platform == "win32":  # there the clock alone limits it
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_S, PROCESSOR_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _send(part: bytes) -> None:
    sys.stdout.buffer.write(struct.pack("<Q", len(part)))
    sys.stdout.buffer.write(part)


def _unpacked(given: IO[bytes]) -> list[Records]:
    head = json.loads(_part(given))
    if head["faults"]:
        raise IntakeError(Fault(*fault) for fault in head["faults"])
    return [
        Records(sheet, pl.read_ipc(io.BytesIO(_part(given))), separator, tuple(notes))
        for sheet, separator, notes in head["sheets"]
    ]


def _part(given: IO[bytes]) -> bytes:
    (size,) = struct.unpack("<Q", given.read(8))
    return given.read(size)


if __name__ == "__main__":  # as `sheet_records_apart` starts it
    serve()
