"""What the machine's states add to a shift's sums: kinds of stop, minutes told without a counter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.measures.stop_kinds import with_kinds


@dataclass(frozen=True)
class CodedSums:
    """By the place of the shift.

    Parameters
    ----------
    kinds : mapping
        Of each shift, (state, kind of stop) to minutes [min] and pieces; without the machine's own stops.
    run_min, stand_min : mapping
        Minutes run and stood that the states alone tell [min].
    uncounted_min : mapping
        Running minutes whose pieces no counter tells [min].
    """

    kinds: Mapping[int, Mapping[tuple[str, str], tuple[float, float]]]
    run_min: Mapping[int, float]
    stand_min: Mapping[int, float]
    uncounted_min: Mapping[int, float]


def coded_sums(rows: pl.DataFrame) -> CodedSums:
    """Sum the kinds of stop, and what is told by states alone.

    Parameters
    ----------
    rows : polars.DataFrame
        TAPE with columns us [µs] and shift, the shift's place.

    Returns
    -------
    CodedSums
        Without a key where there is nothing.
    """
    kinds, runs = _kinds(rows), pl.col("state").is_in(["running", "slow"])
    if "coded" not in rows.columns or not rows["coded"].any():
        uncounted = _minutes(rows, runs & pl.col("pieces").is_null()) if rows["pieces"].null_count() else {}
        return CodedSums(kinds, {}, {}, uncounted)
    stands = pl.col("coded") & ~runs & ~pl.col("state").is_in(["unseen", "break"])
    return CodedSums(
        kinds,
        _minutes(rows, pl.col("coded") & runs),
        _minutes(rows, stands),
        _minutes(rows, runs & pl.col("pieces").is_null()),
    )


def _kinds(rows: pl.DataFrame) -> dict[int, dict[tuple[str, str], tuple[float, float]]]:
    said = [name for name in ("reason", "code") if name in rows.columns and rows[name].count()]
    if not said:
        return {}
    kinds: dict[int, dict[tuple[str, str], tuple[float, float]]] = {}
    stops = with_kinds(rows.filter(pl.col("state").is_in(["stop", "short stop"])))
    others = stops.filter(pl.col("kind") != "own")
    by_kind = others.group_by("shift", "state", "kind").agg(pl.col("us").sum(), pl.col("pieces").sum())
    for shift, state, kind, us, made in by_kind.sort("shift", "state", "kind").iter_rows():
        kinds.setdefault(shift, {})[state, kind] = (us / 6e7, float(made or 0.0))
    return kinds


def _minutes(rows: pl.DataFrame, which: pl.Expr) -> dict[int, float]:
    own = rows.filter(which)
    if not own.height:
        return {}
    return {shift: us / 6e7 for shift, us in own.group_by("shift").agg(pl.col("us").sum()).iter_rows()}
