"""The week's losses: a bar a cause, the dearest at the top, with what is known of its course."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label
from lineview.report import show

#: So many bars are drawn; the table below has all rows.
MOST_BARS, MOST_ON_PHONE = 14, 10
#: Words of a course that needs a person.
WORSE = "worse"


def loss_picture(losses: pl.DataFrame, look: ChartStyle) -> Picture:
    """Draw the largest losses, in money where every one has its money and else in minutes."""
    timed = losses.filter(pl.col("minutes").fill_null(0.0) > 0)
    paid = timed.height > 0 and timed["cost"].null_count() == 0
    by, unit = ("cost", look.plant.currency) if paid else ("minutes", "minutes")
    ranked = losses.filter(pl.col(by).fill_null(0.0) > 0).sort(by, descending=True)
    shown = ranked.head(MOST_ON_PHONE if look.narrow else MOST_BARS)
    figure = blank(look, "minutes lost at the nominal rate" if by == "minutes" else unit, "")
    _bars(figure, look, shown, by, unit)
    most = float(shown[by].max() or 1.0)  # type: ignore[arg-type]  # a float
    room = 1.42 if look.narrow else 1.3
    figure.update_xaxes(range=[0, most * room], showgrid=True, gridcolor=look.tokens.hairline, tickformat=",")
    figure.update_yaxes(
        tickvals=list(range(shown.height)),
        ticktext=[] if look.narrow else [_capital(cause) for cause in shown["cause"].to_list()],
        showticklabels=not look.narrow,
        showgrid=False,
        ticks="",
        range=[shown.height - 0.4, -0.9 if look.narrow else -0.6],
    )
    left = "" if shown.height == ranked.height else f", the {shown.height} largest of {ranked.height}"
    title = ("What was lost, by cause" if by == "minutes" else f"What was lost, {unit}, by cause") + left
    return Picture(title, figure, height=70 + (40 if look.narrow else 27) * shown.height)


def difference_picture(differences: pl.DataFrame, look: ChartStyle) -> Picture:
    """Draw what each cause adds to the first side's effective rate or takes from it."""
    most = MOST_ON_PHONE if look.narrow else MOST_BARS
    shown = differences.filter(pl.col("difference").abs() > 5e-3).head(most)
    figure = blank(look, "pieces a planned minute", "")
    values = shown["difference"].to_list()
    beyond = [verdict in ("better", "worse") for verdict in shown["verdict"].to_list()]
    colour = [look.tokens.call if verdict == "worse" else look.tokens.grey for verdict in shown["verdict"].to_list()]
    figure.add_bar(
        orientation="h",
        y=list(range(shown.height)),
        x=values,
        width=0.5 if look.narrow else 0.62,
        marker={
            "color": [tint if sure else look.tokens.card for tint, sure in zip(colour, beyond, strict=True)],
            "line": {"color": colour, "width": 1},
        },
        customdata=[[cause, f"{value:+.2f}"] for cause, value in zip(shown["cause"], values, strict=True)],
        hovertemplate="%{customdata[0]}: %{customdata[1]} pieces a minute<extra></extra>",
    )
    reach = max([abs(value) for value in values], default=1.0) * (1.9 if look.narrow else 1.5)
    for at, (cause, value, verdict) in enumerate(shown.select("cause", "difference", "verdict").iter_rows()):
        said = f"{value:+.1f}".replace("-", show.MINUS) + (f", {verdict}" if verdict in ("better", "worse") else "")
        side = {"xanchor": "left", "xshift": 4} if value > 0 else {"xanchor": "right", "xshift": -4}
        label(
            figure, look, said, value, at, colour=look.tokens.call if verdict == "worse" else look.tokens.soft, **side
        )
        if look.narrow:
            above = {"xanchor": "center", "yanchor": "bottom"}
            label(figure, look, _capital(cause), 0, at - 0.28, colour=look.tokens.ink, **above)
    figure.update_xaxes(range=[-reach, reach], zeroline=True, zerolinecolor=look.tokens.ink, zerolinewidth=1)
    figure.update_yaxes(
        tickvals=list(range(shown.height)),
        ticktext=[] if look.narrow else [_capital(cause) for cause in shown["cause"].to_list()],
        showticklabels=not look.narrow,
        showgrid=False,
        ticks="",
        range=[shown.height - 0.4, -0.9 if look.narrow else -0.6],
    )
    title = "Losses that make the difference; outlined: within chance"
    return Picture(title, figure, height=70 + (40 if look.narrow else 27) * shown.height)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _bars(figure: go.Figure, look: ChartStyle, shown: pl.DataFrame, by: str, unit: str) -> None:
    """Draw the bars; one that gets worse is marked by colour and word."""
    worse = [verdict.startswith(WORSE) for verdict in shown["verdict"].to_list()]
    values = shown[by].to_list()
    figure.add_bar(
        orientation="h",
        y=list(range(shown.height)),
        x=values,
        width=0.5 if look.narrow else 0.62,
        marker={"color": [look.tokens.call if bad else look.tokens.grey for bad in worse]},
        customdata=[[cause, show.number(round(value))] for cause, value in zip(shown["cause"], values, strict=True)],
        hovertemplate=f"%{{customdata[0]}}: %{{customdata[1]}} {unit}<extra></extra>",
    )
    for at, (cause, value, verdict) in enumerate(shown.select("cause", by, "verdict").iter_rows()):
        said = show.number(round(value) if value >= 10 else value, None if value < 10 else 0)
        course = f", {verdict}" if verdict else ""
        colour = look.tokens.call if worse[at] else look.tokens.soft
        label(figure, look, said + course, value, at, colour=colour, xanchor="left", xshift=4)
        if look.narrow:
            ink = look.tokens.ink
            label(figure, look, _capital(cause), 0, at - 0.28, colour=ink, xanchor="left", yanchor="bottom")
