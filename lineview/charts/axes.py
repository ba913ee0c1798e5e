"""The clock along a picture: moments as milliseconds, ticks at whole hours or days of the plant's zone."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle
from lineview.report import show

#: Hours between ticks; from a day upwards the tick falls on midnight.
STEPS_H = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 168, 336, 672, 1344)
#: Room for the day below the clock [px].
_DAY_LINE = 8


def ms(at: datetime) -> float:
    """A moment as plotly's milliseconds."""
    return at.timestamp() * 1000


def set_clock(figure: go.Figure, look: ChartStyle, start: datetime, end: datetime) -> None:
    """Let a picture's x axis run along the clock."""
    if end <= start:
        end = start + timedelta(minutes=1)
    ticks = _ticks(start, end, look)
    figure.update_xaxes(
        type="linear",
        range=[ms(start), ms(end)],
        tickmode="array",
        tickvals=[ms(at) for at, _ in ticks],
        ticktext=[text for _, text in ticks],
        tickangle=0,
        automargin=False,
    )
    figure.update_layout(margin_b=figure.layout.margin.b + look.size(_DAY_LINE))


def _ticks(start: datetime, end: datetime, look: ChartStyle) -> list[tuple[datetime, str]]:
    most = 4 if look.narrow else max(4, round(10 / look.scale))
    hours = (end - start) / timedelta(hours=1)
    step = next((s for s in STEPS_H if hours / s <= most), STEPS_H[-1])
    moments = _moments(start, end, step, look)
    texts = []
    last_day = None
    for at in moments:
        local = at.astimezone(look.plant.tz)
        day = show.a_day(local.date(), look.plant) if not look.narrow else f"{local:%a} {local.day}"
        if step >= 24:
            texts.append(day)
            continue
        clock = show.moment(at, look.plant, day=False)
        texts.append(clock if local.date() == last_day else f"{clock}<br>{day}")
        last_day = local.date()
    return list(zip(moments, texts, strict=True))


def _moments(start: datetime, end: datetime, step: float, look: ChartStyle) -> list[datetime]:
    """The wall times that are whole steps of the day, as moments."""
    midnight = start.astimezone(look.plant.tz).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    moments: list[datetime] = []
    count = 0
    while len(moments) < 500:
        wall = midnight + timedelta(hours=step) * count
        at = wall.replace(tzinfo=look.plant.tz)
        if at.timestamp() > end.timestamp():
            break
        if at.timestamp() >= start.timestamp():
            moments.append(at)
        count += 1
    return moments


#: More points than this are thinned; a chart is about a thousand pixels wide.
MOST_POINTS = 2000


def thin(frame: pl.DataFrame, x: str, y: str, most: int = MOST_POINTS) -> pl.DataFrame:
    """Keep the rows whose points carry the shape of a line; gaps stay gaps.

    Source: downsampling-minmaxlttb
    """
    if frame.height <= most:
        return frame
    from tsdownsample import NaNMinMaxLTTBDownsampler

    across = np.ascontiguousarray(frame[x].to_physical().cast(pl.Float64).to_numpy())
    up = np.ascontiguousarray(frame[y].cast(pl.Float64).fill_null(float("nan")).to_numpy())
    thinner = NaNMinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]  # the package leaves it bare
    kept = np.asarray(thinner.downsample(across, up, n_out=most - most % 2), dtype=np.int64)
    return frame.select(pl.all().gather(np.unique(kept)))
