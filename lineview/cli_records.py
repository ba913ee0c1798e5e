"""Records on the command line: worked out ahead, with progress, or all of them anew."""

from __future__ import annotations

import sys

from lineview.cli_console import console
from lineview.works import Works


def update_records(works: Works, rebuild: bool) -> None:
    """Bring every record up to date and say how many were worked out and whether any came out otherwise.

    Parameters
    ----------
    works : Works
        Opened.
    rebuild : bool
        Work out all of them, and compare with those that were kept.
    """

    def progress(machine: str, done: int, stale: int) -> None:
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{machine}: {done} of {stale}  ")

    plant = works.plant
    before = works.records.content(plant) if rebuild else {}
    made = works.records.update(works.store, plant, progress, rebuild=rebuild)
    if sys.stderr.isatty():
        sys.stderr.write("\r")
    console.print(f"{made:,} records worked out." if made else "Every record is up to date.")
    if rebuild:
        after = works.records.content(plant)
        changed = sorted(name for name in before if before[name] != after.get(name))
        same = "They are the same as those that were kept, byte for byte."
        console.print(same if not changed else f"Different from those kept before: {', '.join(changed)}.")
