"""What can be asked of the store; nothing here writes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path

import polars as pl
from sqlalchemy import select

from lineview.core.figure import Period
from lineview.core.frames import READINGS, REFUSALS, UTC_US, WEIGHTS
from lineview.core.language import tr
from lineview.intake.exports import KIND_NAMES
from lineview.store.compare import DISPUTES
from lineview.store.conflicts import Conflicts, PerIntake
from lineview.store.files import Originals, storage_errors
from lineview.store.frames import fetch, micros, moment
from lineview.store.journal import JournalReader, version_of
from lineview.store.listed import FileCheck
from lineview.store.manual_entries import PeopleReader
from lineview.store.query import (
    JournalRows,
    MeasuredRows,
    agreed_in_part,
    content_mark,
    event_stretches,
    intake_extents,
    once_weighed,
    one_a_moment,
    spans,
    within_widest,
)
from lineview.store.tables import KINDS, intakes

#: What `Store.intakes` gives.
INTAKES = {
    "id": pl.Int64(),
    "file": pl.String(),
    "sha256": pl.String(),
    "taken_at": UTC_US,
    "layouts": pl.String(),
    "rows": pl.Int64(),
    "kept": pl.Int64(),
    "duplicate": pl.Int64(),
    "refused": pl.Int64(),
    "uncertain": pl.Int64(),
    "undone": pl.Boolean(),
}


class StoreReader:
    """What can be asked of the store, as it is now or as it was at one moment.

    Parameters
    ----------
    folder : pathlib.Path
        Where everything is kept.
    journal : JournalReader
        What is in, and the kinds of export that it keeps itself.
    check : FileCheck
        Checks files before they are read.
    """

    def __init__(self, folder: Path, journal: JournalReader, check: FileCheck) -> None:
        self._folder = folder
        self._journal = journal
        self._check = check
        self._readings = MeasuredRows("readings", check, journal, READINGS)
        self._weights = MeasuredRows("weights", check, journal, WEIGHTS)
        self._journal_rows = JournalRows(journal)
        self._people = PeopleReader(journal)
        self._originals = Originals(folder / "originals")
        self._refusals = PerIntake("refusals", check, journal, REFUSALS)
        self._disputes = PerIntake("disputes", check, journal, DISPUTES)
        self._conflicts = Conflicts(journal, self._disputes, self._readings, self._weights, self._journal_rows)

    def known(self, sha256: str) -> int | None:
        """The intake of an export that is in and not undone, or None."""
        return self._journal.known(sha256)

    def version(self) -> str:
        """A mark that changes whenever what the store would answer does."""
        return version_of(self._journal)

    def intakes(self) -> pl.DataFrame:
        """The intakes, oldest first; the undone ones too.

        Returns
        -------
        polars.DataFrame
            id, file, sha256, taken_at, layouts, rows, kept, duplicate, refused and uncertain as they were
            when it was taken in, conflicts (disputed moments it has a part in now), undone.
        """
        names = [name for name in INTAKES if name != "undone"]
        query = (
            select(*(intakes.c[name] for name in names), (intakes.c.state == "undone").label("undone"))
            .where(intakes.c.state.in_(("done", "undone")))
            .order_by(intakes.c.id)
        )
        with storage_errors(tr("list the intakes")), self._journal.reading() as connection:
            listed = fetch(connection, query, INTAKES)
        moments = ["kind", "machine", "channel", "at"]
        disputed = self._conflicts.listed().unique(["intake", *moments]).group_by("intake").len("conflicts")
        listed = listed.join(disputed, left_on="id", right_on="intake", how="left", maintain_order="left")
        conflict_count = pl.col("conflicts").fill_null(0).cast(pl.Int64)
        return listed.with_columns(conflict_count).select(*names, "conflicts", "undone")

    def refusals(self, intake: int | None = None) -> pl.DataFrame:
        """Give REFUSALS of one intake, or of all that are in."""
        done = self._journal.done()
        with storage_errors(tr("read the refusals")):
            return self._refusals.of(done if intake is None else [i for i in done if i == intake])

    def disputed(
        self, owners: Collection[str], start: datetime, end: datetime, kinds: Collection[str] | None = None
    ) -> dict[str, int]:
        """Count the moments whose entries contradict each other, so that none is used.

        Parameters
        ----------
        owners : collection of str
            Ids of machines, lines and webs.
        start, end : datetime
            From when up to, not including, when [UTC].
        kinds : collection of str, optional
            Only of these kinds of export.

        Returns
        -------
        dict of str to int
            By kind of export; empty where there are none.
        """
        with storage_errors(tr("count the conflicts")):
            return self._conflicts.moments(owners, micros(start), micros(end), kinds)

    def conflicts(self, intake: int | None = None) -> pl.DataFrame:
        """Every row of the moments whose entries contradict each other.

        Parameters
        ----------
        intake : int, optional
            Only of the moments in which it has a part.

        Returns
        -------
        polars.DataFrame
            kind, machine, channel, at, value, text, intake, file, row. For batches, stops, reels, stock and
            plan `machine` is the line, machine or web, `channel` the batch, web or product, and `text` what
            the row says.
        """
        with storage_errors(tr("list the conflicts")):
            return self._conflicts.listed(intake)

    def contradicting(self, kind: str) -> pl.DataFrame:
        """Every row of one of the journal's kinds of which another says something else, with its file.

        Parameters
        ----------
        kind : str
            "batches", "stops", "reels", "stock" or "plan".
        """
        with storage_errors(tr("read the {kind}", kind=tr(KIND_NAMES[kind]))):
            read = partial(self._conflicts.contradicting, KINDS[kind])
            return self._journal.once(("contradicting", kind), read)

    def replaced_plan(self) -> pl.DataFrame:
        """Give PLAN in whose place a later export of as many moments says something else."""
        with storage_errors(tr("read the plan")):
            return self._journal.once("replaced plan", partial(self._journal_rows.replaced, KINDS["plan"]))

    def readings(
        self, machine: str, start: datetime, end: datetime, channels: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """One reading a channel and moment from start up to, not including, end.

        Parameters
        ----------
        machine : str
            Id of the machine.
        start, end : datetime
            With a zone.
        channels : sequence of str, optional
            Only of these.

        Returns
        -------
        polars.DataFrame
            READINGS, sorted by channel and moment. Disputed moments are left out; `conflicts` lists them.
        """
        with storage_errors(tr("read {machine}", machine=machine)):
            return one_a_moment(self._readings.rows(machine, micros(start), micros(end) - 1, channels))

    def channel_readings(self, machine: str, start: datetime, end: datetime) -> dict[str, pl.DataFrame]:
        """What `readings` gives, by channel: at, value, text and quality by time.

        Millions of readings of which no two are of one moment need neither be sorted nor compared.
        """
        with storage_errors(tr("read {machine}", machine=machine)):
            return self._readings.by_channel(machine, micros(start), micros(end) - 1)

    def weights(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give WEIGHTS from start up to, not including, end, each weighing once, sorted by moment."""
        with storage_errors(tr("read the weights of {machine}", machine=machine)):
            between = micros(start), micros(end) - 1
            return within_widest(  # each moment's weighings are settled by themselves
                self._journal,
                ("weights", machine),
                between,
                "at",
                lambda of: once_weighed(self._weights.rows(machine, *of)),
            )

    def span(self, machine: str | None = None) -> Period | None:
        """The first and the last reading's moment, of one machine or of all; None without readings.

        Where nothing was read, weighings count: a works may weigh by hand and have no counter.
        """
        return self._journal.once(("span", machine), lambda: self._span(machine))

    def _span(self, machine: str | None) -> Period | None:
        there = spans(self._journal, "readings", machine)
        if there.is_empty():
            there = spans(self._journal, "weights", machine)
        if there.is_empty():
            return None
        first, last = there.select(pl.col("first").min(), pl.col("last").max()).row(0)
        return Period(moment(first), moment(last))

    def reading_extents(self, machine: str) -> pl.DataFrame:
        """Give intake, first and last moment [µs since 1970] of each intake's readings of a machine."""
        return self._journal.once(("extents", machine), lambda: intake_extents(self._journal, machine))

    def event_stretches(self, kind: str, owner: str) -> pl.DataFrame:
        """How many rows of a kind there are, and the sum of their ids, by quarter of an hour.

        Parameters
        ----------
        kind : str
            "batches" or "reels".
        owner : str
            Id of the line or machine.

        Returns
        -------
        polars.DataFrame
            Columns stretch (quarters of an hour since 1970), rows and total.
        """
        read = partial(event_stretches, self._journal, KINDS[kind], owner)
        return self._journal.once(("stretches", kind, owner), read)

    def content_mark(self, line: str, machines: Sequence[str], between: tuple[datetime, datetime]) -> str:
        """A mark of all there is of a line and its machines over some time.

        Parameters
        ----------
        line : str
            Id of the line.
        machines : sequence of str
            Ids of its machines.
        between : (datetime, datetime)
            From, to [UTC].

        Returns
        -------
        str
            Another one whenever readings, weighings, batches, stops, reels or reasons of that time do.
        """
        return content_mark(self._journal, line, machines, (micros(between[0]), micros(between[1])))

    def batches(self, line: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give BATCHES of a line that last at some moment of the time, sorted by start."""
        return self._journal_rows.lasting(KINDS["batches"], line, micros(start), micros(end))

    def stop_log(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give STOP_LOG of a machine that lasts at some moment of the time, sorted by start."""
        return self._journal_rows.lasting(KINDS["stops"], machine, micros(start), micros(end))

    def plan(self, line: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give PLAN of a line for some moment of the time, sorted by start."""
        return self._journal_rows.lasting(KINDS["plan"], line, micros(start), micros(end))

    def reels(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give REELS mounted on a machine from start up to, not including, end, sorted by moment.

        Of a mounting that two exports give differently, what they disagree on is left empty: left out whole, the
        reel before it would seem to have held the metres of both.
        """
        kind = KINDS["reels"]
        rows = self._journal_rows.rows(kind, micros(start), micros(end) - 1, machine)
        return agreed_in_part(rows, kind.keys, kind.values).sort(kind.at, maintain_order=True)

    def stock(self) -> pl.DataFrame:
        """Give STOCK, all counts, sorted by moment."""
        return self._journal_rows.once(KINDS["stock"])

    def adjustments(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give ADJUSTMENTS of a machine from start up to, not including, end, sorted by moment."""
        return self._people.adjustments(machine, micros(start), micros(end))

    def manual_entries(self, machines: Sequence[str], kind: str) -> pl.DataFrame:
        """The entries of machines of one kind in their present form, the latest moment first: MANUAL_ENTRIES."""
        return self._people.of_machines(machines, kind)

    def stop_reasons(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Give machine, start, end, reason of the stops in the time that somebody named."""
        return self._people.stop_reasons(machine, micros(start), micros(end))

    def trials(self) -> pl.DataFrame:
        """Give TRIALS, all that stand, by number."""
        return self._people.trials()
