"""Bringing the journal's tables to the form this version knows."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from lineview.errors import Fault, StoreError

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
    from alembic import command  # slow to import, and needed once
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
