"""Reasons that people or machines gave for a stop, matched to the stops that the counter shows."""

from __future__ import annotations

import re

import numpy as np
import polars as pl

from lineview.measures.rate import Bools, Ints

#: Reasons that say the product was changed.
CHANGEOVER_WORDS = re.compile(
    r"change[ -]?over|(change|switch)( of| to)? (\w+ )?(flavou?r|product|colou?r|recipe|base)"
    r"|(flavou?r|product|colou?r|recipe) (change|switch)|sortenwechsel|produktwechsel|umr[üu]st",
    re.IGNORECASE,
)
#: A log is written by hand: its times may be off by this much [µs].
LOG_LATE_US = 120_000_000


def reason_of(begins: Ints, ends: Ints, stop_log: pl.DataFrame) -> list[str | None]:
    """Give the logged reason of each stretch, or None.

    Parameters
    ----------
    begins, ends : array of int
        The stretches [µs since 1970].
    stop_log : polars.DataFrame
        STOP_LOG of one machine; a row without an end is a moment.

    Returns
    -------
    list of str or None
        The reason whose row overlaps the stretch most; without overlap the nearest one within two minutes
        that overlaps no other stretch: a row that fits one stop says nothing of its neighbour.
    """
    log = stop_log.drop_nulls(["start", "reason"]).sort("start") if stop_log.height else stop_log
    if not log.height:
        return [None] * len(begins)
    start = log["start"].dt.epoch("us").to_numpy()
    end = log["end"].fill_null(log["start"]).dt.epoch("us").to_numpy()
    end = np.maximum(end, start)
    longest = int((end - start).max())
    words = log["reason"].to_list()
    taken = _overlaps_any(start, end, begins, ends)
    reasons: list[str | None] = []
    for a, b in zip(begins.tolist(), ends.tolist(), strict=True):
        first = int(np.searchsorted(start, a - LOG_LATE_US - longest))
        last = int(np.searchsorted(start, b + LOG_LATE_US, side="right"))
        meet = np.minimum(end[first:last], b) - np.maximum(start[first:last], a)
        meet = np.where((meet < 0) & taken[first:last], -LOG_LATE_US - 1, meet)
        best = int(np.argmax(meet)) if last > first else -1
        reasons.append(words[first + best] if best >= 0 and meet[best] >= -LOG_LATE_US else None)
    return reasons


def _overlaps_any(start: Ints, end: Ints, begins: Ints, ends: Ints) -> Bools:
    """Tell which rows overlap a stretch; the stretches are in order and apart."""
    if not len(begins):
        return np.zeros(len(start), dtype=bool)
    next_end = np.searchsorted(ends, start, side="right")
    inside = next_end < len(ends)
    return np.asarray(inside & (begins[np.minimum(next_end, len(ends) - 1)] < end))
