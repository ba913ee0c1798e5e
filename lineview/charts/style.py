"""What every picture shares: colours, type, size, frame, and the clock along it in the plant's zone."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import plotly.graph_objects as go
import polars as pl

from lineview.core.language import in_digits, month_name, tr, weekday_name
from lineview.plant import Plant
from lineview.report import show


@dataclass(frozen=True)
class Tokens:
    """One set of colours as "#RRGGBB".

    `call` means "needs a person" and nothing else; `note` is what people did, and links. Everything normal
    is ink and greys. `band` lies behind the data: tolerance, nominal band, targets.
    """

    paper: str
    card: str
    ink: str
    soft: str
    hairline: str
    band: str
    grey: str
    call: str
    note: str


DAY = Tokens(
    paper="#FAF8F3",
    card="#FFFFFF",
    ink="#1C2B33",
    soft="#5A6972",
    hairline="#DDD8CC",
    band="#ECE8DF",
    grey="#8A949A",
    call="#B84600",
    note="#0B66A8",
)

NIGHT = Tokens(
    paper="#11171B",
    card="#182026",
    ink="#EDE8DC",
    soft="#A3AFB6",
    hairline="#2E3A41",
    band="#222C33",
    grey="#7D8A92",
    call="#FF9A5C",
    note="#6CB8EE",
)


def see_through(colour: str, share: float) -> str:
    """A colour that lets what lies behind it through."""
    red, green, blue = channels(colour)
    return f"rgba({red},{green},{blue},{share:g})"


def channels(colour: str) -> tuple[int, int, int]:
    """Give red, green and blue of a colour, 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


SANS = "'IBM Plex Sans', 'Helvetica Neue', Arial, sans-serif"


@dataclass(frozen=True)
class ChartStyle:
    """How a picture is to be drawn.

    Parameters
    ----------
    plant : Plant
        Its zone and units.
    tokens : Tokens
        Day or night.
    narrow : bool
        Whether it is for a phone: fewer ticks, labels above one another.
    scale : float
        1 at a desk; about 2 on a wall read from five metres.
    """

    plant: Plant
    tokens: Tokens = DAY
    narrow: bool = False
    scale: float = 1.0

    def size(self, px: float) -> int:
        """A size in pixels at this scale."""
        return round(px * self.scale)


@dataclass(frozen=True)
class Picture:
    """A drawn picture with its title and what it shows in words.

    `height` is in pixels at scale 1; `first` pictures stand open, the others in the folded working.
    """

    title: str
    figure: go.Figure
    height: int = 320
    first: bool = True
    words: tuple[str, ...] = field(default=())


def blank(look: ChartStyle, x_title: str = "", y_title: str = "") -> go.Figure:
    """A figure with the look's frame and nothing in it."""
    figure = go.Figure()
    figure.update_layout(
        template="none",
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": SANS, "size": look.size(13), "color": look.tokens.ink},
        margin={
            "l": look.size(46 if look.narrow else 58),
            "r": look.size(10),
            "t": look.size(18),
            "b": look.size(46 if x_title else 30),
        },
        hovermode="closest",
        hoverlabel={
            "bgcolor": look.tokens.card,
            "bordercolor": look.tokens.grey,
            "font": {"family": SANS, "size": look.size(13), "color": look.tokens.ink},
        },
        showlegend=False,
        legend={
            "orientation": "h",
            "x": 0,
            "yref": "container",
            "y": 0.01,
            "yanchor": "bottom",
            "traceorder": "normal",
            "font": {"size": look.size(12), "color": look.tokens.soft},
            "itemclick": False,
            "itemdoubleclick": False,
        },
        dragmode=False,
        bargap=0,
        separators=in_digits(".,"),
    )
    figure.update_xaxes(**_axis(look, x_title), showgrid=False, ticks="outside")
    figure.update_yaxes(**_axis(look, y_title), showgrid=True, gridcolor=look.tokens.hairline)
    return figure


def show_legend(figure: go.Figure, look: ChartStyle, kinds: int) -> int:
    """Show the legend below a picture and give the room it takes."""
    if not kinds:
        return 0
    rows = (kinds + 1) // 2 if look.narrow else 1
    room = look.size(7 + 21 * rows)
    figure.update_layout(showlegend=True, margin_b=figure.layout.margin.b + room)
    return room


def _axis(look: ChartStyle, title: str) -> dict[str, Any]:
    return {
        "title": {"text": title, "font": {"size": look.size(12), "color": look.tokens.soft}, "standoff": 8},
        "zeroline": False,
        "showline": True,
        "linecolor": look.tokens.hairline,
        "tickcolor": look.tokens.hairline,
        "ticklen": 4,
        "fixedrange": True,
        "automargin": True,
        "tickfont": {"size": look.size(13), "color": look.tokens.ink},
    }


def label(figure: go.Figure, look: ChartStyle, text: str, x: Any, y: float, *, colour: str = "", **more: Any) -> None:
    """Set words on the data."""
    words = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    looks = {"showarrow": False, "font": {"size": look.size(12), "color": colour or look.tokens.soft}}
    figure.add_annotation(**{"text": words, "x": x, "y": y, **looks, **more})


#: Hours between ticks; from a day upwards the tick falls on midnight.
STEPS_H = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 72, 168, 336, 672, 1344)
#: Room for the day below the clock [px].
_DAY_LINE = 14


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
        day = _short_day(local, hours) if look.narrow else show.a_day(local.date(), look.plant)
        if step >= 24:
            texts.append(day)
            continue
        clock = show.moment(at, look.plant, day=False)
        texts.append(clock if local.date() == last_day else f"{clock}<br>{day}")
        last_day = local.date()
    return list(zip(moments, texts, strict=True))


def _short_day(on: datetime, hours: float) -> str:
    """A day on a phone; over months a weekday says nothing."""
    if hours < 28 * 24:
        return tr("{weekday} {day}", weekday=weekday_name(on.weekday(), short=True), day=on.day)
    return tr("{day} {month}", day=on.day, month=month_name(on.month, short=True))


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
    rows = np.asarray(thinner.downsample(across, up, n_out=most - most % 2), dtype=np.int64)
    return frame.select(pl.all().gather(np.unique(rows)))
