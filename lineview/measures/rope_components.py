"""What moves each batch's diameter, part by part, as the model estimates it."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineview.measures.rope_model import RopeModel


def rope_components(model: RopeModel) -> pl.DataFrame:
    """Split each batch's deviation from target into what the model puts it down to.

    Parameters
    ----------
    model : RopeModel
        The fitted model.

    Returns
    -------
    polars.DataFrame
        running_h [h], at, batch and, all in mm: wear_mm (level and wear), steps_mm (adjustments and steps),
        temperature_mm, products_mm, shift_mm (the batch's own), deviation_mm, which is their sum. A part
        that is not in the model is null.

    Notes
    -----
    Source: derived-rope
    """
    beta = model.fit.weight @ model.fit.beta
    share = model.columns * beta
    steps = slice(2, 2 + len(model.adjustments))
    bend = slice(steps.stop, steps.stop + (model.bend_h is not None))
    warm = slice(-1, None) if model.temperature_c is not None else slice(0, 0)
    products = slice(bend.stop, model.columns.shape[1] - (model.temperature_c is not None))

    def part(name: str, *of: slice) -> pl.Series:
        columns = [share[:, one] for one in of]
        if not sum(one.shape[1] for one in columns):
            return pl.Series(name, [None] * model.n, dtype=pl.Float64)
        return pl.Series(name, np.concatenate(columns, axis=1).sum(axis=1))

    return model.points.select("running_h", "at", "batch").with_columns(
        part("wear_mm", slice(0, 2), bend),
        part("steps_mm", steps),
        part("temperature_mm", warm),
        part("products_mm", products),
        pl.Series("shift_mm", model.deviation - share.sum(axis=1)),
        pl.Series("deviation_mm", model.deviation),
    )
