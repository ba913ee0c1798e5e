"""A folder watched: exports are taken in as they arrive, once they have stopped growing."""

from __future__ import annotations

import time
from pathlib import Path

from lineview.cli_console import console
from lineview.errors import Fault, IntakeError, LineviewError
from lineview.intake.find import find_exports
from lineview.take_in import Taken
from lineview.works import Works


def watch_folder(works: Works, folder: Path, every_s: float, looks: int, port: int | None) -> None:
    """Look into a folder again and again, and take in what is new and has stopped growing.

    Parameters
    ----------
    works : Works
        Opened.
    folder : pathlib.Path
        Where the exports arrive.
    every_s : float
        Seconds between looks [s].
    looks : int
        How often to look; 0 for until stopped.
    port : int or None
        Where to serve the board meanwhile; None not to.

    Raises
    ------
    IntakeError
        Where there is no such folder.
    """
    if not folder.is_dir():
        raise IntakeError(Fault("is no folder", str(folder), "a folder that exports arrive in"))
    if port is not None:
        from lineview.board.serve import start_board

        start_board(works, "127.0.0.1", port)
    console.print(f"Watching {folder}; stop with Ctrl-C.", markup=False, soft_wrap=True)
    seen: dict[Path, tuple[int, int]] = {}
    done: dict[Path, tuple[int, int]] = {}
    count = 0
    try:
        while looks == 0 or count < looks:
            look(works, folder, seen, done)
            count += 1
            if looks == 0 or count < looks:
                time.sleep(every_s)
    except KeyboardInterrupt:
        console.print("Stopped watching.")


def look(
    works: Works, folder: Path, seen: dict[Path, tuple[int, int]], done: dict[Path, tuple[int, int]]
) -> list[Taken]:
    """Look once: a file is taken in when its size and time are as at the look before.

    Parameters
    ----------
    works : Works
        Opened.
    folder : pathlib.Path
        Where the exports arrive.
    seen : dict
        Size and time of each file at the last look; brought up to date here.
    done : dict
        Size and time of each file when it was dealt with; brought up to date here.

    Returns
    -------
    list of Taken
        What became of the files taken at this look.
    """
    ready = []
    for path in _files(folder):
        stat = path.stat()
        state = (stat.st_size, stat.st_mtime_ns)
        if seen.get(path) == state and done.get(path) != state:
            ready.append(path)
            done[path] = state
        seen[path] = state
    taken = works.take(ready) if ready else []
    for one in taken:
        console.print(_line(one), soft_wrap=True, markup=False)
    return taken


def _files(folder: Path) -> list[Path]:
    try:
        return find_exports([folder])
    except LineviewError:  # nothing has arrived yet
        return []


def _line(one: Taken) -> str:
    if one.error is not None:
        return f"{one.path.name}: {one.error.faults[0]}"
    if one.receipt is None:
        return f"{one.path.name}: no layout fits; look at it with: lineview intake {one.path}"
    r = one.receipt
    before = ", taken in before" if r.already else ""
    return f"{one.path.name}: intake {r.intake}{before}, {r.kept:,} rows new, {r.refused:,} refused"
