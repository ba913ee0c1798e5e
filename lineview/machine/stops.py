"""Stops: how many, how long, how often, by reason."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import polars as pl

from lineview.core.frames import STATE_TIMELINE, require
from lineview.core.language import mark

STANDS = ("short stop", "stop", "changeover")
FAILURES = ("short stop", "stop")
RUNS = ("running", "slow")
#: What stands where nobody set a reason.
NO_REASON = mark("reason not set")


def stop_list(timeline: pl.DataFrame) -> pl.DataFrame:
    """List what stood: stops, short stops and changeovers, parts over a break or shift end kept apart.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE.

    Returns
    -------
    polars.DataFrame
        Columns start, end, minutes [min], state, reason, by time.

    Raises
    ------
    MeasureError
        Where the timeline lacks a column.
    """
    require(timeline, STATE_TIMELINE, "timeline")
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    stands = timeline.filter(pl.col("state").is_in(STANDS)).with_columns(minutes=minutes)
    return stands.select("start", "end", "minutes", "state", "reason").sort("start")


@dataclass(frozen=True)
class StopCount:
    """Stops and short stops, not changeovers: how many began, their minutes, the minutes run between."""

    events: int
    restored: int
    stopped_min: float
    run_min: float

    @property
    def mean_between_min(self) -> float | None:
        """Running minutes a stop [min]; None without a stop.

        ISO 22400-2 (from memory) divides by one more, the stretches that a shift's ends cut off counted as
        whole; time over failures is not shortened by them.
        """
        return self.run_min / self.events if self.events else None

    @property
    def mean_to_restore_min(self) -> float | None:
        """Mean length of the stops that ended [min]; None without one."""
        return self.stopped_min / self.restored if self.restored else None


def stop_count(timeline: pl.DataFrame) -> StopCount:
    """Count stops and short stops.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE by time.

    Returns
    -------
    StopCount
        A stop cut in two by a break counts once. One that the timeline begins with, or that begins in unseen
        time, is no failure of this timeline; one that it ends with, or that goes over into unseen time, is not
        restored: its length is not known.
    """
    require(timeline, STATE_TIMELINE, "timeline")
    on = timeline.filter(pl.col("state") != "break")
    run = on.filter(pl.col("state").is_in(RUNS))
    run_min = float((run["end"] - run["start"]).dt.total_microseconds().sum()) / 6e7
    began = stop_spells(on)
    complete = began.filter("whole")
    return StopCount(began.height, complete.height, float(complete["minutes"].sum()), run_min)


def stop_spells(timeline: pl.DataFrame, window: str | None = None) -> pl.DataFrame:
    """List the stops that began while the machine ran.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE by time; breaks are passed over.
    window : str, optional
        A column of it that numbers windows, each of which is looked at alone.

    Returns
    -------
    polars.DataFrame
        Columns minutes [min], run_before (minutes run up to it) [min], whole (whether its end was seen) and
        the window, 0 where none is named.
    """
    on = timeline.filter(pl.col("state") != "break").select(
        "state",
        minutes=(pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7,
        fails=pl.col("state").is_in(FAILURES),
        runs=pl.col("state").is_in(RUNS),
        window=pl.col(window) if window else pl.lit(0),
    )
    return (
        on.with_columns(spell=pl.struct("window", "fails").rle_id())
        .group_by("spell", maintain_order=True)
        .agg(
            pl.col("fails", "window").first(),
            pl.col("minutes").sum(),
            run=pl.when("runs").then("minutes").sum(),
            first=pl.col("state").first(),
            last=pl.col("state").last(),
        )
        .with_columns(
            run_before=pl.col("run").cum_sum().over("window"),
            began=pl.col("last").shift(1).over("window").is_in(RUNS).fill_null(value=False),
            whole=pl.col("first").shift(-1).over("window").is_in([*RUNS, "changeover"]).fill_null(value=False),
        )
        .filter("fails", "began")
        .select("minutes", "run_before", "whole", "window")
    )


def pareto(stops: pl.DataFrame) -> pl.DataFrame:
    """Sum standing by reason, the longest first.

    Parameters
    ----------
    stops : polars.DataFrame
        As of stop_list.

    Returns
    -------
    polars.DataFrame
        Columns reason, stops, minutes [min], share_percent and so_far_percent [%]. A changeover is "changeover"
        whatever a log says of part of it, as it is among the minutes and in the week.

    Examples
    --------
    >>> stops = {"state": ["stop"] * 3, "reason": ["jam", None, None]}
    >>> pareto(pl.DataFrame({"minutes": [2.0, 1.0, 1.0], **stops}))["so_far_percent"].to_list()
    [50.0, 100.0]
    """
    reason = pl.coalesce(pl.col("reason").str.strip_chars(), pl.lit(NO_REASON))
    cause = pl.when(pl.col("state") == "changeover").then("state").otherwise(reason)
    total = pl.col("minutes").sum()
    by_reason = stops.with_columns(reason=cause).group_by("reason", maintain_order=True)
    sums = by_reason.agg(stops=pl.len(), minutes=total).sort("minutes", "reason", descending=[True, False])
    share, so_far = pl.col("minutes") / total * 100, pl.col("minutes").cum_sum() / total * 100
    return sums.with_columns(share_percent=share, so_far_percent=so_far)


#: What a stop can be put down to. "own" holds those without a reason too: nobody gave another cause.
KINDS = ("own", mark("blocked"), mark("starved"), mark("outside"), mark("cleaning"), mark("maintenance"))
#: Kinds whose cause lies outside the machine.
OUTSIDE_KINDS = ("blocked", "starved", "outside")
_WORDS = (
    ("blocked", re.compile(r"\b(blocked|downstream)\b", re.IGNORECASE)),
    ("starved", re.compile(r"\b(starved|upstream|no (batch|product|rope|material))\b", re.IGNORECASE)),
    ("outside", re.compile(r"\b(outside|waiting|power cut|no staff)\b|^break$", re.IGNORECASE)),
)
_CODED = ("cleaning", "maintenance")


@lru_cache(maxsize=1024)  # a season's thousands of stops have some dozens of reasons
def stop_kind(reason: str | None, code: str | None = None) -> str:
    """The kind of a stop."""
    for text in (reason, code):
        for kind, words in _WORDS:
            if text and words.search(text):
                return kind
        if text in _CODED:
            return str(text)
    return "own"


def with_kinds(timeline: pl.DataFrame) -> pl.DataFrame:
    """A timeline with the kind of each stop.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE; a column `code` is read where there is one.

    Returns
    -------
    polars.DataFrame
        With `kind`, one of KINDS on stops and short stops, null elsewhere.

    Raises
    ------
    MeasureError
        Where the timeline lacks a column.
    """
    require(timeline, STATE_TIMELINE, "timeline")
    codes = timeline["code"].to_list() if "code" in timeline.columns else [None] * timeline.height
    standing = timeline["state"].is_in(["stop", "short stop"]).to_list()
    kinds = [
        stop_kind(why, code) if is_standing else None
        for is_standing, why, code in zip(standing, timeline["reason"].to_list(), codes, strict=True)
    ]
    return timeline.with_columns(kind=pl.Series("kind", kinds, dtype=pl.String))
