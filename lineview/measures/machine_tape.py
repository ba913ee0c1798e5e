"""A machine's state timeline from its counts: finds the changeovers and classifies its minutes."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineview.columns import STOP_LOG, empty, require
from lineview.machine.pieces import MachineCounts
from lineview.measures.changeovers import cut_clock, find_changeovers, marked, product_changes
from lineview.measures.changeovers_found import FOUND, found_changeovers
from lineview.measures.tape import lay

#: What stands as the reason of a changeover that nobody marked.
FOUND_REASON = "changeover found, not recorded"


def line_changeovers(
    counts: MachineCounts,
    batches: pl.DataFrame,
    cal: pl.DataFrame,
    gauges: Sequence[pl.DataFrame] = (),
) -> pl.DataFrame:
    """Give a machine's changeovers: by its marks, or found in the rope where there are none.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    batches : polars.DataFrame
        BATCHES; changes of product make standing a changeover.
    cal : polars.DataFrame
        CALENDAR.
    gauges : sequence of polars.DataFrame, optional
        Columns at, value of the rope's gauges on the line.

    Returns
    -------
    polars.DataFrame
        FOUND; `sure` is null where they are marked.
    """
    if marked(counts.machine, counts.marks, batches):
        changes = product_changes(counts.machine, counts.marks, batches)
        recorded = find_changeovers(counts.seen, changes)
        return recorded.with_columns(sure=pl.lit(None, pl.Float64))
    planned = cal.filter(pl.col("part") == "planned").select("start", "end")
    return found_changeovers(counts.seen, gauges, planned) if gauges else empty(FOUND)


def tape_of(
    counts: MachineCounts,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    cal: pl.DataFrame,
    *,
    short_stop_min: float,
    changeovers: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Give the tape of a machine whose counters are worked out.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    batches : polars.DataFrame
        BATCHES; changes of product make standing a changeover.
    stop_log : polars.DataFrame
        STOP_LOG; rows of other machines are passed over.
    cal : polars.DataFrame
        CALENDAR.
    short_stop_min : float
        A stop shorter than this is a short one [min].
    changeovers : polars.DataFrame, optional
        As of line_changeovers; by default those of its marks.

    Returns
    -------
    polars.DataFrame
        As of lineview.measures.tape.lay; changeovers that were found say so as their reason.
    """
    require(stop_log, STOP_LOG, "stop_log")
    machine = counts.machine
    if changeovers is None:
        changeovers = line_changeovers(counts, batches, cal)
    laid = lay(
        cut_clock(counts.seen, changeovers["start"]),
        cal,
        short_stop_min=short_stop_min,
        changeovers=changeovers,
        stop_log=stop_log.filter(pl.col("machine") == machine.id),
        spells=counts.spells,
    )
    if not changeovers["sure"].is_not_null().any():
        return laid
    found = (pl.col("state") == "changeover") & pl.col("reason").is_null() & pl.col("code").is_null()
    return laid.with_columns(reason=pl.when(found).then(pl.lit(FOUND_REASON)).otherwise("reason"))
