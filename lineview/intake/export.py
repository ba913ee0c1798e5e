"""What intake makes of one export file: tidy rows and refusals, or a proposal where no layout fits."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from lineview.plant import ExportKind, Layout


@dataclass(frozen=True, init=False)
class Part:
    """The rows of one kind that an export gave.

    Parameters
    ----------
    kind : str
        As in lineview.plant.ExportKind.
    *frames : polars.DataFrame
        Each with the columns of that kind in lineview.columns; several where each is of one machine and
        channel, so that millions of rows need not be copied into one frame. Their `intake` column is 0 until
        the store gives it an id; their `row` column is the line in the file (from 1, as an editor or
        spreadsheet shows it).
    """

    kind: ExportKind
    frames: tuple[pl.DataFrame, ...]

    def __init__(self, kind: ExportKind, *frames: pl.DataFrame) -> None:
        object.__setattr__(self, "kind", kind)
        object.__setattr__(self, "frames", frames)

    @property
    def tidy(self) -> pl.DataFrame:
        """All rows in one frame."""
        return self.frames[0] if len(self.frames) == 1 else pl.concat(self.frames)

    @property
    def height(self) -> int:
        """Number of tidy rows."""
        return sum(frame.height for frame in self.frames)


@dataclass(frozen=True)
class Export:
    """One export, read whole.

    Parameters
    ----------
    path : pathlib.Path
        The file as given.
    sha256 : str
        Of its bytes as given (gzipped ones too).
    size_bytes : int
        Of the file as given.
    layouts : tuple of str
        Ids of the layouts used (one a sheet).
    parts : tuple of Part
        What it gave; usually one.
    rows : int
        Data rows in the file: rows that give at least one tidy row, plus rows refused whole.
    refusals : polars.DataFrame
        REFUSALS; a whole row refused has `column` "", a cell in a row that is kept names its column.
    rows_refused : int
        Rows of which nothing could be used.
    uncertain : int
        Tidy rows whose quality is uncertain.
    notes : tuple of str
        Plain sentences for the summary ("3 repeated headers and a footer were passed over").
    """

    path: Path
    sha256: str
    size_bytes: int
    layouts: tuple[str, ...]
    parts: tuple[Part, ...]
    rows: int
    refusals: pl.DataFrame
    rows_refused: int
    uncertain: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """Something about a file that cannot be told from it and has to be asked.

    `options` are the answers that would fit, as (what to write in the layout, what it would mean here).
    """

    about: str
    text: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Proposal:
    """A layout proposed for a file that none fits, with a sample of what it would read.

    Open `questions` must be answered before it can be accepted.
    """

    path: Path
    layout: Layout
    sample: pl.DataFrame
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = field(default=())
