"""One family of errors: each says what, where, what was expected and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from lineview.core.language import tr


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong."""

    what: str  # in one plain clause
    where: str = ""  # file and line, or the name of the argument
    expected: str = ""  # what would have been right
    do: str = ""  # what the reader can do about it

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        expectation = tr("; expected {expected}", expected=self.expected) if self.expected else ""
        advice = f". {self.do}" if self.do else ""
        return f"{place}{self.what}{expectation}{advice}"


class LineviewError(Exception):
    """Base of every error a user can meet; carries all faults at once, at least one.

    Examples
    --------
    >>> error = AskError(Fault("unknown machine 'wrap9'", "--machine", "one of wrap1, wrap2"))
    >>> print(error)
    --machine: unknown machine 'wrap9'; expected one of wrap1, wrap2
    """

    exit_status = 2

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class PlantError(LineviewError):
    """The plant description is wrong."""


class IntakeError(LineviewError):
    """An export cannot be read at all; single rows are refused, not raised."""


class StoreError(LineviewError):
    """The store cannot be read or written."""


class AskError(LineviewError):
    """A question names something that is not there, or an unknown period."""


class MeasureError(LineviewError):
    """Frames or values that a measure cannot work on."""


def check_positive(**values: float) -> None:
    """Raise for every value that is not a number above 0.

    Parameters
    ----------
    **values : float
        By name, as faults call them.

    Raises
    ------
    MeasureError
        Naming all of them.
    """
    faults = [
        Fault(tr("{name} is {value:g}", name=name, value=value), name, tr("a number above 0"))
        for name, value in values.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        raise MeasureError(faults)
