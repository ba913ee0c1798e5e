"""One record from the readings of one machine in one window."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from lineview.core.record_frames import ACTIVITY, COMPUTED_FROM, OUTPUT, RECORDS, WINDOWS
from lineview.machine.activity import RUNNING, SLOW, UNSEEN, Activity
from lineview.machine.counters import CounterIncrements, Floats, Ints
from lineview.machine.increments import known_modulus
from lineview.machine.likeliest import PlannedTime
from lineview.machine.pieces import MachineCounts, count_channels
from lineview.machine.state_codes import reported_states
from lineview.plant import Counter, Counts, Machine
from lineview.records.ends import PACE_US, TrustedRange, trusted_range
from lineview.records.readings import GAUGED, Series, WindowReadings

#: Pieces along a running stretch are kept at steps of about so long [s], for its picture.
STEP_S = 60.0
_NO_MOMENTS = pl.Series(dtype=pl.Int64)
_NUMPY = {pl.Int64(): np.int64, pl.Float64(): np.float64, pl.Boolean(): np.bool_}


@dataclass(frozen=True)
class Edges:
    """Moments [µs] at which a window's counts must be exact, and what was made when.

    `products` names the product from each of `product_us` on; the first may lie before the window.
    """

    moments_us: Ints
    product_us: Ints
    products: tuple[str, ...]
    midnights_us: Ints
    days: tuple[object, ...]


def make_record(
    machine: Machine, readings: WindowReadings, edges: Edges, planned: PlannedTime, *, gap_s: float
) -> dict[str, Any]:
    """Work out what a machine's window came to.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    readings : WindowReadings
        Of the machine within the window, and no others.
    edges : Edges
        What happened in it.
    planned : PlannedTime
        When the works meant to run.
    gap_s : float
        Longest interval between readings that still shows what happened in it [s].

    Returns
    -------
    dict
        The columns of RECORDS but those of WINDOWS and COMPUTED_FROM, `machine` and `month`.
    """
    if readings.first_us is None:
        return _nothing_read()
    every = {
        counter.id: (part, _trusted_range(part, counter))
        for counter in machine.counters
        if (part := readings.counters.get(counter.id)) is not None and len(part.at_us)
    }
    trusted = {name: part.part(range_of.first, range_of.last + 1) for name, (part, range_of) in every.items()}
    read = {name: (part.at_us, part.value) for name, part in trusted.items()}
    counts = count_channels(machine, read, readings.texts, readings.good, gap_s=gap_s, planned=planned)
    first_last: dict[Counts, _Ends] = {}
    for kind, counter in {counter.counts: counter for counter in reversed(machine.counters)}.items():
        if counter.id in every:
            ends = _ends(trusted[counter.id], counts.counters[kind])
            standing_from = _standing_from(trusted[counter.id], ends)
            lead = _lead(every[counter.id])
            first_last[kind] = _Ends(
                ends, standing_from, lead, _size(known_modulus(counter), ends), *_runs(*every[counter.id])
            )
    counters = {kind: counts.counters[kind] for kind in counts.counters if kind in first_last}
    activity, spells = counts.activity, counts.spells
    # A state that nobody knows the meaning of ends the one before it all the same.
    state_moments = (
        reported_states(machine, readings.texts)["at"].dt.epoch("us") if readings.texts.height else _NO_MOMENTS
    )
    return {
        "readings": counts.readings,
        "first_read": readings.first_us,
        "last_read": readings.last_us,
        "usual_min": counts.usual_min,
        **_counter_columns(counters, first_last),
        **_joined_columns(counters, edges.moments_us, _restarts(activity)),
        **_activity_columns(activity),
        "spell_from_us": spells.start,
        "spell_to_us": spells.end,
        "spell_meaning": spells.meaning,
        "said_first_us": state_moments.min(),
        "said_last_us": state_moments.max(),
        "unknown_states": counts.unknown_states,
        **_mark_columns(counts.marks),
        **_aside_columns(counts.aside),
        **_output_columns(counts, edges),
        **_gauge_columns(machine, readings.gauges),
    }


def _nothing_read() -> dict[str, Any]:
    """The columns of a window without readings."""
    made_of = (*WINDOWS, *COMPUTED_FROM, "machine", "month")
    nothing: dict[str, Any] = {
        name: [] if isinstance(dtype, pl.List) else None for name, dtype in RECORDS.items() if name not in made_of
    }
    return {**nothing, "readings": 0}


def _ends(good: Series, added: CounterIncrements) -> tuple[int, float, int, float]:
    """Moment [µs] and counts of the readings that a counter's increments begin and end with.

    A reading set aside as off course is not one of them; where there is a single reading it is both.
    """
    at_us = good.at_us
    first, last = 0, len(at_us) - 1
    if len(added.end_us):
        first, last = np.searchsorted(at_us, (added.start_us[0], added.end_us[-1])).tolist()
    return int(at_us[first]), float(good.value[first]), int(at_us[last]), float(good.value[last])


def _size(declared: int | None, ends: tuple[int, float, int, float]) -> float | None:
    """The counter's size as declared; null where it is not, or its values contradict it."""
    return float(declared) if declared is not None and max(ends[1], ends[3]) < declared else None


@dataclass(frozen=True)
class _Ends:
    """What a record says of a counter's ends: its counts, its size, and runs beyond them.

    `rest` is from when on the last value stands [µs], and the paces after the first and before this moment
    [counts/s]; `lead` is until when a first run was read that a fall ends, and the reading after it; `head` and
    `tail` are the first and last moment and the value of a run before and after the counts. Nulls: there is none.
    """

    counts: tuple[int, float, int, float]
    rest: tuple[int, float, float]
    lead: tuple[int | None, int | None, float | None]
    size: float | None
    head: tuple[int | None, int | None, float | None]
    tail: tuple[int | None, int | None, float | None]


def _standing_from(good: Series, ends: tuple[int, float, int, float]) -> tuple[int, float, float]:
    """From when on a counter's last value stands [µs], and its paces after its first count and before then."""
    at_us, value = good.at_us, np.nan_to_num(good.value)
    first, last = np.searchsorted(at_us, (ends[0], ends[2])).tolist()
    others = np.flatnonzero(value[first : last + 1] != value[last])
    place = first + int(others[-1]) + 1 if len(others) else first
    until = int(np.searchsorted(at_us, at_us[first] + PACE_US, side="right")) - 1
    since = int(np.searchsorted(at_us, at_us[place] - PACE_US))
    return int(at_us[place]), _pace(good, first, until), _pace(good, max(since, first), place)


def _lead(every: tuple[Series, TrustedRange]) -> tuple[int | None, int | None, float | None]:
    part, trusted = every
    if not trusted.lead:
        return None, None, None
    return int(part.at_us[trusted.lead - 1]), int(part.at_us[trusted.lead]), float(part.value[trusted.lead])


def _pace(good: Series, i: int, j: int) -> float:
    """Counts a second from one reading to another."""
    return abs(float(good.value[j] - good.value[i])) / max((int(good.at_us[j]) - int(good.at_us[i])) / 1e6, 1.0)


def _trusted_range(part: Series, counter: Counter) -> TrustedRange:
    if counter.counting == "since last row":
        return TrustedRange(0, len(part.at_us) - 1)
    value = -part.value if counter.counting == "down" else part.value
    turns = counter.counting == "total"
    return trusted_range(part.at_us, value, known_modulus(counter), counter.fastest_per_min, turns=turns)


def _runs(
    part: Series, trusted: TrustedRange
) -> tuple[tuple[int | None, int | None, float | None], tuple[int | None, int | None, float | None]]:
    at_us, value, last = part.at_us, part.value, len(part.at_us) - 1
    head = (int(at_us[0]), int(at_us[trusted.first - 1]), float(value[0])) if trusted.first else (None, None, None)
    ends = int(at_us[min(trusted.last + 1, last)]), int(at_us[last]), float(value[last])
    return head, ends if trusted.last < last else (None, None, None)


def _counter_columns(counters: Mapping[Counts, CounterIncrements], ends: Mapping[Counts, _Ends]) -> dict[str, Any]:
    names = list(counters)
    of = [ends[name] for name in names]
    counts = ("first_us", "first_count", "last_us", "last_count")
    rest_names, run = ("rest_us", "first_pace", "rest_pace"), ("us", "end_us", "count")
    lead = ("lead_end_us", "lead_to_us", "lead_to_count")
    return {
        "counter": names,
        **{name: [counter_end.counts[k] for counter_end in of] for k, name in enumerate(counts)},
        "usual_us": [counters[name].usual_us for name in names],
        "modulus": [counter_end.size for counter_end in of],
        **{name: [counter_end.rest[k] for counter_end in of] for k, name in enumerate(rest_names)},
        **{name: [counter_end.lead[k] for counter_end in of] for k, name in enumerate(lead)},
        **{f"head_{name}": [counter_end.head[k] for counter_end in of] for k, name in enumerate(run)},
        **{f"tail_{name}": [counter_end.tail[k] for counter_end in of] for k, name in enumerate(run)},
    }


def _restarts(activity: Activity) -> Ints:
    """Moments [µs] at which the machine began to run."""
    return np.asarray(activity.edge[:-1][(activity.code == RUNNING) | (activity.code == SLOW)])


def _joined_columns(
    counters: Mapping[Counts, CounterIncrements], moments_us: Ints, restarts_us: Ints
) -> dict[str, Any]:
    # Blank wraps come at restarts, so that counter alone must be exact there.
    at_restarts = np.union1d(moments_us, restarts_us)
    parts = [
        join_increments(counter, at_restarts if kind == "blank wraps" else moments_us)
        for kind, counter in counters.items()
    ]
    of = [np.full(len(part.start_us), k, dtype=np.int64) for k, part in enumerate(parts)]

    def column(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in parts]) if parts else []

    return {
        "of": np.concatenate(of) if of else [],
        "from_us": column("start_us"),
        "to_us": column("end_us"),
        "value": column("value"),
        "low": column("low"),
        "high": column("high"),
        "known": column("known"),
        "joined": column("readings"),
    }


def join_increments(counter: CounterIncrements, moments_us: Ints) -> CounterIncrements:
    """Join the intervals between moments that matter; those over a moment, and open ones, stay."""
    if not len(counter.end_us):
        return counter
    first = np.searchsorted(moments_us, counter.start_us, side="right")
    last = np.searchsorted(moments_us, counter.end_us, side="left")
    alone = (first != last) | ~counter.known
    new = np.concatenate(([True], (first[1:] != first[:-1]) | alone[1:] | alone[:-1]))
    begins = np.flatnonzero(new)
    ends = np.append(begins[1:], len(new)) - 1

    def add(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, begins))

    value = add(counter.value)
    low, high = (value if bound is counter.value else add(bound) for bound in (counter.low, counter.high))
    starts, stops, known = counter.start_us[begins], counter.end_us[ends], counter.known[begins]
    readings = np.add.reduceat(counter.readings, begins)
    edges = replace(counter, start_us=starts, end_us=stops, known=known, readings=readings)
    return replace(edges, value=value, low=low, high=high)


def _activity_columns(activity: Activity) -> dict[str, Any]:
    if not len(activity.code):
        return {name: [] for name in ACTIVITY}
    at, pieces = _thin(activity)
    gaps = _unseen(activity)
    return {
        "edge_us": activity.edge,
        "state": activity.code,
        "at_us": at,
        "made": pieces,
        "unseen_from_us": activity.span[:-1][gaps],
        "unseen_to_us": activity.span[1:][gaps],
        "unseen_low": np.diff(activity.low)[gaps],
        "unseen_high": np.where(np.diff(activity.unbounded) > 0, np.inf, np.diff(activity.high))[gaps],
    }


def _unseen(activity: Activity) -> Ints:
    """Which intervals between readings lie in unseen stretches."""
    if len(activity.span) < 2 or not len(activity.code):
        return np.empty(0, dtype=np.int64)
    place = np.searchsorted(activity.edge, activity.span[:-1], side="right") - 1
    return np.flatnonzero(activity.code[np.clip(place, 0, len(activity.code) - 1)] == UNSEEN)


def _thin(activity: Activity) -> tuple[Ints, Floats]:
    """Moments and pieces up to them: at every edge, at every bend while it stood, at steps while it ran."""
    at, pieces = activity.at, activity.pieces
    if len(at) < 3:
        return at, pieces
    place = np.searchsorted(activity.edge, at[:-1], side="right") - 1
    place = np.minimum(np.maximum(place, 0), len(activity.code) - 1)
    runs = ((activity.code == RUNNING) | (activity.code == SLOW))[place]
    length = np.diff(at)
    slope = np.diff(pieces) / np.maximum(length, 1)
    keep = np.ones(len(at), dtype=bool)
    same = place[1:] == place[:-1]
    straight = np.abs(slope[1:] - slope[:-1]) <= 1e-15
    begin = activity.edge[place]
    long_s = np.diff(activity.edge) / 1e6
    step_us = (np.maximum(long_s / np.maximum(np.round(long_s / STEP_S), 1.0), 1e-6) * 1e6)[place]
    steps = (at[:-1] - begin) / step_us
    cell = np.floor(steps + 1e-9)
    over = np.ceil((at[1:] - begin) / step_us - 1e-9)  # the step that an interval ends in
    crosses = over - cell > 1
    steady = same & runs[1:] & runs[:-1] & (cell[1:] == cell[:-1]) & ~crosses[1:] & ~crosses[:-1]
    exactly = np.abs(steps[1:] - np.round(steps[1:])) < 1e-9
    keep[1:-1] = ~((steady & ~exactly) | (same & straight))
    return at[keep], pieces[keep]


def _mark_columns(marks: pl.DataFrame) -> dict[str, Any]:
    return {
        "mark_gauge": marks["gauge"].to_list(),
        "mark_us": marks["at"].dt.epoch("us").to_numpy(),
        "mark_text": marks["text"].to_list(),
    }


def _aside_columns(aside: Mapping[Counts, pl.DataFrame]) -> dict[str, Any]:
    frames = [(kind, frame) for kind, frame in aside.items() if frame.height]
    return {
        "aside_of": [kind for kind, frame in frames for _ in range(frame.height)],
        "aside_from_us": [x for _, frame in frames for x in frame["start"].dt.epoch("us").to_list()],
        "aside_to_us": [x for _, frame in frames for x in frame["end"].dt.epoch("us").to_list()],
        "aside_n": [x for _, frame in frames for x in frame["n"].to_list()],
    }


def _output_columns(counts: MachineCounts, edges: Edges) -> dict[str, Any]:
    """Good pieces by day and product between the first and the last reading."""
    nothing: dict[str, Any] = {name: [] if isinstance(dtype, pl.List) else None for name, dtype in OUTPUT.items()}
    piece_counters = [c for kind, c in counts.counters.items() if kind in ("pieces", "good pieces") and len(c.end_us)]
    if not piece_counters:
        return nothing
    first, last = min(int(c.start_us[0]) for c in piece_counters), max(int(c.end_us[-1]) for c in piece_counters)
    inner = [at[(at > first) & (at < last)] for at in (edges.product_us, edges.midnights_us)]
    at = np.concatenate(([first], np.union1d(*inner), [last])).astype(np.int64)
    # The parts, and the whole as one more.
    good = counts.pieces(np.append(at[:-1], first), np.append(at[1:], last)).good
    if good is None:
        return nothing
    whole_low, whole_high = good.low[-1], good.high[-1]
    place = np.searchsorted(edges.product_us, at[:-1], side="right") - 1
    day = np.searchsorted(edges.midnights_us, at[:-1], side="right")
    products = [edges.products[p] if p >= 0 else "" for p in place.tolist()]
    value = np.nan_to_num(good.value[:-1])
    unseen_s = np.minimum(good.missing_s[:-1] * 1e6, np.diff(at))
    unseen = np.where(unseen_s > 0, value * unseen_s / np.maximum(np.diff(at), 1), 0.0)
    # What the window leaves open lies where readings are missing, however the days and products part it.
    share = unseen_s / unseen_s.sum() if unseen_s.sum() > 0 else np.zeros(len(value))
    below, above = float(value.sum() - whole_low), float(whole_high - value.sum())
    sums: dict[tuple[Any, str], Floats] = {}
    for k in range(len(value)):
        key = (edges.days[day[k]], products[k])
        most = value[k] + above * share[k] if share[k] > 0 else value[k]  # inf where nothing bounds it
        row = np.array([value[k], value[k] - below * share[k], most, unseen[k]])
        sums[key] = sums.get(key, np.zeros(4)) + row
    table = np.array(list(sums.values()))
    columns = [products[0], products[-1], [day for day, _ in sums], [name for _, name in sums], *table.T]
    return dict(zip(OUTPUT, columns, strict=True))


def _gauge_columns(machine: Machine, gauges: Mapping[str, Series]) -> dict[str, Any]:
    """Readings of the rope's gauges, in the machine's order of gauges."""
    names = [gauge.id for gauge in machine.gauges if gauge.measures in GAUGED]
    read = [(k, gauges[name]) for k, name in enumerate(names) if name in gauges and len(gauges[name].at_us)]
    if not read:
        return {name: [] for name in ("gauge", "gauge_of", "gauge_us", "gauge_value", "gauge_sure")}
    return {
        "gauge": names,
        "gauge_of": np.concatenate([np.full(len(part.at_us), k, dtype=np.int64) for k, part in read]),
        "gauge_us": np.concatenate([part.at_us for _, part in read]),
        "gauge_value": np.concatenate([part.value for _, part in read]),
        "gauge_sure": np.concatenate([part.good for _, part in read]),
    }


def record_rows(records: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    """Records as a frame of RECORDS, each from its columns as arrays, lists and single values."""
    columns: list[pl.Series] = []
    flat: list[pl.Expr] = []
    places = {}
    for name, dtype in RECORDS.items():
        values = [record[name] for record in records]
        if not isinstance(dtype, pl.List):
            columns.append(_single(name, values, dtype))
            continue
        values = [() if value is None else value for value in values]
        length = np.array([len(value) for value in values], dtype=np.int64)
        places[name] = pl.Series(name, length)
        chain = pl.lit(_flat(values, dtype.inner)).implode()
        # Days are cut as their numbers: slices lose what these stand for.
        cut = chain.list.slice(pl.col(name).cum_sum() - pl.col(name), pl.col(name))
        flat.append(cut.cast(dtype).alias(name))
    lists = pl.DataFrame(places).select(flat)
    return pl.DataFrame([*columns, *lists.get_columns()]).select(list(RECORDS))


def _single(name: str, values: Sequence[Any], dtype: pl.DataType) -> pl.Series:
    """A column of single values; a moment may be given as a whole number [µs]."""
    if name in ("first_read", "last_read"):
        return pl.Series(name, values, dtype=pl.Int64).cast(dtype)
    return pl.Series(name, values, dtype=dtype)


def _flat(values: Sequence[Any], dtype: Any) -> pl.Series:
    """The entries of lists or arrays, one after the other; days as their numbers."""
    some = [value for value in values if len(value)]
    if some and all(isinstance(value, np.ndarray) for value in some):
        return pl.Series(np.concatenate(some).astype(_NUMPY[dtype], copy=False))
    entries = pl.Series([entry for value in some for entry in value], dtype=dtype, strict=False)
    return entries.to_physical() if dtype == pl.Date() else entries
