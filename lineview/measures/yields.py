"""Yield: what came out as good pieces of what went in as batches, and what is lost without a reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from lineview.machine.pieces import MachineCounts, micros

#: A batch without an end on the sheet lasts at most this long [s].
LONGEST_S = 3600.0


@dataclass(frozen=True)
class Yield:
    """Mass balance of the batches whose mass went in [kg]; `u` are standard uncertainties.

    `unexplained_kg` is what went in less good pieces and rejects. `rejects_kg` is None where no counter
    counts rejects: they are then within what is unexplained. `u_scale_kg` is of the mass in, by the batch
    scale's own error; None where nobody declared it, and then in no other uncertainty.
    """

    batches: int
    mass_in_kg: float
    good_pieces: float
    good_kg: float
    u_good_kg: float
    rejects_kg: float | None
    u_rejects_kg: float
    unexplained_kg: float
    u_unexplained_kg: float
    u_scale_kg: float | None = None

    @property
    def share(self) -> float:
        """Good mass over mass in."""
        return self.good_kg / self.mass_in_kg

    @property
    def u_share(self) -> float:
        """Standard uncertainty of the share."""
        return math.hypot(self.u_good_kg, self.share * (self.u_scale_kg or 0.0)) / self.mass_in_kg


def batch_yield(
    batches: pl.DataFrame,
    counts: MachineCounts,
    piece_g: Mapping[str, float],
    u_piece_g: float,
    scale_error_kg: float | None = None,
) -> Yield | None:
    """Balance the mass of batches against the pieces made of them.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES of one line that lie in the period, with a product that `piece_g` knows.
    counts : MachineCounts
        Of the cut-and-wrap machine.
    piece_g : mapping of str to float
        Mean net mass of a piece by product as the sheet names it [g].
    u_piece_g : float
        Standard uncertainty of that mean, common to all pieces [g].
    scale_error_kg : float, optional
        How far off the scale that weighs a batch in may be, either way [kg]; None where nobody knows.

    Returns
    -------
    Yield or None
        None where no batch has a mass and counted pieces.

    Notes
    -----
    Good mass is Σ pieces × mean mass. Its uncertainty joins that of the mean mass, which is common to all
    pieces and so does not average out, and the counts' bounds taken as rectangular (GUM 4.3.7). The batch
    scale's error is taken as rectangular too, and as the same for every batch: it does not average out.
    Source: gum
    """
    rows = _balanced(batches, piece_g)
    at = micros([moment for row in rows for moment in row[:2]])
    pieces = counts.pieces(at[::2], at[1::2])
    if not rows or pieces.good is None:
        return None
    told = (pieces.good.missing_s <= 0) & ~np.isnan(pieces.good.value) & (pieces.good.readings > 0)
    if not told.any():
        return None
    mass_in, each_kg = np.array([row[2:] for row in rows])[told].T
    made = pieces.good.value[told]
    good, good_kg = float(made.sum()), float((made * each_kg).sum())
    count_u2 = float((((pieces.good.high - pieces.good.low)[told] * each_kg) ** 2).sum()) / 12
    counts_rejects = counts.has_read("rejects") and pieces.rejects is not None
    rejected = pieces.rejects.value[told] if counts_rejects and pieces.rejects else np.zeros(len(made))
    reject_kg, rejects = float((rejected * each_kg).sum()), float(rejected.sum())
    used = int(told.sum())
    u_good = math.hypot(good * u_piece_g / 1000, math.sqrt(count_u2))
    u_rejects = rejects * u_piece_g / 1000
    left = float(mass_in.sum()) - good_kg - reject_kg
    u_scale = None if scale_error_kg is None else used * scale_error_kg / math.sqrt(3)
    u_left = math.sqrt(count_u2 + ((good + rejects) * u_piece_g / 1000) ** 2 + (u_scale or 0.0) ** 2)
    return Yield(
        used, float(mass_in.sum()), good, good_kg, u_good, reject_kg if counts.has_read("rejects") else None,
        u_rejects, left, u_left, u_scale,
    )  # fmt: skip


def _balanced(
    batches: pl.DataFrame, piece_g: Mapping[str, float]
) -> list[tuple[datetime, datetime, float, float]]:
    """Start and end of each batch that can be balanced, its mass in and the mean mass of its pieces [kg]."""
    rows = []
    for row in batches.sort("start").with_columns(_next=pl.col("start").shift(-1)).iter_rows(named=True):
        end = _end(row)
        each = piece_g.get(row["product"] or "")
        if end is not None and each is not None and (row["mass_in_kg"] or 0) > 0:
            rows.append((row["start"], end, row["mass_in_kg"], each / 1000))
    return rows


def _end(row: Mapping[str, Any]) -> datetime | None:
    """Give until when pieces of a batch come: to the next batch's start, or a little after its own end."""
    nxt: datetime | None = row["_next"]
    end: datetime | None = row["end"]
    if nxt is not None and (nxt - row["start"]).total_seconds() <= LONGEST_S:
        return nxt
    return end
