"""JSON holds the whole answer, strictly: no NaN, moments in UTC, reasons beside what cannot be told."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import polars as pl

from lineview.core.figure import Figure, Period
from lineview.report.answer import VERSION, Answer, Scope, Span, Table, to_json

AT = datetime(2026, 6, 9, 4, tzinfo=UTC)


def answer() -> Answer:
    return Answer(
        question="rope",
        scope=Scope("1", "sizer1", Period(AT, AT), AT, "Tue 9 June"),
        sentence=(Span("The rope is "), Span("thinning", call=True), Span(".")),
        figures=(
            Figure("drift_mm_per_h", "drift", float("nan"), "mm/h", low=-0.2, high=0.1, n=9, sources=("a",)),
            Figure("leaves_at", "leaves tolerance", AT, n=9, period=Period(AT, AT)),
            Figure("level_mm", "level", None, "mm", n=3, why_none="too few: needs 8, has 3"),
        ),
        tables=(Table("t", "T", (("x", "x", "mm"),), ({"x": np.float64(1.5)}, {"x": None})),),
        series={"ewma": pl.DataFrame({"at": [AT], "value": [float("inf")]})},
        notes=("a note",),
    )


def test_the_whole_answer_is_there() -> None:
    read = json.loads(to_json(answer()))
    assert "12 µm – ℮" in to_json(replace(answer(), notes=("12 µm – ℮",)))  # as it is read, not as numbers of letters
    assert read["version"] == VERSION
    assert read["sentence"] == "The rope is thinning."
    assert read["needs_a_person"] == ["thinning"]
    assert read["figures"]["leaves_at"]["value"] == "2026-06-09T04:00:00Z"
    assert read["figures"]["level_mm"]["value"] is None
    assert read["figures"]["level_mm"]["why_none"] == "too few: needs 8, has 3"
    assert read["tables"]["t"]["rows"] == [{"x": 1.5}, {"x": None}]
    assert read["tables"]["t"]["columns"] == [{"key": "x", "heading": "x", "unit": "mm"}]


def test_what_is_not_finite_is_null_and_never_nan() -> None:
    text = to_json(answer())
    assert "NaN" not in text
    assert "Infinity" not in text
    assert json.loads(text)["series"]["ewma"] == [{"at": "2026-06-09T04:00:00Z", "value": None}]
