"""The rope drawn as a rope: a band about its axis, magnified inside its tolerance, its forecast as a fan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, see_through, thin
from lineview.core.language import mark, tr
from lineview.core.units import in_units
from lineview.report import show

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
    look: ChartStyle,
    *,
    forecast: pl.DataFrame | None = None,
    adjustments: pl.DataFrame | None = None,
    call: bool = False,
    name: str = "",
) -> Picture:
    """Draw the rope over running hours.

    Takes `tolerance` [mm].
    """
    diameters = _diameters(batches, tolerance)
    fan = None
    if forecast is not None and forecast.height:
        fan = forecast.sort("running_h").with_columns(pl.col("low", "mid", "high") + tolerance.target_mm)
    scale = _scale(diameters, tolerance, fan)
    figure = blank(look, tr("running hours"), tr("diameter, {unit}", unit=show.unit_words("mm", look.plant.units)))
    _tolerance_band(figure, look, tolerance, scale)
    _band(figure, look, diameters, scale)
    if fan is not None:
        _fan(figure, look, fan, scale, call)
    _ticks(figure, look, diameters, fan, adjustments)
    _axes(figure, look, tolerance, scale, diameters, fan)
    return Picture(
        tr(
            "{rope}, diameter drawn {times} times larger inside its tolerance",
            rope=name or tr("Rope"),
            times=scale.times,
        ),
        figure,
        height=340,
    )


def _diameters(batches: pl.DataFrame, tolerance: Tolerance) -> pl.DataFrame:
    """The diameter each batch would have at this target, so that products of other sizes compare."""
    at_target = pl.coalesce(tolerance.target_mm + pl.col("deviation_mm"), pl.col("diameter_mm"))
    diameters = batches.sort("running_h").with_columns(at_target.alias("shown_mm"))
    return thin(diameters, "running_h", "shown_mm")


def _scale(diameters: pl.DataFrame, tolerance: Tolerance, fan: pl.DataFrame | None) -> _Scale:
    values = [v for v in diameters["shown_mm"].to_list() if v is not None and math.isfinite(v)]
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


def _tolerance_band(figure: go.Figure, look: ChartStyle, tolerance: Tolerance, scale: _Scale) -> None:
    low, high = scale.edge(tolerance.low_mm), scale.edge(tolerance.high_mm)
    for sign in (1, -1):
        figure.add_hrect(y0=sign * low, y1=sign * high, fillcolor=look.tokens.band, line_width=0, layer="below")


def _band(figure: go.Figure, look: ChartStyle, diameters: pl.DataFrame, scale: _Scale) -> None:
    hours = diameters["running_h"].to_list()
    edges = [None if d is None else scale.edge(d) for d in diameters["shown_mm"].to_list()]
    below = [None if e is None else -e for e in edges]
    unit = show.unit_words("mm", look.plant.units)
    words = [
        tr(
            "batch {batch}, {product}<br>{length} {unit}",
            batch=row["batch"],
            product=row["product"],
            length=_length(row["shown_mm"], look),
            unit=unit,
        )
        for row in diameters.iter_rows(named=True)
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


def _fan(figure: go.Figure, look: ChartStyle, fan: pl.DataFrame, scale: _Scale, call: bool) -> None:
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
            hovertemplate=f"{tr('expected %{text}')}<extra></extra>",
        )


def _ticks(
    figure: go.Figure,
    look: ChartStyle,
    diameters: pl.DataFrame,
    fan: pl.DataFrame | None,
    adjustments: pl.DataFrame | None,
) -> None:
    """Mark now and every adjustment; where words would overlap the later adjustment keeps its own."""
    now = float(diameters["running_h"].max() or 0.0)  # type: ignore[arg-type]  # a float column's maximum
    end = now if fan is None else max(now, *fan["running_h"].to_list())
    letter = max(end, 1e-9) / (46 if look.narrow else 150)  # the width of one, in hours
    next_words = end
    if fan is not None:
        _tick(figure, look, now, tr("now"), look.tokens.soft, dash="dash", before=True)
        next_words = now - 5 * letter
    rows = [] if adjustments is None else adjustments.sort("running_h", descending=True).to_dicts()
    for row in rows:
        hour, words = row["running_h"], tr(str(row["label"]))
        while words and hour + len(words) * letter >= next_words:
            words = words.rpartition(" ")[0]  # on a phone, as many of its words as there is room for
        _tick(figure, look, hour, words, look.tokens.note)
        next_words = hour if words else next_words


def _tick(
    figure: go.Figure,
    look: ChartStyle,
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


def _length(diameter_mm: float | None, look: ChartStyle) -> str:
    if diameter_mm is None:
        return show.NOTHING
    value, unit = in_units(diameter_mm, "mm", look.plant.units)
    return show.number(value, 2 if unit == "mm" else 3)


def _axes(
    figure: go.Figure,
    look: ChartStyle,
    tolerance: Tolerance,
    scale: _Scale,
    diameters: pl.DataFrame,
    fan: pl.DataFrame | None,
) -> None:
    span = tolerance.high_mm - tolerance.low_mm
    even = abs(span * 25 - round(span * 25)) < 1e-6  # quarters of it can be written in hundredths
    count = 5 if even and not look.narrow and look.scale == 1 else 3
    marks = [tolerance.low_mm + span * i / (count - 1) for i in range(count)]
    reach = max(scale.edge(tolerance.high_mm), scale.edge(max(marks)))
    tops = [scale.edge(d) for d in diameters["shown_mm"].to_list() if d is not None]
    reach = max([reach, *tops]) * 1.16
    figure.update_yaxes(
        range=[-reach, reach],
        showgrid=False,
        tickmode="array",
        tickvals=[*(-scale.edge(m) for m in reversed(marks)), *(scale.edge(m) for m in marks)],
        ticktext=[_length(m, look) for m in (*reversed(marks), *marks)],
    )
    hours = diameters["running_h"].to_list() + (fan["running_h"].to_list() if fan is not None else [])
    if hours:
        start = 0.0 if 0 <= min(hours) < 0.1 * max(hours) else min(hours)
        figure.update_xaxes(range=[start, max(hours) if max(hours) > start else start + 1])


#: More signals than this are marked smaller, so that the line can be seen between them.
CROWD = 20


def residual_picture(chart: pl.DataFrame, look: ChartStyle, title: str, axis: str) -> Picture:
    """Draw the batches' residuals, or a moving average of them, between control limits.

    Source: iso-7870-2, iso-7870-6
    """
    unit = show.unit_words("mm", look.plant.units)
    points = thin(chart.sort("running_h"), "running_h", "value")
    hours = points["running_h"].to_list()
    low, value, high = (_in_plant_units(points[c], look) for c in ("low", "value", "high"))
    figure = blank(look, tr("running hours"), f"{axis}, {unit}")
    _between(figure, look, hours, low, high)
    _line(figure, look, hours, value, f"%{{y:.4f}} {unit}", "solid")
    _signals(figure, look, points, hours, value)
    words = (tr("LCL"), tr("UCL")) if look.narrow else (tr("lower control limit"), tr("upper control limit"))
    _limit_words(figure, look, hours, (low, words[0]), (high, words[1]))
    return Picture(title, figure, height=240, first=False)


def cusum_picture(cusum: pl.DataFrame, look: ChartStyle) -> Picture:
    """Draw the two one-sided cumulative sums of the batches' residuals inside their decision interval.

    Source: iso-7870-4
    """
    both = cusum.sort("running_h").with_columns(
        down=-pl.col("lower"),
        floor=-pl.col("limit"),
        outer=pl.when(pl.col("lower") > pl.col("upper")).then(-pl.col("lower")).otherwise(pl.col("upper")),
    )
    points = thin(both, "running_h", "outer")
    hours, unit = points["running_h"].to_list(), show.unit_words("mm", look.plant.units)
    names = ("upper", "down", "floor", "limit", "outer")
    upper, down, floor, top, outer = (_in_plant_units(points[name], look) for name in names)
    figure = blank(look, tr("running hours"), tr("CUSUM, {unit}", unit=unit))
    _between(figure, look, hours, floor, top)
    _line(figure, look, hours, upper, tr("upper sum %{{y:.3f}} {unit}", unit=unit), "solid")
    _line(figure, look, hours, down, tr("lower sum %{{y:.3f}} {unit}", unit=unit), "dot")
    _signals(figure, look, points, hours, outer)
    words = ("−H", "H") if look.narrow else (tr("−H, lower sum"), tr("decision interval H, upper sum"))
    _limit_words(figure, look, hours, (floor, words[0]), (top, words[1]))
    return Picture(tr("CUSUM chart of the batches' residuals (ISO 7870-4)"), figure, height=260, first=False)


def _in_plant_units(column: pl.Series, look: ChartStyle) -> list[float | None]:
    return [None if v is None else in_units(v, "mm", look.plant.units)[0] for v in column.to_list()]


def _between(
    figure: go.Figure, look: ChartStyle, hours: list[float], low: Sequence[float | None], high: Sequence[float | None]
) -> None:
    quiet = {"mode": "lines", "line": {"width": 0, "shape": "hv"}, "hoverinfo": "skip"}
    figure.add_scatter(x=hours, y=low, **quiet)
    figure.add_scatter(x=hours, y=high, fill="tonexty", fillcolor=look.tokens.band, **quiet)


def _line(
    figure: go.Figure, look: ChartStyle, hours: list[float], value: Sequence[float | None], words: str, dash: str
) -> None:
    figure.add_scatter(
        x=hours,
        y=value,
        mode="lines",
        line={"color": look.tokens.ink, "width": 1.3 * look.scale, "dash": dash},
        hovertemplate=f"{words}<extra></extra>",
    )


def _limit_words(
    figure: go.Figure, look: ChartStyle, hours: list[float], *limits: tuple[Sequence[float | None], str]
) -> None:
    for (values, words), side in zip(limits, ("top", "bottom"), strict=True):
        numbers = [v for v in values if v is not None]
        if numbers:
            behind = see_through(look.tokens.card, 0.75)
            label(figure, look, words, hours[-1], numbers[-1], xanchor="right", yanchor=side, bgcolor=behind)


def _signals(
    figure: go.Figure, look: ChartStyle, points: pl.DataFrame, hours: list[float], value: Sequence[float | None]
) -> None:
    """Mark signals: filled and in the call colour where they stand, open and in ink where dealt with."""
    signal = points["signal"].to_list()
    current = points["stands"].to_list() if "stands" in points.columns else signal
    old = [i for i, s in enumerate(signal) if s and not current[i]]
    new = [i for i, s in enumerate(signal) if s and current[i]]
    _marks(figure, look, hours, value, old, "diamond-open", look.tokens.ink, mark("before the last adjustment"))
    _marks(figure, look, hours, value, new, "diamond", look.tokens.call, mark("signal"))


def _marks(
    figure: go.Figure,
    look: ChartStyle,
    hours: list[float],
    value: Sequence[float | None],
    places: list[int],
    symbol: str,
    colour: str,
    words: str,
) -> None:
    if not places:
        return
    figure.add_scatter(
        x=[hours[i] for i in places],
        y=[value[i] for i in places],
        mode="markers",
        marker={
            "symbol": symbol,
            "size": (6 if len(places) > CROWD else 8) * look.scale,
            "color": colour,
            "line": {"width": 1.2 * look.scale, "color": colour},
        },
        hovertemplate=f"{tr(words)}<extra></extra>",
    )
    first = places[0]
    at = value[first] or 0.0
    label(
        figure,
        look,
        tr("first signal") if words == "signal" else tr("dealt with"),
        hours[first],
        at,
        colour=colour,
        yshift=12 if at >= 0 else -12,
        bgcolor=see_through(look.tokens.card, 0.75),
        xanchor="right" if hours[first] > hours[0] + 0.25 * (hours[-1] - hours[0]) else "left",
    )
