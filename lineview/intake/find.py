"""Which files of the paths given are exports."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lineview.core.errors import Fault, IntakeError

#: Endings by which a file in a folder is taken for an export, each also with ".gz".
ENDINGS = (
    ".csv",
    ".tsv",
    ".txt",
    ".tab",
    ".psv",
    ".dat",
    ".log",
    ".asc",
    ".prn",
    ".xlsx",
    ".xlsm",
    ".xls",
    ".ods",
    ".parquet",
    ".json",
    ".jsonl",
    ".ndjson",
    ".zip",
)


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
    found: list[Path] = []
    faults: list[Fault] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(file for file in path.rglob("*") if is_export(file, path))
            found += inside
            if not inside:
                faults.append(Fault("no exports in this folder", str(path), ", ".join(ENDINGS[:4]) + ", …"))
        elif path.exists():
            found.append(path)
        else:
            faults.append(Fault("there is no such file or folder", str(path), "the path of exports"))
    if not paths:
        faults.append(Fault("no path was given", "", "files or folders of exports"))
    if faults:
        raise IntakeError(faults)
    return list(dict.fromkeys(found))


def is_export(file: Path, folder: Path) -> bool:
    """Whether a file inside a folder is taken for an export.

    Parameters
    ----------
    file, folder : pathlib.Path
        The file, and a folder that it lies in.
    """
    parts = file.relative_to(folder).parts
    if any(part.startswith((".", "~$", "~")) for part in parts) or not file.is_file():
        return False
    return file.name.lower().removesuffix(".gz").endswith(ENDINGS)
