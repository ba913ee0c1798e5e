"""Taking exports in, each whole or not at all.

Notes
-----
The order: the exports' bytes; the journal's rows, "begun", with all that the journal keeps; refusals and
disputed moments; one atomic Delta commit a table, named for the export's SHA-256 and the attempt; the
journal's row, "done". Each is on the disk before the next, so that a power cut leaves no more than a crash.
Nothing of an intake is given before it is done. What a crash leaves is "begun": it is
finished where all its commits are there, and taken back where one is missing, by the next to open or write.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.core.names import readable
from lineview.intake.exports import Export
from lineview.store.blocks import Block, blocks, pieces
from lineview.store.compare import DISPUTES, Nearby, Tally, compare_kind, compare_readings, compare_weights
from lineview.store.conflicts import Conflicts, PerIntake
from lineview.store.files import Originals
from lineview.store.journal import Beginning, Journal
from lineview.store.listed import ListedFile
from lineview.store.query import JournalRows, MeasuredRows
from lineview.store.readings import IntakePieces, PartedTable
from lineview.store.rolling import with_steps
from lineview.store.sidecars import Sidecars
from lineview.store.tables import KINDS, MEASURED

_BY = {"readings": ("machine", "channel"), "weights": ("machine",)}
_COMPARE: dict[str, Callable[[Block, pl.DataFrame | None, Tally], None]] = {
    "readings": compare_readings,
    "weights": compare_weights,
}


@dataclass(frozen=True)
class Receipt:
    """What became of an export's rows: kept, duplicate and refused add up to `rows`.

    Parameters
    ----------
    intake : int
        The id to list, look at or undo it by.
    rows, kept, duplicate, refused : int
        Data rows of the file, and where they ended.
    uncertain : int
        Tidy rows whose quality is uncertain.
    conflicts : int
        Moments of which this export and another, or the export itself, say two different things.
    already : bool
        Whether the same file was in before, so that nothing has changed.
    """

    intake: int
    rows: int
    kept: int
    duplicate: int
    refused: int
    uncertain: int
    conflicts: int
    already: bool = False


def receipt(row: Any, conflicts: int, *, already: bool = False) -> Receipt:
    """The receipt of an intake's row in the journal."""
    return Receipt(row.id, row.rows, row.kept, row.duplicate, row.refused, row.uncertain, conflicts, already)


@dataclass(frozen=True)
class _ComparedExport:
    """An export of a group, its place in it, and all that is to be written of it."""

    place: int
    export: Export
    blocks: dict[str, list[Block]]
    beginning: Beginning
    disputed: pl.DataFrame


@dataclass(frozen=True)
class Recorder:
    """The parts of the store that an intake is written to."""

    journal: Journal
    tables: dict[str, PartedTable]
    originals: Originals
    refusals: PerIntake
    disputes: PerIntake
    measured: dict[str, MeasuredRows]
    journal_rows: JournalRows
    conflicts: Conflicts
    sidecars: Sidecars

    def record(self, exports: Sequence[Export]) -> list[Receipt | StoreError]:
        """Take exports in; the caller holds the store for writing and has recovered it.

        Each is whole or not there on its own; what they write is brought to the disk together.
        """
        first: dict[str, int] = {}
        outcomes: dict[int, Receipt | StoreError] = {}
        for place, export in enumerate(exports):
            earlier = self.journal.known(export.sha256)
            if earlier is not None:
                outcomes[place] = self.again(earlier)
            else:
                first.setdefault(export.sha256, place)
        fresh = self._compared({place: exports[place] for place in first.values()}, outcomes)
        outcomes |= self._write(fresh)
        for place, export in enumerate(exports):
            if place not in outcomes:  # the same bytes as another of the group
                outcome = outcomes[first[export.sha256]]
                outcomes[place] = outcome if isinstance(outcome, StoreError) else self.again(outcome.intake)
        return [outcomes[place] for place in range(len(exports))]

    def again(self, intake: int) -> Receipt:
        """The receipt of an export that was in before."""
        return receipt(self.journal.row(intake), self.conflicts.count(intake), already=True)

    def _compared(self, exports: dict[int, Export], outcomes: dict[int, Receipt | StoreError]) -> list[_ComparedExport]:
        """Compare exports with what is there and with those before them; errors go to the outcomes."""
        blocks_of = {place: _blocks_of(export) for place, export in exports.items()}
        nearby = Nearby(self.measured, self.journal_rows)
        nearby.expect({name: [b for by_kind in blocks_of.values() for b in by_kind[name]] for name in MEASURED})
        compared = []
        for place, export in exports.items():
            try:
                self.originals.keep(export.path, export.sha256)
                tally = _compare(export, blocks_of[place], nearby)
                beginning = _beginning(export, blocks_of[place], tally)
            except StoreError as error:
                outcomes[place] = error
                continue
            nearby.add(blocks_of[place], beginning.kinds)
            disputed = pl.concat(tally.disputes).unique() if tally.disputes else pl.DataFrame(schema=DISPUTES)
            compared.append(_ComparedExport(place, export, blocks_of[place], beginning, disputed))
        return compared

    def _write(self, compared: Sequence[_ComparedExport]) -> dict[int, Receipt | StoreError]:
        """Write what was compared, in the order by which a crash leaves each export whole or not there."""
        if not compared:
            return {}
        rows = self.journal.begin([item.beginning for item in compared])
        wrote: list[ListedFile] = []
        for row, item in zip(rows, compared, strict=True):
            wrote += self.refusals.keep(row.id, item.export.refusals.with_columns(intake=pl.lit(row.id, pl.Int64)))
            wrote += self.disputes.keep(row.id, item.disputed)
        for name in MEASURED:
            new_files = [
                IntakePieces(row.id, app_id(row), pieces(item.blocks[name]))
                for row, item in zip(rows, compared, strict=True)
                if item.blocks[name]
            ]
            if new_files:
                wrote += self.tables[name].add(new_files)
        self.finish(rows, wrote)
        return {item.place: receipt(row, item.disputed.height) for row, item in zip(rows, compared, strict=True)}

    def finish(self, rows: Sequence[Any], wrote: Sequence[ListedFile]) -> None:
        """Say that intakes are in, beside their originals and in the journal; all they wrote is on the disk."""
        for row in rows:
            self.sidecars.keep(row, "done")
        self.journal.end([row.id for row in rows], "done", [listed.row for listed in wrote])

    def undo(self, intake: int) -> Receipt:
        """Take an intake back; the caller holds the store for writing and has recovered it."""
        row = self.journal.row(intake)
        if row is None or row.state == "failed":
            raise StoreError(
                Fault(tr("there is no intake {intake}", intake=intake), "intake", tr("an id of the list of intakes"))
            )
        if row.state == "undone":
            raise StoreError(
                Fault(tr("intake {intake} was undone before", intake=intake), "intake", tr("an intake that is in"))
            )
        undone = receipt(row, self.conflicts.count(intake))
        self.journal.end([intake], "undone")
        self.sidecars.keep(row, "undone")  # after the journal, by which `recover` mends it
        self._clear(row)
        return undone

    def recover(self) -> None:
        """Finish or take back what a crash has left; the caller holds the store for writing."""
        for row in self.journal.uncleared():
            for table in self.tables.values():
                table.sync()  # also a commit after which the process was killed at once
            if row.state == "begun" and self._whole(row):
                self.finish([row], self.wrote(row.id))
                continue
            if row.state == "undone":
                self.sidecars.keep(row, "undone")
                self._clear(row)
            else:
                self.give_up(row)

    def give_up(self, row: Any) -> None:
        """Take back all that was written of an intake that cannot be finished."""
        self.journal.end([row.id], "failed")
        self.sidecars.drop(row)
        for table in self.tables.values():
            table.drop_unlisted(row.id)
        self._clear(row)

    def remake(self, row: Any, export: Export) -> None:
        """Write all of an intake again from its original, and put it in the place of what is left of it."""
        if (export.sha256, export.rows, export.rows_refused) != (row.sha256, row.rows, row.refused):
            what = tr(
                "the original of intake {intake} gives {rows} rows, {refused} refused",
                intake=row.id,
                rows=export.rows,
                refused=export.rows_refused,
            )
            raise StoreError(
                Fault(
                    what,
                    row.file,
                    tr("{rows} rows, {refused} refused, as when it was taken in", rows=row.rows, refused=row.refused),
                )
            )
        new_blocks = _blocks_of(export)
        wrote = self.refusals.keep(row.id, export.refusals.with_columns(intake=pl.lit(row.id, pl.Int64)))
        for name in MEASURED:
            files = self.tables[name].write(IntakePieces(row.id, app_id(row), pieces(new_blocks[name])))
            self.tables[name].replace(row.id, files, app_id(row))
            wrote += [listed for _, listed in files]
        spans = [span_of(name, block) for name in MEASURED for block in new_blocks[name]]
        kinds = [(entry.kind, entry.tidy) for entry in export.parts if entry.kind in KINDS and entry.tidy.height]
        self.sidecars.keep(row, "done")
        self.journal.put_back(row, spans, kinds, [entry.row for entry in wrote])

    def note_disputes(self, intake: int) -> None:
        """Note the disputed moments in which an intake has a part, as they are now."""
        self.disputes.drop(intake)
        wrote = self.disputes.keep(intake, self.conflicts.moments_of(intake))
        self.journal.list_files(intake, "disputes", [listed.row for listed in wrote])

    def wrote(self, intake: int) -> list[ListedFile]:
        """The files that an intake wrote, as they are now."""
        own_files = [*self.refusals.listed(intake), *self.disputes.listed(intake)]
        return [*own_files, *(listed for table in self.tables.values() for listed in table.listed(intake))]

    def _whole(self, row: Any) -> bool:
        kinds = self.journal_rows.measured_kinds(row.id)
        return bool(kinds) and all(self.tables[kind].holds(app_id(row)) for kind in kinds)

    def _clear(self, row: Any) -> None:
        for table in self.tables.values():
            table.remove(row.id, f"undo-{row.id}")
        self.refusals.drop(row.id)
        self.disputes.drop(row.id)
        self.journal.clear(row.id)


def _blocks_of(export: Export) -> dict[str, list[Block]]:
    return {
        name: [
            block
            for part, part_of_export in enumerate(export.parts)
            if part_of_export.kind == name
            for block in blocks(part, part_of_export.tidy, _BY[name])
        ]
        for name in MEASURED
    }


def _compare(export: Export, blocks_by_kind: dict[str, list[Block]], nearby: Nearby) -> Tally:
    tally = Tally()
    for name in MEASURED:
        blocks_before: dict[tuple[str, str], list[Block]] = {}
        for block, stored in zip(blocks_by_kind[name], nearby.there(name, blocks_by_kind[name]), strict=True):
            before = blocks_before.setdefault((block.machine, block.channel), [])
            there = stored
            if before and name == "readings":  # sheets of one file may repeat each other
                same = [b.rows.select("at", "value", "text") for b in before]
                there = pl.concat([*([] if stored is None else [stored]), *same])
            _COMPARE[name](block, there, tally)
            before.append(block)
    earlier_rows: dict[str, list[pl.DataFrame]] = {}
    for part, item in enumerate(export.parts):
        if item.kind in KINDS and item.tidy.height:
            kind = KINDS[item.kind]
            rows = pl.concat([nearby.like(kind, item.tidy), *earlier_rows.get(item.kind, [])], how="diagonal")
            compare_kind(part, kind, item.tidy, rows, tally)
            earlier_rows.setdefault(item.kind, []).append(with_steps(kind, item.tidy))
    return tally


def _beginning(export: Export, blocks_by_kind: dict[str, list[Block]], tally: Tally) -> Beginning:
    new, duplicate, refused = tally.new_rows, tally.duplicate, export.rows_refused
    if new + duplicate + refused != export.rows:
        what = tr(
            "{kept} rows kept, {duplicate} duplicate and {refused} refused are not {rows} rows",
            kept=new,
            duplicate=duplicate,
            refused=refused,
            rows=export.rows,
        )
        advice = tr("Nothing was taken in; please report this with the file")
        raise StoreError(Fault(what, export.path.name, tr("every row in one of the three"), advice))
    facts = {
        "file": readable(export.path.name),
        "sha256": export.sha256,
        "size_bytes": export.size_bytes,
        "layouts": ", ".join(export.layouts),
        "rows": export.rows,
        "kept": new,
        "duplicate": duplicate,
        "refused": refused,
        "uncertain": export.uncertain,
    }
    spans = [span_of(name, block) for name in MEASURED for block in blocks_by_kind[name]]
    kinds = [(item.kind, item.tidy) for item in export.parts if item.kind in KINDS and item.tidy.height]
    return Beginning(facts, spans, kinds)


def app_id(row: Any) -> str:
    """The name by which an intake's Delta commit is known again; `row` is the journal's."""
    return f"intake-{row.sha256}-{row.attempt}"


def span_of(kind: str, block: Block) -> dict[str, Any]:
    """What the journal keeps of a block: from when to when it is, and how many rows it has."""
    return {
        "kind": kind,
        "machine": block.machine,
        "channel": block.channel,
        "first": block.first,
        "last": block.last,
        "readings": block.rows.height,
    }
