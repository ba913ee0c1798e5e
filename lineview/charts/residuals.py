"""The rope's control chart: a smoothed deviation a batch, its limits as a pale area, its signals marked."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from lineview import show
from lineview.charts.look import Look, Picture, blank, label
from lineview.charts.thin import thin
from lineview.show_units import in_units


def residual_picture(ewma: pl.DataFrame, look: Look) -> Picture:
    """Draw the exponentially weighted average of the batches' deviations between its limits.

    Parameters
    ----------
    ewma : polars.DataFrame
        running_h [h], value, low, high [mm], signal (whether it is outside).
    look : Look
        Colours, units, width.

    Returns
    -------
    Picture
        For the folded working.
    """
    unit = show.unit_words("mm", look.plant.units)
    shown = thin(ewma.sort("running_h"), "running_h", "value")
    hours = shown["running_h"].to_list()
    low, value, high = (_converted(shown[c], look) for c in ("low", "value", "high"))
    figure = blank(look, "running hours", f"deviation, {unit}")
    quiet = {"mode": "lines", "line": {"width": 0, "shape": "hv"}, "hoverinfo": "skip"}
    figure.add_scatter(x=hours, y=low, **quiet)
    figure.add_scatter(x=hours, y=high, fill="tonexty", fillcolor=look.tokens.band, **quiet)
    figure.add_scatter(
        x=hours,
        y=value,
        mode="lines",
        line={"color": look.tokens.ink, "width": 1.3 * look.scale},
        hovertemplate=f"%{{y:.4f}} {unit}<extra></extra>",
    )
    _signals(figure, look, shown, hours, value)
    limits = [v for v in high if v is not None]
    if limits:
        label(figure, look, "limits", hours[-1], limits[-1], xanchor="right", yanchor="bottom")
    return Picture("Smoothed deviation of the batches, with its limits", figure, height=240, first=False)


def _converted(column: pl.Series, look: Look) -> list[float | None]:
    return [None if v is None else in_units(v, "mm", look.plant.units)[0] for v in column.to_list()]


def _signals(
    figure: go.Figure, look: Look, shown: pl.DataFrame, hours: list[float], value: list[float | None]
) -> None:
    outside = [i for i, signal in enumerate(shown["signal"].to_list()) if signal]
    if not outside:
        return
    figure.add_scatter(
        x=[hours[i] for i in outside],
        y=[value[i] for i in outside],
        mode="markers",
        marker={
            "symbol": "diamond-open",
            "size": 8 * look.scale,
            "color": look.tokens.call,
            "line": {"width": 1.5 * look.scale},
        },
        hovertemplate="signal<extra></extra>",
    )
    first = outside[0]
    label(
        figure,
        look,
        "first signal",
        hours[first],
        value[first] or 0.0,
        colour=look.tokens.call,
        yshift=12,
        xanchor="right" if hours[first] > hours[0] + 0.15 * (hours[-1] - hours[0]) else "left",
    )
