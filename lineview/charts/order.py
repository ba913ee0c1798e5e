"""Stock drawn as a falling fan: deliveries as steps, the day to order by as a line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, ms, see_through, set_clock
from lineview.core.language import tr
from lineview.report import show

#: Height of a row of words, as a part of the picture's, and how many rows there are before they start again.
ROW = 0.08
MOST_ROWS = 5


def order_picture(
    fan: pl.DataFrame,
    look: ChartStyle,
    *,
    deliveries: pl.DataFrame | None = None,
    order_by: datetime | None = None,
    call: bool = False,
    name: str = "",
    first: bool = True,
) -> Picture:
    """Draw one web's stock ahead."""
    look = replace(look, narrow=look.narrow or not first)  # further pictures stand two in a row
    figure = blank(look, "", tr("reels on hand"))
    across = [ms(at) for at in fan["at"].to_list()]
    _bands(figure, look, fan, across)
    tops = [v for v in fan["high90"].to_list() if v is not None]
    lows = [v for v in fan["low90"].to_list() if v is not None]
    top = max(tops, default=1.0) or 1.0
    rows = deliveries.sort("at").to_dicts() if deliveries is not None else []
    for at, row in enumerate(rows):
        words = _delivery(row, look)
        _line(figure, look, fan, row["at"], words, at, look.tokens.note, {"width": 1, "dash": "dot"})
    if order_by is not None:
        colour = look.tokens.call if call else look.tokens.ink
        words = tr("order by {date}", date=show.a_day(order_by.astimezone(look.plant.tz).date(), look.plant))
        _line(figure, look, fan, order_by, words, len(rows), colour, {"width": 2 * look.scale})
    figure.add_hline(y=0, line={"color": look.tokens.ink, "width": 1})
    starts = [*fan["at"].to_list(), *([order_by] if order_by else [])]
    set_clock(figure, look, min(starts), max(starts))
    figure.update_yaxes(range=[min(0.0, *lows) - 0.04 * top, top * 1.1])
    return Picture(name or tr("Reels on hand"), figure, height=300, first=first)


def _delivery(row: Mapping[str, Any], look: ChartStyle) -> str:
    """The words beside the line of a delivery."""
    reels = show.number(row["reels"])
    if row.get("kind") != "advised":
        return tr("{reels} reels arrive", reels=reels)
    if look.narrow:
        return tr("{reels} reels if ordered", reels=reels)
    return tr("{reels} reels would arrive if ordered", reels=reels)


def _line(
    figure: go.Figure,
    look: ChartStyle,
    fan: pl.DataFrame,
    at: datetime,
    words: str,
    row: int,
    colour: str,
    line: dict[str, object],
) -> None:
    """Draw an upright line with its words beside it, each line's words in a row of their own."""
    height = 1.0 - ROW * (row % MOST_ROWS)
    side = _side(at, fan, look)
    label(figure, look, words, ms(at), height, colour=colour, yref="paper", **side)
    figure.add_vline(x=ms(at), line={"color": colour, **line})


def _side(at: datetime, fan: pl.DataFrame, look: ChartStyle) -> dict[str, object]:
    """Say on which side of a line its words have room."""
    start, end = ms(fan["at"].to_list()[0]), ms(fan["at"].to_list()[-1])
    late = ms(at) > start + (0.45 if look.narrow else 0.7) * (end - start)
    return {"xanchor": "right", "xshift": -5} if late else {"xanchor": "left", "xshift": 5}


def _bands(figure: go.Figure, look: ChartStyle, fan: pl.DataFrame, across: list[float]) -> None:
    for low, high, share in (("low90", "high90", 0.28), ("low50", "high50", 0.5)):
        figure.add_scatter(
            x=[*across, *reversed(across)],
            y=[*fan[high].to_list(), *reversed(fan[low].to_list())],
            mode="lines",
            line={"width": 0},
            fill="toself",
            fillcolor=see_through(look.tokens.grey, share),
            hoverinfo="skip",
        )
    figure.add_scatter(
        x=across,
        y=fan["mid"].to_list(),
        mode="lines",
        line={"color": look.tokens.ink, "width": 1.6 * look.scale},
        text=[show.a_day(at.astimezone(look.plant.tz).date(), look.plant) for at in fan["at"].to_list()],
        hovertemplate=f"{tr('%{text}, %{y:.1f} reels')}<extra></extra>",
    )
