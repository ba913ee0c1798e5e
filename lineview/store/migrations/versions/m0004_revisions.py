"""Who wrote an adjustment, a reason or a note and when, and what it said before it was changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the columns; what stands there already becomes an entry of its own."""
    for name in ("adjustments", "notes"):
        with op.batch_alter_table(name) as table:
            table.add_column(sa.Column("entry", sa.String(64), nullable=False, server_default=""))
            table.add_column(sa.Column("who", sa.String(80), nullable=False, server_default=""))
            table.add_column(sa.Column("set_at", sa.BigInteger(), nullable=False, server_default="0"))
            table.add_column(sa.Column("withdrawn", sa.Boolean(), nullable=False, server_default=sa.false()))
        rows = sa.table(name, sa.column("id", sa.BigInteger), sa.column("entry", sa.String))
        op.execute(rows.update().values(entry=sa.literal("row-").concat(sa.cast(rows.c.id, sa.String))))
        op.create_index(f"ix_{name}_entry", name, ["entry"])
    with op.batch_alter_table("stop_reasons") as table:
        table.add_column(sa.Column("who", sa.String(80), nullable=False, server_default=""))
