"""What a record was worked out from, so that a stale one is found by comparing."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

from lineview.plant import Machine, Plant

#: Events of the batch sheet and the reel log are compared by stretches of this length [µs].
STRETCH_US = 900_000_000
#: An event so long before or after a window still cuts it [µs]: a reel change has its surroundings.
BESIDE_US = 900_000_000
#: How long before a window the batch that it begins with may have begun [µs].
BATCH_BEFORE_US = 43_200_000_000


@cache
def code_mark(*folders: str) -> str:
    """A mark of the code in some folders, by default that which works records out; other code means other records."""
    package = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for folder in folders or ("machine", "records"):
        for path in sorted((package / folder).glob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def plant_mark(plant: Plant, machine: Machine) -> str:
    """A mark of what records of a machine take from the plant description.

    Parameters
    ----------
    plant : Plant
        For its zone, shifts and longest interval between readings.
    machine : Machine
        Of the plant.

    Returns
    -------
    str
        Another one whenever a record would come out otherwise.
    """
    parts = [machine.model_dump_json(), plant.zone, str(plant.gap_s), *(s.model_dump_json() for s in plant.shifts)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def intakes_of(windows: pl.DataFrame, extents: pl.DataFrame) -> list[list[int]]:
    """The intakes with readings in each window.

    Parameters
    ----------
    windows : polars.DataFrame
        WINDOWS.
    extents : polars.DataFrame
        intake, first and last moment of its readings of the machine [µs].
    """
    start, end = (windows[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    intake, first, last = (extents[name].to_numpy() for name in ("intake", "first", "last"))
    # Intakes are few in any window, and both are in order of time: look at the touching ones only.
    order = np.argsort(first, kind="stable")
    intake, first, last = intake[order], first[order], last[order]
    reach = np.maximum.accumulate(last) if len(last) else last
    out = []
    for a, b in zip(start.tolist(), end.tolist(), strict=True):
        low, high = int(np.searchsorted(reach, a)), int(np.searchsorted(first, b))
        touching = intake[low:high][last[low:high] >= a]
        out.append(sorted(set(touching.tolist())))
    return out


def event_marks(windows: pl.DataFrame, stretches: Sequence[pl.DataFrame]) -> list[str]:
    """A mark of the batches and reel changes that cut each window, and of the batch that it begins with.

    Parameters
    ----------
    windows : polars.DataFrame
        WINDOWS.
    stretches : sequence of polars.DataFrame
        For the batch sheet and the reel log: stretch (number of STRETCH_US since 1970), rows and total of the
        rows' ids in it.
    """
    start, end = (windows[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    marks = [hashlib.sha256() for _ in range(windows.height)]
    for k, frame in enumerate(stretches):
        ordered = frame.sort("stretch")
        columns = [ordered[name].to_numpy() for name in ("stretch", "rows", "total")]
        at, *_ = parts = [np.ascontiguousarray(column, dtype=np.int64) for column in columns]
        low = np.searchsorted(at, (start - BESIDE_US) // STRETCH_US)
        if k == 0:  # the batch that a window begins with began earlier
            began = np.searchsorted(at, (start - BATCH_BEFORE_US) // STRETCH_US)
            low = np.maximum(low - 1, began).clip(max=low)
        high = np.searchsorted(at, (end + BESIDE_US) // STRETCH_US, side="right")
        for i, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
            marks[i].update(f"{k}".encode())
            if a < b:
                for part in parts:
                    marks[i].update(part[a:b].tobytes())
    return [mark.hexdigest()[:16] for mark in marks]


def is_stale(stored: pl.DataFrame, expected: pl.DataFrame) -> pl.Series:
    """Which of the wanted windows have no kept record worked out from the same.

    Parameters
    ----------
    stored : polars.DataFrame
        start, end and the columns of COMPUTED_FROM of the records there are.
    expected : polars.DataFrame
        The same columns as they would be now.
    """
    from_same = ["start", "end", "intakes", "events", "plant", "code"]
    marks = pl.col("intakes").list.eval(pl.element().cast(pl.String)).list.join(",")
    there = stored.select(from_same).with_columns(marks, fresh=pl.lit(True)).unique(from_same, maintain_order=True)
    joined = expected.select(from_same).with_columns(marks).join(there, on=from_same, how="left", maintain_order="left")
    return joined["fresh"].is_null()
