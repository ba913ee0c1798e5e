"""What one table gave: tidy rows, refusals, and the sentences of the summary."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import in_digits, tr, tr_count
from lineview.intake import refusal_reasons
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
    notes: tuple[str, ...]
    uncertain: int
    passed: Mapping[str, int]


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
    rest = rows.frame.filter(~is_kept).select("row", "text")
    if rest.height:
        first = cells.unique("row", keep="first", maintain_order=True).select("row", "reason")
        rest = rest.join(first, on="row", how="left", maintain_order="left")
        rest = rest.with_columns(pl.col("reason").fill_null(refusal_reasons.NO_VALUE), column=pl.lit(""))
        refused = pl.concat([refused, rest.select(refused.columns)])
        cells = cells.join(rest, on="row", how="anti", maintain_order="left")
    every = pl.concat([refused, cells]).sort("row", "column", maintain_order=True)
    count = rows.frame.height + rows.refused.height
    remarks = (*passed_notes(rows.passed), *notes)
    return Outcome(layout.id, layout.kind, tidy, every, count, refused.height, remarks, uncertain, rows.passed)


def passed_notes(counts: Mapping[str, int]) -> tuple[str, ...]:
    """Say what was passed over."""
    parts = [_passed(kind, n) for kind, n in sorted(counts.items()) if n]
    return (tr("skipped: {passed}", passed=", ".join(parts)),) if parts else ()


def _passed(kind: str, n: int) -> str:
    if kind == "blank":
        return tr_count("{count} blank line", "{count} blank lines", n)
    if kind == "footer":
        return tr_count("{count} footer", "{count} footers", n)
    return tr_count("{count} repeated header", "{count} repeated headers", n)


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
        both = tr("some cells have a decimal point and others a decimal comma")
        why = both if evidence.point and evidence.comma else _open_mark(evidence.example)
        raise IntakeError(
            Fault(why, where, tr("a decimal mark"), tr('Write decimal = "." or "," in layout \'{id}\'.', id=layout.id))
        )
    return NumberSeparators(mark, layout.thousands)


def _open_mark(example: str) -> str:
    return tr(
        "'{example}' can be read as {digits} or as {decimal}, and no cell decides",
        example=example,
        digits=example.replace(",", "").replace(".", ""),
        decimal=in_digits(example.replace(",", ".")),
    )
