"""The names of lineview.core.figure in their former place."""

# ruff: noqa: PLC0414 - re-exported

from lineview.core.figure import Figure as Figure
from lineview.core.figure import Period as Period
from lineview.core.figure import Value as Value
from lineview.core.figure import cannot_tell as cannot_tell
from lineview.core.figure import too_few as too_few
