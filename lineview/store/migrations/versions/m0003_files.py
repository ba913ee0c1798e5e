"""The works that a journal is of, the files of each intake, and digests of what the journal says."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the three tables; the store fills them when it is next opened."""
    text, whole = sa.String(), sa.BigInteger()
    op.create_table(
        "works", sa.Column("id", sa.String(32), primary_key=True), sa.Column("digest", sa.String(64), nullable=False)
    )
    op.create_table(
        "digests",
        sa.Column("intake", _KEY, sa.ForeignKey("intakes.id"), primary_key=True, autoincrement=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_table(
        "files",
        sa.Column("id", _KEY, primary_key=True, autoincrement=True, nullable=False),
        sa.Column("intake", _KEY, sa.ForeignKey("intakes.id"), nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        *(sa.Column(name, text, nullable=False) for name in ("path", "machine")),
        *(sa.Column(name, whole, nullable=False) for name in ("first", "last", "rows", "size_bytes")),
        sa.Column("sha256", sa.String(64), nullable=False),
    )
    op.create_index("files_of", "files", ["kind", "machine"])
    op.create_index("ix_files_intake", "files", ["intake"])
