"""Options that every command has."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

WorksFolder = Annotated[
    Path, typer.Option("--works", envvar="LINEVIEW_WORKS", help="The works folder, with plant.toml in it.")
]
JournalUrl = Annotated[
    str | None, typer.Option("--journal", envvar="LINEVIEW_JOURNAL", help="Journal database URL; by default SQLite.")
]
HERE = Path()
