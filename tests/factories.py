"""Products, frames and figures that many tests need: a usual one, and what the test says of it changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.frames import READINGS
from lineview.plant import Product
from lineview.report.answer import Answer


def product(name: str = "mint", *allergens: str, **changes: object) -> Product:
    """A product of 14 mm and 6.8 g, cut every 30 mm."""
    usual: dict[str, object] = {
        "id": name, "flavour": name, "mass_g": 6.8, "mass_tolerance_g": 0.3, "diameter_mm": 14,
        "diameter_tolerance_mm": 0.3, "cut_length_mm": 30, "allergens": allergens,
    }  # fmt: skip
    return Product.model_validate(usual | changes)


def readings(
    machine: str,
    channel: str,
    at: Sequence[datetime] | pl.Series,
    value: Sequence[float] | np.ndarray | None = None,
    text: Sequence[str] | None = None,
) -> pl.DataFrame:
    """READINGS of one channel: numbers, or texts."""
    numbers = None if value is None else np.asarray(value, float)
    frame = pl.DataFrame({"at": at, "value": numbers, "text": text})
    same = {"machine": pl.lit(machine), "channel": pl.lit(channel), "quality": pl.lit("good"), "intake": pl.lit(1)}
    whole = frame.with_row_index("row").with_columns(**same).select(list(READINGS))
    return whole.cast(dict(READINGS))


def moments(at_s: np.ndarray) -> pl.Series:
    """Moments from seconds since 1970."""
    micros = np.round(at_s * 1e6).astype(np.int64)
    return pl.Series(micros).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")


def rows(schema: Mapping[str, pl.DataType], frame: Sequence[Mapping[str, object]], **same: object) -> pl.DataFrame:
    """Rows of a frame of core.frames: `same` in all, null where nothing is said, numbered from 0."""
    whole = [{**same, **row} for row in frame]
    assert all(row.keys() <= schema.keys() for row in whole), "a column that the frame does not have"
    numbered = [{"intake": 1, "row": number, **row} for number, row in enumerate(whole)]
    return pl.DataFrame([{c: row.get(c) for c in schema} for row in numbered], schema=schema)


def value(answer: Answer, name: str) -> float:
    """The number of a figure that the answer must have."""
    figure = answer.figure(name)
    assert figure is not None, name
    assert isinstance(figure.value, int | float), figure.why_none
    return float(figure.value)


def holds(answer: Answer, name: str, truth: float) -> bool:
    """Whether a figure's interval holds the truth."""
    figure = answer.figure(name)
    assert figure is not None, name
    return figure.low <= truth <= figure.high
