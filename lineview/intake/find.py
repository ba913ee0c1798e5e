"""Which files are exports, and how large one may be: looked at before anything of it is unpacked or read whole."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import tr

_ENDINGS = ".csv .tsv .txt .tab .psv .dat .log .asc .prn .xlsx .xlsm .xls .ods .parquet .json .jsonl .ndjson .zip"
#: Endings by which a file in a folder is taken for an export, each also with ".gz".
ENDINGS = tuple(_ENDINGS.split())
#: Text that is read whole, and what a packed file may hold then [bytes]; larger ones are read in pieces.
MOST_WHOLE = 800_000_000
#: Parts of a gzip, each with a header of its own.
MOST_MEMBERS = 100_000
#: Lines of text that is read whole; a row that is refused takes some 400 bytes.
MOST_LINES = 4_000_000
#: Of JSON, whose parts each take many times their text [bytes].
MOST_JSON = 100_000_000
#: Of one line of other text [bytes].
MOST_LINE = 1 << 18
#: Columns of a table: with more it is no export of a machine, and each would be looked at.
MOST_COLUMNS = 2_000


def find_exports(paths: Sequence[Path]) -> list[Path]:
    """The files of paths: files as they are, folders walked in sorted order.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Files and folders.

    Returns
    -------
    list of pathlib.Path
        Each once. In folders, hidden and temporary files and files of other endings are passed over.

    Raises
    ------
    IntakeError
        For every path that is not there and every folder without exports, all at once.
    """
    files: list[Path] = []
    faults: list[Fault] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(file for file in path.rglob("*") if is_export(file, path))
            files += inside
            if not inside:
                faults.append(Fault(tr("no exports in this folder"), str(path), ", ".join(ENDINGS[:4]) + ", …"))
        elif path.is_file():
            files.append(path)
        elif path.exists():  # a pipe or a device may never end
            faults.append(Fault(tr("this is neither a file nor a folder"), str(path), tr("the path of exports")))
        else:
            faults.append(Fault(tr("there is no such file or folder"), str(path), tr("the path of exports")))
    if not paths:
        faults.append(Fault(tr("no path was given"), "", tr("files or folders of exports")))
    if faults:
        raise IntakeError(faults)
    return list(dict.fromkeys(files))


def is_export(file: Path, folder: Path) -> bool:
    """Whether a file inside a folder is taken for an export.

    Parameters
    ----------
    file : pathlib.Path
        The file, which need not be there.
    folder : pathlib.Path
        A folder above it; how that is called does not matter.

    Returns
    -------
    bool
        By its ending; False for hidden and temporary files, a works' store and all that is no plain file.
    """
    parts = file.relative_to(folder).parts
    if any(part.startswith((".", "~$", "~")) for part in parts) or not file.is_file():
        return False
    within = list(file.parents)[: len(parts)]
    if any((above / "works.id").exists() for above in within):  # a works' store: what was taken in already
        return False
    return file.name.lower().removesuffix(".gz").endswith(ENDINGS)


def check_size(path: Path) -> None:
    """Raise IntakeError where a file is too large to be read whole."""
    try:
        size = path.stat().st_size
    except OSError:
        return  # reading it says what is wrong
    if size > MOST_WHOLE:
        expected = tr("up to {most} MB read whole", most=MOST_WHOLE // 1_000_000)
        raise IntakeError(_too_large(path, tr("the file has {size:,} bytes", size=size), expected))


def line_ends(data: bytes) -> int:
    r"""How many "\n" there are."""
    read, part = np.frombuffer(data, np.uint8), 1 << 24  # a fifth of the time of bytes.count
    return sum(int(np.count_nonzero(read[at : at + part] == ord("\n"))) for at in range(0, read.size, part))


def check_text(path: Path, data: bytes) -> None:
    """Raise where a line is too long to be a row, there are too many, or JSON too large to be held.

    Parameters
    ----------
    path : pathlib.Path
        For messages.
    data : bytes
        Of a text, in any encoding.

    Raises
    ------
    IntakeError
        Where one is.
    """
    if data.lstrip()[:1] in (b"{", b"["):  # often a single line
        if len(data) > MOST_JSON:
            what = tr("the JSON has {size:,} bytes", size=len(data))
            expected = tr("up to {most} MB", most=MOST_JSON // 1_000_000)
            raise IntakeError(Fault(what, str(path), expected, tr("Export shorter periods, each to a file.")))
        return
    lines = max(line_ends(data), data.count(b"\r") if b"\r" in data else 0)
    if lines > MOST_LINES:
        raise IntakeError(
            _too_large(
                path, tr("the text has {lines:,} lines", lines=lines), tr("up to {most:,} read whole", most=MOST_LINES)
            )
        )
    begin = 0
    while len(data) - begin > MOST_LINE:
        end = max(data.rfind(b"\n", begin, begin + MOST_LINE), data.rfind(b"\r", begin, begin + MOST_LINE))
        if end < 0:
            what = tr("a line is longer than {most:,} bytes", most=MOST_LINE)
            raise IntakeError(Fault(what, str(path), tr("a line for each row"), tr("Export it again.")))
        begin = end + 1


def _too_large(path: Path, what: str, expected: str) -> Fault:
    do = tr("Export shorter periods, each to a file, as text in UTF-8: those are read in pieces.")
    return Fault(what, str(path), expected, do)
