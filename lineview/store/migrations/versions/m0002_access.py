"""Who may use the board, which browsers are signed in, and who wrote what."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _id() -> sa.Column[int]:
    return sa.Column("id", _KEY, primary_key=True, autoincrement=True, nullable=False)


def _text(name: str, most: int | None = None) -> sa.Column[str]:
    return sa.Column(name, sa.String(most), nullable=False)


def _moment(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger(), nullable=False)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "users",
        _id(),
        sa.Column("name", sa.String(60), nullable=False, unique=True),
        _text("rights", 80),
        _text("password", 200),
        _moment("added_at"),
    )
    op.create_table(
        "sessions",
        _id(),
        sa.Column("mark", sa.String(64), nullable=False, unique=True),
        sa.Column("user", _KEY, sa.ForeignKey("users.id"), nullable=True),
        _text("screen", 60),
        _moment("begun_at"),
        _moment("ends_at"),
    )
    op.create_index("ix_sessions_user", "sessions", ["user"])
    op.create_table(
        "pairings",
        sa.Column("mark", sa.String(64), primary_key=True, nullable=False),
        _text("screen", 60),
        _moment("ends_at"),
    )
    op.create_table(
        "audit",
        _id(),
        _moment("at"),
        _text("who", 80),
        _text("address", 64),
        _text("action", 40),
        *[_text(name) for name in ("about", "before", "after")],
    )
    op.create_index("ix_audit_at", "audit", ["at"])
