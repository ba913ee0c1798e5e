"""The rope drawn as a rope: a band about its axis, magnified inside its tolerance, its forecast as a fan."""

from __future__ import annotations

import math
from dataclasses import dataclass

import plotly.graph_objects as go
import polars as pl

from lineview import show
from lineview.charts.look import Look, Picture, blank, label
from lineview.charts.theme import see_through
from lineview.charts.thin import thin
from lineview.core.units import in_units

#: Share of half the picture that the rope's unmagnified heart takes.
HEART = 0.22


@dataclass(frozen=True)
class Tolerance:
    """What the rope's diameter should be [mm]."""

    target_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class _Scale:
    """Where a diameter's edge is drawn: the heart unmagnified, beyond it from `start_mm` on magnified."""

    start_mm: float
    heart: float
    times: int

    def edge(self, diameter_mm: float) -> float:
        return self.heart + self.times * (diameter_mm - self.start_mm) / 2


def rope_picture(
    batches: pl.DataFrame,
    tolerance: Tolerance,
    look: Look,
    *,
    forecast: pl.DataFrame | None = None,
    adjustments: pl.DataFrame | None = None,
    call: bool = False,
    name: str = "Rope",
) -> Picture:
    """Draw the rope over running hours.

    Parameters
    ----------
    batches : polars.DataFrame
        ROPE_BATCHES, sorted by `running_h`.
    tolerance : Tolerance
        Target and limits [mm].
    look : Look
        Colours, units, width.
    forecast : polars.DataFrame, optional
        running_h [h], low, mid, high [mm], off the target as `deviation_mm` is.
    adjustments : polars.DataFrame, optional
        running_h [h], at, label.
    call : bool
        Whether the forecast needs a person; it is grey otherwise.
    name : str
        Whose rope, for the title.

    Returns
    -------
    Picture
        The title states the magnification.
    """
    shown = _diameters(batches, tolerance)
    fan = None
    if forecast is not None and forecast.height:
        fan = forecast.sort("running_h").with_columns(pl.col("low", "mid", "high") + tolerance.target_mm)
    scale = _scale(shown, tolerance, fan)
    figure = blank(look, "running hours", f"diameter, {show.unit_words('mm', look.plant.units)}")
    _tolerance_band(figure, look, tolerance, scale)
    _band(figure, look, shown, scale)
    if fan is not None:
        _fan(figure, look, fan, scale, call)
    _ticks(figure, look, shown, fan, adjustments)
    _axes(figure, look, tolerance, scale, shown, fan)
    return Picture(f"{name}, its tolerance magnified {scale.times} times", figure, height=340)


def _diameters(batches: pl.DataFrame, tolerance: Tolerance) -> pl.DataFrame:
    """Give the diameter each batch would have at this target, so that products of other sizes compare."""
    at_target = pl.coalesce(tolerance.target_mm + pl.col("deviation_mm"), pl.col("diameter_mm"))
    shown = batches.sort("running_h").with_columns(at_target.alias("shown_mm"))
    return thin(shown, "running_h", "shown_mm")


def _scale(shown: pl.DataFrame, tolerance: Tolerance, fan: pl.DataFrame | None) -> _Scale:
    values = [v for v in shown["shown_mm"].to_list() if v is not None and math.isfinite(v)]
    ends = [] if fan is None else [v for c in ("low", "high") for v in fan[c].to_list() if v is not None]
    lowest = min([tolerance.low_mm, *values])
    highest = max([tolerance.high_mm, *values])
    # the fan may run far out of tolerance; it is followed for as much again as the tolerance is wide
    width = tolerance.high_mm - tolerance.low_mm
    lowest = min(lowest, max(min(ends, default=lowest), tolerance.low_mm - width / 2))
    highest = max(highest, min(max(ends, default=highest), tolerance.high_mm + width / 2))
    heart = lowest / 2
    times = max(1, round(heart * (1 - HEART) / HEART / max((highest - lowest) / 2, 1e-6)))
    return _Scale(lowest, heart, times)


def _tolerance_band(figure: go.Figure, look: Look, tolerance: Tolerance, scale: _Scale) -> None:
    low, high = scale.edge(tolerance.low_mm), scale.edge(tolerance.high_mm)
    for sign in (1, -1):
        figure.add_hrect(
            y0=sign * low, y1=sign * high, fillcolor=look.tokens.band, line_width=0, layer="below"
        )


def _band(figure: go.Figure, look: Look, shown: pl.DataFrame, scale: _Scale) -> None:
    hours = shown["running_h"].to_list()
    edges = [None if d is None else scale.edge(d) for d in shown["shown_mm"].to_list()]
    below = [None if e is None else -e for e in edges]
    unit = show.unit_words("mm", look.plant.units)
    words = [
        f"batch {row['batch']}, {row['product']}<br>{_length(row['shown_mm'], look)} {unit}"
        for row in shown.iter_rows(named=True)
    ]
    line = {"color": look.tokens.ink, "width": look.size(1.3) or 1}
    fill = see_through(look.tokens.grey, 0.34)
    figure.add_scatter(x=hours, y=below, mode="lines", line=line, hoverinfo="skip")
    figure.add_scatter(
        x=hours,
        y=edges,
        mode="lines",
        line=line,
        fill="tonexty",
        fillcolor=fill,
        text=words,
        hovertemplate="%{text}<extra></extra>",
    )


def _fan(figure: go.Figure, look: Look, fan: pl.DataFrame, scale: _Scale, call: bool) -> None:
    colour = look.tokens.call if call else look.tokens.grey
    hours = fan["running_h"].to_list()
    for sign in (1, -1):
        outline = [sign * scale.edge(v) for v in fan["high"].to_list()]
        back = [sign * scale.edge(v) for v in reversed(fan["low"].to_list())]
        figure.add_scatter(
            x=[*hours, *reversed(hours)],
            y=[*outline, *back],
            mode="lines",
            line={"width": 0},
            fill="toself",
            fillcolor=see_through(colour, 0.24),
            hoverinfo="skip",
        )
        figure.add_scatter(
            x=hours,
            y=[sign * scale.edge(v) for v in fan["mid"].to_list()],
            mode="lines",
            line={"color": colour, "width": 2 * look.scale, "dash": "dot"},
            text=[_length(v, look) for v in fan["mid"].to_list()],
            hovertemplate="expected %{text}<extra></extra>",
        )


def _ticks(
    figure: go.Figure,
    look: Look,
    shown: pl.DataFrame,
    fan: pl.DataFrame | None,
    adjustments: pl.DataFrame | None,
) -> None:
    """Mark now and every adjustment; where words would overlap the later adjustment keeps its own."""
    now = float(shown["running_h"].max() or 0.0)  # type: ignore[arg-type]  # a float column's maximum
    end = now if fan is None else max(now, *fan["running_h"].to_list())
    letter = max(end, 1e-9) / (46 if look.narrow else 150)  # the width of one, in hours
    left = end
    if fan is not None:
        _tick(figure, look, now, "now", look.tokens.soft, dash="dash", before=True)
        left = now - 5 * letter
    rows = [] if adjustments is None else adjustments.sort("running_h", descending=True).to_dicts()
    for row in rows:
        hour, words = row["running_h"], str(row["label"])
        while words and hour + len(words) * letter >= left:
            words = words.rpartition(" ")[0]  # on a phone, as many of its words as there is room for
        _tick(figure, look, hour, words, look.tokens.note)
        left = hour if words else left


def _tick(
    figure: go.Figure,
    look: Look,
    hour: float,
    words: str,
    colour: str,
    *,
    dash: str = "solid",
    before: bool = False,
) -> None:
    figure.add_vline(x=hour, line={"color": colour, "width": look.size(1.4) or 1, "dash": dash})
    if not words:
        return
    side = {"xanchor": "right", "xshift": -4} if before else {"xanchor": "left", "xshift": 3}
    label(figure, look, words, hour, 1.0, colour=colour, yref="paper", yanchor="top", **side)


def _length(diameter_mm: float | None, look: Look) -> str:
    if diameter_mm is None:
        return show.NOTHING
    value, unit = in_units(diameter_mm, "mm", look.plant.units)
    return show.number(value, 2 if unit == "mm" else 3)


def _axes(
    figure: go.Figure,
    look: Look,
    tolerance: Tolerance,
    scale: _Scale,
    shown: pl.DataFrame,
    fan: pl.DataFrame | None,
) -> None:
    span = tolerance.high_mm - tolerance.low_mm
    even = abs(span * 25 - round(span * 25)) < 1e-6  # quarters of it can be written in hundredths
    count = 5 if even and not look.narrow and look.scale == 1 else 3
    marks = [tolerance.low_mm + span * i / (count - 1) for i in range(count)]
    reach = max(scale.edge(tolerance.high_mm), scale.edge(max(marks)))
    tops = [scale.edge(d) for d in shown["shown_mm"].to_list() if d is not None]
    reach = max([reach, *tops]) * 1.16
    figure.update_yaxes(
        range=[-reach, reach],
        showgrid=False,
        tickmode="array",
        tickvals=[*(-scale.edge(m) for m in reversed(marks)), *(scale.edge(m) for m in marks)],
        ticktext=[_length(m, look) for m in (*reversed(marks), *marks)],
    )
    hours = shown["running_h"].to_list() + (fan["running_h"].to_list() if fan is not None else [])
    if hours:
        start = 0.0 if 0 <= min(hours) < 0.1 * max(hours) else min(hours)
        figure.update_xaxes(range=[start, max(hours) if max(hours) > start else start + 1])
