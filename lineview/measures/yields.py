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
    mass_in = good = good_kg = count_u2 = reject_kg = pieces = 0.0
    used, counts_rejects = 0, counts.has_read("rejects")
    rows = batches.sort("start").with_columns(_next=pl.col("start").shift(-1)).iter_rows(named=True)
    for row in rows:
        end = _end(row)
        each = piece_g.get(row["product"] or "")
        if end is None or each is None or not (row["mass_in_kg"] or 0) > 0:
            continue
        at = micros([row["start"], end])
        pieces_of_batch = counts.pieces(at[:1], at[1:])
        counted = pieces_of_batch.good
        if (
            counted is None
            or counted.missing_s[0] > 0
            or np.isnan(counted.value[0])
            or not counted.readings[0]
        ):
            continue
        used += 1
        mass_in += row["mass_in_kg"]
        made = float(counted.value[0])
        good += made
        good_kg += made * each / 1000
        count_u2 += (float(counted.high[0] - counted.low[0]) * each / 1000) ** 2 / 12
        if counts_rejects and pieces_of_batch.rejects is not None:
            rejected = float(pieces_of_batch.rejects.value[0])
            reject_kg += rejected * each / 1000
            pieces += rejected
    if not used:
        return None
    u_good = math.hypot(good * u_piece_g / 1000, math.sqrt(count_u2))
    u_rejects = pieces * u_piece_g / 1000
    left = mass_in - good_kg - reject_kg
    u_scale = None if scale_error_kg is None else used * scale_error_kg / math.sqrt(3)
    u_left = math.sqrt(count_u2 + ((good + pieces) * u_piece_g / 1000) ** 2 + (u_scale or 0.0) ** 2)
    return Yield(
        used, mass_in, good, good_kg, u_good, reject_kg if counts_rejects else None, u_rejects, left, u_left,
        u_scale,
    )  # fmt: skip


def _end(row: Mapping[str, Any]) -> datetime | None:
    """Give until when pieces of a batch come: to the next batch's start, or a little after its own end."""
    nxt: datetime | None = row["_next"]
    end: datetime | None = row["end"]
    if nxt is not None and (nxt - row["start"]).total_seconds() <= LONGEST_S:
        return nxt
    return end
