"""The shared console, as wide as the terminal (in a pipe one line a row), and the options of every command."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from os import environ
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text
from typer.main import get_command

from lineview.core.errors import AskError, Fault
from lineview.core.language import ENGLISH, languages, spoken, tr

#: Columns where there is no terminal: none of a table's rows is broken, so that each is one line.
PIPE_WIDTH = 2000


def _console() -> Console:
    """The console; without colours in a file or pipe, whatever the environment asks for."""
    if sys.stdout.isatty():
        return Console(highlight=False)
    return Console(highlight=False, width=PIPE_WIDTH, force_terminal=False, no_color=True, color_system=None)


console = _console()


def say(text: str | Text, style: str = "") -> None:
    """Print text, broken between words in a terminal and not at all elsewhere."""
    words = Text(text, style=style) if isinstance(text, str) else text
    console.print(words, soft_wrap=not console.is_terminal)


def print_table(table: Table) -> None:
    """Print a table; where a terminal is so narrow that names and numbers would be cut, each row in words."""
    if console.measure(table, options=console.options.update(max_width=PIPE_WIDTH)).minimum <= console.width:
        console.print(table)
        return
    for row in zip(*(column.cells for column in table.columns), strict=True):
        named = zip(table.columns, row, strict=True)
        say("; ".join(f"{column.header}: {cell}" for column, cell in named if str(cell)))


def at_work(words: str) -> AbstractContextManager[object]:
    """Show on a terminal that something is under way, and nothing where errors go to a file or pipe."""
    if not (sys.stderr.isatty() and console.is_terminal):
        return nullcontext()
    return Console(stderr=True, highlight=False).status(f"{words} …")


def language_of_environment() -> str:
    """Code of the language that the environment names; "" where it names none that there is a catalogue for.

    LINEVIEW_LANGUAGE comes before LC_ALL, LC_MESSAGES and LANG.
    """
    locale = next(filter(None, map(environ.get, ("LINEVIEW_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"))), "")
    code = re.split(r"[-_.@]", locale)[0].casefold()
    return code if code in languages() else ""


def read_language(code: str | None) -> str:
    """The language that a works gets: as asked for, else the terminal's, else English."""
    chosen = (code or language_of_environment() or ENGLISH).strip().casefold()
    if chosen not in languages():
        known = tr("one of {choices}", choices=", ".join(languages()))
        raise AskError(Fault(tr("unknown language '{code}'", code=chosen), "--language", known))
    return chosen


def translated(app: typer.Typer) -> Callable[[], object]:
    """The command line with its help in the language spoken now."""
    if spoken() == ENGLISH:
        return app
    command = get_command(app)
    _translate(command)
    return command


def _translate(command: Any) -> None:
    command.help = tr(command.help or "")
    for parameter in command.params:
        if getattr(parameter, "help", None):
            parameter.help = tr(parameter.help)
    for below in getattr(command, "commands", {}).values():
        _translate(below)


WorksFolder = Annotated[
    Path, typer.Option("--works", envvar="LINEVIEW_WORKS", help="The works folder, with plant.toml in it.")
]
JournalUrl = Annotated[
    str | None, typer.Option("--journal", envvar="LINEVIEW_JOURNAL", help="Journal database URL; by default SQLite.")
]
HERE = Path()
