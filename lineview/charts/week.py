"""The week's losses, a bar a cause, the dearest on top; and a trial, a point a shift, with both means."""

from __future__ import annotations

from datetime import timedelta

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, ms, see_through, set_clock
from lineview.core.language import in_digits, tr
from lineview.core.units import in_units
from lineview.report import show

#: So many bars are drawn; the table below has all rows.
MOST_BARS, MOST_ON_PHONE = 14, 10
#: Words of a course that needs a person.
WORSE = "worse"


def loss_picture(losses: pl.DataFrame, look: ChartStyle) -> Picture:
    """Draw the largest losses, in money where every one has its money and else in minutes."""
    timed = losses.filter(pl.col("minutes").fill_null(0.0) > 0)
    paid = timed.height > 0 and timed["cost"].null_count() == 0
    by, unit = ("cost", look.plant.currency) if paid else ("minutes", tr("minutes"))
    ranked = losses.filter(pl.col(by).fill_null(0.0) > 0).sort(by, descending=True)
    largest = ranked.head(MOST_ON_PHONE if look.narrow else MOST_BARS)
    figure = blank(look, tr("minutes lost at the nominal rate") if by == "minutes" else unit, "")
    _bars(figure, look, largest, by, unit)
    figure.update_xaxes(
        range=[0, _end_of_axis(largest, by, look)], showgrid=True, gridcolor=look.tokens.hairline, tickformat=","
    )
    _name_causes(figure, look, largest["cause"].to_list())
    title = tr("What was lost, by cause") if by == "minutes" else tr("What was lost, {unit}, by cause", unit=unit)
    if largest.height < ranked.height:
        title = tr("{title}, the {shown} largest of {all}", title=title, shown=largest.height, all=ranked.height)
    return Picture(title, figure, height=70 + (40 if look.narrow else 27) * largest.height)


def difference_picture(differences: pl.DataFrame, look: ChartStyle) -> Picture:
    """Draw what each cause adds to the first side's effective rate or takes from it."""
    most = MOST_ON_PHONE if look.narrow else MOST_BARS
    rows = differences.filter(pl.col("difference").abs() > 5e-3).head(most)
    figure = blank(look, tr("pieces a planned minute"), "")
    values = rows["difference"].to_list()
    beyond = [verdict in ("better", "worse") for verdict in rows["verdict"].to_list()]
    colour = [look.tokens.call if verdict == "worse" else look.tokens.grey for verdict in rows["verdict"].to_list()]
    figure.add_bar(
        orientation="h",
        y=list(range(rows.height)),
        x=values,
        width=0.5 if look.narrow else 0.62,
        marker={
            "color": [tint if sure else look.tokens.card for tint, sure in zip(colour, beyond, strict=True)],
            "line": {"color": colour, "width": 1},
        },
        customdata=[[tr(cause), in_digits(f"{v:+.2f}")] for cause, v in zip(rows["cause"], values, strict=True)],
        hovertemplate=f"%{{customdata[0]}}: {tr('{rate} pieces a minute', rate='%{customdata[1]}')}<extra></extra>",
    )
    reach = max([abs(value) for value in values], default=1.0) * (1.9 if look.narrow else 1.5)
    for at, (cause, value, verdict) in enumerate(rows.select("cause", "difference", "verdict").iter_rows()):
        words = in_digits(f"{value:+.1f}".replace("-", show.MINUS))
        words += f", {tr(verdict)}" if verdict in ("better", "worse") else ""
        side = {"xanchor": "left", "xshift": 4} if value > 0 else {"xanchor": "right", "xshift": -4}
        label(
            figure, look, words, value, at, colour=look.tokens.call if verdict == "worse" else look.tokens.soft, **side
        )
        if look.narrow:
            above = {"xanchor": "left", "yanchor": "bottom"}
            label(figure, look, show.capital(tr(cause)), -reach, at - 0.28, colour=look.tokens.ink, **above)
    figure.update_xaxes(range=[-reach, reach], zeroline=True, zerolinecolor=look.tokens.ink, zerolinewidth=1)
    _name_causes(figure, look, rows["cause"].to_list())
    title = tr("Losses that make the difference; outlined: within chance")
    return Picture(title, figure, height=70 + (40 if look.narrow else 27) * rows.height)


def _name_causes(figure: go.Figure, look: ChartStyle, causes: list[str]) -> None:
    """Name a cause beside each bar, the first on top; on a phone the names stand above the bars instead."""
    figure.update_yaxes(
        tickvals=list(range(len(causes))),
        ticktext=[] if look.narrow else [show.capital(tr(cause)) for cause in causes],
        showticklabels=not look.narrow,
        showgrid=False,
        ticks="",
        range=[len(causes) - 0.4, -0.9 if look.narrow else -0.6],
    )


def _bars(figure: go.Figure, look: ChartStyle, losses: pl.DataFrame, by: str, unit: str) -> None:
    """Draw the bars; one that gets worse is marked by colour and word."""
    worse = [verdict.startswith(WORSE) for verdict in losses["verdict"].to_list()]
    values = losses[by].to_list()
    figure.add_bar(
        orientation="h",
        y=list(range(losses.height)),
        x=values,
        width=0.5 if look.narrow else 0.62,
        marker={"color": [look.tokens.call if bad else look.tokens.grey for bad in worse]},
        customdata=[[tr(cause), show.number(round(v))] for cause, v in zip(losses["cause"], values, strict=True)],
        hovertemplate=f"%{{customdata[0]}}: %{{customdata[1]}} {unit}<extra></extra>",
    )
    for at, (cause, value) in enumerate(zip(losses["cause"], values, strict=True)):
        colour = look.tokens.call if worse[at] else look.tokens.soft
        label(figure, look, _words(losses, by)[at], value, at, colour=colour, xanchor="left", xshift=4)
        if look.narrow:
            ink = look.tokens.ink
            label(figure, look, show.capital(tr(cause)), 0, at - 0.28, colour=ink, xanchor="left", yanchor="bottom")


def _words(losses: pl.DataFrame, by: str) -> list[str]:
    """What stands behind each bar: its amount, and how it goes where that is beyond chance."""
    courses = losses.get_column("course", default=losses["verdict"])
    numbers = [show.number(round(v) if v >= 10 else v, None if v < 10 else 0) for v in losses[by]]
    return [f"{number}, {tr(course)}" if course else number for number, course in zip(numbers, courses, strict=True)]


def _end_of_axis(losses: pl.DataFrame, by: str, look: ChartStyle) -> float:
    """Where the axis ends so that every bar has room for its words, of which a letter takes so much of the width."""
    letter, least = (1 / 48, 1.42) if look.narrow else (1 / 150, 1.3)
    values = [float(value) for value in losses[by]]
    rooms = [max(0.2, 1 - letter * (len(words) + 1)) for words in _words(losses, by)]
    return max([least * max(values, default=1.0), *(v / room for v, room in zip(values, rooms, strict=True))])


def trial_picture(shifts: pl.DataFrame, unit: str, name: str, look: ChartStyle, *, call: bool) -> Picture:
    """Draw a measure by shift, the beginning of the trial, and the means before and since; `call` marks one worse."""
    shown_unit = show.unit_words(unit, look.plant.units)
    figure = blank(look, "", shown_unit)
    beside = shifts.drop_nulls("beside")
    if beside.height:
        _points(figure, look, beside, "beside", unit, tr("line beside"), look.tokens.hairline)
    _points(figure, look, shifts, "value", unit, tr("shift"), look.tokens.grey)
    for since in (False, True):
        part = shifts.filter(pl.col("since") == since)
        if part.height:
            _mean(figure, look, part, unit, look.tokens.call if call and since else look.tokens.ink)
    moments = shifts["at"].to_list()
    begins = shifts.filter("since")["at"].min()
    set_clock(figure, look, moments[0] - timedelta(hours=8), moments[-1] + timedelta(hours=16))
    if begins is not None:
        x = ms(begins) - 4 * 3600_000  # type: ignore[arg-type]  # a datetime
        figure.add_vline(x=x, line={"color": look.tokens.note, "width": 1.5, "dash": "dot"})
        side = {"xanchor": "right", "xshift": -4, "yanchor": "bottom"}
        label(figure, look, tr("trial begins"), x, 1.0, colour=look.tokens.note, yref="paper", **side)
    title = tr("{measure} by shift, before and since", measure=show.capital(name))
    return Picture(tr("{title}; pale: the line beside", title=title) if beside.height else title, figure, height=320)


def _points(
    figure: go.Figure, look: ChartStyle, shifts: pl.DataFrame, column: str, unit: str, words: str, colour: str
) -> None:
    values = [in_units(value, unit, look.plant.units)[0] for value in shifts[column].to_list()]
    moments = shifts["at"].to_list()
    hover = [
        f"{show.moment(at, look.plant)}<br>{show.number(value, 2)}" for at, value in zip(moments, values, strict=True)
    ]
    figure.add_scatter(
        x=[ms(at) for at in moments],
        y=values,
        mode="markers",
        marker={"color": colour, "size": 6 * look.scale, "symbol": "circle"},
        text=hover,
        hovertemplate=f"{words}, %{{text}}<extra></extra>",
    )


def _mean(figure: go.Figure, look: ChartStyle, part: pl.DataFrame, unit: str, colour: str) -> None:
    value = in_units(float(part["mean"][0]), unit, look.plant.units)[0]
    ends = [ms(part["at"][0]) - 3600_000, ms(part["at"][-1]) + 9 * 3600_000]
    figure.add_scatter(x=ends, y=[value, value], mode="lines", line={"color": colour, "width": 2.5}, hoverinfo="skip")
    side = {"xanchor": "right", "yanchor": "bottom"}
    words = show.number(value, 1 if abs(value) >= 10 else 2)
    label(figure, look, words, ends[1], value, colour=colour, bgcolor=look.tokens.card, **side)


def looks_picture(looks: pl.DataFrame, unit: str, planned: int, look: ChartStyle) -> Picture:
    """Draw the change with the interval that holds over all looks, shift by shift: once it leaves 0, it is called."""
    shown_unit = show.unit_words(unit, look.plant.units)
    figure = blank(look, tr("whole shifts since it began"), tr("change, {unit}", unit=shown_unit))
    x = looks["shifts"].to_list()
    change, low, high = (
        [in_units(value, unit, look.plant.units)[0] for value in looks[name].to_list()]
        for name in ("change", "low", "high")
    )
    fill = see_through(look.tokens.grey, 0.24)
    figure.add_scatter(x=x, y=high, mode="lines", line={"width": 0}, hoverinfo="skip")
    figure.add_scatter(x=x, y=low, mode="lines", line={"width": 0}, fill="tonexty", fillcolor=fill, hoverinfo="skip")
    figure.add_scatter(
        x=x,
        y=change,
        mode="lines+markers",
        line={"color": look.tokens.ink, "width": 2},
        marker={"size": 5 * look.scale},
        hovertemplate=tr("after %{{x}} shifts: %{{y:+.3g}} {unit}", unit=shown_unit) + "<extra></extra>",
    )
    figure.add_hline(y=0, line={"color": look.tokens.ink, "width": 1})
    figure.update_xaxes(range=[min(x) - 0.5, max(planned, *x) + 0.5])
    reach = 1.15 * max(abs(value) for value in (*low[len(low) // 3 :], *high[len(high) // 3 :]))
    figure.update_yaxes(range=[-reach, reach], showgrid=False)
    title = tr("What was known after each shift of {planned}: once 0 is outside, it is beyond chance", planned=planned)
    return Picture(title, figure, height=280, first=False)
