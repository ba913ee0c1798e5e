"""Stock drawn as a falling fan: deliveries as steps, the day to order by as a line."""

from __future__ import annotations

from datetime import datetime

import plotly.graph_objects as go
import polars as pl

from lineview import show
from lineview.charts.clock_axis import ms, set_clock
from lineview.charts.look import Look, Picture, blank, label
from lineview.charts.theme import see_through

#: How a delivery of each kind is worded.
ARRIVING = {"on order": "arrive", "advised": "would arrive if ordered"}


def order_picture(
    fan: pl.DataFrame,
    look: Look,
    *,
    deliveries: pl.DataFrame | None = None,
    order_by: datetime | None = None,
    call: bool = False,
    name: str = "Reels on hand",
    first: bool = True,
) -> Picture:
    """Draw one web's stock ahead.

    Parameters
    ----------
    fan : polars.DataFrame
        at, low90, low50, mid, high50, high90 [reels], sorted by `at`; two rows of one moment are a step.
    look : Look
        Colours, zone, width.
    deliveries : polars.DataFrame, optional
        at, reels, and kind ("on order" or "advised") where it is known.
    order_by : datetime.datetime, optional
        The day to order by.
    call : bool
        Whether that day needs a person now.
    name : str
        For the title.
    first : bool
        Whether it stands open on the page.

    Returns
    -------
    Picture
        With half of the futures in the darker band, nine in ten in the paler one.
    """
    figure = blank(look, "", "reels on hand")
    across = [ms(at) for at in fan["at"].to_list()]
    _bands(figure, look, fan, across)
    tops = [v for v in fan["high90"].to_list() if v is not None]
    lows = [v for v in fan["low90"].to_list() if v is not None]
    top = max(tops, default=1.0) or 1.0
    for row in deliveries.iter_rows(named=True) if deliveries is not None else ():
        words = f"{show.number(row['reels'])} reels {ARRIVING.get(row.get('kind') or '', 'arrive')}"
        label(
            figure,
            look,
            words,
            ms(row["at"]),
            1.0,
            colour=look.tokens.note,
            yref="paper",
            **_side(row["at"], fan),
        )
        figure.add_vline(x=ms(row["at"]), line={"color": look.tokens.note, "width": 1, "dash": "dot"})
    if order_by is not None:
        colour = look.tokens.call if call else look.tokens.ink
        figure.add_vline(x=ms(order_by), line={"color": colour, "width": 2 * look.scale})
        words = f"order by {show.a_day(order_by.astimezone(look.plant.tz).date(), look.plant)}"
        label(figure, look, words, ms(order_by), 0.9, colour=colour, yref="paper", **_side(order_by, fan))
    figure.add_hline(y=0, line={"color": look.tokens.ink, "width": 1})
    starts = [*fan["at"].to_list(), *([order_by] if order_by else [])]
    set_clock(figure, look, min(starts), max(starts))
    figure.update_yaxes(range=[min(0.0, *lows) - 0.04 * top, top * 1.1])
    return Picture(name, figure, height=300, first=first)


def _side(at: datetime, fan: pl.DataFrame) -> dict[str, object]:
    """Say on which side of a line its words have room."""
    start, end = ms(fan["at"].to_list()[0]), ms(fan["at"].to_list()[-1])
    late = ms(at) > start + 0.7 * (end - start)
    return {"xanchor": "right", "xshift": -5} if late else {"xanchor": "left", "xshift": 5}


def _bands(figure: go.Figure, look: Look, fan: pl.DataFrame, across: list[float]) -> None:
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
        hovertemplate="%{text}, %{y:.1f} reels<extra></extra>",
    )
