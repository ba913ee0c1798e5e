"""Pictures on paper: the marks of the drawn figure at the places where the figure has them."""

import re
import xml.etree.ElementTree as ET

import plotly.graph_objects as go
import pytest

from lineview.app.question import QUESTIONS, QuestionScope
from lineview.app.works import Works
from lineview.charts.render import pictures
from lineview.charts.style import ChartStyle, Picture
from lineview.charts.svg import to_svg
from lineview.core.errors import MeasureError
from lineview.sheets.pdf import to_pdf

SVG = "{http://www.w3.org/2000/svg}"


def drawn(*traces: go.Scatter | go.Bar, **layout: object) -> ET.Element:
    figure = go.Figure(traces)
    figure.update_layout(
        margin={"l": 100, "r": 24, "t": 20, "b": 30}, xaxis_range=[0, 10], yaxis_range=[0, 5], **layout
    )
    return ET.fromstring(to_svg(Picture("<b>a & b</b>", figure, height=250), width=624))


def test_a_line_lies_where_its_values_are_and_breaks_where_one_is_missing() -> None:
    """The plot's box is 100 to 600 by 220 to 20: 50 px a unit across, 40 px a unit up."""
    picture = drawn(go.Scatter(x=[0, 2, 4, 6, 10], y=[0, 1, None, 5, 2.5], mode="lines"))
    lines = [line.get("points") for line in picture.iter(f"{SVG}polyline")]
    assert lines == ["100.0,220.0 200.0,180.0", "400.0,20.0 600.0,120.0"]


def test_steps_fills_and_bars() -> None:
    step = drawn(go.Scatter(x=[0, 4], y=[1, 2], mode="lines", line_shape="hv", fill="tozeroy"))
    assert next(step.iter(f"{SVG}polyline")).get("points") == "100.0,180.0 300.0,180.0 300.0,140.0"
    assert next(step.iter(f"{SVG}polygon")).get("points").endswith("300.0,220.0 100.0,220.0")
    bars = [go.Bar(y=[2.0], x=[length], orientation="h", width=1.0) for length in (3.0, 4.0)]
    boxes = [
        tuple(float(bar.get(key)) for key in ("x", "y", "width", "height"))
        for bar in list(drawn(*bars, barmode="stack").iter(f"{SVG}rect"))[1:]
    ]
    assert boxes == [(100, 120, 150, 40), (250, 120, 200, 40)]


def test_texts_are_texts_and_an_unknown_mark_is_said() -> None:
    figure = go.Figure(go.Scatter(x=[0, 1], y=[0, 1]), layout_margin={"l": 58, "r": 10, "t": 18, "b": 30})
    figure.add_annotation(x=0.5, y=0.5, text="&lt;script&gt; &amp; jam", showarrow=False)
    picture = to_svg(Picture("x", figure))
    assert "&lt;script&gt; &amp; jam" in picture
    assert "<script" not in picture
    with pytest.raises(MeasureError, match="'pie' cannot be drawn on paper"):
        to_svg(Picture("x", go.Figure(go.Pie(values=[1]))))


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_picture_of_every_answer_can_be_drawn(week: Works, question: str) -> None:
    answer = week.ask(QuestionScope(question))
    for picture in pictures(answer, ChartStyle(week.plant)):
        svg = to_svg(picture)
        ET.fromstring(svg)
        assert "nan" not in svg.lower().replace("finan", "")
        marks = len(re.findall("<(?:polyline|polygon|circle|rect)", svg))
        assert marks > 1  # one of them is the plot's own frame
    without = answer.__class__(**{**answer.__dict__, "series": {}})
    if question not in ("shift", "week"):
        assert len(to_pdf(answer, week.plant)) > 2000 + len(to_pdf(without, week.plant))
