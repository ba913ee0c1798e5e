"""A small invented works, layouts for it, and what tests look up in an export of it."""

from __future__ import annotations

import polars as pl

from lineview.intake.detect.sheets import Export
from lineview.plant import ColumnTarget, Counter, Gauge, Layout, Line, Machine, Plant, Product, Web


def _machine(id_: str, line: str) -> Machine:
    counters = (
        Counter(id="pieces", counts="pieces", modulus=1000000, fastest_per_min=500),
        Counter(id="good", counts="good pieces", modulus=1000000, fastest_per_min=500),
        Counter(id="rejects", counts="rejects", fastest_per_min=500),
        Counter(id="film", counts="film", fastest_per_min=60),
    )
    gauges = (Gauge(id="state", measures="state"),)
    return Machine(id=id_, kind="cut-and-wrap machine", line=line, counters=counters, gauges=gauges)


def _web(id_: str, kind: str) -> Web:
    return Web(id=id_, kind=kind, cut_length_mm=56, width_mm=76, reel_outer_mm=300, reel_core_mm=76)


WORKS = Plant(
    shop="an invented works",
    zone="Europe/Berlin",
    lines=(Line(id="line1", name="Linie 1"), Line(id="line2")),
    machines=(
        _machine("wrap1", "line1"),
        _machine("wrap2", "line2"),
        Machine(
            id="sizer1",
            kind="sizer",
            line="line1",
            gauges=(
                Gauge(id="diameter", measures="rope diameter", unit="mm"),
                Gauge(id="temperature", measures="rope temperature", unit="°C"),
                Gauge(id="speed", measures="roller speed", unit="mm/s", pair=4),
            ),
        ),
    ),
    webs=(_web("film-plum", "film"), _web("wax", "wax paper")),
    products=(
        Product(
            id="plum", flavour="Plum", mass_g=6.5, mass_tolerance_g=0.4, diameter_mm=14.0,
            diameter_tolerance_mm=0.4, cut_length_mm=32, also_called=("Pflaume",),
        ),
    ),
)  # fmt: skip


def layout_of(columns: dict[str, str | tuple[str, str]], **settings: object) -> Layout:
    """Give a layout: headers to targets, or to (target, unit)."""
    made = {
        header: ColumnTarget(to=to) if isinstance(to, str) else ColumnTarget(to=to[0], unit=to[1])
        for header, to in columns.items()
    }
    return Layout.model_validate({"id": "test", "machine": "wrap1", **settings, "columns": made})


def adds_up(export: Export) -> None:
    """Check that every data row is kept or refused whole, once."""
    kept = sum(part.tidy["row"].n_unique() for part in export.parts)
    whole = export.refusals.filter(pl.col("column") == "")
    assert export.rows == kept + export.rows_refused
    assert whole.height == export.rows_refused
    for part in export.parts:
        if len(export.parts) == 1:
            assert not set(part.tidy["row"]) & set(whole["row"])


def values(export: Export, channel: str) -> list[float | None]:
    """Give a channel's values in the file's order."""
    tidy = export.parts[0].tidy.filter(pl.col("channel") == channel).sort("row", maintain_order=True)
    return tidy["value"].to_list()


def utc(export: Export, column: str = "at") -> list[str]:
    """Give the moments of the tidy rows as text, in the file's order, once a row."""
    tidy = export.parts[0].tidy.sort("row", maintain_order=True).unique("row", keep="first", maintain_order=True)
    return [f"{moment:%Y-%m-%d %H:%M:%S}" if moment else "" for moment in tidy[column]]


def reasons(export: Export) -> dict[tuple[int, str], str]:
    """Give the refusals' reasons by row and column."""
    return {(row, column): reason for _, _, row, column, _, reason in export.refusals.iter_rows()}
