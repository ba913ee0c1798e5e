"""Fewer points for the same picture: what a screen could not tell apart is not sent to it."""

from __future__ import annotations

import numpy as np
import polars as pl

#: More points than this are thinned; a chart is about a thousand pixels wide.
MOST_POINTS = 2000


def thin(frame: pl.DataFrame, x: str, y: str, most: int = MOST_POINTS) -> pl.DataFrame:
    """Keep the rows whose points carry the shape of a line; gaps stay gaps.

    Parameters
    ----------
    frame : polars.DataFrame
        Sorted by `x`.
    x, y : str
        Names of the columns; `x` is a number or a moment, `y` may hold null or nan.
    most : int
        Rows to keep at most; even.

    Returns
    -------
    polars.DataFrame
        Rows of `frame`, in order.

    Notes
    -----
    Source: downsampling-minmaxlttb

    Examples
    --------
    >>> import polars as pl
    >>> long = pl.DataFrame({"x": range(9000), "y": [0.0] * 8999 + [1.0]})
    >>> thin(long, "x", "y").height <= MOST_POINTS, thin(long, "x", "y")["y"].max()
    (True, 1.0)
    """
    if frame.height <= most:
        return frame
    from tsdownsample import NaNMinMaxLTTBDownsampler

    across = np.ascontiguousarray(frame[x].to_physical().cast(pl.Float64).to_numpy())
    up = np.ascontiguousarray(frame[y].cast(pl.Float64).fill_null(float("nan")).to_numpy())
    thinner = NaNMinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]  # the package leaves it bare
    kept = np.asarray(thinner.downsample(across, up, n_out=most - most % 2), dtype=np.int64)
    return frame.select(pl.all().gather(np.unique(kept)))
