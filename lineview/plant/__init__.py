"""The plant description: its types, reading it with every fault and its line, and writing layouts."""

from lineview.plant.checks import WEEK, Day
from lineview.plant.fields import ExportKind
from lineview.plant.model import (
    Break,
    ColumnTarget,
    Counter,
    Counting,
    Counts,
    Gauge,
    Layout,
    Line,
    Machine,
    MachineKind,
    Measures,
    Plant,
    Product,
    Shift,
    StateMeaning,
    Web,
    WebKind,
)

__all__ = [
    "WEEK",
    "Break",
    "ColumnTarget",
    "Counter",
    "Counting",
    "Counts",
    "Day",
    "ExportKind",
    "Gauge",
    "Layout",
    "Line",
    "Machine",
    "MachineKind",
    "Measures",
    "Plant",
    "Product",
    "Shift",
    "StateMeaning",
    "Web",
    "WebKind",
]
