"""Which files of the paths given are exports."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import tr

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
        By its ending; False for hidden and temporary files and all that is no plain file.
    """
    parts = file.relative_to(folder).parts
    if any(part.startswith((".", "~$", "~")) for part in parts) or not file.is_file():
        return False
    return file.name.lower().removesuffix(".gz").endswith(ENDINGS)
