"""A trial: a point a shift before and since, with both means; and what was known after each shift."""

from __future__ import annotations

from datetime import timedelta

import plotly.graph_objects as go
import polars as pl

from lineview.charts.axes import ms, set_clock
from lineview.charts.style import ChartStyle, Picture, blank, label, see_through
from lineview.core.units import in_units
from lineview.report import show


def trial_picture(shifts: pl.DataFrame, unit: str, name: str, look: ChartStyle, *, call: bool) -> Picture:
    """Draw a measure by shift, the beginning of the trial, and the means before and since; `call` marks one worse."""
    shown_unit = in_units(1.0, unit, look.plant.units)[1]
    figure = blank(look, "", shown_unit)
    beside = shifts.drop_nulls("beside")
    if beside.height:
        _points(figure, look, beside, "beside", unit, "line beside", look.tokens.hairline)
    _points(figure, look, shifts, "value", unit, "shift", look.tokens.grey)
    for since in (False, True):
        part = shifts.filter(pl.col("since") == since)
        if part.height:
            _mean(figure, look, part, unit, look.tokens.call if call and since else look.tokens.ink)
    moments = shifts["at"].to_list()
    begins = shifts.filter("since")["at"].min()
    set_clock(figure, look, moments[0] - timedelta(hours=8), moments[-1] + timedelta(hours=16))
    if begins is not None:
        x = ms(begins) - 4 * 3600_000  # type: ignore[arg-type]  # a datetime
        figure.add_vline(x=x, line={"color": look.tokens.note, "width": 1.5, "dash": "dot"})
        side = {"xanchor": "right", "xshift": -4, "yanchor": "bottom"}
        label(figure, look, "trial begins", x, 1.0, colour=look.tokens.note, yref="paper", **side)
    grey = "; pale: the line beside" if beside.height else ""
    return Picture(f"{name[:1].upper()}{name[1:]} by shift, before and since{grey}", figure, height=320)


def _points(
    figure: go.Figure, look: ChartStyle, shifts: pl.DataFrame, column: str, unit: str, words: str, colour: str
) -> None:
    values = [in_units(value, unit, look.plant.units)[0] for value in shifts[column].to_list()]
    moments = shifts["at"].to_list()
    told = [
        f"{show.moment(at, look.plant)}<br>{show.number(value, 2)}" for at, value in zip(moments, values, strict=True)
    ]
    figure.add_scatter(
        x=[ms(at) for at in moments],
        y=values,
        mode="markers",
        marker={"color": colour, "size": 6 * look.scale, "symbol": "circle"},
        text=told,
        hovertemplate=f"{words}, %{{text}}<extra></extra>",
    )


def _mean(figure: go.Figure, look: ChartStyle, part: pl.DataFrame, unit: str, colour: str) -> None:
    value = in_units(float(part["mean"][0]), unit, look.plant.units)[0]
    ends = [ms(part["at"][0]) - 3600_000, ms(part["at"][-1]) + 9 * 3600_000]
    figure.add_scatter(x=ends, y=[value, value], mode="lines", line={"color": colour, "width": 2.5}, hoverinfo="skip")
    side = {"xanchor": "right", "yanchor": "bottom"}
    words = show.number(value, 1 if abs(value) >= 10 else 2)
    label(figure, look, words, ends[1], value, colour=colour, bgcolor=look.tokens.card, **side)


def looks_picture(looks: pl.DataFrame, unit: str, planned: int, look: ChartStyle) -> Picture:
    """Draw the change with the interval that holds over all looks, shift by shift: once it leaves 0, it is called."""
    shown_unit = in_units(1.0, unit, look.plant.units)[1]
    figure = blank(look, "whole shifts since it began", f"change, {shown_unit}")
    x = looks["shifts"].to_list()
    change, low, high = (
        [in_units(value, unit, look.plant.units)[0] for value in looks[name].to_list()]
        for name in ("change", "low", "high")
    )
    fill = see_through(look.tokens.grey, 0.24)
    figure.add_scatter(x=x, y=high, mode="lines", line={"width": 0}, hoverinfo="skip")
    figure.add_scatter(x=x, y=low, mode="lines", line={"width": 0}, fill="tonexty", fillcolor=fill, hoverinfo="skip")
    figure.add_scatter(
        x=x,
        y=change,
        mode="lines+markers",
        line={"color": look.tokens.ink, "width": 2},
        marker={"size": 5 * look.scale},
        hovertemplate=f"after %{{x}} shifts: %{{y:+.3g}} {shown_unit}<extra></extra>",
    )
    figure.add_hline(y=0, line={"color": look.tokens.ink, "width": 1})
    figure.update_xaxes(range=[min(x) - 0.5, max(planned, *x) + 0.5])
    reach = 1.15 * max(abs(value) for value in (*low[len(low) // 3 :], *high[len(high) // 3 :]))
    figure.update_yaxes(range=[-reach, reach], showgrid=False)
    title = f"What was known after each shift of {planned}: once 0 is outside, it is beyond chance"
    return Picture(title, figure, height=280, first=False)
