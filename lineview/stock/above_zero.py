"""What inventory formulas ask of their arguments."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError


def positive(**values: float) -> None:
    """Raise for every value that is not a number above 0."""
    faults = [
        Fault(f"{name} is {value:g}", name, "a number above 0")
        for name, value in values.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        raise MeasureError(faults)
