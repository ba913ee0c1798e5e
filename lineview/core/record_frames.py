"""The table of records: one row a machine and window, a shift or the time between two, and its columns."""

from __future__ import annotations

import polars as pl

from lineview.core.frames import UTC_US

_TIMES = pl.List(pl.Int64())
_NUMBERS = pl.List(pl.Float64())
_NAMES = pl.List(pl.String())

#: A window of a machine's time: a shift of the plant's calendar, or the time between two shifts within a day.
WINDOWS: dict[str, pl.DataType] = {"start": UTC_US, "end": UTC_US, "shift": pl.String(), "date": pl.Date()}

#: What a record was worked out from: it is stale when any of these is different now.
COMPUTED_FROM: dict[str, pl.DataType] = {
    "intakes": pl.List(pl.Int64()),
    "events": pl.String(),
    "plant": pl.String(),
    "code": pl.String(),
}

#: Good readings in the window, the first and the last moment of any reading; usual time between two readings
#: of the piece counter [min].
_READ: dict[str, pl.DataType] = {
    "readings": pl.Int64(),
    "first_read": UTC_US,
    "last_read": UTC_US,
    "usual_min": pl.Float64(),
}

#: Each counter with readings: what it counts, its first and last reading [µs, counts], the usual time between
#: two of them [µs] and the size it was read with (null: not known). Runs of one value at the window's ends that
#: no count leads to, or from, are left out of these, and of what was counted: from when to when they were read
#: [µs], and the value (null: there is none). Before a fall that is no turn the first run is in them: until when it
#: was read, and the reading after it (`lead_…`, null: there is none). `rest_us` is from when on the last value was
#: read [µs]; the paces are those of the five minutes after the first reading and before `rest_us` [counts/s].
COUNTERS: dict[str, pl.DataType] = {
    "counter": _NAMES,
    "first_us": _TIMES,
    "first_count": _NUMBERS,
    "last_us": _TIMES,
    "last_count": _NUMBERS,
    "usual_us": _NUMBERS,
    "modulus": _NUMBERS,
    "rest_us": _TIMES,
    "first_pace": _NUMBERS,
    "rest_pace": _NUMBERS,
    "lead_end_us": _TIMES,
    "lead_to_us": _TIMES,
    "lead_to_count": _NUMBERS,
    "head_us": _TIMES,
    "head_end_us": _TIMES,
    "head_count": _NUMBERS,
    "tail_us": _TIMES,
    "tail_end_us": _TIMES,
    "tail_count": _NUMBERS,
}

#: Increments of the counters [pieces, m], joined between the moments that matter: batch and reel changes,
#: breaks and midnights. `of` is the place in `counter`, `joined` how many intervals between readings.
JOINED: dict[str, pl.DataType] = {
    "of": pl.List(pl.Int64()),
    "from_us": _TIMES,
    "to_us": _TIMES,
    "value": _NUMBERS,
    "low": _NUMBERS,
    "high": _NUMBERS,
    "known": pl.List(pl.Boolean()),
    "joined": pl.List(pl.Int64()),
}

#: Activity by the counters alone: edges [µs] and states of its stretches, pieces made up to moments, and the
#: least and most pieces of each interval that was not seen (nan: unbounded).
ACTIVITY: dict[str, pl.DataType] = {
    "edge_us": _TIMES,
    "state": pl.List(pl.Int64()),
    "at_us": _TIMES,
    "made": _NUMBERS,
    "unseen_from_us": _TIMES,
    "unseen_to_us": _TIMES,
    "unseen_low": _NUMBERS,
    "unseen_high": _NUMBERS,
}

#: Columns of STATE_REPORTS from which what the machine's states said is put together.
SPELLS = ["spell_from_us", "spell_to_us", "spell_meaning", "said_first_us", "said_last_us"]

#: What the machine's own channels said: spells of its states [µs, place in MEANINGS], product and batch
#: marks, and what was counted in maintenance.
STATE_REPORTS: dict[str, pl.DataType] = {
    "spell_from_us": _TIMES,
    "spell_to_us": _TIMES,
    "spell_meaning": pl.List(pl.Int64()),
    "said_first_us": pl.Int64(),
    "said_last_us": pl.Int64(),
    "unknown_states": _NAMES,
    "mark_gauge": _NAMES,
    "mark_us": _TIMES,
    "mark_text": _NAMES,
    "aside_of": _NAMES,
    "aside_from_us": _TIMES,
    "aside_to_us": _TIMES,
    "aside_n": _NUMBERS,
}

#: Good pieces by day and product, from the first to the last reading in the window, with their bounds;
#: `unseen` are those of them that no reading shows. First and last product are those on at these readings.
OUTPUT: dict[str, pl.DataType] = {
    "first_product": pl.String(),
    "last_product": pl.String(),
    "day": pl.List(pl.Date()),
    "product": _NAMES,
    "good": _NUMBERS,
    "good_low": _NUMBERS,
    "good_high": _NUMBERS,
    "unseen": _NUMBERS,
}

#: Readings of the rope's gauges: channel, moment [µs], value in the gauge's unit, and whether it is sure.
GAUGES: dict[str, pl.DataType] = {
    "gauge": _NAMES,
    "gauge_of": pl.List(pl.Int64()),
    "gauge_us": _TIMES,
    "gauge_value": _NUMBERS,
    "gauge_sure": pl.List(pl.Boolean()),
}

RECORDS: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "month": pl.String(),
    **WINDOWS,
    **COMPUTED_FROM,
    **_READ,
    **COUNTERS,
    **JOINED,
    **ACTIVITY,
    **STATE_REPORTS,
    **OUTPUT,
    **GAUGES,
}

#: What is read for a machine's counts; gauges and output are left on disk.
COUNTS = [*WINDOWS, *_READ, *COUNTERS, *JOINED, *ACTIVITY, *STATE_REPORTS]
