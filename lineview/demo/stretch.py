"""What a simulated shift leaves behind: stretches of one state, feeds, and every wrap cycle."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineview.demo.windows import Window

Floats = NDArray[np.float64]
GOOD, REJECT, BLANK = 0, 1, 2
MOVING = ("running", "slow")


@dataclass
class Stretch:
    """A stretch of a wrap machine's clock in one state; `cycles` from `first` are those it made."""

    t0: float
    t1: float
    state: str
    reason: str = ""
    batch: str = ""
    first: int = 0
    cycles: int = 0
    blanks: int = 0
    rope_m: float = 0.0
    diameter_mm: Floats | None = None
    temperature_c: Floats | None = None

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.t1 - self.t0


@dataclass(frozen=True)
class Feed:
    """Web fed without cycles: from `t0` for `seconds`, `metres` of it, and why."""

    t0: float
    seconds: float
    kind: str
    metres: float
    cause: str
    web: str = ""


@dataclass
class ShiftTruth:
    """One shift of one line, whole: where the minutes went and what every cycle gave."""

    window: Window
    stretches: list[Stretch] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    kinds: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    masses_g: Floats = field(default_factory=lambda: np.empty(0))

    def count(self, kind: int) -> int:
        """Give how many cycles were of this kind."""
        return int(np.count_nonzero(self.kinds == kind))

    def seconds(self, state: str) -> float:
        """Give the seconds in this state."""
        return float(sum(s.seconds for s in self.stretches if s.state == state))
