"""What reading an export gives: its rows, those of a big one by stretches, or a proposed layout."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import polars as pl

from lineview.core.language import mark
from lineview.plant import ExportKind, Layout

#: What each kind of export is called.
KIND_NAMES: dict[str, str] = {
    "readings": mark("readings"),
    "weights": mark("weights"),
    "batches": mark("batches"),
    "stops": mark("stops"),
    "reels": mark("reels"),
    "stock": mark("stock"),
    "plan": mark("plan"),
}


@dataclass(frozen=True)
class Part:
    """The rows of one kind that an export gave.

    Parameters
    ----------
    kind : str
        As in lineview.plant.ExportKind.
    tidy : polars.DataFrame
        With the columns of that kind in core.frames. Its `intake` column is 0 until the store gives it
        an id; its `row` column is the line in the file (from 1, as an editor or spreadsheet shows it).
    """

    kind: ExportKind
    tidy: pl.DataFrame

    @property
    def height(self) -> int:
        """Number of tidy rows."""
        return self.tidy.height


@dataclass(frozen=True)
class Stretch:
    """Some rows of a big export.

    Parameters
    ----------
    frames : tuple of polars.DataFrame
        READINGS: one frame, or several that are of one machine and channel each.
    first_row : int
        Line in the file from which on its rows are.
    rows, rows_refused : int
        Data rows, and those without a usable cell.
    refused : polars.DataFrame
        lineview.intake.tidy.rows.REFUSED.
    uncertain : int
        Tidy rows whose quality is uncertain.
    """

    frames: tuple[pl.DataFrame, ...]
    first_row: int
    rows: int
    refused: pl.DataFrame
    rows_refused: int
    uncertain: int = 0


class NotInPieces(Exception):  # noqa: N818 - no error: the file is read another way
    """A big export cannot be read piece by piece and has to be read whole."""


class LeftOut(str):
    """A note that says which columns are left out; what it says depends on the language."""

    __slots__ = ()


class InPieces(Protocol):
    """A big export of readings that is read while it is written to the store.

    `path` is the file as given, `layouts` the ids of the layouts used.
    """

    path: Path
    layouts: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences for the summary, once all stretches were given."""

    def stretches(self, source: Path) -> Iterator[Stretch]:
        """The rows from the file, or a copy of it; raises NotInPieces where it has to be read whole."""


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
        Rows without a usable cell.
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
    uncertain: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """Something that a file does not show and a person has to answer.

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
