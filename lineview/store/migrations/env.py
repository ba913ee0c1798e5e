"""Where Alembic meets the journal: it is given an open connection and changes the tables on it."""

from __future__ import annotations

from alembic import context

from lineview.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,  # SQLite changes a table by making it anew
)
with context.begin_transaction():
    context.run_migrations()
