"""Where the invented week and its truth stand."""

import polars as pl

from lineview.core.resources import shipped

DEMO = shipped("data") / "demo"


def truth(name: str) -> pl.DataFrame:
    """Read one of the truth's tables."""
    return pl.read_csv(DEMO / "truth" / f"{name}.csv", try_parse_dates=True)
