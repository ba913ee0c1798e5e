"""State channels: what a machine's own state names and codes mean, by name and never by number alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

import polars as pl

from lineview.columns import UTC_US, empty
from lineview.plant import Machine, StateMeaning

#: What a state can mean to the shift.
MEANINGS: tuple[str, ...] = get_args(StateMeaning)
#: Meanings in which a counter that goes on counts no production.
SET_ASIDE = ("maintenance",)

#: The state names of ANSI/ISA-TR88.00.02. Held is standing by the machine's own cause, Suspended by one
#: outside it. Two published lists number these names differently, so a number means nothing by itself.
STANDARD_NAMES: Mapping[str, str] = {
    "undefined": "idle",
    "clearing": "stop",
    "stopped": "stop",
    "starting": "stop",
    "idle": "idle",
    "suspended": "outside",
    "execute": "running",
    "stopping": "stop",
    "aborting": "stop",
    "aborted": "stop",
    "holding": "stop",
    "held": "stop",
    "unholding": "stop",
    "suspending": "outside",
    "unsuspending": "outside",
    "resetting": "idle",
    "completing": "idle",
    "complete": "idle",
}
#: Plain words that exports use besides.
PLAIN_WORDS: Mapping[str, str] = {
    "run": "running",
    "running": "running",
    "stop": "stop",
    "fault": "stop",
    "changeover": "changeover",
    "blocked": "blocked",
    "equipmentblocked": "blocked",
    "starved": "starved",
    "equipmentstarved": "starved",
    "maintenance": "maintenance",
    "manual": "maintenance",
    "cleaning": "cleaning",
    "break": "break",
}


def meaning(state: str, codes: Mapping[str, str]) -> str | None:
    """Give what a state means.

    Parameters
    ----------
    state : str
        As the export has it.
    codes : mapping
        As declared for the gauge in plant.toml; it goes before the standard's names.

    Returns
    -------
    str or None
        One of MEANINGS; None where it cannot be told: a number that nobody declared, or an unknown word.

    Notes
    -----
    Source: isa-tr88

    Examples
    --------
    >>> meaning("Execute", {}), meaning("6", {}), meaning("6", {"6": "running"})
    ('running', None, 'running')
    """
    key = state.strip().casefold()
    declared = {code.strip().casefold(): what for code, what in codes.items()}
    key = key.removesuffix(".0") if key.removesuffix(".0").isdigit() else key
    what = declared.get(key)
    if what is None:
        word = "".join(ch for ch in key if ch.isalnum())
        what = STANDARD_NAMES.get(word) or PLAIN_WORDS.get(word)
    return what if what in MEANINGS else None


#: Rows of a state channel: what it said and what that means, null where it cannot be told.
TOLD: dict[str, pl.DataType] = {"at": UTC_US, "state": pl.String(), "meaning": pl.String()}


def told_states(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """Give what a machine's state channel said, row by row.

    Parameters
    ----------
    machine : Machine
        With a gauge that measures "state", or without.
    readings : polars.DataFrame
        READINGS of the machine; a state's name stands in `text`, a code in `text` or `value`.

    Returns
    -------
    polars.DataFrame
        TOLD by time, the last row of each moment. Uncertain rows are left out.
    """
    gauge = machine.gauge("state")
    if gauge is None:
        return empty(TOLD)
    own = readings.filter((pl.col("channel") == gauge.id) & (pl.col("quality") == "good"))
    named = own.select("at", state=_state()).drop_nulls().sort("at", maintain_order=True)
    named = named.unique("at", keep="last", maintain_order=True)
    known = {s: meaning(s, gauge.codes) for s in named["state"].unique().to_list()}
    if not known:
        return empty(TOLD)
    what = pl.col("state").replace_strict(list(known), list(known.values()), return_dtype=pl.String)
    return named.with_columns(meaning=what)


def _state() -> pl.Expr:
    return pl.coalesce("text", pl.col("value").cast(pl.Int64, strict=False).cast(pl.String))


def unknown_states(machine: Machine, readings: pl.DataFrame) -> list[str]:
    """List the states of a machine's channel that cannot be told.

    Parameters
    ----------
    machine : Machine
        As in told_states.
    readings : polars.DataFrame
        READINGS of the machine.

    Returns
    -------
    list of str
        In order; for a note that asks for their meaning.
    """
    gauge = machine.gauge("state")
    if gauge is None:
        return []
    own = readings.filter(pl.col("channel") == gauge.id)
    states = own.select(state=_state())["state"].drop_nulls().unique().to_list()
    return sorted(s for s in states if meaning(s, gauge.codes) is None)
