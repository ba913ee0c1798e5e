"""Moments for which entries contradict each other, with all of these entries.

Notes
-----
When an intake is recorded its disputed moments are noted beside the journal. Whether they are still disputed
is looked up when asked, so that undoing one side settles them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

import polars as pl
from sqlalchemy import select

from lineview.core.frames import UTC_US, empty
from lineview.store.compare import DISPUTES
from lineview.store.files import sum_of, write_file
from lineview.store.frames import fetch
from lineview.store.journal import JournalReader
from lineview.store.listed import FileCheck, ListedFile, files_of
from lineview.store.query import JournalRows, MeasuredRows, contradictions, disputed_moments, disputed_weighings
from lineview.store.rolling import lying_over
from lineview.store.tables import KINDS, RecordType, intakes


class PerIntake:
    """A folder with at most one frame an intake.

    `kind`: "refusals" or "disputes": the folder's name; `check`: checks files before they are read; knows the
    store's folder; `journal`: lists the files of intakes that are in; `schema`: the frames' columns.
    """

    def __init__(self, kind: str, check: FileCheck, journal: JournalReader, schema: Mapping[str, pl.DataType]) -> None:
        self._kind, self._check, self._journal = kind, check, journal
        self._schema = dict(schema)

    def _name(self, intake: int) -> str:
        return f"{self._kind}/{intake:09d}.parquet"

    def keep(self, intake: int, frame: pl.DataFrame) -> list[ListedFile]:
        """Keep an intake's frame; none where it is empty. Give the file that it is in, if there is one."""
        if not frame.height:
            return []
        disputes = frame.select(list(self._schema)).cast(pl.Schema(self._schema))
        path = self._check.folder / self._name(intake)
        write_file(path, lambda part: disputes.write_parquet(part, compression_level=3))
        return self.listed(intake)

    def listed(self, intake: int) -> list[ListedFile]:
        """The file of an intake's frame as it is now, or none."""
        path = self._check.folder / self._name(intake)
        if not path.exists():
            return []
        rows = int(pl.scan_parquet(path, glob=False).select(pl.len()).collect().item())
        return [ListedFile(intake, self._kind, self._name(intake), "", 0, 0, rows, *sum_of(path))]

    def drop(self, intake: int) -> None:
        """Forget an intake's frame."""
        (self._check.folder / self._name(intake)).unlink(missing_ok=True)

    def of(self, intakes: Iterable[int]) -> pl.DataFrame:
        """The frames of several intakes that are in, one below the other."""
        paths = self._check.paths(files_of(self._journal, [self._kind], intakes))
        if not paths:
            return empty(self._schema)
        return pl.concat([pl.read_parquet(path, glob=False) for path in paths])


CONFLICTS = {
    "kind": pl.String(),
    "machine": pl.String(),
    "channel": pl.String(),
    "at": UTC_US,
    "value": pl.Float64(),
    "text": pl.String(),
    "intake": pl.Int64(),
    "file": pl.String(),
    "row": pl.Int64(),
}


class Conflicts:
    """What is disputed among the intakes that are done.

    `journal`: says which intakes are done and from which file each is; `spots`: the disputed moments noted when
    each was recorded; `readings`, `weights`: the readings, and the weighings; `journal_rows`: the journal's own kinds.
    """

    def __init__(
        self,
        journal: JournalReader,
        spots: PerIntake,
        readings: MeasuredRows,
        weights: MeasuredRows,
        journal_rows: JournalRows,
    ) -> None:
        self._journal = journal
        self._spots = spots
        self._readings = readings
        self._weights = weights
        self._journal_rows = journal_rows

    def listed(self, intake: int | None = None) -> pl.DataFrame:
        """Every disputed row; with an intake, those of the moments in which it has a part."""
        files = self._files()
        spots = self._spots.of(files["intake"]).unique(maintain_order=True)
        if spots.is_empty():
            return pl.DataFrame(schema=CONFLICTS)
        rows = pl.concat(
            [
                self._disputed(str(kind), str(owner), moments)
                for (kind, owner), moments in spots.group_by("kind", "owner", maintain_order=True)
            ]
        ).join(files, on="intake", how="left")
        if intake is not None:
            rows = rows.filter((pl.col("intake") == intake).any().over("kind", "machine", "channel", "at"))
        return rows.select(list(CONFLICTS)).sort("kind", "machine", "channel", "at", "intake", "row")

    def contradicting(self, kind: RecordType) -> pl.DataFrame:
        """The rows of a kind of which another says something else, with their files, by moment."""
        every = self._journal_rows.rows(kind)
        rows = pl.concat([contradictions(every, kind.keys, kind.values), lying_over(kind, every)])
        rows = rows.unique(["intake", "row"], maintain_order=True)
        return rows.join(self._files(), on="intake", how="left").sort(kind.at, "intake", "row")

    def _files(self) -> pl.DataFrame:
        with self._journal.reading() as connection:
            query = select(intakes.c.id, intakes.c.file).where(intakes.c.state == "done")
            return fetch(connection, query, {"intake": pl.Int64(), "file": pl.String()})

    def moments(
        self, owners: Collection[str], first: int, end: int, kinds: Collection[str] | None = None
    ) -> dict[str, int]:
        """How many moments are disputed by kind, of some owners from first up to, not including, end [µs]."""
        spots = self._journal.once("noted", lambda: self._spots.of(self._journal.done()))
        at, mine = pl.col("at").cast(pl.Int64), pl.col("owner").is_in(list(owners))
        spots = spots.filter(mine & (at >= first) & (at < end)).unique(maintain_order=True)
        spots = spots if kinds is None else spots.filter(pl.col("kind").is_in(list(kinds)))
        counts: dict[str, int] = {}
        for (kind, owner), some in spots.group_by("kind", "owner", maintain_order=True):
            still = self._disputed(str(kind), str(owner), some).select("channel", "at").n_unique()
            if still:
                counts[str(kind)] = counts.get(str(kind), 0) + still
        return counts

    def count(self, intake: int) -> int:
        """Count the disputed moments in which an intake has a part."""
        return self.listed(intake).select("kind", "machine", "channel", "at").n_unique()

    def moments_of(self, intake: int) -> pl.DataFrame:
        """DISPUTES of which an intake and another, or the intake itself, say two different things."""
        disputes = [pl.DataFrame(schema=DISPUTES)]
        for machine, channel, first, last in self._readings.extents_of(intake).iter_rows():
            rows = disputed_moments(self._readings.rows(machine, first, last, [channel]))
            at = rows.filter(pl.col("intake") == intake).select("at").unique()
            spot = pl.lit("readings").alias("kind"), pl.lit(machine).alias("owner"), pl.lit(channel).alias("label")
            disputes.append(at.select(*spot, "at"))
        for machine, _, first, last in self._weights.extents_of(intake).iter_rows():
            rows = disputed_weighings(self._weights.rows(machine, first, last)).filter(pl.col("intake") == intake)
            spot = pl.lit("weights").alias("kind"), pl.lit(machine).alias("owner"), pl.lit("").alias("label")
            disputes.append(rows.select("at").unique().select(*spot, "at"))
        for kind in KINDS.values():
            rows = contradictions(self._journal_rows.rows(kind), kind.keys, kind.values)
            mine = rows.filter(pl.col("intake") == intake) if rows.height else rows
            if mine.height:
                label = pl.col(kind.label).cast(pl.String).fill_null("") if kind.label else pl.lit("")
                owner = pl.lit(kind.name).alias("kind"), pl.col(kind.owner).fill_null("").alias("owner")
                disputes.append(mine.select(*owner, label.alias("label"), pl.col(kind.at).alias("at")))
        return pl.concat(disputes).unique(maintain_order=True)

    def _disputed(self, kind: str, owner: str, moments: pl.DataFrame) -> pl.DataFrame:
        at = moments["at"].cast(pl.Int64)
        first, last = int(at[int(at.arg_min() or 0)]), int(at[int(at.arg_max() or 0)])
        if kind == "readings":
            channels = moments["label"].unique().to_list()
            rows = self._readings.rows(owner, first, last, channels)
            places = moments.select(pl.col("label").alias("channel"), "at").unique()
            rows = disputed_moments(rows.join(places, on=["channel", "at"], how="semi"))
            return rows.select(pl.lit(kind).alias("kind"), *[n for n in CONFLICTS if n in rows.columns])
        if kind == "weights":
            rows = self._weights.rows(owner, first, last).join(moments.select("at").unique(), on="at", how="semi")
            rows = disputed_weighings(rows)
            differs = pl.col("batch").drop_nulls().n_unique().over("at", "spot") > 1
            batch = pl.when(differs).then(pl.format("batch = {}", pl.col("batch").fill_null("not given")))
            rows = rows.with_columns(text=batch).rename({"spot": "channel", "mass_g": "value"})
            return rows.select(pl.lit(kind).alias("kind"), *[n for n in CONFLICTS if n in rows.columns])
        return _as_conflicts(KINDS[kind], self._journal_rows.rows(KINDS[kind], first, last), owner, moments)


def _as_conflicts(kind: RecordType, rows: pl.DataFrame, owner: str, moments: pl.DataFrame) -> pl.DataFrame:
    """Give contradicting rows of one of the journal's kinds, what each says as text."""
    label = pl.col(kind.label).cast(pl.String).fill_null("") if kind.label else pl.lit("")
    rows = rows.filter(pl.col(kind.owner).fill_null("") == owner)
    rows = contradictions(rows, kind.keys, kind.values)
    parts = [_statement(kind, value) for value in kind.values]
    statements = rows.select(
        pl.lit(kind.name).alias("kind"),
        pl.col(kind.owner).alias("machine"),
        label.alias("channel"),
        pl.col(kind.at).alias("at"),
        pl.lit(None, pl.Float64).alias("value"),
        pl.concat_str(parts, separator=", ", ignore_nulls=True).alias("text"),
        "intake",
        "row",
    )
    places = moments.select(pl.col("label").alias("channel"), "at").unique()
    return statements.join(places, on=["channel", "at"], how="semi", nulls_equal=True)


def _statement(kind: RecordType, value: str) -> pl.Expr:
    """What rows say of one value; null where all that speak of one thing say the same of it."""
    differs = pl.col(value).drop_nulls().n_unique().over(kind.keys) > 1
    statement = pl.format("{} = {}", pl.lit(value), pl.col(value).cast(pl.String).fill_null("not given"))
    return pl.when(differs).then(statement)
