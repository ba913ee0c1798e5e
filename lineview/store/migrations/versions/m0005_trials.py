"""Trials: what was changed from when on, what it is judged by, and the verdict."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table."""
    text, whole = sa.String(), sa.BigInteger()
    op.create_table(
        "trials",
        sa.Column("id", _KEY, primary_key=True, autoincrement=True, nullable=False),
        sa.Column("trial", whole, nullable=False),
        sa.Column("begins_at", whole, nullable=False),
        sa.Column("ends_at", whole, nullable=True),
        *(sa.Column(name, text, nullable=False) for name in ("what", "line", "machine", "beside", "measure")),
        sa.Column("worth_percent", sa.Float(53), nullable=False),
        sa.Column("shifts", whole, nullable=False),
        *(sa.Column(name, text, nullable=False) for name in ("verdict", "decision")),
        sa.Column("undoes", sa.Boolean(), nullable=False),
        sa.Column("set_at", whole, nullable=False),
        sa.Column("who", sa.String(80), nullable=False),
    )
    op.create_index("ix_trials_trial", "trials", ["trial"])
