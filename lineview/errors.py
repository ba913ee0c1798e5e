"""The names of lineview.core.errors in their former place."""

# ruff: noqa: PLC0414 - re-exported

from lineview.core.errors import AskError as AskError
from lineview.core.errors import Fault as Fault
from lineview.core.errors import IntakeError as IntakeError
from lineview.core.errors import LineviewError as LineviewError
from lineview.core.errors import MeasureError as MeasureError
from lineview.core.errors import PlantError as PlantError
from lineview.core.errors import StoreError as StoreError
