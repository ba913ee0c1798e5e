"""The clock along a picture: moments as milliseconds, ticks at whole hours or days of the plant's zone."""

from __future__ import annotations

from datetime import datetime, timedelta

import plotly.graph_objects as go

from lineview import show
from lineview.charts.look import Look

#: Hours between ticks; from a day upwards the tick falls on midnight.
STEPS_H = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 168, 336, 672, 1344)
#: Room for the day below the clock [px].
_DAY_LINE = 8


def ms(at: datetime) -> float:
    """Give a moment as plotly's milliseconds.

    Parameters
    ----------
    at : datetime.datetime
        With its zone.

    Returns
    -------
    float
        Milliseconds since 1970 [UTC]: on the night the clocks change no hour is drawn twice.
    """
    return at.timestamp() * 1000


def set_clock(figure: go.Figure, look: Look, start: datetime, end: datetime) -> None:
    """Let a picture's x axis run along the clock.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        Changed in place; its x values are milliseconds.
    look : Look
        Zone, units, width.
    start, end : datetime.datetime
        The stretch shown, with their zone.
    """
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


def _ticks(start: datetime, end: datetime, look: Look) -> list[tuple[datetime, str]]:
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


def _moments(start: datetime, end: datetime, step: float, look: Look) -> list[datetime]:
    """Give the wall times that are whole steps of the day, as moments."""
    midnight = start.astimezone(look.plant.tz).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    found: list[datetime] = []
    count = 0
    while len(found) < 500:
        wall = midnight + timedelta(hours=step) * count
        at = wall.replace(tzinfo=look.plant.tz)
        if at.timestamp() > end.timestamp():
            break
        if at.timestamp() >= start.timestamp():
            found.append(at)
        count += 1
    return found
