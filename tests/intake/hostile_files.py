"""Files that are small to send and huge to read, and cells that no machine writes."""

from __future__ import annotations

import gzip
import zipfile
from collections.abc import Iterable
from pathlib import Path

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
#: A workbook of one sheet by hand, since no library writes what these tests need.
PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
    f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
    '<sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
    f'Type="{_OFFICE}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
}


def cell(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def row(number: int, *cells: str) -> str:
    return f'<row r="{number}">{"".join(cells)}</row>'


def workbook(path: Path, rows: Iterable[str], says: str = "", texts: int = 0) -> Path:
    """A workbook of these rows and some texts, whose sheet says that it reaches to `says`."""
    dimension = f'<dimension ref="A1:{says}"/>' if says else ""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in PARTS.items():
            packed.writestr(name, text)
        with packed.open("xl/worksheets/sheet1.xml", "w") as sheet:
            sheet.write(f'<worksheet xmlns="{_MAIN}">{dimension}<sheetData>'.encode())
            for one in rows:
                sheet.write(one.encode())
            sheet.write(b"</sheetData></worksheet>")
        if texts:
            with packed.open("xl/sharedStrings.xml", "w", force_zip64=True) as shared:
                for _ in range(texts // 100_000):
                    shared.write(b"<si><t>a</t></si>" * 100_000)
    return path


def counted(last: int = 200) -> list[str]:
    """A header and rows of a time and a count, 10 s apart, as text."""
    times = [f"2026-06-08 {6 + i // 360:02}:{i // 6 % 60:02}:{i % 6}0" for i in range(last)]
    rows = [row(i + 2, cell(f"A{i + 2}", at), cell(f"B{i + 2}", str(58 * i))) for i, at in enumerate(times)]
    return [row(1, cell("A1", "time"), cell("B1", "pieces")), *rows]


HEAD = b"time;pieces\n2026-06-08 06:00:00;"


def hostile_files(folder: Path) -> dict[str, str]:
    """Write the files into a folder; what the refusal of each says."""
    stray, spent = "a cell stands far from the others", "reading the workbook would take more than"
    said = {}

    def book(name: str, words: str, rows: list[str], says: str = "") -> None:
        workbook(folder / f"{name}.xlsx", [*counted(), *rows], says)
        said[f"{name}.xlsx"] = words

    def text(name: str, words: str, first: bytes, again: bytes = b"", times: int = 0, last: bytes = b"") -> None:
        with (folder / name).open("wb") as file:
            file.write(first)
            for _ in range(times):
                file.write(again)
            file.write(last)
        said[name] = words

    far = row(100_000, cell("XFD100000", "x"))
    book("far column", f"{stray}, XFD100000", [far], "XFD100000")
    book("far column of a sheet that lies", spent, [far], "B201")
    book("far column written otherwise", stray, [row(100_000, '<c t="n" r="XFD100000"><v>1</v></c>')])
    book("last row", f"{stray}, in row 1,048,576", [row(1_048_576, cell("H1048576", "x"))], "H1048576")
    book("last row of a wide sheet", stray, [row(1_048_576, cell("IV1048576", "x"))], "IV1048576")
    book("last row of a sheet that lies", spent, [row(1_048_576, cell("IV1048576", "x"))], "B201")
    filled = [*[row(i) for i in range(202, 30_000)], row(1_048_576, cell("IV1048576", "x"))]
    book("last row after empty ones", spent, filled, "IV1048576")
    workbook(folder / "texts.xlsx", counted(), texts=40_000_000)
    said["texts.xlsx"] = "the workbook unpacks to"

    block = gzip.compress(b"2026-06-08 06:00:00;1\n" * 1_500_000, 1)
    text("two gigabytes.csv.gz", "the gzip holds", gzip.compress(HEAD + b"0\n"), block, 60)
    text("zeros.csv.gz", "the gzip holds", b"", gzip.compress(b"0" * (32 << 20), 9), 8)
    text("parts.csv.gz", "the gzip has more than 100,000 parts", gzip.compress(b"") * 250_000)
    wide = ";".join(f"c{i}" for i in range(100_000)).encode()
    text("columns.csv", "a line is longer than", b"time;" + wide + (b"\n2026-06-08 06:00:00" + b";1" * 100_000) * 20)
    some = ";".join(f"c{i}" for i in range(9_000)).encode()
    text("fewer columns.csv", "the file has 9,001 columns", b"time;" + some + b"\n2026-06-08 06:00:00" + b";1" * 9_000)
    text("line.csv", "a line is longer than", HEAD, b"1" * 1_000_000, 200, b"\n")
    text("line of cells.csv", "a line is longer than", HEAD, b"1;" * 500_000, 20, b"\n")
    text("lines.csv", "the text has 5,000,002 lines", HEAD + b'"', b"1\n" * 500_000, 10, b'"\n')
    text("nested.json", "no rows with times", b"[" * 500_000)
    text("long.json", "the JSON has", b'[{"time":"', b"1" * 1_000_000, 101, b'"}]')
    for year in ("0001", "9999"):
        rows = b"".join(f"{year}-06-08 06:{i:02}:00;{i}\n".encode() for i in range(60))
        text(f"year {year}.csv", "no rows with times", b"time;pieces\n" + rows)
    return said


#: Cells that fit no column: counts beyond every integer, the ends of the calendar, hours that are none.
CELLS = (
    "2e19", "-2e19", "20000000000000000000", "1e308", "1e400", "inf", "nan", "9223372036854775808", "1e-320",
    "0001-01-01", "9999-12-31", "31.12.9999", "0001-01-01 00:00:00", "9999-12-31 23:59:59", "31.12.9999 23:59:59",
    "2958465.99999", "-693593", "-62135596800", "253402300799000", "99999:99:99", "9999-W53",
)  # fmt: skip
