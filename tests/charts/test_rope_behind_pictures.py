"""What stands behind the rope's picture: the parts of its deviation, and the charts that watch it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from lineview.charts.render import components_picture, pictures
from lineview.charts.rope import cusum_picture, residual_picture
from lineview.charts.style import DAY, NIGHT, ChartStyle
from lineview.rope.drift_model import fit_rope, rope_components
from lineview.rope.watch import watch
from tests.board import invented_answers as invented
from tests.simulate.rope import adjusted, ask, rope, sheet
from tests.simulate.rope_batches import line

LOOK = ChartStyle(invented.plant())
PARTS = ("wear_mm", "steps_mm", "temperature_mm", "products_mm", "shift_mm")


def model(**more: object):
    points, truth = line(np.random.default_rng(5), batches=150, **more)
    return fit_rope(points, truth.recorded)


def test_parts_add_up_to_the_deviation():
    parts = rope_components(model(recorded=1))
    total = parts.select(pl.sum_horizontal(PARTS))[:, 0].to_numpy()
    assert total == pytest.approx(parts["deviation_mm"].to_numpy())
    assert parts["steps_mm"].n_unique() >= 2
    assert parts["products_mm"].null_count() == 150


@pytest.mark.parametrize("look", [LOOK, ChartStyle(invented.plant("US"), NIGHT, narrow=True)])
def test_parts_are_drawn_to_one_scale_each_with_its_words(look):
    picture = components_picture(rope_components(model(recorded=0)), look)
    axes = [a for a in picture.figure.layout if a.startswith("yaxis") and picture.figure.layout[a].domain]
    assert len(axes) == len(picture.figure.data) == len(picture.figure.layout.annotations)
    spans = [picture.figure.layout[a] for a in axes]
    scales = [(a.range[1] - a.range[0]) / (a.domain[1] - a.domain[0]) for a in spans]
    assert scales == pytest.approx([scales[0]] * len(scales), rel=1e-6)
    assert DAY.call not in picture.figure.to_json()
    assert NIGHT.call not in picture.figure.to_json()


def markers(picture) -> list[tuple[str, str, int]]:
    return [(t.marker.color, t.marker.symbol, len(t.x)) for t in picture.figure.data if t.mode == "markers"]


def test_signals_dealt_with_are_in_ink_and_open_and_only_standing_ones_call():
    hours = [float(i) for i in range(6)]
    frame = pl.DataFrame(
        {"running_h": hours, "value": [0.0, 2.0, 0.0, 0.0, 2.0, 2.0], "low": [-1.0] * 6, "high": [1.0] * 6,
         "signal": [False, True, False, False, True, True], "stands": [False] * 4 + [True] * 2}
    )  # fmt: skip
    picture = residual_picture(frame, LOOK, "EWMA", "EWMA")
    assert markers(picture) == [(DAY.ink, "diamond-open", 1), (DAY.call, "diamond", 2)]
    sums = frame.rename({"value": "upper"}).with_columns(lower=pl.lit(0.0), limit=pl.lit(1.0))
    assert markers(cusum_picture(sums, LOOK)) == [(DAY.ink, "diamond-open", 1), (DAY.call, "diamond", 2)]


def test_charts_start_anew_at_a_recorded_adjustment():
    points, _ = line(np.random.default_rng(3), batches=200, wear=0.012, phi=0.0, recorded=0)
    at = points["at"][99] + timedelta(minutes=1)
    points = points.with_columns(
        deviation_mm=pl.when(pl.col("at") > at).then(pl.col("deviation_mm") - 0.2).otherwise("deviation_mm")
    )
    charts = watch(fit_rope(points, [(at, float(points["running_h"][99]) + 0.01, "pair 3 adjusted")]))
    assert charts.since == 100
    assert charts.ewma["signal"][99]
    assert abs(charts.ewma["value"][100]) < abs(charts.ewma["value"][99]) / 3
    assert not charts.ewma["stands"][:100].any()


def test_every_chart_of_a_real_answer_is_drawn_and_has_its_frame():
    answer = ask(rope(step=(70, -0.13), level=0.15), sheet(120, 10), adjusted(701))
    all_pictures = pictures(answer, ChartStyle(invented.plant()))
    titles = " ".join(p.title for p in all_pictures)
    assert len(all_pictures) == 6
    assert "ISO 7870-2" in titles
    assert "ISO 7870-4" in titles
    assert titles.count("ISO 7870-6") == 2
    assert {"components", "residuals", "ewma", "quick", "cusum"} <= set(answer.series)
    table = next(t for t in answer.tables if t.name == "watch")
    assert [row["chart"] for row in table.rows] == ["EWMA", "EWMA, quick", "Shewhart", "CUSUM"]
