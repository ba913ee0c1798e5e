"""The shift drawn as a timeline: pieces a minute along the clock, the nominal band behind, stops hatched.

Of several shifts there is a strip of it each, one below the other, or where they are many one for each day or week.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import plotly.graph_objects as go
import polars as pl

from lineview.charts.style import ChartStyle, Picture, blank, label, ms, see_through, set_clock, show_legend, thin
from lineview.core.figure import Period
from lineview.core.language import mark, month_name, tr, weekday_name
from lineview.plant.periods import shifts_between
from lineview.report import show

#: Kinds of standing still differ by hatching and word, never by hue.
HATCHING = {
    mark("changeover"): "/",
    mark("stop"): "\\",
    mark("short stop"): "x",
    mark("break"): ".",
    mark("unseen"): "-",
}
UNEXPLAINED = mark("stop, reason not set")


def shift_picture(
    rate: pl.DataFrame,
    timeline: pl.DataFrame,
    nominal_per_min: tuple[float, float],
    span: Period,
    look: ChartStyle,
    name: str = "",
) -> Picture:
    """Draw a stretch of a machine's clock."""
    figure = blank(look, "", tr("pieces a minute"))
    low, high = nominal_per_min
    figure.add_hrect(y0=low, y1=high, fillcolor=look.tokens.band, line_width=0, layer="below")
    band = tr("nominal {low:g}–{high:g}", low=low, high=high)
    label(figure, look, band, 0, high, xref="paper", xanchor="left", yanchor="bottom", xshift=2)
    _rate(figure, look, rate)
    fastest = float(rate["rate_per_min"].max() or 0.0)  # type: ignore[arg-type]  # a float column's maximum
    _standing(figure, look, timeline, low)
    _words(figure, look, timeline, high, span)
    set_clock(figure, look, span.start, span.end)
    figure.update_yaxes(range=[0, max(high, fastest) * 1.12], tickvals=_marks(max(high, fastest)))
    figure.update_layout(barmode="overlay")
    kinds = sum(trace.showlegend is not False for trace in figure.data)
    room = 0 if look.scale > 1 else show_legend(figure, look, kinds)  # the wall has a larger one of its own
    return Picture(name or tr("Pieces a minute"), figure, height=300 + room)


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
        hovertemplate=f"{tr('%{text}, %{y:.0f} a minute')}<extra></extra>",
        showlegend=False,
        connectgaps=False,
    )


def _kind(row: dict[str, object]) -> str:
    unexplained = row["state"] == "stop" and not row["reason"]
    return UNEXPLAINED if unexplained else str(row["state"])


def kinds_of(timeline: pl.DataFrame) -> set[str]:
    """The kinds of standing in a timeline, as the picture names them.

    Parameters
    ----------
    timeline : polars.DataFrame
        The series "timeline" of a shift's answer.
    """
    return {_kind(row) for row in timeline.select("state", "reason").unique(maintain_order=True).iter_rows(named=True)}


def _standing(figure: go.Figure, look: ChartStyle, timeline: pl.DataFrame, height: float) -> None:
    """Draw the stretches without pieces, one trace a kind so that the legend names each hatching once."""
    rows = [r for r in timeline.iter_rows(named=True) if r["state"] in HATCHING]
    for kind in (*HATCHING, UNEXPLAINED):
        of_kind = [r for r in rows if _kind(r) == kind]
        if not of_kind:
            continue
        colour = look.tokens.call if kind == UNEXPLAINED else look.tokens.soft
        figure.add_bar(
            x=[(ms(r["start"]) + ms(r["end"])) / 2 for r in of_kind],
            width=[ms(r["end"]) - ms(r["start"]) for r in of_kind],
            y=[height] * len(of_kind),
            name=tr(kind),
            marker=_hatched(look, kind, colour, 7),
            text=[_hover(r, look) for r in of_kind],
            customdata=[f"{r['start'].isoformat()}|{r['end'].isoformat()}" for r in of_kind],
            textposition="none",
            hovertemplate="%{text}<extra></extra>",
        )


def _hatched(look: ChartStyle, kind: str, colour: str, size: float) -> dict[str, Any]:
    """The marker of a kind of standing."""
    shape = HATCHING.get(kind, "\\")
    pattern = {"shape": shape, "fgcolor": colour, "bgcolor": look.tokens.card, "size": look.size(size)}
    line = {"color": colour, "width": 1 * look.scale}
    return {"color": look.tokens.card, "line": line, "pattern": {**pattern, "solidity": 0.22}}


def _hover(row: dict[str, Any], look: ChartStyle) -> str:
    start, end = row["start"], row["end"]
    reason = f"<br>{row['reason']}" if row["reason"] else ""
    when = show.stretch(start, end, look.plant, day=False)
    return f"{tr(_kind(row))}, {show.minutes(end - start)}<br>{when}{reason}"


def _words(figure: go.Figure, look: ChartStyle, timeline: pl.DataFrame, high: float, span: Period) -> None:
    """Word what stands out, above the band; where words would overlap the longest stretch keeps its own."""
    rows = timeline.to_dicts()
    worth = [(r, r["end"] - r["start"]) for r in rows if _kind(r) == UNEXPLAINED] + _slow(rows)
    worth.sort(key=lambda pair: (pair[0]["state"] == "slow", -pair[1]))
    span_ms = ms(span.end) - ms(span.start)
    room = (0.42 if look.narrow else 0.17 * max(1.0, look.scale / 2.3)) * span_ms
    places: list[float] = [ms(span.start) + room * 0.35]
    for row, length in worth:
        middle = (ms(row["start"]) + ms(row["end"])) / 2
        if any(abs(middle - other) < room for other in places):
            continue
        places.append(middle)
        slow = row["state"] == "slow"
        words = _standing_words(show.minutes(length), slow=slow, several=row.get("parts", 1) > 1)
        colour = look.tokens.soft if slow else look.tokens.call
        side = "right" if middle > ms(span.end) - room / 2 else "center"
        at = ms(span.end) if side == "right" else middle
        label(figure, look, words, at, high, colour=colour, yanchor="bottom", xanchor=side)


def _standing_words(length: str, *, slow: bool, several: bool) -> str:
    if not slow:
        return tr("{length}, reason not set", length=length)
    return tr("slow, {length} in all", length=length) if several else tr("slow, {length}", length=length)


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


# -- several shifts ----------------------------------------------------------------------------------

#: More strips than this are too many for one picture: then a day has one, or a week.
MOST_STRIPS = 62
#: Up to so long a time without shifts is drawn as one.
ONE_STRIP = timedelta(hours=36)
#: Of a strip's height, and its height on a phone, where it is tapped, and elsewhere [px].
FILLED, TAPPED_PX, STRIP_PX = 0.82, 26, 22
#: Runs closer to each other than this share of a strip are drawn as one; shorter stops than the second are not drawn.
CLOSE, SHORT = 1 / 500, 1 / 300
RUNS = ("running", "slow")


@dataclass(frozen=True)
class Strip:
    """One strip: the period that it opens, as an address names it, its label, and its moments."""

    period: str
    label: str
    span: Period


def strips_of(timeline: pl.DataFrame, span: Period, look: ChartStyle) -> tuple[str, list[Strip]]:
    """What each strip is ("shift", "day" or "week"), and those in which something was planned or seen."""
    ways: list[tuple[str, Iterator[Strip]]] = [("shift", _shifts(span, look))] if look.plant.shifts else []
    if span.end - span.start > ONE_STRIP:
        ways += [("day", _days(span, look, 1)), ("week", _days(span, look, 7))]
    kind, filled = "", list[Strip]()
    for kind, strips in ways:
        filled = [s for s in strips if ((timeline["start"] < s.span.end) & (timeline["end"] > s.span.start)).any()]
        if len(filled) <= MOST_STRIPS:
            return kind, filled
    return kind, filled


def _shifts(span: Period, look: ChartStyle) -> Iterator[Strip]:
    for token, words, period in shifts_between(look.plant.shifts, look.plant.tz, span):
        local, (_, _, shift) = period.start.astimezone(look.plant.tz), token.partition(".")
        if min(period.end, span.end) - max(period.start, span.start) >= timedelta(minutes=1):
            day = weekday_name(local.weekday(), short=True)
            yield Strip(token, f"{day} {local.day}, {shift}" if look.narrow else words, period)


def _days(span: Period, look: ChartStyle, days: int) -> Iterator[Strip]:
    """The whole days or weeks that a time lies in, from midnight to midnight of the wall clock."""
    zone = look.plant.tz
    day = span.start.astimezone(zone).date()
    day -= timedelta(days=day.weekday()) if days == 7 else timedelta(0)
    while (start := _midnight(day, look)) < span.end:
        last = day + timedelta(days=days - 1)
        short = {"weekday": weekday_name(day.weekday(), short=True), "month": month_name(day.month, short=True)}
        words = tr("{weekday} {day} {month}", day=day.day, **short) if look.narrow else show.a_day(day, look.plant)
        yield Strip(f"{day}..{last}", words, Period(start, _midnight(last + timedelta(days=1), look)))
        day = last + timedelta(days=1)


def _midnight(day: date, look: ChartStyle) -> datetime:
    return datetime.combine(day, time(0), look.plant.tz).astimezone(UTC)


def strips_picture(
    timeline: pl.DataFrame,
    nominal_per_min: tuple[float, float],
    strips: tuple[str, list[Strip]],
    look: ChartStyle,
    name: str,
    notes: Mapping[str, str],
) -> Picture:
    """Draw several shifts, days or weeks of a machine; `notes` has words for the end of a strip, by its period."""
    kind, listed = strips
    figure = blank(look)
    top = max(nominal_per_min[1], float(timeline["rate_per_min"].max() or 0.0))  # type: ignore[arg-type]  # of floats
    longest = max(strip.span.end - strip.span.start for strip in listed) / timedelta(hours=1)
    bases = range(len(listed) - 1, -1, -1)
    ordered = timeline.sort("start")
    strip_rows = [(base, strip, _within(ordered, strip)) for base, strip in zip(bases, listed, strict=True)]
    _bands(figure, look, strip_rows, tuple(FILLED * rate / top for rate in nominal_per_min), notes)
    _ran(figure, look, strip_rows, top)
    kinds = _stood(figure, look, strip_rows, nominal_per_min[0] / top)
    _opened(figure, strip_rows, longest, notes)
    figure.update_yaxes(
        range=[-0.1, len(listed)],
        tickvals=[base + FILLED / 2 for base, _, _ in strip_rows],
        ticktext=[strip.label for _, strip, _ in strip_rows],
        showgrid=False,
        tickfont={"size": look.size(12), "color": look.tokens.ink},
    )
    _hours(figure, kind, longest, look)
    letters = max(len(strip.label) for strip in listed)
    figure.update_layout(
        barmode="overlay", margin_l=look.size(14 + round(6.4 * letters)), margin_r=look.size(44 if notes else 10)
    )
    room = 0 if look.scale > 1 else show_legend(figure, look, kinds)
    each = TAPPED_PX if look.narrow else STRIP_PX
    return Picture(tr(_TITLES[kind], of=name), figure, height=58 + each * len(listed) + room)


#: By what each strip is: the picture's title.
_TITLES = {
    "shift": mark("{of}, pieces a minute, one strip a shift; tap one to open it"),
    "day": mark("{of}, pieces a minute, one strip a day; tap one to open it"),
    "week": mark("{of}, pieces a minute, one strip a week; tap one to open it"),
}


def _within(timeline: pl.DataFrame, strip: Strip) -> list[tuple[dict[str, Any], float, float]]:
    """The rows that reach into a strip, with the hours from its start between which they do."""
    start, end, hour = strip.span.start, strip.span.end, timedelta(hours=1)
    rows = timeline.filter((pl.col("start") < end) & (pl.col("end") > start)).rows(named=True)
    return [(row, (max(row["start"], start) - start) / hour, (min(row["end"], end) - start) / hour) for row in rows]


StripRows = Sequence[tuple[int, Strip, list[tuple[dict[str, Any], float, float]]]]


def _bands(
    figure: go.Figure, look: ChartStyle, strips: StripRows, band: tuple[float, ...], notes: Mapping[str, str]
) -> None:
    """Draw the nominal band of each strip, and its words; all at once, since plotly looks through all for each more."""
    pale = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "layer": "below", "line": {"width": 0}}
    words = {"xref": "paper", "x": 1, "xanchor": "left", "xshift": 6, "yanchor": "middle", "showarrow": False}
    font = {"size": look.size(12), "color": look.tokens.soft}
    figure.update_layout(
        shapes=[
            {**pale, "y0": base + band[0], "y1": base + band[1], "fillcolor": look.tokens.band} for base, _, _ in strips
        ],
        annotations=[
            {**words, "y": base + FILLED / 2, "text": notes[strip.period], "font": font}
            for base, strip, _ in strips
            if strip.period in notes
        ],
    )


def _ran(figure: go.Figure, look: ChartStyle, strips: StripRows, top: float) -> None:
    """Draw the rate of each run as an area on its strip's base, all in one trace."""
    across: list[float | None] = []
    up: list[float | None] = []
    for base, strip, rows in strips:
        runs: list[list[float]] = []  # hours from and to, and pieces: its area is what was made
        near = (strip.span.end - strip.span.start) / timedelta(hours=1) * CLOSE
        for row, begin, end in rows:
            if row["state"] not in RUNS or row["rate_per_min"] is None:
                continue
            pieces = row["rate_per_min"] * 60 * (end - begin)
            if runs and begin - runs[-1][1] < near:
                runs[-1] = [runs[-1][0], end, runs[-1][2] + pieces]
            else:
                runs.append([begin, end, pieces])
        for begin, end, pieces in runs:
            height = round(base + FILLED * pieces / (end - begin) / 60 / top, 3) if end > begin else base
            across += [round(at, 3) for at in (begin, begin, end, end)]
            up += [base, height, height, base]
        across.append(None)
        up.append(None)
    ink = see_through(look.tokens.ink, 0.62)
    figure.add_scatter(x=across, y=up, mode="lines", fill="toself", fillcolor=ink, hoverinfo="skip", showlegend=False)
    figure.update_traces(line_width=0, selector={"fill": "toself"})


def _stood(figure: go.Figure, look: ChartStyle, strips: StripRows, height: float) -> int:
    """Draw what stood long enough to be seen, a trace a kind; give how many kinds there are."""
    bars: dict[str, list[tuple[float, float, int]]] = {}
    for base, strip, rows in strips:
        least = (strip.span.end - strip.span.start) / timedelta(hours=1) * SHORT
        for row, begin, end in rows:
            if row["state"] in HATCHING and row["state"] != "short stop" and end - begin >= least:
                bars.setdefault(_kind(row), []).append((begin, end, base))
    for kind in (k for k in (*HATCHING, UNEXPLAINED) if k in bars):
        colour = look.tokens.call if kind == UNEXPLAINED else look.tokens.soft
        figure.add_bar(
            x=[round((begin + end) / 2, 3) for begin, end, _ in bars[kind]],
            width=[round(end - begin, 3) for begin, end, _ in bars[kind]],
            base=[base for _, _, base in bars[kind]],
            y=[FILLED * height] * len(bars[kind]),
            name=tr(kind),
            marker=_hatched(look, kind, colour, 5),
            hoverinfo="skip",
        )
    return len(bars)


def _opened(figure: go.Figure, strips: StripRows, longest: float, notes: Mapping[str, str]) -> None:
    """Lay an unseen bar over each strip, which is what is tapped."""
    figure.add_bar(
        x=[longest] * len(strips),
        y=[base + FILLED / 2 for base, _, _ in strips],
        width=[1.0] * len(strips),
        orientation="h",
        marker={"color": "rgba(0,0,0,0)", "line": {"width": 0}},
        customdata=[f"period={strip.period}" for _, strip, _ in strips],
        text=[_strip_words(strip, notes.get(strip.period, "")) for _, strip, _ in strips],
        textposition="none",
        hovertemplate=f"%{{text}}<br>{tr('tap to open it')}<extra></extra>",
        showlegend=False,
    )


def _strip_words(strip: Strip, rate: str) -> str:
    return tr("{strip}: {rate} a minute", strip=strip.label, rate=rate) if rate else strip.label


def _hours(figure: go.Figure, kind: str, longest: float, look: ChartStyle) -> None:
    """Mark the hours of a shift from its start, those of a day, or the days of a week."""
    step = {"shift": 2 if look.narrow else 1, "day": 6 if look.narrow else 3, "week": 24}[kind]
    places = [float(at) for at in range(0, int(longest) + 1, step)]
    words = [f"{at:g} h" if kind == "shift" else f"{int(at) % 24:02d}:00" for at in places]
    if kind == "week":
        places, words = places[:7], [weekday_name(day, short=True) for day in range(7)]
    figure.update_xaxes(range=[0, longest], tickmode="array", tickvals=places, ticktext=words, showgrid=False)
