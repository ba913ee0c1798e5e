"""What the disk or the database says when it fails, as an error of ours."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import polars as pl
from deltalake.exceptions import DeltaError
from sqlalchemy.exc import SQLAlchemyError

from lineview.errors import Fault, StoreError


@contextmanager
def plainly(doing: str) -> Iterator[None]:
    """Turn what the disk, Delta, polars or the database raises into a StoreError.

    Parameters
    ----------
    doing : str
        What was tried, after "could not": "take in week24.csv".
    """
    try:
        yield
    except (OSError, DeltaError, SQLAlchemyError, pl.exceptions.PolarsError) as error:
        reason = str(getattr(error, "orig", None) or error).strip().splitlines() or [type(error).__name__]
        advice = "Check the disk's space and rights, then try again: nothing is left half-way"
        raise StoreError(Fault(f"could not {doing}: {reason[0]}", "store", "", advice)) from error
