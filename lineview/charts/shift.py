"""The shift drawn as a tape: pieces a minute along the clock, the nominal band behind, stops hatched."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, ms, see_through, set_clock, show_legend, thin
from lineview.core.figure import Period
from lineview.report import show

#: Kinds of standing still differ by hatching and word, never by hue.
HATCHING = {"changeover": "/", "stop": "\\", "short stop": "x", "break": ".", "unseen": "-"}
UNEXPLAINED = "stop, reason not set"


def shift_picture(
    rate: pl.DataFrame,
    tape: pl.DataFrame,
    nominal_per_min: tuple[float, float],
    span: Period,
    look: ChartStyle,
    name: str = "Pieces a minute",
) -> Picture:
    """Draw a stretch of a machine's clock."""
    figure = blank(look, "", "pieces a minute")
    low, high = nominal_per_min
    figure.add_hrect(y0=low, y1=high, fillcolor=look.tokens.band, line_width=0, layer="below")
    label(figure, look, f"nominal {low:g}–{high:g}", 0, high, xref="paper", xanchor="left", yanchor="bottom", xshift=2)
    _rate(figure, look, rate)
    fastest = float(rate["rate_per_min"].max() or 0.0)  # type: ignore[arg-type]  # a float column's maximum
    _standing(figure, look, tape, low)
    _words(figure, look, tape, high, span)
    set_clock(figure, look, span.start, span.end)
    figure.update_yaxes(range=[0, max(high, fastest) * 1.12], tickvals=_marks(max(high, fastest)))
    figure.update_layout(barmode="overlay")
    room = show_legend(figure, look, sum(trace.showlegend is not False for trace in figure.data))
    return Picture(name, figure, height=300 + room)


def _marks(top: float) -> list[float]:
    step = 100 if top <= 600 else 200
    return [float(v) for v in range(0, int(top) + 1, step)]


def _rate(figure: go.Figure, look: ChartStyle, rate: pl.DataFrame) -> None:
    points = thin(rate.sort("at"), "at", "rate_per_min")
    across = [ms(at) for at in points["at"].to_list()]
    figure.add_scatter(  # the area by itself: under a line with gaps it would be drawn across them
        x=across,
        y=points["rate_per_min"].fill_null(0.0).fill_nan(0.0).to_list(),
        mode="lines",
        line={"width": 0, "shape": "hv"},
        fill="tozeroy",
        fillcolor=see_through(look.tokens.grey, 0.28),
        hoverinfo="skip",
        showlegend=False,
    )
    figure.add_scatter(
        x=across,
        y=points["rate_per_min"].to_list(),
        mode="lines",
        line={"color": look.tokens.ink, "width": 1.3 * look.scale, "shape": "hv"},
        text=[show.moment(at, look.plant, day=False) for at in points["at"].to_list()],
        hovertemplate="%{text}, %{y:.0f} a minute<extra></extra>",
        showlegend=False,
        connectgaps=False,
    )


def _kind(row: dict[str, object]) -> str:
    unexplained = row["state"] == "stop" and not row["reason"]
    return UNEXPLAINED if unexplained else str(row["state"])


def _standing(figure: go.Figure, look: ChartStyle, tape: pl.DataFrame, height: float) -> None:
    """Draw the stretches without pieces, one trace a kind so that the legend names each hatching once."""
    rows = [r for r in tape.iter_rows(named=True) if r["state"] in HATCHING]
    for kind in (*HATCHING, UNEXPLAINED):
        of_kind = [r for r in rows if _kind(r) == kind]
        if not of_kind:
            continue
        colour = look.tokens.call if kind == UNEXPLAINED else look.tokens.soft
        figure.add_bar(
            x=[(ms(r["start"]) + ms(r["end"])) / 2 for r in of_kind],
            width=[ms(r["end"]) - ms(r["start"]) for r in of_kind],
            y=[height] * len(of_kind),
            name=kind,
            marker={
                "color": look.tokens.card,
                "line": {"color": colour, "width": 1 * look.scale},
                "pattern": {
                    "shape": HATCHING.get(kind, "\\"),
                    "fgcolor": colour,
                    "bgcolor": look.tokens.card,
                    "size": look.size(7),
                    "solidity": 0.22,
                },
            },
            text=[_hover(r, look) for r in of_kind],
            customdata=[f"{r['start'].isoformat()}|{r['end'].isoformat()}" for r in of_kind],
            textposition="none",
            hovertemplate="%{text}<extra></extra>",
        )


def _hover(row: dict[str, object], look: ChartStyle) -> str:
    start, end = row["start"], row["end"]
    reason = f"<br>{row['reason']}" if row["reason"] else ""
    return (
        f"{_kind(row)}, {show.minutes(end - start)}<br>"  # type: ignore[operator]  # both are datetimes
        f"{show.stretch(start, end, look.plant, day=False)}{reason}"  # type: ignore[arg-type]  # likewise
    )


def _words(figure: go.Figure, look: ChartStyle, tape: pl.DataFrame, high: float, span: Period) -> None:
    """Word what stands out, above the band; where words would overlap the longest stretch keeps its own."""
    rows = tape.to_dicts()
    worth = [(r, r["end"] - r["start"]) for r in rows if _kind(r) == UNEXPLAINED] + _slow(rows)
    worth.sort(key=lambda pair: (pair[0]["state"] == "slow", -pair[1]))
    span_ms = ms(span.end) - ms(span.start)
    room = (0.42 if look.narrow else 0.17) * span_ms
    places: list[float] = [ms(span.start) + room * 0.35]
    for row, length in worth:
        middle = (ms(row["start"]) + ms(row["end"])) / 2
        if any(abs(middle - other) < room for other in places):
            continue
        places.append(middle)
        slow = row["state"] == "slow"
        in_all = " in all" if row.get("parts", 1) > 1 else ""
        words = f"slow, {show.minutes(length)}{in_all}" if slow else f"{show.minutes(length)}, reason not set"
        colour = look.tokens.soft if slow else look.tokens.call
        side = "right" if middle > ms(span.end) - room / 2 else "center"
        at = ms(span.end) if side == "right" else middle
        label(figure, look, words, at, high, colour=colour, yanchor="bottom", xanchor=side)


def _slow(rows: Sequence[dict[str, Any]]) -> list[tuple[dict[str, Any], timedelta]]:
    """The longest slow span, worded by the slow time of all: the figure that the page's tables state."""
    spans = _slow_spans(rows)
    if not spans:
        return []
    longest = max(spans, key=lambda span: span[1])[0]
    return [(longest | {"parts": len(spans)}, sum((length for _, length in spans), timedelta(0)))]


def _slow_spans(rows: Sequence[dict[str, Any]]) -> list[tuple[dict[str, Any], timedelta]]:
    """Join slow stretches that only short stops part, each span with the slow time in it."""
    spans: list[tuple[dict[str, Any], timedelta]] = []
    open_span = False
    for row in rows:
        if row["state"] == "slow":
            length = row["end"] - row["start"]
            if open_span:
                span, so_far = spans[-1]
                spans[-1] = (span | {"end": row["end"]}, so_far + length)
            else:
                spans.append((row, length))
        open_span = row["state"] == "slow" or (open_span and row["state"] == "short stop")
    return spans
