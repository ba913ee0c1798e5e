"""What each question works on: frames and counts of its own, fetched at the edge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from lineview.core.estimate import Estimate
from lineview.machine.pieces import MachineCounts
from lineview.measures.contents_rules import ContentsRules
from lineview.measures.rope_account import RopeAccount, RopeSeen


@dataclass(frozen=True)
class ShiftInputs:
    """Of a cut-and-wrap machine: its counts from a little before the period to a little after it.

    `batches`, `stop_log`, `reels` and `plan` are frames of core.frames; `rope_gauges` hold at and value of
    the line's gauges where no batch sheet marks the products.
    """

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame
    plan: pl.DataFrame
    rope_gauges: Sequence[pl.DataFrame] = ()


@dataclass(frozen=True)
class WrapInputs:
    """Of a cut-and-wrap machine: its counts over the period, batches, stop log and reel log."""

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame


@dataclass(frozen=True)
class RopeInputs:
    """Of a sizer: what was read of its rope, and what was measured of the works' other sizers, by sizer."""

    seen: RopeSeen
    elsewhere: Mapping[str, RopeAccount] = field(default_factory=dict)


@dataclass(frozen=True)
class WeightInputs:
    """Of a cut-and-wrap machine: weights, batches and counts; its line's rope; the other lines' weights.

    `net_contents` holds the dated rules for packages by name ("hb133", "eu", "r87"); it may be empty. The
    weights and batches of other lines are to compare with, and in no figure of the line asked about.
    """

    counts: MachineCounts
    weights: pl.DataFrame
    batches: pl.DataFrame
    rope_gauges: pl.DataFrame
    rope_counts: MachineCounts | None
    net_contents: Mapping[str, ContentsRules]
    weights_elsewhere: pl.DataFrame
    batches_elsewhere: pl.DataFrame


@dataclass(frozen=True)
class OrderInputs:
    """Of every cut-and-wrap machine, for stock is common to the works.

    `counts` of the recent weeks by machine; `made` what was made by line, day and product (DAILY_OUTPUT);
    `good` the good pieces of the period asked for; batches, reels, plan and stock.
    """

    counts: Mapping[str, MachineCounts]
    made: pl.DataFrame
    good: Estimate
    batches: pl.DataFrame
    reels: pl.DataFrame
    stock: pl.DataFrame
    plan: pl.DataFrame


Inputs = ShiftInputs | WrapInputs | RopeInputs | WeightInputs | OrderInputs
