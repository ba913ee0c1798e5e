"""Counts of stated intervals that hold a truth, and what such counts may be."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping

from scipy.stats import binom

from lineview.report.answer import Answer, to_json

#: A count is out of its range by chance once in so many.
ONCE_IN = 1000


class Coverage:
    """Of each figure: lines whose stated interval holds the truth, lies above or below it, and that state none."""

    def __init__(self) -> None:
        self.counts: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])

    def add(self, answer: Answer, truth: Mapping[str, float], at: str = "") -> None:
        """Compare what a reader of the answer's JSON gets with the truth."""
        figures = json.loads(to_json(answer))["figures"]
        for name, true in truth.items():
            self.add_interval(name + at, figures[name]["low"], figures[name]["high"], true)

    def add_interval(self, name: str, low: float | None, high: float | None, true: float) -> None:
        """Note one interval; None where none is stated."""
        place = 3 if low is None or high is None else 1 if true < low else 2 if true > high else 0
        self.counts[name][place] += 1

    def assert_holds(self, condition: str, level: float = 0.95) -> None:
        """Whether the counts are those of the level, each tail at most twice its share, by binomial error."""
        wrong = []
        for name, (held, above, below, none) in self.counts.items():
            stated = held + above + below
            print(
                f"{condition}, {name}: {held} of {stated} hold, {above} lie above the truth, {below} below; "
                f"{none} state none"
            )
            least, most = binom.interval(1 - 1 / ONCE_IN, stated, level)
            most_in_tail = binom.ppf(1 - 1 / ONCE_IN, stated, 1 - level)
            if not least <= held <= most or max(above, below) > most_in_tail:
                wrong.append((name, held, above, below, stated))
        assert not wrong, (condition, wrong)
