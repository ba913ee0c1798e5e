"""The frames of the rope answer's pictures, and the table of the charts that watch for drift."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import polars as pl

from lineview.answers.answer import Table
from lineview.answers.rope_words import number
from lineview.columns import UTC_US
from lineview.measures.rope_account import RopeAccount
from lineview.measures.rope_ahead import forecast_end
from lineview.measures.rope_components import rope_components
from lineview.measures.rope_forecast import fan
from lineview.measures.rope_verdict import Verdict
from lineview.measures.rope_watch import ALLOWANCE, FALSE_ALARM_H
from lineview.stats.run_lengths import QUICK, SLOW


def rope_series(account: RopeAccount, found: Verdict | None) -> dict[str, pl.DataFrame]:
    """Give the frames for the pictures.

    Parameters
    ----------
    account : RopeAccount
        What was measured.
    found : Verdict or None
        The state of the rope.

    Returns
    -------
    dict of str to polars.DataFrame
        "batches", the charts "residuals", "ewma", "quick" and "cusum", "components", "forecast" and
        "adjustments".
    """
    out = {"batches": account.points}
    seen = account.watch
    if seen is not None:
        out |= {"residuals": seen.single, "ewma": seen.ewma, "quick": seen.quick, "cusum": seen.cusum}
    if account.model is not None:
        out["components"] = rope_components(account.model)
    if account.model is not None and account.ahead is not None:
        out["forecast"] = fan(account.model, account.ahead.now_h, forecast_end(account.model, account.ahead))
    rows: list[tuple[float, datetime, str, bool]] = [
        (e.running_h, e.at, e.label, e.recorded) for e in (found.effects if found else ())
    ]
    out["adjustments"] = pl.DataFrame(
        rows,
        schema={"running_h": pl.Float64, "at": UTC_US, "label": pl.String, "recorded": pl.Boolean},
        orient="row",
    )
    return out


def watch_table(account: RopeAccount) -> Table:
    """Give the charts that watch for drift: their parameters, limits and signals.

    Parameters
    ----------
    account : RopeAccount
        What was measured.

    Returns
    -------
    Table
        "watch"; without rows where there is no model.
    """
    columns = (
        ("chart", "chart", ""), ("parameter", "parameter", ""), ("low", "lower limit", "mm"),
        ("high", "upper limit", "mm"), ("rate", "one false alarm in", ""),
        ("signals", "signals", ""), ("stands", "since the last adjustment", ""),
        ("first", "first of these", ""),
    )  # fmt: skip
    title = "Charts of the batches' residuals that watch for drift (ISO 7870-2, -4 and -6)"
    seen = account.watch
    if seen is None:
        return Table("watch", title, columns, ())
    averages = (("EWMA", SLOW, seen.ewma), ("EWMA, quick", QUICK, seen.quick), ("Shewhart", 1.0, seen.single))
    rows: list[dict[str, Any]] = []
    for (chart, smoothing, frame), width in zip(averages, seen.widths, strict=True):
        parameter = f"L {number(width, 2)}" + (f", λ {smoothing:g}" if smoothing < 1 else "")
        row = {"chart": chart, "parameter": parameter, "low": frame["low"][-1], "high": frame["high"][-1]}
        rate = f"{FALSE_ALARM_H:.0f} h, with the other two"
        rows.append({**row, "rate": rate, **_signals(frame)})
    parameter, limit = f"k {ALLOWANCE:g}, h {number(seen.limit, 2)}", seen.cusum["limit"][-1]
    row = {"chart": "CUSUM", "parameter": parameter, "low": -limit, "high": limit}
    rows.append({**row, "rate": f"{FALSE_ALARM_H:.0f} h by itself", **_signals(seen.cusum)})
    return Table("watch", title, columns, rows)


def _signals(frame: pl.DataFrame) -> dict[str, Any]:
    standing = frame.filter("stands")
    first = standing["at"][0] if standing.height else None
    return {"signals": int(frame["signal"].sum()), "stands": standing.height, "first": first}
