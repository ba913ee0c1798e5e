"""Which decimal mark a file of weights has, by what a piece of the plant's products weighs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from lineview.core.units import convert
from lineview.errors import LineviewError
from lineview.intake.number_cells import Marks, parse_numbers
from lineview.plant import ColumnTarget

#: A mean piece from this to that share of its product's mass is a piece of it.
LIKE_A_PIECE = (0.5, 1.6)
#: A reading of the marks fits where at least so many of the weights do, the other where at most so many do.
FITS, FITS_NOT = 0.9, 0.1


def mark_by_mass(
    columns: Mapping[str, ColumnTarget], cells: Mapping[str, pl.Series], masses_g: Sequence[float]
) -> str | None:
    """Give the decimal mark with which alone the weights are those of pieces.

    Parameters
    ----------
    columns : mapping of str to ColumnTarget
        What headers mean: "mass_g", and "pieces" where several were weighed together.
    cells : mapping of str to polars.Series of String
        Cells by header.
    masses_g : sequence of float
        What a piece of each product weighs [g].

    Returns
    -------
    str or None
        "." or ","; None where both readings fit, or neither, or nothing was weighed.

    Examples
    --------
    >>> mark_by_mass({"mass": ColumnTarget(to="mass_g")}, {"mass": pl.Series(["6,617", "6,502"])}, [6.6])
    ','
    """
    fitting = {mark: _share(columns, cells, masses_g, mark) for mark in (".", ",")}
    for mark, other in ((".", ","), (",", ".")):
        if fitting[mark] >= FITS and fitting[other] <= FITS_NOT:
            return mark
    return None


def _share(
    columns: Mapping[str, ColumnTarget], cells: Mapping[str, pl.Series], masses_g: Sequence[float], mark: str
) -> float:
    """Give the share of weights that are like a piece of some product when read with a mark."""
    header = next((h for h, target in columns.items() if target.to == "mass_g" and h in cells), None)
    if header is None or not masses_g:
        return 0.0
    read = parse_numbers(cells[header], Marks(mark))[0]
    try:
        read = convert(read, columns[header].unit or "g", "g")
    except LineviewError:  # no unit of mass: the question stays
        return 0.0
    counted = next((h for h, target in columns.items() if target.to == "pieces" and h in cells), None)
    if counted is not None:
        read = read / parse_numbers(cells[counted], Marks(mark))[0]
    told = read.drop_nulls().to_numpy()
    if not told.size:
        return 0.0
    low, high = LIKE_A_PIECE
    masses = np.asarray(masses_g, dtype=np.float64)
    like = (told[:, None] >= low * masses) & (told[:, None] <= high * masses)
    return float(like.any(axis=1).mean())
