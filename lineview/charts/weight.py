"""Piece weight: a point a batch with its interval, target and tolerance as pale areas behind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, ms, set_clock, thin
from lineview.core.figure import Period
from lineview.core.language import tr
from lineview.core.units import in_units
from lineview.report import show


@dataclass(frozen=True)
class Target:
    """Target mass of a piece [g]; None where plant.toml has none."""

    target_g: float | None = None
    low_g: float | None = None
    high_g: float | None = None


def weight_picture(
    batches: pl.DataFrame, target: Target, look: ChartStyle, span: Period, name: str = "", *, off_target: bool = False
) -> Picture:
    """Draw the batches' mean weights.

    Takes `target` [g].
    """
    unit = show.unit_words("g", look.plant.units)
    axis = tr("off target, {unit}", unit=unit) if off_target else tr("piece weight, {unit}", unit=unit)
    figure = blank(look, "", axis)
    _areas(figure, look, target)
    points = thin(batches.sort("at"), "at", "mean_g", 600)
    means = _grams(points["mean_g"], look)
    above = _gaps(means, _grams(points["high"], look), 1)
    below = _gaps(means, _grams(points["low"], look), -1)
    places = 2 if unit == "g" else 4
    figure.add_scatter(
        x=[ms(at) for at in points["at"].to_list()],
        y=means,
        mode="markers",
        marker={"color": look.tokens.ink, "size": 5 * look.scale, "symbol": "circle"},
        error_y={
            "type": "data",
            "array": above,
            "arrayminus": below,
            "width": 0,
            "thickness": 1,
            "color": look.tokens.grey,
        },
        text=[_hover(row, look, places, unit) for row in points.iter_rows(named=True)],
        hovertemplate="%{text}<extra></extra>",
    )
    moments = points["at"].to_list()
    if moments:
        set_clock(figure, look, moments[0], moments[-1])
        pad = (ms(moments[-1]) - ms(moments[0])) * 0.01 or 60_000
        figure.update_xaxes(range=[ms(moments[0]) - pad, ms(moments[-1]) + pad])
    else:
        set_clock(figure, look, span.start, span.end)
    figure.update_yaxes(showgrid=False, tickformat=f".{places}f")
    return Picture(name or tr("Piece weight, batch by batch"), figure, height=320)


def _grams(column: pl.Series, look: ChartStyle) -> list[float | None]:
    return [None if v is None else in_units(v, "g", look.plant.units)[0] for v in column.to_list()]


def _gaps(means: list[float | None], ends: list[float | None], sign: int) -> list[float]:
    pairs = zip(means, ends, strict=True)
    return [0.0 if m is None or e is None else max(0.0, sign * (e - m)) for m, e in pairs]


def _hover(row: dict[str, Any], look: ChartStyle, places: int, unit: str) -> str:
    parts = [in_units(float(str(row[c])), "g", look.plant.units)[0] for c in ("mean_g",) if row[c] is not None]
    mean = show.number(parts[0], places) if parts else show.NOTHING
    return tr(
        "{at}<br>{mean} {unit}, {n} pieces", at=show.moment(row["at"], look.plant), mean=mean, unit=unit, n=row["n"]
    )


def _areas(figure: go.Figure, look: ChartStyle, target: Target) -> None:
    def in_unit(value: float) -> float:
        return in_units(value, "g", look.plant.units)[0]

    side: dict[str, Any] = {"xref": "paper", "xanchor": "left", "yanchor": "bottom", "xshift": 2}
    if target.low_g is not None and target.high_g is not None:
        figure.add_hrect(
            y0=in_unit(target.low_g), y1=in_unit(target.high_g), fillcolor=look.tokens.band, line_width=0, layer="below"
        )
        label(figure, look, tr("tolerance"), 0, in_unit(target.high_g), **side)
    if target.target_g is not None:
        figure.add_hline(
            y=in_unit(target.target_g), line={"color": look.tokens.grey, "width": 1, "dash": "dash"}, layer="below"
        )
        label(figure, look, tr("target"), 0, in_unit(target.target_g), **side, bgcolor=look.tokens.band)
