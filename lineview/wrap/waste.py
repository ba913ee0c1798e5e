"""Fixed waste of a web: metres lost at each restart, reel, splice and changeover, assumed until learned."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.machine.pieces import micros
from lineview.plant import Web


@dataclass(frozen=True)
class Allowance:
    """Metres lost each time [m] with a 95 % interval where learned; else the plant file's own figure."""

    metres: float
    low: float
    high: float
    is_learned: bool
    n: int = 0


@dataclass(frozen=True)
class Waste:
    """Allowances of one web. `restart` and `changeover` are None until learned: plant.toml has no key for them.

    `reel_start` and `splice` pass through the machine and its feed counter; `reel_end` stays on the core.
    """

    restart: Allowance | None
    reel_start: Allowance
    reel_end: Allowance
    splice: Allowance
    changeover: Allowance | None
    proportional: Allowance


def assumed_waste(web: Web) -> Waste:
    """The allowances of plant.toml, marked as assumptions."""

    def stated(metres: float) -> Allowance:
        return Allowance(metres, metres, metres, is_learned=False)

    return Waste(
        restart=None,
        reel_start=stated(web.start_m),
        reel_end=stated(web.end_m),
        splice=stated(web.splice_m),
        changeover=None,
        proportional=stated(web.running_waste_percent / 100.0),
    )


STANDING = ("short stop", "stop", "changeover", "break")
RUNNING = ("running", "slow")


@dataclass(frozen=True)
class WrapEvents:
    """When a machine restarted after standing, and after a changeover [µs]; and each standing, start to end.

    A changeover's web is fed while it stands or when it restarts; it is dated by the end of its standing.
    """

    restarts_us: tuple[int, ...]
    changeovers_us: tuple[int, ...]
    standings_us: tuple[tuple[int, int], ...] = ()


def wrap_events(timeline: pl.DataFrame) -> WrapEvents:
    """Find restarts and changeovers on a timeline; a break within a changeover does not make two of it."""
    standing = pl.col("state").is_in(list(STANDING))
    blocks = (
        timeline.sort("start")
        .with_columns(
            stands=standing,
            block=standing.rle_id(),
            after=pl.col("state").shift(-1).is_in(list(RUNNING)).fill_null(value=False),
        )
        .filter("stands")
        .group_by("block", maintain_order=True)
        .agg(
            pl.col("start").first().dt.epoch("us"),
            pl.col("end").last().dt.epoch("us"),
            pl.col("after").last(),
            changed=(pl.col("state") == "changeover").any(),
        )
    )
    return WrapEvents(
        tuple(blocks.filter("after")["end"].to_list()),
        tuple(blocks.filter("changed")["end"].to_list()),
        tuple(blocks.select("start", "end").rows()),
    )


def count_within(moments_us: tuple[int, ...], start: datetime, end: datetime) -> int:
    """Count the moments [µs], given in order, from `start` up to, not including, `end`."""
    start_us, end_us = micros((start, end)).tolist()
    return max(bisect_left(moments_us, end_us) - bisect_left(moments_us, start_us), 0)
