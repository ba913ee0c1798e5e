"""Small exports made in the tests."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from lineview.core.frames import READINGS, REFUSALS, WEIGHTS, empty
from lineview.intake.exports import Export, Part
from lineview.store.tables import KINDS

T0 = datetime(2026, 6, 1, 6, 0, tzinfo=UTC)


def at(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


def readings(rows: Sequence[tuple], machine: str = "wrap1") -> pl.DataFrame:
    """Rows of (row, seconds, channel, value[, quality[, text]])."""
    full = [(*row, "good", None)[:6] if len(row) == 4 else (*row, None)[:6] for row in rows]
    return pl.DataFrame(
        [(machine, c, at(s), v, t, q, 0, r) for r, s, c, v, q, t in full], schema=READINGS, orient="row"
    )


def weights(rows: Sequence[tuple], machine: str = "wrap1") -> pl.DataFrame:
    """Rows of (row, seconds, mass, sample)."""
    return pl.DataFrame(
        [(machine, at(s), m, 1, False, None, sample, 0, r) for r, s, m, sample in rows], schema=WEIGHTS, orient="row"
    )


def kind(name: str, rows: Sequence[dict]) -> pl.DataFrame:
    schema = KINDS[name].schema
    full = [{**dict.fromkeys(schema), "intake": 0, "row": i + 2, **row} for i, row in enumerate(rows)]
    return pl.DataFrame(full, schema=schema, orient="row")


def refused(rows: Sequence[int]) -> pl.DataFrame:
    return pl.DataFrame([(0, "x.csv", row, "", "???", "no time") for row in rows], schema=REFUSALS, orient="row")


def export(folder: Path, name: str, *parts: tuple[str, pl.DataFrame], refusals: pl.DataFrame | None = None) -> Export:
    """An export whose bytes are its name and rows, so that other rows give another SHA-256."""
    refusals = empty(REFUSALS) if refusals is None else refusals
    text = name + "\n" + "\n".join(str(tidy.rows()) for _, tidy in parts) + str(refusals.rows())
    path = folder / name
    path.write_text(text)
    rows = sum(tidy["row"].n_unique() for _, tidy in parts) + refusals.height
    return Export(
        path,
        hashlib.sha256(path.read_bytes()).hexdigest(),
        len(text),
        ("daily",),
        tuple(Part(kind, tidy) for kind, tidy in parts),
        rows,
        refusals,
        refusals.height,
        sum(int((tidy["quality"] == "uncertain").sum()) for k, tidy in parts if k == "readings"),
    )
