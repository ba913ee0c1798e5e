"""State channels: what a machine's own state names and codes mean, by name and never by number alone."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from lineview.columns import STOP_LOG, empty
from lineview.plant import Machine

#: What a state can mean to the shift. "blocked": the next machine cannot take product; "starved": the one
#: before cannot send any; "outside": standing by a cause outside the machine, not told which.
MEANINGS = ("running", "stop", "changeover", "blocked", "starved", "outside", "idle", "maintenance")
#: Meanings whose cause lies outside the machine.
OUTSIDE = ("blocked", "starved", "outside")

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


def state_log(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """Give what a machine's state channel says of its standing, as a stop log.

    Parameters
    ----------
    machine : Machine
        With a gauge that measures "state", or without.
    readings : polars.DataFrame
        READINGS of the machine; a state's name stands in `text`, a code in `text` or `value`.

    Returns
    -------
    polars.DataFrame
        STOP_LOG: one row a stretch, `reason` one of MEANINGS but "running" and "stop", which give no reason.
        A state lasts until the next one. States that cannot be told are left out.
    """
    gauge = machine.gauge("state")
    if gauge is None:
        return empty(STOP_LOG)
    own = readings.filter((pl.col("channel") == gauge.id) & (pl.col("quality") == "good")).sort("at")
    named = own.select(
        "at",
        "intake",
        "row",
        state=pl.coalesce("text", pl.col("value").cast(pl.Int64, strict=False).cast(pl.String)),
    ).drop_nulls("state")
    known = {s: meaning(s, gauge.codes) for s in named["state"].unique().to_list()}
    told = named.with_columns(
        reason=pl.col("state").replace_strict(list(known), list(known.values()), return_dtype=pl.String)
        if known
        else pl.lit(None, pl.String)
    )
    return (
        told.with_columns(spell=pl.col("reason").fill_null("").rle_id())
        .group_by("spell", maintain_order=True)
        .agg(pl.col("at").first().alias("start"), pl.col("reason", "intake", "row").first())
        .with_columns(end=pl.col("start").shift(-1), machine=pl.lit(machine.id))
        .filter(pl.col("reason").is_not_null() & ~pl.col("reason").is_in(["running", "stop"]))
        .select(list(STOP_LOG))
    )


def unknown_states(machine: Machine, readings: pl.DataFrame) -> list[str]:
    """List the states of a machine's channel that cannot be told.

    Parameters
    ----------
    machine : Machine
        As in state_log.
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
    text = pl.coalesce("text", pl.col("value").cast(pl.Int64, strict=False).cast(pl.String))
    states = own.select(state=text)["state"].drop_nulls().unique().to_list()
    return sorted(s for s in states if meaning(s, gauge.codes) is None)
