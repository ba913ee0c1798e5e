"""Files that come out the same each time, byte for byte, and how they write moments."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

from xlsxwriter import Workbook

Cell = str | float | int | datetime | None
_STAMP = (2026, 1, 1, 0, 0, 0)


def write_gzip(path: Path, content: bytes) -> None:
    """Write bytes gzipped, with no name and no time in the header."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", fileobj=buffer, mode="wb", compresslevel=6, mtime=0) as out:
        out.write(content)
    path.write_bytes(buffer.getvalue())


def write_xlsx(path: Path, sheets: dict[str, Sequence[Sequence[Cell]]]) -> None:
    """Write rows to an XLSX file; moments become date cells."""
    with Workbook(str(path), {"constant_memory": True, "remove_timezone": True}) as book:
        book.set_properties({"created": datetime(*_STAMP), "comments": "Invented data"})  # noqa: DTZ001 - a fixed stamp
        moment = book.add_format({"num_format": "dd.mm.yyyy hh:mm:ss"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            sheet.set_column(0, 0, 20)
            for r, row in enumerate(rows):
                for c, cell in enumerate(row):
                    if isinstance(cell, datetime):
                        sheet.write_datetime(r, c, cell, moment)
                    elif cell is not None:
                        sheet.write(r, c, cell)


def write_ods(path: Path, sheet: str, rows: Sequence[Sequence[Cell]]) -> None:
    """Write rows to one sheet of an open document spreadsheet, by hand.

    Source: opendocument-1.3
    """
    body = "".join(f"<table:table-row>{''.join(_ods_cell(c) for c in row)}</table:table-row>" for row in rows)
    names = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"' for short in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {names} office:version="1.3">'
        f'<office:body><office:spreadsheet><table:table table:name="{escape(sheet)}">{body}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest_name = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        f'<?xml version="1.0" encoding="UTF-8"?><manifest:manifest xmlns:manifest="{manifest_name}" '
        f'manifest:version="1.3"><manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
        "</manifest:manifest>"
    )
    with zipfile.ZipFile(path, "w") as out:
        for name, text in (("mimetype", kind), ("content.xml", content), ("META-INF/manifest.xml", manifest)):
            info = zipfile.ZipInfo(name, _STAMP)
            info.compress_type = zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED
            out.writestr(info, text)


def _ods_cell(cell: Cell) -> str:
    if cell is None:
        return "<table:table-cell/>"
    if isinstance(cell, datetime):
        text = cell.strftime("%d.%m.%Y %H:%M:%S")
        kind = f'office:value-type="date" office:date-value="{cell.isoformat(timespec="seconds")}"'
    elif isinstance(cell, str):
        text, kind = escape(cell), 'office:value-type="string"'
    else:
        text = f"{cell:g}"
        kind = f'office:value-type="float" office:value="{cell}"'
    return f"<table:table-cell {kind}><text:p>{text}</text:p></table:table-cell>"


def wall(at_s: float, zone: ZoneInfo) -> datetime:
    """A moment as wall time, without its zone, to the millisecond."""
    return datetime.fromtimestamp(round(at_s, 3), zone).replace(tzinfo=None)


def serial(at_s: float, zone: ZoneInfo) -> float:
    """A moment as a spreadsheet's serial number of wall time.

    Gives [d].
    """
    return (wall(at_s, zone) - datetime(1899, 12, 30)).total_seconds() / 86400.0  # noqa: DTZ001 - wall time


def week_of(day: date) -> str:
    """A date's week as ISO 8601 writes it."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"
