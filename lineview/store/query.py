"""Reading what the store keeps: readings and weighings from Delta, the other kinds from the journal."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import cache, partial
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from sqlalchemy import BigInteger, BindParameter, CompoundSelect, bindparam, func, literal, select, union_all

from lineview.core.frames import UTC_US, empty
from lineview.store.frames import fetch
from lineview.store.journal import JournalReader
from lineview.store.listed import FileCheck, files_between
from lineview.store.readings import TableRows
from lineview.store.rolling import without_replaced
from lineview.store.tables import KINDS, RecordType, extents, intakes, of_kind, stop_reasons

#: Length of a stretch by which events are compared [µs].
QUARTER_US = 900_000_000

_SCHEMA = {"machine": pl.String(), "channel": pl.String(), "first": pl.Int64(), "last": pl.Int64()}


def spans(
    journal: JournalReader,
    kind: str,
    machines: str | Collection[str] | None = None,
    channels: Sequence[str] | None = None,
    between: tuple[int, int] | None = None,
) -> pl.DataFrame:
    """Give machine, channel, first and last moment [µs since 1970], one row an intake and channel."""
    extent = extents.c
    query = (
        select(extent.machine, extent.channel, extent.first, extent.last)
        .join(intakes, intakes.c.id == extent.intake)
        .where(intakes.c.state == "done", extent.kind == kind)
    )
    if machines is not None:
        ids = [machines] if isinstance(machines, str) else sorted(machines)
        query = query.where(extent.machine.in_(ids))
    if channels is not None:
        query = query.where(extent.channel.in_(channels))
    if between is not None:
        query = query.where(extent.last >= between[0], extent.first <= between[1])
    with journal.reading() as connection:
        return fetch(connection, query, _SCHEMA)


def intake_extents(journal: JournalReader, machine: str) -> pl.DataFrame:
    """Give intake, first and last moment [µs since 1970] of each intake's readings of a machine."""
    ends = func.min(extents.c.first), func.max(extents.c.last)
    query = (
        select(extents.c.intake, ends[0].label("first"), ends[1].label("last"))
        .join(intakes, intakes.c.id == extents.c.intake)
        .where(intakes.c.state == "done", extents.c.kind == "readings", extents.c.machine == machine)
        .group_by(extents.c.intake)
        .order_by(extents.c.intake)
    )
    with journal.reading() as connection:
        return fetch(connection, query, {"intake": pl.Int64(), "first": pl.Int64(), "last": pl.Int64()})


def event_stretches(journal: JournalReader, kind: RecordType, owner: str) -> pl.DataFrame:
    """Rows of a kind, and the sum of their ids, by quarter of an hour; those of undone intakes left out."""
    table = of_kind[kind.name].c
    stretch = func.floor(table[kind.at] / float(QUARTER_US)).label("stretch")
    query = (
        select(stretch, func.count().label("rows"), func.sum(table.id).label("total"))
        .join(intakes, intakes.c.id == table.intake)
        .where(intakes.c.state == "done", table[kind.owner] == owner, table[kind.at].is_not(None))
        .group_by(stretch)
        .order_by(stretch)
    )
    with journal.reading() as connection:
        rows = [(int(at), int(n), int(ids)) for at, n, ids in connection.execute(query).fetchall()]
    return pl.DataFrame(rows, schema={"stretch": pl.Int64(), "rows": pl.Int64(), "total": pl.Int64()}, orient="row")


def content_mark(journal: JournalReader, line: str, machines: Sequence[str], between: tuple[int, int]) -> str:
    """A mark of all that the journal has of a line and its machines over some time [µs], reasons of stops included.

    Rows have ids of their own and stay as they are, so that how many there are and the sum of their ids tell.
    """
    parameters = {"line": line, "machines": list(machines), "first": between[0], "last": between[1]}
    with journal.reading() as connection:
        return repr(sorted(tuple(row) for row in connection.execute(_content_sums(), parameters)))


@cache
def _content_sums() -> CompoundSelect[Any]:
    """The query of content_mark, put together once: that takes longer than asking it."""
    first, last = bindparam("first", type_=BigInteger), bindparam("last", type_=BigInteger)
    machines: BindParameter[Any] = bindparam("machines", expanding=True)
    extent, reason = extents.c, stop_reasons.c
    rows: list[tuple[Any, ...]] = [
        (extent.id, extent.intake, extent.machine.in_(machines), extent.last >= first, extent.first <= last)
    ]
    for kind in (KINDS[name] for name in ("batches", "stops", "reels")):
        table, back = of_kind[kind.name].c, round(kind.look_back.total_seconds() * 1e6)
        owner = table[kind.owner]
        owned = owner == bindparam("line") if kind.owner == "line" else owner.in_(machines)
        when = table[kind.at].is_(None) | table[kind.at].between(first - back, last)
        rows.append((table.id, table.intake, owned, when))
    sums = [
        select(literal(place), func.count(), func.sum(key))
        .join(intakes, intakes.c.id == intake)
        .where(intakes.c.state == "done", *where)
        for place, (key, intake, *where) in enumerate(rows)
    ]
    of_reasons = reason.machine.in_(machines), reason.end > first, reason.start < last
    sums.append(select(literal(len(rows)), func.count(), func.sum(reason.id)).where(*of_reasons))
    return union_all(*sums)


#: What makes two readings of one channel the same, and what they say.
READING_KEYS = ("channel", "at")
READING_VALUES = ("value", "text")
#: Pieces of equal mass may be weighed at one moment, so the n-th alike of a file is that of another.
WEIGHING = ("machine", "at", "sample", "batch", "mass_g", "pieces", "gross")


def one_a_moment(readings: pl.DataFrame) -> pl.DataFrame:
    """One reading a channel and moment: good before uncertain, the earlier intake before the later."""
    repeat = pl.all_horizontal(pl.col(key) == pl.col(key).shift(1) for key in READING_KEYS)
    other = pl.any_horizontal(pl.col(value).ne_missing(pl.col(value).shift(1)) for value in READING_VALUES)
    marks = readings.select(repeat.fill_null(value=False).alias("repeat"), other.alias("other"))
    if not marks["repeat"].any():
        return readings
    # the readings of one moment stand together, so they differ where one differs from the one before it
    marks = marks.with_columns((~pl.col("repeat")).cum_sum().alias("moment"))
    disputed = marks.filter("repeat", "other")["moment"].unique()
    return (
        readings.with_columns(marks["moment"])
        .filter(~pl.col("moment").is_in(disputed.implode()))
        .sort("moment", pl.col("quality") != "good", "intake", "row")
        .filter((pl.col("moment") != pl.col("moment").shift(1)).fill_null(value=True))
        .drop("moment")
    )


def disputed_moments(readings: pl.DataFrame) -> pl.DataFrame:
    """The rows of every moment of a channel that has two different values or texts."""
    differ = pl.any_horizontal((pl.col(value).n_unique() > 1) for value in READING_VALUES)  # so does a missing one
    return readings.filter(differ.over(READING_KEYS))


def nth_alike() -> pl.Expr:
    """The number of each weighing among the alike ones within its intake, by row."""
    return pl.int_range(pl.len()).over([*WEIGHING, "intake"], order_by="row").alias("nth")


def once_weighed(weights: pl.DataFrame) -> pl.DataFrame:
    """Each weighing of a machine once, however many exports hold it; contradictory ones are left out."""
    several = _versions(weights)
    if several.height:
        agreed = several.filter(~pl.col("disputed")).sort("intake", "row")
        names = [pl.col(name).drop_nulls().first() for name in ("batch", "sample")]
        first = pl.col("machine", "intake", "row").first()
        once = agreed.group_by("at", "spot", *_WEIGHED, "nth", maintain_order=True).agg(*names, first)
        alone = weights.join(several.select("at").unique(), on="at", how="anti")
        weights = pl.concat([alone, once.select(weights.columns)])
    return weights.sort("at", "intake", "row")


def disputed_weighings(weights: pl.DataFrame) -> pl.DataFrame:
    """The rows of every weighing of a machine that two exports give differently; `spot` is its sample, or ""."""
    return _versions(weights).filter("disputed").drop("nth", "disputed")


#: What a scale says of a weighing.
_WEIGHED = ("mass_g", "pieces", "gross")


def _versions(weights: pl.DataFrame) -> pl.DataFrame:
    """The rows of moments that more than one export has, with `spot`, `nth` and whether they are disputed.

    Several pieces may be weighed at one moment, so exports agree where the one with most weighings of a moment, or
    of a sample of it, holds all that the others say; else one of them corrects another. A batch or a sample that
    is not named contradicts nothing.
    """
    several = weights.group_by("at").agg(pl.col("intake").n_unique()).filter(pl.col("intake") > 1).select("at")
    sample, batch = (pl.col(name).str.strip_chars().replace("", None) for name in ("sample", "batch"))
    rows = weights.join(several, on="at", how="semi").with_columns(sample, batch)
    unnamed = pl.col("sample").is_null().any().over("at")
    rows = rows.with_columns(spot=pl.when(unnamed).then(pl.lit("")).otherwise("sample"))
    alike = ["at", "spot", *_WEIGHED]
    nth = pl.int_range(pl.len()).over([*alike, "intake"], order_by=["batch", "sample", "row"])
    rows = rows.with_columns(nth=nth, most=pl.len().over("at", "spot", "intake"))
    other_name = pl.any_horizontal(
        pl.col(name).drop_nulls().n_unique().over([*alike, "nth"]) > 1 for name in ("batch", "sample")
    )
    whole = pl.struct(*_WEIGHED, "nth").n_unique().over("at", "spot")
    corrected = (whole > pl.col("most").max().over("at", "spot")) | other_name.any().over("at", "spot")
    # A moment with one spot of a single export is that export's.
    alone = pl.col("intake").n_unique().over("at", "spot") == 1
    return rows.with_columns(disputed=corrected & ~alone).drop("most")


def once_each(rows: pl.DataFrame, keys: Sequence[str], values: Sequence[str]) -> pl.DataFrame:
    """One row a key: what several agree on; a cell one leaves empty is taken from another."""
    rows = rows.sort("intake", "row")
    if not _has_repeats(rows, keys):
        return rows
    agreed = rows.filter(~_contradict(values).over(keys))
    firsts = [pl.col(value).drop_nulls().first() for value in values]
    grouped = agreed.group_by(keys, maintain_order=True).agg(*firsts, pl.col("intake", "row").first())
    return grouped.select(rows.columns)


def agreed_in_part(rows: pl.DataFrame, keys: Sequence[str], values: Sequence[str]) -> pl.DataFrame:
    """One row a key, contradictory cells left empty: that it happened is not disputed."""
    agreed = [
        pl.when(pl.col(value).drop_nulls().n_unique().over(keys) <= 1).then(value).alias(value) for value in values
    ]
    return once_each(rows.with_columns(agreed), keys, values)


def contradictions(rows: pl.DataFrame, keys: Sequence[str], values: Sequence[str]) -> pl.DataFrame:
    """The rows of every key with contradictory entries."""
    return rows.filter(_contradict(values).over(keys)) if _has_repeats(rows, keys) else rows.clear()


def _has_repeats(rows: pl.DataFrame, keys: Sequence[str]) -> bool:
    """Whether any key has several rows: only these can say different things."""
    return rows.height > 1 and rows.select(keys).n_unique() < rows.height


def _contradict(values: Sequence[str]) -> pl.Expr:
    """Whether values contradict each other; an empty cell contradicts nothing."""
    return pl.any_horizontal((pl.col(value).drop_nulls().n_unique() > 1) for value in values)


def _ended_by(disputed: pl.Series, rows: pl.DataFrame, at: str) -> pl.DataFrame:
    """Rows by moment, of which one without an end ends where a disputed one begins, though that is left out."""
    if not disputed.len():
        return rows
    begins = disputed.unique().sort().alias("begins").to_frame()
    following = rows.join_asof(
        begins, left_on=at, right_on="begins", strategy="forward", allow_exact_matches=False, check_sortedness=False
    )
    next_kept = pl.col(at).shift(-1)
    sooner = pl.col("end").is_null() & (next_kept.is_null() | (pl.col("begins") < next_kept))
    return following.with_columns(end=pl.when(sooner).then("begins").otherwise("end")).select(rows.columns)


#: From and to [µs since 1970], both included; where all is asked for; and the most bytes of rows that are kept.
Moments = tuple[int, int]
_EVER = -(2**63), 2**63 - 1
_MOST_KEPT_BYTES = 8_000_000


def within_widest(
    journal: JournalReader,
    key: tuple[str | None, ...],
    between: Moments,
    at: str,
    read: Callable[[Moments], pl.DataFrame],
) -> pl.DataFrame:
    """Rows of a time that `read` gives by each row's own moment, column `at`.

    Within one state of the journal those of a time within one asked for before are not read again.
    """
    low, high = between
    cache: dict[str, tuple[int, int, pl.DataFrame]] = journal.once(("rows", *key), dict)
    since, until, rows = cache.get("rows", (high, low, pl.DataFrame()))
    if not cache or low < since or until < high:
        overlap = bool(cache) and low <= until and since <= high
        wide = (min(low, since), max(high, until)) if overlap else between
        rows = read(wide)
        if (overlap or high - low > until - since) and rows.estimated_size() <= _MOST_KEPT_BYTES:
            cache["rows"] = *wide, rows
        since, until = wide
    if (since, until) == between:
        return rows
    begin, end = (pl.lit(moment, pl.Int64).cast(UTC_US) for moment in between)
    return rows.filter(pl.col(at).is_between(begin, end))


#: Columns of one channel's reading.
_READING = ("at", "value", "text", "quality")


class MeasuredRows:
    """The rows of one Delta table, those of intakes that are not done left out.

    `kind`: "readings" or "weights"; `check`: checks the files that the rows are in; `journal`: says which intakes
    are done; `schema`: of lineview.core.frames.
    """

    def __init__(self, kind: str, check: FileCheck, journal: JournalReader, schema: dict[str, pl.DataType]) -> None:
        self._kind = kind
        self._check = check
        self._table = TableRows(schema)
        self._journal = journal
        self._schema = schema

    def rows(self, machine: str, first: int, last: int, channels: Sequence[str] | None = None) -> pl.DataFrame:
        """All rows, repeats and disputed ones included, both ends included [µs since 1970]."""
        lazy = self._scan(machine, first, last, channels)
        if lazy is None:
            return empty(self._schema)
        order = [name for name in ("channel", "at") if name in self._schema]
        return lazy.collect().sort(order, maintain_order=True)

    def by_channel(self, machine: str, first: int, last: int) -> dict[str, pl.DataFrame]:
        """The readings of each channel, both ends included [µs since 1970]."""
        lazy = self._scan(machine, first, last, None, coded=True)
        if lazy is None:
            return {}
        parts = _parted(lazy.select("channel", *_READING).collect())
        odd = [name for name, part in parts.items() if _repeats(part)]
        if odd:
            # Only repeated moments need their intake and row.
            rows = lazy.filter(pl.col("channel").is_in(odd)).drop("machine").collect()
            settled = {name: one_a_moment(part) for name, part in _parted(rows.sort("at", maintain_order=True)).items()}
            parts |= {name: part.select(_READING) for name, part in settled.items()}
        return parts

    def _scan(
        self, machine: str, first: int, last: int, channels: Sequence[str] | None, *, coded: bool = False
    ) -> pl.LazyFrame | None:
        if first > last:
            return None
        paths = self._check.paths(files_between(self._journal, self._kind, machine, first, last))
        lazy = self._table.scan(paths, machine, first, last, coded=coded)
        return lazy if lazy is None or channels is None else lazy.filter(pl.col("channel").is_in(list(channels)))

    def extents(self, machines: Collection[str], first: int, last: int) -> pl.DataFrame:
        """Give machine, channel, first and last moment of the intakes that are of a time [µs since 1970]."""
        return spans(self._journal, self._kind, machines, between=(first, last))

    def extents_of(self, intake: int) -> pl.DataFrame:
        """Give machine, channel, first and last moment of an intake's rows [µs since 1970]."""
        extent = extents.c
        query = select(extent.machine, extent.channel, extent.first, extent.last)
        with self._journal.reading() as connection:
            return fetch(connection, query.where(extent.intake == intake, extent.kind == self._kind), _SCHEMA)

    def between(
        self, machine: str, first: int, last: int, channels: Sequence[str] | None = None
    ) -> pl.DataFrame | None:
        """What an export is compared with, in no particular order; None where there is nothing.

        Of channels only channel, moment, value and text: an export may overlap millions.
        """
        lazy = self._scan(machine, first, last, channels)
        if lazy is None:
            return None
        return (lazy if channels is None else lazy.select("channel", "at", "value", "text")).collect()


def _parted(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Rows by channel, each by time."""
    code = rows["channel"].to_physical().to_numpy()
    if not (code[1:] >= code[:-1]).all():
        order = np.argsort(code, kind="stable")
        rows, code = rows[order], code[order]
    turns = np.flatnonzero(code[1:] != code[:-1]) + 1
    parts = {}
    for begin, end in pairwise([0, *turns.tolist(), len(code)]):
        part = rows.slice(begin, end - begin)
        if part.height:
            name = str(part["channel"][0])
            parts[name] = part if part["at"].is_sorted() else part.sort("at", maintain_order=True)
    return parts


def _repeats(part: pl.DataFrame) -> bool:
    """Whether two rows, by time, are of one moment."""
    at_us = part["at"].dt.epoch("us").to_numpy()
    return bool((at_us[1:] == at_us[:-1]).any())


class JournalRows:
    """The rows of the journal's own kinds, those of intakes that are not done left out."""

    def __init__(self, journal: JournalReader) -> None:
        self._journal = journal

    def rows(
        self, kind: RecordType, first: int | None = None, last: int | None = None, owner: str | None = None
    ) -> pl.DataFrame:
        """All rows of a kind that hold, contradicting ones included, whose moment is from first to last."""
        rows = self._with_steps(kind, self._all(kind, first, last, owner))
        return without_replaced(kind, rows).select(list(kind.schema))

    def replaced(self, kind: RecordType) -> pl.DataFrame:
        """The rows of a kind in whose place a later export says something else."""
        rows = self._with_steps(kind, self._all(kind))
        differing = contradictions(rows, kind.keys, kind.values)
        return differing.join(without_replaced(kind, differing), on=["intake", "row"], how="anti")

    def _with_steps(self, kind: RecordType, rows: pl.DataFrame) -> pl.DataFrame:
        """Rows of several exports; where their kind rolls with when each begins and of how many moments it speaks."""
        if not kind.rolls or rows.is_empty():
            return rows
        table = of_kind[kind.name].c
        owner, at = table[kind.owner], table[kind.at]
        query = select(table.intake, owner, func.min(at), func.count(at.distinct())).group_by(table.intake, owner)
        schema = {"intake": pl.Int64(), kind.owner: pl.String(), "step_first": UTC_US, "step_moments": pl.Int64()}

        def read() -> pl.DataFrame:
            with self._journal.reading() as connection:
                return fetch(connection, query, schema)

        steps = self._journal.once(("steps", kind.name), read)
        return rows.join(steps, on=["intake", kind.owner], how="left", maintain_order="left", nulls_equal=True)

    def _all(
        self, kind: RecordType, first: int | None = None, last: int | None = None, owner: str | None = None
    ) -> pl.DataFrame:
        """All rows of a kind, also those that a later export replaces."""
        between = _EVER[0] if first is None else first, _EVER[1] if last is None else last
        fetch_rows = partial(self._select, kind, owner=owner)
        return within_widest(self._journal, (kind.name, owner), between, kind.at, fetch_rows)

    def _select(self, kind: RecordType, between: Moments, owner: str | None) -> pl.DataFrame:
        table = of_kind[kind.name].c
        query = (
            select(*(table[name] for name in kind.schema))
            .join(intakes, intakes.c.id == table.intake)
            .where(intakes.c.state == "done")
            .order_by(table[kind.owner], table[kind.at], table.intake, table.row)
        )
        if between != _EVER:  # those of no moment are in all of them alone
            query = query.where(table[kind.at].between(*between))
        if owner is not None:
            query = query.where(table[kind.owner] == owner)
        with self._journal.reading() as connection:
            return fetch(connection, query, kind.schema)

    def once(
        self, kind: RecordType, first: int | None = None, last: int | None = None, owner: str | None = None
    ) -> pl.DataFrame:
        """One row a thing, disputed things left out, sorted by moment."""
        rows = self.rows(kind, first, last, owner)
        return once_each(rows, kind.keys, kind.values).sort(kind.at, maintain_order=True)

    def like(self, kind: RecordType, tidy: pl.DataFrame) -> pl.DataFrame:
        """The rows that may speak of the same things as these, also replaced ones; with their steps where they roll."""
        at = tidy[kind.at].cast(pl.Int64)
        low, high = at.min(), at.max()
        if not isinstance(low, int) or not isinstance(high, int):
            return empty(kind.schema)
        return self._with_steps(kind, self._all(kind, low, high))

    def lasting(self, kind: RecordType, owner: str, first: int, end: int) -> pl.DataFrame:
        """What lasts at some moment from first up to, not including, end.

        Where no end is written, a thing lasts until the owner's next begins, and the last one begun before
        the period counts as lasting if it began within the kind's look-back.
        """
        back = int(kind.look_back.total_seconds() * 1_000_000)
        candidates = self.rows(kind, first - back, end - 1, owner)
        rows = once_each(candidates, kind.keys, kind.values).sort(kind.at, maintain_order=True)
        rows = _ended_by(contradictions(candidates, kind.keys, kind.values)[kind.at], rows, kind.at)
        started = pl.col(kind.at)
        until = pl.col("end").fill_null(started.shift(-1))
        moment = pl.lit(first, pl.Int64).cast(UTC_US)
        return rows.filter(until.is_null() | (until > moment) | (started >= moment))

    def measured_kinds(self, intake: int) -> list[str]:
        """The Delta tables that an intake writes to."""
        query = select(extents.c.kind).where(extents.c.intake == intake).distinct()
        with self._journal.reading() as connection:
            return list(connection.execute(query).scalars())
