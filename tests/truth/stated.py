"""Counts of stated intervals that hold a truth, and what such counts may be."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

from scipy.stats import binom

from lineview.report.answer import Answer, to_json

#: A count is out of its range by chance once in so many.
ONCE_IN = 1000


class Coverage:
    """Of each figure: lines whose stated interval holds the truth, lies above or below it, and that state none.

    Figures with one of the texts `at_least` in their name are stated at no less than the level: holding more is right.
    """

    def __init__(self, at_least: tuple[str, ...] = ()) -> None:
        self.at_least = at_least
        self.counts: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])

    def add(self, answer: Answer, truth: Mapping[str, float], at: str = "") -> None:
        """Compare what a reader of the answer's JSON gets with the truth."""
        figures = json.loads(to_json(replace(answer, tables=(), series={})))["figures"]  # points are long
        for name, true in truth.items():
            figure = figures.get(name, {"low": None, "high": None})  # some are left out where nothing can be told
            self.add_interval(name + at, figure["low"], figure["high"], true)

    def add_interval(self, name: str, low: float | None, high: float | None, true: float) -> None:
        """Note one interval; None at an end that is open, and at both where none is stated."""
        if low is None and high is None:
            place = 3
        elif low is not None and true < low:
            place = 1
        else:
            place = 2 if high is not None and true > high else 0
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
            most = stated if any(text in name for text in self.at_least) else most
            if not stated or not least <= held <= most or max(above, below) > most_in_tail:
                wrong.append((name, held, above, below, stated))
        assert not wrong, (condition, wrong)
