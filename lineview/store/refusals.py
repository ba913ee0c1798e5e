"""Frames kept beside the journal, one Parquet file an intake: its refusals and its disputed moments.

Two million refusals are a file of a few megabytes, written in a fraction of the time SQL rows would take.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import polars as pl

from lineview.columns import empty
from lineview.store.durable import put


class PerIntake:
    """A folder with at most one frame an intake.

    Parameters
    ----------
    folder : pathlib.Path
        Where the files are.
    schema : dict
        The frames' columns.
    """

    def __init__(self, folder: Path, schema: Mapping[str, pl.DataType]) -> None:
        self._folder = folder
        self._schema = dict(schema)

    def _path(self, intake: int) -> Path:
        return self._folder / f"{intake:09d}.parquet"

    def keep(self, intake: int, frame: pl.DataFrame) -> None:
        """Keep an intake's frame; none where it is empty."""
        if frame.height:
            told = frame.select(list(self._schema)).cast(pl.Schema(self._schema))
            put(self._path(intake), lambda part: told.write_parquet(part, compression_level=3))

    def drop(self, intake: int) -> None:
        """Forget an intake's frame."""
        self._path(intake).unlink(missing_ok=True)

    def of(self, intakes: Iterable[int]) -> pl.DataFrame:
        """Give the frames of several intakes, one below the other."""
        paths = [path for path in map(self._path, intakes) if path.exists()]
        if not paths:
            return empty(self._schema)
        return pl.concat([pl.read_parquet(path) for path in paths])
