"""Bringing the journal's tables to the form this version knows."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from lineview.errors import Fault, StoreError
from lineview.store.tables import intakes, metadata

#: The newest migration in migrations/versions.
NEWEST = "0001"


def migrate(connection: Connection) -> None:
    """Make or change the journal's tables as needed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction, which the caller commits.

    Raises
    ------
    StoreError
        Where a newer version of the tool has made the tables.
    """
    present = _present(connection)
    if present == NEWEST:
        return
    if present is not None and present > NEWEST:
        what = f"the journal was made by a newer version (form {present}; this one knows {NEWEST})"
        raise StoreError(Fault(what, "journal", f"form {NEWEST} or older", "Use the newer version"))
    if present is None and not inspect(connection).has_table(intakes.name):
        _make(connection)
    else:
        upgrade(connection)


def _make(connection: Connection) -> None:
    """Make the tables of a new journal as the migrations would, which are slow to import."""
    metadata.create_all(connection)
    key = "version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)"
    connection.execute(text(f"CREATE TABLE alembic_version ({key})"))
    connection.execute(text("INSERT INTO alembic_version VALUES (:newest)"), {"newest": NEWEST})


def upgrade(connection: Connection) -> None:
    """Run the migrations that a journal lacks, within a transaction which the caller commits."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _present(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
