"""The reading of each channel nearest to a moment, before or after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import polars as pl

from lineview.columns import READINGS, empty
from lineview.store.query import Measured
from lineview.store.settle import one_a_moment

_HOUR = 3_600_000_000


def last_before(
    readings: Measured, spans: pl.DataFrame, machine: str, moment: int, channels: Sequence[str] | None
) -> pl.DataFrame:
    """Give the last undisputed reading of each channel before a moment [µs since 1970].

    Parameters
    ----------
    readings : Measured
        Where they are.
    spans : polars.DataFrame
        From lineview.store.extents.spans, of this machine.
    machine : str
        Its id.
    moment : int
        Not included.
    channels : sequence of str, optional
        Only of these.

    Returns
    -------
    polars.DataFrame
        READINGS, at most one a channel.
    """
    there = spans.filter(pl.col("first") < moment)
    if channels is not None:
        there = there.filter(pl.col("channel").is_in(list(channels)))
    wanted = set(there["channel"])
    found = [empty(READINGS)]
    windows = _backwards(there, moment)
    while wanted:
        window = next(windows, None)
        if window is None:
            break
        rows = one_a_moment(readings.rows(machine, *window, sorted(wanted)))
        last = rows.group_by("channel", maintain_order=True).last().select(list(READINGS))
        found.append(last)
        wanted -= set(last["channel"])
    return pl.concat(found).sort("channel")


def first_after(
    readings: Measured, spans: pl.DataFrame, machine: str, moment: int, channels: Sequence[str] | None
) -> pl.DataFrame:
    """Give the first undisputed reading of each channel at or after a moment [µs since 1970].

    Parameters
    ----------
    readings : Measured
        Where they are.
    spans : polars.DataFrame
        From lineview.store.extents.spans, of this machine.
    machine : str
        Its id.
    moment : int
        Included.
    channels : sequence of str, optional
        Only of these.

    Returns
    -------
    polars.DataFrame
        READINGS, at most one a channel.
    """
    there = spans.filter(pl.col("last") >= moment)
    if channels is not None:
        there = there.filter(pl.col("channel").is_in(list(channels)))
    wanted = set(there["channel"])
    found = [empty(READINGS)]
    windows = _forwards(there, moment)
    while wanted:
        window = next(windows, None)
        if window is None:
            break
        rows = one_a_moment(readings.rows(machine, *window, sorted(wanted)))
        first = rows.group_by("channel", maintain_order=True).first().select(list(READINGS))
        found.append(first)
        wanted -= set(first["channel"])
    return pl.concat(found).sort("channel")


def _backwards(there: pl.DataFrame, moment: int) -> Iterator[tuple[int, int]]:
    """Give windows from the moment backwards, each wider; stretches in which no intake has readings go."""
    end, width = moment - 1, _HOUR
    while (reach := there.filter(pl.col("first") <= end)).height:
        end = int(reach.select(pl.min_horizontal("last", pl.lit(end)).max()).item())
        yield end - width + 1, end
        end, width = end - width, width * 8


def _forwards(there: pl.DataFrame, moment: int) -> Iterator[tuple[int, int]]:
    start, width = moment, _HOUR
    while (reach := there.filter(pl.col("last") >= start)).height:
        start = int(reach.select(pl.max_horizontal("first", pl.lit(start)).min()).item())
        yield start, start + width - 1
        start, width = start + width, width * 8
