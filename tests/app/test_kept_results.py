"""The latest results are kept within their bounds."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from lineview.app import inputs
from lineview.app.inputs import Measured
from lineview.app.kept_results import KeptResults, held_bytes


def test_those_asked_longest_ago_go_first():
    kept: KeptResults[str] = KeptResults(2, 100, len)
    calls: list[str] = []

    def ask(key: str) -> None:
        kept.get(key, lambda: calls.append(key) or key)

    for key in ("a", "b", "a", "c", "a", "b"):
        ask(key)
    assert calls == ["a", "b", "c", "b"]


def test_bytes_are_bounded_and_one_too_large_is_given_but_not_kept():
    kept: KeptResults[str] = KeptResults(10, 5, len)
    assert kept.get("a", lambda: "xxx") == "xxx"
    assert kept.get("b", lambda: "yyy") == "yyy"
    assert kept.held_bytes == 3
    assert kept.get("c", lambda: "zzzzzz") == "zzzzzz"
    assert kept.held_bytes == 0


@dataclass(frozen=True)
class Invented:
    array: np.ndarray
    frames: dict[str, pl.DataFrame]
    pairs: tuple[tuple[str, np.ndarray], ...] = ()

    @cached_property
    def twice(self) -> np.ndarray:
        return self.array * 2


def test_bytes_of_all_that_is_within_a_value_are_counted():
    value = Invented(np.zeros(1_000), {"a": pl.DataFrame({"x": [1] * 500})}, (("b", np.zeros(10, np.int8)),))
    assert held_bytes(value) == 8_000 + 4_000 + 10
    assert len(value.twice) == 1_000
    assert held_bytes([value, None, "words", 7]) == 16_000 + 4_000 + 10  # also what was worked out of it since


def test_what_one_question_measured_for_the_next_is_bounded_by_its_bytes(monkeypatch):
    monkeypatch.setattr(inputs, "KEPT_BYTES", 20_000)
    measured = Measured()
    for name in ("sizers", "counts", "output", "lines"):
        kept = getattr(measured, name)
        for number in range(10):
            kept.get(number, lambda: Invented(np.zeros(1_000), {}))
        assert kept.held_bytes == 16_000
        kept.replace(9, Invented(np.zeros(100), {}))
        assert kept.held_bytes == 8_800
        assert (kept.known(8) is None, kept.known(7) is None) == (False, True)
