"""The fields of weights, batches, stops, reels, stock and plan: what they hold and which must be there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import polars as pl

from lineview.core import frames
from lineview.core.language import mark

ExportKind = Literal["readings", "weights", "batches", "stops", "reels", "stock", "plan"]
#: What counters count and gauges measure is called.
CHANNEL_NAMES: dict[str, str] = {
    "pieces": mark("pieces"),
    "good pieces": mark("good pieces"),
    "rejects": mark("rejects"),
    "blank wraps": mark("blank wraps"),
    "film": mark("film"),
    "wax paper": mark("wax paper"),
    "rope": mark("rope"),
    "rope diameter": mark("rope diameter"),
    "rope temperature": mark("rope temperature"),
    "roller speed": mark("roller speed"),
    "state": mark("state"),
    "batch": mark("batch"),
    "product": mark("product"),
}
CellKind = Literal["text", "moment", "number", "whole", "duration", "week"]


@dataclass(frozen=True)
class Field:
    """What a field's cells hold; `unit` is the one it is kept in, `least` the smallest number that can be."""

    holds: CellKind
    unit: str = ""
    least: float | None = None
    above: float | None = None


FIELDS: dict[ExportKind, dict[str, Field]] = {
    "weights": {
        "mass_g": Field("number", "g", above=0),
        "pieces": Field("whole", "pieces", above=0),
        "batch": Field("text"),
        "sample": Field("text"),
    },
    "batches": {
        "batch": Field("text"),
        "product": Field("text"),
        "start": Field("moment"),
        "end": Field("moment"),
        "mass_in_kg": Field("number", "kg", above=0),
    },
    "stops": {
        "start": Field("moment"),
        "end": Field("moment"),
        "duration": Field("duration", "s", least=0),
        "reason": Field("text"),
    },
    "reels": {
        "web": Field("text"),
        "reel": Field("text"),
        "length_m": Field("number", "m", above=0),
        "left_m": Field("number", "m", least=0),
        "splices": Field("whole", "", least=0),
    },
    "stock": {
        "web": Field("text"),
        "whole_reels": Field("number", "", least=0),
        "part_reel_outer_mm": Field("number", "mm", above=0),
        "on_order_reels": Field("number", "", least=0),
        "expected_on": Field("moment"),
    },
    "plan": {
        "product": Field("text"),
        "start": Field("moment"),
        "end": Field("moment"),
        "week": Field("week"),
        "pieces": Field("number", "pieces", least=0),
    },
}

#: What a header of each kind of export can mean, besides counters and gauges.
TARGETS: dict[ExportKind, tuple[str, ...]] = {
    "readings": ("machine", "at", "quality"),
    **{kind: (*of_kind, "machine", "line", "at") for kind, of_kind in FIELDS.items()},
}

#: The field that `time` of a layout fills.
TIME_FIELD: dict[ExportKind, str] = {
    "weights": "at",
    "batches": "start",
    "stops": "start",
    "reels": "at",
    "stock": "at",
    "plan": "start",
}

#: Without these a row is of no use; of a tuple within, one is enough.
ESSENTIAL: dict[ExportKind, tuple[str | tuple[str, ...], ...]] = {
    "weights": ("at", "machine", "mass_g"),
    "batches": ("start", "line", "batch"),
    "stops": ("start", "machine"),
    "reels": ("at", "machine", "web"),
    "stock": ("at", "web", ("whole_reels", "part_reel_outer_mm", "on_order_reels")),
    "plan": ("start", "end", "line", "product", "pieces"),
}

SCHEMAS: dict[ExportKind, dict[str, pl.DataType]] = {
    "readings": frames.READINGS,
    "weights": frames.WEIGHTS,
    "batches": frames.BATCHES,
    "stops": frames.STOP_LOG,
    "reels": frames.REELS,
    "stock": frames.STOCK,
    "plan": frames.PLAN,
}
