"""Where the command line prints: as wide as the terminal, and wide enough for tables in a file or pipe."""

from __future__ import annotations

import sys

from rich.console import Console

#: Columns of a table printed to no terminal.
PIPE_WIDTH = 160

console = Console(highlight=False, width=None if sys.stdout.isatty() else PIPE_WIDTH)
