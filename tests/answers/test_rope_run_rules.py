"""Run rules in the rope's answer: off by default, on where plant.toml asks, refused where not valid."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from pydantic import ValidationError

from lineview.measures.rope_model import RopeModel, fit_rope
from lineview.measures.rope_run_rules import left_over, run_rules
from lineview.plant import Plant
from tests.simulate.rope import ask, rope, sheet, works
from tests.simulate.rope_batches import line


def with_rules(*tests: int) -> Plant:
    return works().model_copy(update={"run_rules": tests})


def waves(batches: int = 200) -> RopeModel:
    """Batches that swing to and fro every eight: no noise of the model is like that."""
    points, _ = line(np.random.default_rng(8), wear=0.0, phi=0.0, batches=batches, recorded=0)
    swing = 0.08 * np.sin(np.arange(batches) * 2 * np.pi / 8)
    return fit_rope(points.with_columns(deviation_mm=pl.col("deviation_mm") + pl.Series(swing)), [])


def test_off_by_default():
    answer = ask(rope(), sheet(120, 10))
    assert not any(t.name == "run_rules" for t in answer.tables)
    assert not any("un rules" in note for note in answer.notes)


def test_on_where_asked_for_with_the_run_length_they_bring():
    answer = ask(rope(wear=-0.02, seed=2), sheet(120, 10), plant=with_rules(1, 2))
    table = next(t for t in answer.tables if t.name == "run_rules")
    assert "once in 217 batches" in table.title  # 216.7 by the Markov chain of the source
    assert [row["rule"][:2] for row in table.rows] == ["1:", "2:"]
    assert table.rows[1]["signals"] > 0
    assert any("add false alarms" in note for note in answer.notes)


def test_refused_where_residuals_stay_correlated():
    found = run_rules(waves(), (1, 2))
    assert found.signals == {}
    assert "still depend on each other" in found.refused


def test_refused_with_few_batches():
    answer = ask(rope(20), sheet(20, 10), plant=with_rules(2))
    assert any("not applied: too few batches" in note for note in answer.notes)
    assert not any(t.name == "run_rules" for t in answer.tables)


def test_lines_the_model_fits_are_hardly_ever_refused():
    rng = np.random.default_rng(12)
    models = [fit_rope(line(rng, batches=200, recorded=0)[0], []) for _ in range(40)]
    refused = float(np.mean([left_over(model).p < 0.05 for model in models]))
    print(f"refused {refused:.3f} of lines that the model fits")
    assert refused <= 0.2


def test_a_rule_that_does_not_exist_is_a_fault():
    with pytest.raises(ValidationError):
        Plant(shop="Invented", run_rules=(9,))
