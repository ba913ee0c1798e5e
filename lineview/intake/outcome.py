"""What one table gave: tidy rows, refusals, and the sentences of the summary."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.intake.cells.numbers import NumberSeparators, SeparatorCounts
from lineview.intake.tidy.rows import Rows
from lineview.plant import ExportKind, Layout


@dataclass(frozen=True)
class Outcome:
    """The rows of one table: `refused` has the columns of lineview.intake.tidy.rows.REFUSED.

    `passed` counts the rows that are no data, by what they are; the notes say it already.
    """

    layout: str
    kind: ExportKind
    tidy: pl.DataFrame
    refused: pl.DataFrame
    rows: int
    rows_refused: int
    notes: tuple[str, ...] = ()
    uncertain: int = 0
    passed: Mapping[str, int] = field(default_factory=dict)


def outcome(
    layout: Layout,
    tidy: pl.DataFrame,
    rows: Rows,
    is_kept: pl.Series,
    cells: pl.DataFrame,
    notes: tuple[str, ...],
    uncertain: int = 0,
) -> Outcome:
    """Close a table: rows that gave nothing are refused whole, with the first reason among their cells."""
    refused = rows.refused
    lost = rows.frame.filter(~is_kept).select("row", "text")
    if lost.height:
        first = cells.unique("row", keep="first", maintain_order=True).select("row", "reason")
        lost = lost.join(first, on="row", how="left", maintain_order="left")
        lost = lost.with_columns(pl.col("reason").fill_null("no value"), column=pl.lit(""))
        refused = pl.concat([refused, lost.select(refused.columns)])
        cells = cells.join(lost, on="row", how="anti", maintain_order="left")
    every = pl.concat([refused, cells]).sort("row", "column", maintain_order=True)
    count = rows.frame.height + rows.refused.height
    remarks = (*passed_notes(rows.passed), *notes)
    return Outcome(layout.id, layout.kind, tidy, every, count, refused.height, remarks, uncertain, rows.passed)


def passed_notes(counts: Mapping[str, int]) -> tuple[str, ...]:
    """Say what was passed over."""
    names = {"repeated header": "repeated header", "footer": "footer", "blank": "blank line"}
    parts = [f"{n} {names[kind]}{'s' if n > 1 else ''}" for kind, n in sorted(counts.items()) if n]
    return (f"skipped: {', '.join(parts)}",) if parts else ()


def settled_marks(
    layout: Layout, evidence_of_rows: Callable[[], SeparatorCounts], separator: str, where: str
) -> NumberSeparators:
    """Settle a file's decimal mark: the layout's, or the one that its cells prove.

    In a comma-separated file without quotes a point is no thousands mark: whoever groups by points writes
    the comma as decimal mark, and would not separate cells by it.
    """
    if layout.decimal:
        return NumberSeparators(layout.decimal, layout.thousands)
    if layout.thousands in (",", "."):
        return NumberSeparators("." if layout.thousands == "," else ",", layout.thousands)
    evidence = evidence_of_rows()
    mark = evidence.mark
    if mark is None and separator == "," and not evidence.comma and not evidence.both_comma:
        mark = "."
    if mark is None:
        why = (
            f"'{evidence.example}' can be read as {_both(evidence.example)}, and no cell decides"
            if not (evidence.point and evidence.comma)
            else "some cells have a decimal point and others a decimal comma"
        )
        raise IntakeError(Fault(why, where, "a decimal mark", f'Write decimal = "." or "," in layout \'{layout.id}\'.'))
    return NumberSeparators(mark, layout.thousands)


def _both(text: str) -> str:
    digits = text.replace(",", "").replace(".", "")
    return f"{digits} or as {text.replace(',', '.')}"
