"""Every frame that crosses a folder: its columns, types and units."""

from __future__ import annotations

import polars as pl

from lineview.core.errors import Fault, MeasureError

UTC_US = pl.Datetime("us", "UTC")

#: One value of one counter or gauge at one moment. `channel` is the id of a counter or gauge in the
#: plant description; `value` is in that channel's unit; `text` holds a state's code or name instead of a
#: value; `quality` is "good" or "uncertain" (bad readings are refusals and never come here); `intake` and
#: `row` say which export and which line of it.
READINGS: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "channel": pl.String(),
    "at": UTC_US,
    "value": pl.Float64(),
    "text": pl.String(),
    "quality": pl.String(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: One weighing: `pieces` pieces together weigh `mass_g` [g], the wrap's mass included where `gross`.
WEIGHTS: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "at": UTC_US,
    "mass_g": pl.Float64(),
    "pieces": pl.Int64(),
    "gross": pl.Boolean(),
    "batch": pl.String(),
    "sample": pl.String(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: A batch as the batch sheet has it; `end` and `mass_in_kg` [kg] may be null.
BATCHES: dict[str, pl.DataType] = {
    "line": pl.String(),
    "batch": pl.String(),
    "product": pl.String(),
    "start": UTC_US,
    "end": UTC_US,
    "mass_in_kg": pl.Float64(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: A stop as a person or a machine logged it.
STOP_LOG: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "start": UTC_US,
    "end": UTC_US,
    "reason": pl.String(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: A reel change: the reel mounted at `at`; `length_m` [m] as its label says; `left_m` is what was still on
#: the reel taken off, `splices` the splices in the new one.
REELS: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "at": UTC_US,
    "web": pl.String(),
    "reel": pl.String(),
    "length_m": pl.Float64(),
    "left_m": pl.Float64(),
    "splices": pl.Int64(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: A count of the shelf: whole reels, and part reels by their outer diameter [mm].
STOCK: dict[str, pl.DataType] = {
    "at": UTC_US,
    "web": pl.String(),
    "whole_reels": pl.Float64(),
    "part_reel_outer_mm": pl.Float64(),
    "on_order_reels": pl.Float64(),
    "expected_on": UTC_US,
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: The plan: pieces of a product wanted from one moment to another.
PLAN: dict[str, pl.DataType] = {
    "line": pl.String(),
    "product": pl.String(),
    "start": UTC_US,
    "end": UTC_US,
    "pieces": pl.Float64(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}

#: What people did to a machine, from the journal (or a stop log's maintenance rows).
ADJUSTMENTS: dict[str, pl.DataType] = {"machine": pl.String(), "at": UTC_US, "what": pl.String(), "note": pl.String()}

#: Trials as they stand: what was changed from when (until `ends_at`, null where it stayed), on a line or one machine
#: of it, what it is judged by, which line is beside it ("" for none), what change is worth having, how many shifts are
#: planned; the verdict and what was decided, "" until it is closed; who noted it when, and who changed it last.
TRIALS: dict[str, pl.DataType] = {
    "trial": pl.Int64(),
    "begins_at": UTC_US,
    "ends_at": UTC_US,
    "what": pl.String(),
    "line": pl.String(),
    "machine": pl.String(),
    "beside": pl.String(),
    "measure": pl.String(),
    "worth_percent": pl.Float64(),
    "shifts": pl.Int64(),
    "verdict": pl.String(),
    "decision": pl.String(),
    "set_at": UTC_US,
    "who": pl.String(),
    "noted_at": UTC_US,
}

#: What people wrote, the latest first: adjustments, and notes (whose words are in `what`). `entry` names it,
#: `who` and `set_at` say who wrote its present form and when; `revisions` counts its forms, withdrawn or not.
MANUAL_ENTRIES: dict[str, pl.DataType] = {
    "entry": pl.String(),
    "kind": pl.String(),
    "machine": pl.String(),
    "at": UTC_US,
    "what": pl.String(),
    "note": pl.String(),
    "who": pl.String(),
    "set_at": UTC_US,
    "revisions": pl.Int64(),
    "withdrawn": pl.Boolean(),
}

#: A row, or a cell of a row, that could not be used. `column` is the header, "" for a whole row.
REFUSALS: dict[str, pl.DataType] = {
    "intake": pl.Int64(),
    "file": pl.String(),
    "row": pl.Int64(),
    "column": pl.String(),
    "text": pl.String(),
    "reason": pl.String(),
}

#: A stretch of a machine's clock in one state. The stretches of a shift are without gap or overlap and add
#: up to it exactly. `pieces` is null where unseen; `reason` null where none is known.
STATE_TIMELINE: dict[str, pl.DataType] = {
    "start": UTC_US,
    "end": UTC_US,
    "state": pl.String(),
    "pieces": pl.Float64(),
    "pieces_low": pl.Float64(),
    "pieces_high": pl.Float64(),
    "reason": pl.String(),
}

STATES = ("running", "slow", "short stop", "stop", "changeover", "break", "unseen")

#: The shift calendar: one row a shift and stretch; `part` is "planned" or "break".
CALENDAR: dict[str, pl.DataType] = {
    "shift": pl.String(),
    "date": pl.Date(),
    "start": UTC_US,
    "end": UTC_US,
    "part": pl.String(),
}

#: One point a batch of the rope: mean and spread of the diameter [mm] within it, running hours [h] of the
#: machine at its middle since the period's start.
ROPE_BATCHES: dict[str, pl.DataType] = {
    "batch": pl.String(),
    "product": pl.String(),
    "at": UTC_US,
    "running_h": pl.Float64(),
    "diameter_mm": pl.Float64(),
    "deviation_mm": pl.Float64(),
    "sd_mm": pl.Float64(),
    "temperature_c": pl.Float64(),
    "n": pl.Int64(),
}


def empty(schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """A frame of no rows with the columns of a schema, in order.

    Examples
    --------
    >>> from lineview.core.frames import REELS, empty
    >>> empty(REELS).width
    9
    """
    return pl.DataFrame(schema=schema)


def require(frame: pl.DataFrame, schema: dict[str, pl.DataType], where: str) -> None:
    """Raise with every missing or mistyped column of a frame at once.

    Parameters
    ----------
    frame : polars.DataFrame
        Further columns are allowed.
    schema : dict
        What it must have.
    where : str
        The argument's name, for the message.

    Raises
    ------
    MeasureError
        With one fault a column.
    """
    faults = []
    for name, dtype in schema.items():
        if name not in frame.columns:
            faults.append(Fault(f"column '{name}' is missing", where, f"{name}: {dtype}"))
        elif frame.schema[name] != dtype and frame.height:
            faults.append(Fault(f"column '{name}' is {frame.schema[name]}", where, f"{name}: {dtype}"))
    if faults:
        raise MeasureError(faults)
