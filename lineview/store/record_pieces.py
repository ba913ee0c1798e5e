"""Taking in a big export while it is read: written stretch by stretch, seen only when it is done.

Notes
-----
The order: the export's bytes, hashed while they are copied; the journal's row, "begun"; the files of each
stretch, which no table lists yet; all that the journal keeps, refusals and disputed moments; one atomic Delta
commit of all files; the journal's row, "done". What a crash leaves is taken back like that of any other.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import polars as pl

from lineview.core.errors import Fault, StoreError
from lineview.core.frames import REFUSALS, empty
from lineview.core.language import tr
from lineview.core.names import readable
from lineview.intake.exports import InPieces, Stretch
from lineview.store.blocks import Block, blocks, channel_blocks, pieces
from lineview.store.compare import DISPUTES, Nearby, Tally, compare_readings
from lineview.store.files import StoredOriginal
from lineview.store.journal import Beginning
from lineview.store.readings import IntakePieces, OwnFiles
from lineview.store.writer import Receipt, Recorder, app_id, receipt, span_of


def record_in_pieces(recorder: Recorder, export: InPieces) -> Receipt:
    """Take a big export in; the caller holds the store for writing and has recovered it."""
    original = recorder.originals.take(export.path)
    earlier = recorder.journal.known(original.sha256)
    if earlier is not None:
        return recorder.again(earlier)
    (row,) = recorder.journal.begin([Beginning(_intake_row(export, original, Counter()), [], [])])
    try:
        return _Writing(recorder, export, original, row).done()
    except BaseException:
        recorder.give_up(row)
        raise


def _intake_row(export: InPieces, original: StoredOriginal, counts: Counter[str]) -> dict[str, Any]:
    return {
        "file": readable(export.path.name),
        "sha256": original.sha256,
        "size_bytes": original.size_bytes,
        "layouts": ", ".join(export.layouts),
        **{name: counts[name] for name in ("rows", "kept", "duplicate", "refused", "uncertain")},
    }


class _Writing:
    """One big export while it is written."""

    def __init__(self, recorder: Recorder, export: InPieces, original: StoredOriginal, row: Any) -> None:
        self._to, self._export, self._kept, self._row = recorder, export, original, row
        self._table = recorder.tables["readings"]
        self._own = OwnFiles(self._table)
        self._counts: Counter[str] = Counter()
        self._spans: dict[tuple[str, str], dict[str, Any]] = {}
        self._disputes: list[pl.DataFrame] = []
        self._refused: list[pl.DataFrame] = []

    def done(self) -> Receipt:
        """Write all of it."""
        for stretch in self._export.stretches(self._kept.path):
            self._add(stretch)
        disputed = pl.concat(self._disputes).unique() if self._disputes else pl.DataFrame(schema=DISPUTES)
        values = _intake_row(self._export, self._kept, self._counts)
        row = self._to.journal.complete(self._row.id, values, list(self._spans.values()))
        wrote = self._to.refusals.keep(row.id, self._refusals()) + self._to.disputes.keep(row.id, disputed)
        self._table.commit(self._own.written, [app_id(row)])
        self._to.finish([row], [*wrote, *(listed for _, listed in self._own.written)])
        return receipt(row, disputed.height)

    def _add(self, stretch: Stretch) -> None:
        several = len(stretch.frames) > 1
        new_blocks = (
            channel_blocks(0, stretch.frames) if several else blocks(0, stretch.frames[0], ("machine", "channel"))
        )
        tally = self._compared(new_blocks, stretch)
        self._own.write(IntakePieces(self._row.id, "", pieces(new_blocks)))
        if tally.new_rows + tally.duplicate + stretch.rows_refused != stretch.rows:
            what = tr("the rows from line {row} on are not all kept, duplicate or refused", row=stretch.first_row)
            advice = tr("Nothing was taken in; please report this with the file")
            raise StoreError(Fault(what, self._export.path.name, tr("every row in one of the three"), advice))
        self._counts.update(
            rows=stretch.rows,
            kept=tally.new_rows,
            duplicate=tally.duplicate,
            refused=stretch.rows_refused,
            uncertain=stretch.uncertain,
        )
        self._disputes += tally.disputes
        if stretch.refused.height:
            self._refused.append(stretch.refused)
        for block in new_blocks:
            self._widen(span_of("readings", block))

    def _compared(self, new_blocks: list[Block], stretch: Stretch) -> Tally:
        """Compare a stretch with what the store holds and with the stretches before it."""
        tally = Tally(stretch.first_row)
        nearby = Nearby(self._to.measured, self._to.journal_rows)
        nearby.expect({"readings": new_blocks})
        for block, stored in zip(new_blocks, nearby.there("readings", new_blocks), strict=True):
            stretches_before = self._own.rows(block.machine, block.channel, block.first, block.last)
            parts = [part for part in (stored, stretches_before) if part is not None]
            values = [part.select("at", "value", "text") for part in parts]
            compare_readings(block, pl.concat(values) if values else None, tally)
        return tally

    def _widen(self, span: dict[str, Any]) -> None:
        owner = span["machine"], span["channel"]
        old = self._spans.get(owner)
        if old is not None:
            span["first"], span["last"] = min(old["first"], span["first"]), max(old["last"], span["last"])
            span["readings"] += old["readings"]
        self._spans[owner] = span

    def _refusals(self) -> pl.DataFrame:
        if not self._refused:
            return empty(REFUSALS)
        labels = (
            pl.lit(self._row.id, pl.Int64).alias("intake"),
            pl.lit(readable(self._export.path.name)).alias("file"),
        )
        return pl.concat(self._refused).with_columns(*labels).select(list(REFUSALS))
