"""The simulated works on its way through the days: what is carried from one to the next."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from lineview.demo.line import LineRun
from lineview.demo.truth import Totals, TruthRows
from lineview.demo.weighing import BenchWeighing
from lineview.plant import Plant


@dataclass
class Works:
    """Both lines, their counters so far, and the rows of weekly exports gathered so far.

    `lost` is what the second machine's counters stood at when last set back; `good_by_week` counts good
    pieces by week, line and product.
    """

    plant: Plant
    runs: list[LineRun]
    rng: np.random.Generator
    totals: list[Totals]
    lost: dict[str, int] = field(default_factory=dict)
    truth: TruthRows = field(default_factory=TruthRows)
    weighed: list[list[BenchWeighing]] = field(default_factory=lambda: [[], []])
    stops: list[list[tuple[str, float, float, str]]] = field(default_factory=lambda: [[], []])
    hall: dict[str, list[str]] = field(default_factory=dict)
    good_by_week: Counter[tuple[str, str, str]] = field(default_factory=Counter)
