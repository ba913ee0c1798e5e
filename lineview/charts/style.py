"""What every picture shares: its colours, type, size, and the plain frame around the data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import plotly.graph_objects as go

from lineview.plant import Plant


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
    given = {"showarrow": False, "font": {"size": look.size(12), "color": colour or look.tokens.soft}}
    figure.add_annotation(**{"text": words, "x": x, "y": y, **given, **more})
