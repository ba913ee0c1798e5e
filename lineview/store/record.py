"""Taking one export in, whole or not at all.

Notes
-----
The order: the export's bytes; the journal's row, "begun", with all that the journal keeps; refusals and
disputed moments; one atomic Delta commit a table, named for the export's SHA-256 and the attempt; the
journal's row, "done". Nothing of an intake is given before it is done. What a crash leaves is "begun": it is
finished where all its commits are there, and taken back where one is missing, by the next to open or write.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import polars as pl

from lineview.errors import Fault, StoreError
from lineview.intake.export import Export
from lineview.store.blocks import Block, blocks, pieces
from lineview.store.compare import DISPUTES, Tally, compare_kind, compare_readings, compare_weights
from lineview.store.conflicts import Conflicts
from lineview.store.delta import PartedTable
from lineview.store.journal import Journal
from lineview.store.kinds import KINDS, MEASURED
from lineview.store.originals import Originals
from lineview.store.query import Measured, Told
from lineview.store.refusals import PerIntake

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
        Moments of which this export and another, or the export itself, tell two different things.
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
    """Give the receipt of an intake's row in the journal.

    Parameters
    ----------
    row : sqlalchemy.Row
        Of the table intakes.
    conflicts : int
        Its disputed moments.
    already : bool
        Whether it was in before.
    """
    return Receipt(row.id, row.rows, row.kept, row.duplicate, row.refused, row.uncertain, conflicts, already)


@dataclass(frozen=True)
class Recorder:
    """The parts of the store that an intake is written to."""

    journal: Journal
    tables: dict[str, PartedTable]
    originals: Originals
    refusals: PerIntake
    disputes: PerIntake
    measured: dict[str, Measured]
    told: Told
    conflicts: Conflicts

    def record(self, export: Export) -> Receipt:
        """Take an export in; the caller holds the store for writing and has recovered it."""
        known = self.journal.known(export.sha256)
        if known is not None:
            return receipt(self.journal.row(known), self.conflicts.count(known), already=True)
        self.originals.keep(export.path, export.sha256)
        found = {
            name: [
                block
                for part, one in enumerate(export.parts)
                if one.kind == name
                for block in blocks(part, one.tidy, _BY[name])
            ]
            for name in MEASURED
        }
        tally = self._compare(export, found)
        intake = self._begin(export, found, tally)
        self.refusals.keep(intake, export.refusals.with_columns(intake=pl.lit(intake, pl.Int64)))
        disputed = pl.concat(tally.disputes).unique() if tally.disputes else pl.DataFrame(schema=DISPUTES)
        self.disputes.keep(intake, disputed)
        row = self.journal.row(intake)
        for name in MEASURED:
            if found[name]:
                self.tables[name].add(pieces(found[name]), intake, _app_id(row))
        self.journal.end(intake, "done")
        return receipt(row, disputed.height)

    def _compare(self, export: Export, found: dict[str, list[Block]]) -> Tally:
        tally = Tally()
        for name in MEASURED:
            own: dict[tuple[str, str], list[Block]] = {}
            for block in found[name]:
                there = self.measured[name].overlapping(block)
                before = own.setdefault((block.machine, block.channel), [])
                if before and name == "readings":  # sheets of one file may repeat each other
                    same = [b.rows.select("at", "value", "text") for b in before]
                    there = pl.concat([*([] if there is None else [there]), *same])
                _COMPARE[name](block, there, tally)
                before.append(block)
        given: dict[str, list[pl.DataFrame]] = {}
        for part, one in enumerate(export.parts):
            if one.kind in KINDS and one.tidy.height:
                kind = KINDS[one.kind]
                there = pl.concat([self.told.like(kind, one.tidy), *given.get(one.kind, [])])
                compare_kind(part, kind, one.tidy, there, tally)
                given.setdefault(one.kind, []).append(one.tidy)
        return tally

    def _begin(self, export: Export, found: dict[str, list[Block]], tally: Tally) -> int:
        kept, duplicate, refused = tally.kept, tally.duplicate, export.rows_refused
        if kept + duplicate + refused != export.rows:
            what = f"{kept} rows kept, {duplicate} duplicate and {refused} refused are not {export.rows} rows"
            advice = "Nothing was taken in; please report this with the file"
            raise StoreError(Fault(what, export.path.name, "every row in one of the three", advice))
        told = {
            "file": export.path.name,
            "sha256": export.sha256,
            "size_bytes": export.size_bytes,
            "layouts": ", ".join(export.layouts),
            "rows": export.rows,
            "kept": kept,
            "duplicate": duplicate,
            "refused": refused,
            "uncertain": export.uncertain,
        }
        spans = [_span(name, block) for name in MEASURED for block in found[name]]
        kinds = [(one.kind, one.tidy) for one in export.parts if one.kind in KINDS]
        return self.journal.begin(told, spans, kinds)

    def undo(self, intake: int) -> Receipt:
        """Take an intake back; the caller holds the store for writing and has recovered it."""
        row = self.journal.row(intake)
        if row is None or row.state == "failed":
            raise StoreError(Fault(f"there is no intake {intake}", "intake", "an id of the list of intakes"))
        if row.state == "undone":
            raise StoreError(
                Fault(f"intake {intake} was taken back before", "intake", "an intake that is in")
            )
        given = receipt(row, self.conflicts.count(intake))
        self.journal.end(intake, "undone")
        self._clear(row)
        return given

    def recover(self) -> None:
        """Finish or take back what a crash has left; the caller holds the store for writing."""
        for row in self.journal.uncleared():
            if row.state == "begun" and self._whole(row):
                self.journal.end(row.id, "done")
                continue
            if row.state == "begun":
                self.journal.end(row.id, "failed")
            self._clear(row)

    def _whole(self, row: Any) -> bool:
        kinds = self.told.measured_kinds(row.id)
        return bool(kinds) and all(self.tables[kind].holds(_app_id(row)) for kind in kinds)

    def _clear(self, row: Any) -> None:
        for table in self.tables.values():
            table.remove(row.id, f"undo-{row.id}")
        self.refusals.drop(row.id)
        self.disputes.drop(row.id)
        self.journal.clear(row.id)


def _app_id(row: Any) -> str:
    return f"intake-{row.sha256}-{row.attempt}"


def _span(kind: str, block: Block) -> dict[str, Any]:
    return {
        "kind": kind,
        "machine": block.machine,
        "channel": block.channel,
        "first": block.first,
        "last": block.last,
        "readings": block.rows.height,
    }
