"""The first form of the journal."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _id() -> sa.Column[int]:
    return sa.Column("id", _KEY, primary_key=True, autoincrement=True, nullable=False)


def _columns(kind: object, names: str, *, nullable: bool) -> list[sa.Column[object]]:
    return [sa.Column(name, kind, nullable=nullable) for name in names.split()]  # type: ignore[arg-type]  # kind is a type or its class


def upgrade() -> None:
    """Make all tables."""
    text, whole = sa.String(), sa.BigInteger()
    op.create_table(
        "intakes",
        _id(),
        sa.Column("file", text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        *_columns(whole, "size_bytes taken_at", nullable=False),
        sa.Column("layouts", text, nullable=False),
        *_columns(whole, "rows kept duplicate refused uncertain", nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("cleared", sa.Boolean(), nullable=False),
        sqlite_autoincrement=True,
    )
    done = sa.text("state = 'done'")
    op.create_index("intakes_done_once", "intakes", ["sha256"], unique=True, sqlite_where=done, postgresql_where=done)
    _exports()
    _people()


def _exports() -> None:
    text, whole, real = sa.String(), sa.BigInteger(), sa.Float(53)
    _owned(
        "extents",
        sa.Column("kind", sa.String(8), nullable=False),
        *_columns(text, "machine channel", nullable=False),
        *_columns(whole, "first last readings", nullable=False),
        index=["machine", "kind", "channel"],
    )
    tables = {
        "batches": (["line", "start"], "line batch product", "start end row", "mass_in_kg"),
        "stop_log": (["machine", "start"], "machine reason", "start end row", ""),
        "reels": (["machine", "at"], "machine web reel", "at splices row", "length_m left_m"),
        "stock": (["web", "at"], "web", "at expected_on row", "whole_reels part_reel_outer_mm on_order_reels"),
        "plan": (["line", "start"], "line product", "start end row", "pieces"),
    }
    for name, (index, texts, wholes, reals) in tables.items():
        kinds = ((text, texts), (whole, wholes), (real, reals))
        _owned(name, *(c for kind, names in kinds for c in _columns(kind, names, nullable=True)), index=index)


def _owned(name: str, *columns: sa.Column[object], index: list[str]) -> None:
    intake = sa.Column("intake", _KEY, sa.ForeignKey("intakes.id"), nullable=False)
    op.create_table(name, _id(), intake, *columns)
    op.create_index(f"{name}_of", name, index)
    op.create_index(f"ix_{name}_intake", name, ["intake"])


def _people() -> None:
    text, whole = sa.String(), sa.BigInteger()
    op.create_table(
        "adjustments",
        _id(),
        *_columns(text, "machine what note", nullable=False),
        *_columns(whole, "at", nullable=False),
    )
    op.create_index("ix_adjustments_machine", "adjustments", ["machine"])
    op.create_table(
        "stop_reasons",
        _id(),
        *_columns(text, "machine reason", nullable=False),
        *_columns(whole, "start end set_at", nullable=False),
    )
    op.create_index("ix_stop_reasons_machine", "stop_reasons", ["machine"])
    op.create_table(
        "notes", _id(), *_columns(text, "machine text", nullable=False), *_columns(whole, "at", nullable=False)
    )
    op.create_index("ix_notes_at", "notes", ["at"])
