"""Wrap use: metres a thousand good pieces, stacked by cause; causes differ by hatching and word."""

from __future__ import annotations

import math

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, show_legend
from lineview.core.language import mark, tr
from lineview.core.units import in_units
from lineview.report import show

HATCHES = ("/", "x", "\\", "-", ".", "|", "+")
NEEDED = mark("geometry")
UNEXPLAINED = mark("unexplained")
#: Letters of the longest cause with which a phone has room for two columns.
MOST_IN_TWO_COLUMNS = 14
LENGTHS = {"metric": mark("metres per thousand good pieces"), "US": mark("feet per thousand good pieces")}


def wrap_picture(causes: pl.DataFrame, look: ChartStyle, *, call: bool = False) -> Picture:
    """Draw each web's use as one bar from what the geometry needs to what no cause explains."""
    metres = causes.with_columns(
        pl.col("m_per_thousand")
        .map_elements(lambda v: in_units(v, "m", look.plant.units)[0], return_dtype=pl.Float64)
        .alias("length")
    ).filter(pl.col("length") > 0)
    webs = metres["web"].unique(maintain_order=True).to_list()
    start, end = _reach(metres, webs)
    title = tr(LENGTHS[look.plant.units])
    title = tr("{length} (axis from {start:g})", length=title, start=start) if start else title
    figure = blank(look, title, "")
    odd = look.tokens.call if call else look.tokens.ink
    for number, cause in enumerate(_causes_in_order(metres)):
        _segments(figure, look, metres, webs, cause, number, odd)
    worded = [] if look.narrow else _words(figure, look, metres, webs, start, end, odd)
    kinds = {tr(c) for c in _causes_in_order(metres) if c not in worded}
    for trace in figure.data:
        trace.showlegend = trace.name in kinds
    figure.update_layout(barmode="stack", bargap=0.5)
    figure.update_xaxes(range=[start, end])
    figure.update_yaxes(
        tickvals=list(range(len(webs))),
        ticktext=[_broken(show.capital(w)) for w in map(tr, webs)],
        showgrid=False,
        range=[len(webs) - 0.4, -0.75],
    )
    is_long = look.narrow and max(map(len, kinds), default=0) > MOST_IN_TWO_COLUMNS
    room = show_legend(figure, look, 2 * len(kinds) if is_long else len(kinds))
    return Picture(tr("Use per thousand good pieces, by cause"), figure, height=110 + 66 * len(webs) + room)


def _broken(name: str) -> str:
    """Break a long name in two lines so that a phone keeps room for the bars."""
    words = name.split()
    if len(name) <= 12 or len(words) < 2:
        return name
    half = len(words) // 2 or 1
    return " ".join(words[:half]) + "<br>" + " ".join(words[half:])


def _causes_in_order(metres: pl.DataFrame) -> list[str]:
    causes = metres["cause"].unique(maintain_order=True).to_list()
    return sorted(causes, key=lambda c: (c != NEEDED, c == UNEXPLAINED))


def _reach(metres: pl.DataFrame, webs: list[str]) -> tuple[float, float]:
    """The axis: from a little under the least geometry, so that the causes can be seen at all."""
    needed = metres.filter(pl.col("cause") == NEEDED)["length"].to_list()
    totals = [float(metres.filter(pl.col("web") == web)["length"].sum()) for web in webs]
    end = max(totals, default=1.0)
    waste = end - min(needed, default=0.0)
    step = 10.0 ** math.floor(math.log10(end)) / 5 if end > 0 else 1.0
    start = max(0.0, math.floor((min(needed, default=0.0) - max(waste, 0.02 * end) / 3) / step) * step)
    return start, end + (end - start) * 0.06


def _segments(
    figure: go.Figure, look: ChartStyle, metres: pl.DataFrame, webs: list[str], cause: str, number: int, odd: str
) -> None:
    of_cause = metres.filter(pl.col("cause") == cause)
    lengths = dict(zip(of_cause["web"].to_list(), of_cause["length"].to_list(), strict=True))
    unit = show.unit_words("m", look.plant.units)
    marker: dict[str, object]
    if cause == NEEDED:
        marker = {"color": look.tokens.grey}
    elif cause == UNEXPLAINED:
        marker = {"color": odd}
    else:
        marker = {
            "color": look.tokens.card,
            "line": {"color": look.tokens.ink, "width": 1},
            "pattern": {
                "shape": HATCHES[(number - 1) % len(HATCHES)],
                "fgcolor": look.tokens.grey,
                "bgcolor": look.tokens.card,
                "size": 7,
                "solidity": 0.3,
            },
        }
    # the first segment starts at the axis' own start, or plotly would draw it from 0 and lose its label
    first = cause == NEEDED
    figure.add_bar(
        orientation="h",
        y=[webs.index(w) for w in webs if w in lengths],
        x=[lengths[w] for w in webs if w in lengths],
        name=tr(cause),
        marker=marker,
        text=[f"{tr(cause)} {show.number(lengths[w])} {unit}" for w in webs if w in lengths],
        textposition="none",
        hovertemplate="%{text}<extra></extra>",
        legendrank=1 if first else 2 + number,
    )


def _words(
    figure: go.Figure, look: ChartStyle, metres: pl.DataFrame, webs: list[str], start: float, end: float, odd: str
) -> list[str]:
    """Set each segment's words above it where they fit; give the causes worded at least once."""
    worded: list[str] = []
    for at, web in enumerate(webs):
        edge = 0.0
        for cause in _causes_in_order(metres):
            row = metres.filter((pl.col("web") == web) & (pl.col("cause") == cause))
            if not row.height:
                continue
            length = float(row["length"][0])
            visible = max(0.0, edge + length - max(edge, start))
            text = f"{tr(cause)} {show.number(length, 1)}"
            if visible / (end - start) * 1000 > len(text) * 6.4 * look.scale:
                colour = odd if cause == UNEXPLAINED else look.tokens.soft
                label(figure, look, text, max(edge, start) + visible / 2, at - 0.27, colour=colour, yanchor="bottom")
                worded.append(cause)
            edge += length
    return worded
