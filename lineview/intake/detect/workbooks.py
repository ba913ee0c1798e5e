"""Workbooks read in a process of their own: one that asks for too much memory or time ends alone.

Notes
-----
A workbook is packed, and a cell far away makes a reader hold all cells up to it. Sizes are looked at before
anything is unpacked whole; what gets past that meets the process's limits of memory and processor time.
"""

from __future__ import annotations

import atexit
import io
import json
import os
import re
import struct
import subprocess
import sys
import time
import zipfile
from contextlib import suppress
from itertools import chain
from pathlib import Path
from threading import Lock, Timer
from typing import IO, Any

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import mark, speak, spoken, tr
from lineview.intake.detect.delimited import Records
from lineview.intake.find import MOST_COLUMNS

#: Bytes of all parts of a workbook, unpacked.
MOST_UNPACKED = 600_000_000
#: Of the process that reads: memory [bytes], time on the clock and of the processor [s].
MEMORY_BYTES, CLOCK_S, PROCESSOR_S = 2_000_000_000, 180, 120
#: Seconds after which an idle process ends, and workbooks that one reads before another begins.
IDLE_S, MOST_READ = 30, 200
#: A last row beyond this, in a sheet of which less than this share of rows is filled, is a stray cell.
FAR_ROW, FILLED_SHARE = 20_000, 0.01

_DO = mark("Copy the filled cells to a new workbook and export that.")


def sheet_records_apart(data: bytes, path: Path) -> list[Records]:
    """The visible sheets of a workbook, read by another process; `path` is for messages.

    Raises `IntakeError` where it is no workbook, holds nothing, or is larger than the limits.
    """
    _look_at(data, path)
    content = _READER.read(data, path)
    if content["faults"]:
        raise IntakeError(Fault(*fault) for fault in content["faults"])
    return [
        Records(sheet, pl.read_ipc(io.BytesIO(frame)), separator, tuple(notes))
        for (sheet, separator, notes), frame in zip(content["sheets"], content["frames"], strict=True)
    ]


class Reader:
    """The process that reads workbooks, one after the other; it is ended when it idles, and begun anew at need."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._read = 0
        self._idle: Timer | None = None

    def read(self, data: bytes, path: Path) -> dict[str, Any]:
        """What the process says of a workbook; raises where it ends over it."""
        with self._lock:
            if self._idle is not None:
                self._idle.cancel()
            process = self._running(path)
            too_late = Timer(CLOCK_S, process.kill)
            too_late.start()
            try:
                return _request(process, data, str(path))
            except (OSError, EOFError):
                process.kill()
                self._end()
                raise IntakeError(_too_large(path)) from None
            finally:
                too_late.cancel()
                self._idle = Timer(IDLE_S, self.close)
                self._idle.daemon = True
                self._idle.start()

    def _running(self, path: Path) -> subprocess.Popen[bytes]:
        """The process, begun where there is none or it has read enough."""
        if self._read >= MOST_READ or (self._process is not None and self._process.poll() is not None):
            self._end()
        if self._process is None:
            limited = {**os.environ, "POLARS_MAX_THREADS": "1"}
            limited["PYTHONPATH"] = os.pathsep.join(str(Path(place).resolve()) for place in sys.path)
            try:
                self._process = subprocess.Popen(
                    [sys.executable, "-P", "-m", "lineview.intake.detect.workbooks"],
                    env=limited,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                )
            except OSError as error:
                raise IntakeError(
                    Fault(tr("the workbook cannot be read apart: {reason}", reason=error.strerror), str(path))
                ) from None
        self._read += 1
        return self._process

    def _end(self) -> None:
        process, self._process, self._read = self._process, None, 0
        if process is not None and process.stdin is not None and process.stdout is not None:
            with suppress(OSError):
                process.stdin.close()  # it reads no more, and ends
            process.wait()
            process.stdout.close()

    def close(self) -> None:
        """End the process where it runs."""
        with self._lock:
            self._end()


def _request(process: subprocess.Popen[bytes], data: bytes, name: str) -> dict[str, Any]:
    """Send a workbook to the process and give what comes back."""
    into, out = process.stdin, process.stdout
    if into is None or out is None:
        raise EOFError
    _send(into, spoken().encode())
    _send(into, name.encode(errors="surrogateescape"))
    _send(into, data)
    reply: dict[str, Any] = json.loads(_part(out))
    return reply | {"frames": [_part(out) for _ in reply["sheets"]]}


def _too_large(path: Path) -> Fault:
    text = mark("reading the workbook would take more than {memory:.0f} GB or {seconds} s")
    what = tr(text, memory=MEMORY_BYTES / 1e9, seconds=PROCESSOR_S)
    do = tr("Delete the rows and columns beyond the table, or export shorter periods or text (CSV).")
    return Fault(what, str(path), tr("a workbook of filled cells"), do)


# -- before reading ------------------------------------------------------------------------------------


def _look_at(data: bytes, path: Path) -> None:
    """Raise where a workbook is too large, or a cell stands far from all others."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            size = sum(part.file_size for part in parts)
            if size > MOST_UNPACKED or len(parts) > 10_000:
                expected = tr("up to {most} MB", most=MOST_UNPACKED // 1_000_000)
                raise IntakeError(
                    Fault(tr("the workbook unpacks to {size:,} bytes", size=size), str(path), expected, tr(_DO))
                )
            for part in parts:
                if re.fullmatch(r"xl/worksheets/[^/]+\.xml", part.filename):
                    with archive.open(part) as sheet:
                        start = sheet.read(_START)
                        if not _declares_small(start):
                            _look_at_sheet(start, sheet, path)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError, ValueError):
        return  # old or damaged ones: their reader says what is wrong


#: Bytes that a sheet's dimension stands in, where it has one.
_START = 4_096
_DIMENSION = re.compile(rb'<dimension ref="(?:[A-Z]{1,3}[0-9]{1,7}:)?([A-Z]{1,3})([0-9]{1,7})"')


def _declares_small(start: bytes) -> bool:
    """Whether a sheet says itself that it has few rows and columns; what lies meets the process's limits."""
    dimension = _DIMENSION.search(start)
    return dimension is not None and _place(dimension[1]) <= MOST_COLUMNS and int(dimension[2]) <= FAR_ROW


_COLUMN = re.compile(rb'<c r="([A-Z]{3})([0-9]{1,7})"')
_ROW = re.compile(rb'<row [^>]*?r="([0-9]{1,7})"')


def _look_at_sheet(start: bytes, sheet: IO[bytes], path: Path) -> None:
    rows, last, tail, size = 0, 0, b"", 0
    for block in chain([start], iter(lambda: sheet.read(1 << 20), b"")):
        size += len(block)
        if size > MOST_UNPACKED:  # a header that says less than there is
            raise IntakeError(Fault(tr("the workbook unpacks to more than it says"), str(path), "", tr(_DO)))
        text = tail + block
        cut = max(text.rfind(b"<"), 0)
        text, tail = text[:cut], text[cut:][-65_536:]
        for match in _COLUMN.finditer(text):
            letters, row = match.groups()
            if _place(letters) > MOST_COLUMNS:
                raise IntakeError(_stray(path, f"{letters.decode()}{row.decode()}"))
        rows += text.count(b"<row ")
        begin = text.rfind(b"<row ")
        found_row = _ROW.match(text, begin) if begin >= 0 else None
        last = max(last, int(found_row[1])) if found_row else last
    if last > FAR_ROW and rows < last * FILLED_SHARE:
        raise IntakeError(_stray(path, tr("in row {row:,}", row=last)))


def _place(letters: bytes) -> int:
    """The number of a column from its letters, from 1."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _stray(path: Path, where: str) -> Fault:
    do = tr("Delete the rows and columns beyond the table, or copy it to a new workbook.")
    return Fault(tr("a cell stands far from the others, {where}", where=where), str(path), tr("cells side by side"), do)


# -- the process that reads ----------------------------------------------------------------------------


def sheet_records(data: bytes, path: Path) -> list[Records]:
    """Read the visible sheets of a workbook: every cell as text, with the row numbers that the sheet shows."""
    import fastexcel  # the process that reads needs it alone

    try:
        book = fastexcel.read_excel(data)
        sheets, hidden = [], []
        for name in book.sheet_names:
            loaded = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
            if loaded.visible != "visible":
                hidden.append(name)
            elif loaded.height:
                numeric = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="boolean")
                cells = loaded.to_polars()
                if b"opendocument" in data[:200]:
                    clocks = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="duration")
                    cells = _with_clocks(cells, clocks.to_polars())
                sheets.append(_records(name, cells, numeric.to_polars()))
    except fastexcel.FastExcelError:
        raise IntakeError(
            Fault(
                tr("the workbook cannot be opened: it is cut off or not a workbook"),
                str(path),
                tr("an XLSX or ODS workbook"),
                tr("Copy or export it again."),
            )
        ) from None
    if not sheets:
        raise IntakeError(Fault(tr("no visible sheet holds anything"), str(path), tr("a sheet with rows")))
    if hidden:
        note = tr("hidden sheets were skipped: {sheets}", sheets=", ".join(hidden))
        sheets[0] = Records(sheets[0].sheet, sheets[0].frame, "", (note,))
    return sheets


def _records(name: str, text: pl.DataFrame, numeric: pl.DataFrame) -> Records:
    cells = [
        pl.when(is_number.is_not_null() & column.str.contains(".", literal=True))
        .then(column + "E0")
        .otherwise(column)
        .fill_null("")
        .alias(f"c{i}")
        for i, (column, is_number) in enumerate(zip(text, numeric, strict=True))
    ]
    frame = pl.select(cells).select(
        pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias("row"),
        pl.concat_str(pl.all(), separator="\t").str.strip_chars_end("\t").alias("text"),
        pl.concat_list(pl.all()).alias("cells"),
    )
    return Records(name, frame)


def _with_clocks(cells: pl.DataFrame, clocks: pl.DataFrame) -> pl.DataFrame:
    """Write the times of day of an ODS sheet, which do not come as text."""
    filled = []
    for cell, clock in zip(cells, clocks, strict=True):
        if clock.dtype == pl.Duration and clock.null_count() < len(clock):
            text = (pl.Series([0]).cast(pl.Datetime("us")) + clock).dt.strftime("%H:%M:%S")
            cell = cell.zip_with(cell.is_not_null(), text)  # noqa: PLW2901 - the same cells, filled
        filled.append(cell)
    return pl.DataFrame(filled)


def serve() -> None:
    """Read the workbooks that come in, and send of each its sheets or the faults that stand in the way."""
    _limit_memory()
    while True:
        try:
            code, name, data = (_part(sys.stdin.buffer) for _ in range(3))
        except EOFError:
            return
        speak(code.decode())
        _limit_time()
        try:
            tables, faults = sheet_records(data, Path(name.decode(errors="surrogateescape"))), []
        except IntakeError as error:
            tables, faults = [], [[f.what, f.where, f.expected, f.do] for f in error.faults]
        head = {"faults": faults, "sheets": [[t.sheet, t.separator, list(t.notes)] for t in tables]}
        _send(sys.stdout.buffer, json.dumps(head).encode())
        for table in tables:
            out = io.BytesIO()
            table.frame.write_ipc(out)
            _send(sys.stdout.buffer, out.getvalue())
        del data, tables


def _limit_memory() -> None:
    if sys.platform == "win32":  # there the clock alone limits it
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _limit_time() -> None:
    """From now on, so much of the processor's time and no more."""
    if sys.platform == "win32":
        return
    import resource

    most = int(time.process_time()) + 1 + PROCESSOR_S
    resource.setrlimit(resource.RLIMIT_CPU, (most, resource.RLIM_INFINITY))


def _send(into: IO[bytes], part: bytes) -> None:
    into.write(struct.pack("<Q", len(part)))
    into.write(part)
    into.flush()


def _part(stream: IO[bytes]) -> bytes:
    head = stream.read(8)
    if len(head) < 8:
        raise EOFError
    part = stream.read(struct.unpack("<Q", head)[0])
    if len(part) < struct.unpack("<Q", head)[0]:
        raise EOFError
    return part


_READER = Reader()

if __name__ == "__main__":  # as `Reader` starts it
    serve()
else:
    atexit.register(_READER.close)
