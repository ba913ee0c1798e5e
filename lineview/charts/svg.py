"""A drawn picture as SVG without a browser, for paper: the marks that the pictures here use, and no others."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape, unescape
from typing import Any

from lineview.charts.style import Picture
from lineview.core.errors import Fault, MeasureError
from lineview.core.language import in_digits, tr

#: Width of a picture across a page [px], and of a letter as a part of its height.
WIDTH, LETTER = 720, 0.5
TAGS = re.compile(r"<[^>]+>")
RGBA = re.compile(r"rgba\((\d+), ?(\d+), ?(\d+), ?([\d.]+)\)")
DASHES = {"dot": "2 3", "dash": "6 4", "dashdot": "6 3 2 3"}
#: A bar's hatching within a square of 7 px, by the sign that stands for it.
HATCHES = {"/": "M0 7L7 0", "\\": "M0 0L7 7", "x": "M0 7L7 0M0 0L7 7", "-": "M0 3.5H7", "|": "M3.5 0V7"}
HATCHES |= {"+": "M0 3.5H7M3.5 0V7", ".": "M3 3.5H4.5"}
Point = tuple[float, float]


@dataclass(frozen=True)
class _Scale:
    """From an axis's values to pixels: `low` lies at `start`, `high` at `end`."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        return self.start + (value - self.low) / ((self.high - self.low) or 1.0) * (self.end - self.start)

    def share(self, part: float) -> float:
        return self.start + part * (self.end - self.start)


def to_svg(picture: Picture, width: int = WIDTH) -> str:
    """Write a picture as SVG.

    Parameters
    ----------
    picture : Picture
        As drawn for a desk by day.
    width : int
        In pixels.

    Returns
    -------
    str
        A whole SVG document; texts are escaped, and nothing in it is run or fetched.

    Raises
    ------
    MeasureError
        For a kind of trace that the pictures do not use.
    """
    return _Drawing(picture, width).text()


class _Drawing:
    def __init__(self, picture: Picture, width: int) -> None:
        self.figure, self.height, self.width = picture.figure, picture.height, width
        self.layout = picture.figure.layout
        self.traces = [trace for trace in picture.figure.data if trace.visible is not False]
        wrong = sorted({t.type for t in self.traces if t.type not in ("scatter", "bar")})
        if wrong:
            raise MeasureError(
                [Fault(tr("'{kind}' cannot be drawn on paper", kind=kind), picture.title) for kind in wrong]
            )
        margin = self.layout.margin
        words = [len(_plain(t)) for t in self.layout.yaxis.ticktext or ()]
        left_edge = max(margin.l, 24 + LETTER * 13 * max(words, default=0))
        self.box = (left_edge, margin.t, width - max(margin.r, 24), self.height - margin.b)
        self.parts: list[str] = []
        self.hatches: dict[tuple[str, str], int] = {}
        self.stacked: dict[tuple[float, bool], float] = {}
        self.x = _Scale(*self._ends("x", "xaxis"), self.box[0], self.box[2])
        self.ys = {name: self._y_scale(name) for name in self._axes()}

    def text(self) -> str:
        for shape in self.layout.shapes:
            if shape.layer == "below":
                self._shape(shape)
        self._axis_lines()
        self.parts.append('<g clip-path="url(#plot)">')
        before: list[Point] = []
        for trace in self.traces:
            before = self._bars(trace) if trace.type == "bar" else self._scatter(trace, before)
        self.parts.append("</g>")
        for shape in self.layout.shapes:
            if shape.layer != "below":
                self._shape(shape)
        for note in self.layout.annotations:
            self._note(note)
        self._legend()
        x0, y0, x1, y1 = self.box
        clip = f'<clipPath id="plot"><rect x="{x0}" y="{y0}" width="{x1 - x0}" height="{y1 - y0}"/></clipPath>'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width}" height="{self.height}"'
        box, defs = f'viewBox="0 0 {self.width} {self.height}"', f"<defs>{clip}{self._hatch_parts()}</defs>"
        return f"{head} {box}>{defs}{''.join(self.parts)}</svg>"

    # -- axes --------------------------------------------------------------------------------------

    def _axes(self) -> list[str]:
        return list(dict.fromkeys(["y", *((t.yaxis or "y") for t in self.traces)]))

    def _y_scale(self, name: str) -> _Scale:
        low, high = self.layout[_key(name)].domain or (0.0, 1.0)
        top, bottom = self.box[1], self.box[3]
        ends = bottom + low * (top - bottom), bottom + high * (top - bottom)
        return _Scale(*self._ends(name, _key(name)), *ends)

    def _ends(self, name: str, key: str) -> Point:
        """The range of an axis: its own, else that of its data with a little room."""
        if self.layout[key].range:
            low, high = self.layout[key].range
            return float(low), float(high)
        values: list[float] = []
        for trace in self.traces:
            if name not in ("x", trace.yaxis or "y"):
                continue
            along = trace.x if name == "x" else trace.y
            numbers = [v for v in map(_number, along if along is not None else ()) if v is not None]
            error = None if name == "x" else trace.error_y if trace.type == "scatter" else None
            if error is not None and error.array is not None:
                most = max(map(float, error.array), default=0.0)
                numbers += [v + most for v in numbers] + [v - most for v in numbers]
            values += [*numbers, 0.0] if trace.type == "bar" or trace.fill == "tozeroy" else numbers
        values += [float(s.y0) for s in self.layout.shapes if name == "y" and s.yref in (None, "y")]
        values += [float(s.y1) for s in self.layout.shapes if name == "y" and s.yref in (None, "y")]
        low, high = (min(values), max(values)) if values else (0.0, 1.0)
        room = 0.0 if name == "x" else 0.06 * ((high - low) or 1.0)
        return low - room, high + room

    def _axis_lines(self) -> None:
        x0, _, x1, y1 = self.box
        axis = self.layout.xaxis
        words_end = -math.inf  # up to where words stand: the next are left out where they would run into them
        for value, words in _ticks(axis, self.x):
            at, half = self.x.at(value), LETTER * 5.2 * len(_plain(words))
            if axis.showgrid:
                self._line((at, self.box[1]), (at, y1), axis.gridcolor)
            self._line((at, y1), (at, y1 + 4), axis.tickcolor)
            middle = min(at, self.width - half)
            if middle - half > words_end:
                self._words(words, (middle, y1 + 17), 12, axis.tickfont.color, "middle")
                words_end = middle + half
        self._line((x0, y1), (x1, y1), axis.linecolor)
        if axis.title.text:
            self._words(axis.title.text, ((x0 + x1) / 2, y1 + 34), 12, axis.title.font.color, "middle")
        for name, scale in self.ys.items():
            axis = self.layout[_key(name)]
            for value, words in _ticks(axis, scale):
                at = scale.at(value)
                if axis.showgrid:
                    self._line((x0, at), (x1, at), axis.gridcolor)
                self._words(words, (x0 - 7, at + 4), 12, axis.tickfont.color, "end")
            if axis.zeroline and min(scale.low, scale.high) <= 0 <= max(scale.low, scale.high):
                self._line((x0, scale.at(0.0)), (x1, scale.at(0.0)), axis.zerolinecolor)
            self._line((x0, scale.start), (x0, scale.end), axis.linecolor)
            if axis.title.text:
                middle = (scale.start + scale.end) / 2
                self.parts.append(f'<g transform="rotate(-90 11 {middle:.1f})">')
                self._words(axis.title.text, (11, middle), 12, axis.title.font.color, "middle")
                self.parts.append("</g>")

    # -- marks -------------------------------------------------------------------------------------

    def _scatter(self, trace: Any, before: Sequence[Point]) -> list[Point]:
        y = self.ys[trace.yaxis or "y"]
        runs = list(_runs(trace, y, self.x))
        points = [point for run in runs for point in run]
        if trace.fill and points:
            closed = {"tonexty": list(reversed(before)), "tozeroy": None, "toself": []}[trace.fill]
            for run in runs if closed is None or trace.fill == "toself" else [points]:
                end = [(run[-1][0], y.at(0.0)), (run[0][0], y.at(0.0))] if closed is None else closed
                self.parts.append(f'<polygon points="{_points_text([*run, *end])}" {_paint("fill", trace.fillcolor)}/>')
        mode = trace.mode or "lines"
        if "lines" in mode and (trace.line.width is None or trace.line.width > 0):
            for run in runs:
                dash = DASHES.get(trace.line.dash or "", "")
                pen = f'{_paint("stroke", trace.line.color)} stroke-width="{trace.line.width or 2}" fill="none"'
                self.parts.append(f'<polyline points="{_points_text(run)}" {pen} stroke-dasharray="{dash or "none"}"/>')
        if "markers" in mode:
            self._markers(trace, y)
        return points

    def _markers(self, trace: Any, y: _Scale) -> None:
        mark, error = trace.marker, trace.error_y
        for at, (across, up) in enumerate(zip(trace.x, trace.y, strict=True)):
            value, place = _number(up), _number(across)
            if value is None or place is None:
                continue
            if error.array is not None:
                below = error.arrayminus if error.arrayminus is not None else error.array
                ends = [(self.x.at(place), y.at(value + s)) for s in (float(error.array[at]), -float(below[at]))]
                self._line(ends[0], ends[1], error.color or _each(mark.color, at))
            open_mark = "open" in str(_each(mark.symbol, at) or "")
            colour = _each(mark.color, at)
            paint = f'fill="none" {_paint("stroke", colour)}' if open_mark else _paint("fill", colour)
            radius = float(_each(mark.size, at) or 6) / 2
            self.parts.append(f'<circle cx="{self.x.at(place):.1f}" cy="{y.at(value):.1f}" r="{radius:g}" {paint}/>')

    def _bars(self, trace: Any) -> list[Point]:
        lying = trace.orientation == "h"
        y = self.ys[trace.yaxis or "y"]
        places, lengths = (trace.y, trace.x) if lying else (trace.x, trace.y)
        for at, (place, length) in enumerate(zip(places, lengths, strict=True)):
            middle, long = _number(place), _number(length)
            if middle is None or long is None:
                continue
            key = (middle, long >= 0)
            base = float(_each(trace.base, at) or 0.0)
            base += self.stacked.get(key, 0.0) if self.layout.barmode == "stack" else 0.0
            self.stacked[key] = base + long
            half = float(_each(trace.width, at) or 1.0 - (self.layout.bargap or 0.0)) / 2
            offset = _each(trace.offset, at)
            first, last = (
                (middle - half, middle + half) if offset is None else (middle + offset, middle + offset + 2 * half)
            )
            across, up = ((base, base + long), (first, last)) if lying else ((first, last), (base, base + long))
            corner, other = (self.x.at(across[0]), y.at(up[0])), (self.x.at(across[1]), y.at(up[1]))
            self._rect(corner, other, self._bar_paint(trace.marker, at))
        return []

    def _bar_paint(self, mark: Any, at: int) -> str:
        shape, edge = str(_each(mark.pattern.shape, at) or ""), mark.line
        pen = f'{_paint("stroke", _each(edge.color, at))} stroke-width="{edge.width:g}"' if edge.width else ""
        if shape not in HATCHES:
            return f"{_paint('fill', _each(mark.color, at))} {pen}"
        key = (shape, str(_each(mark.pattern.fgcolor, at)))
        return f'fill="url(#hatch{self.hatches.setdefault(key, len(self.hatches))})" {pen}'

    def _hatch_parts(self) -> str:
        square = 'patternUnits="userSpaceOnUse" width="7" height="7"'
        return "".join(
            f'<pattern id="hatch{number}" {square}><path d="{HATCHES[shape]}" {_paint("stroke", colour)}/></pattern>'
            for (shape, colour), number in self.hatches.items()
        )

    def _rect(self, corner: Point, other: Point, paint: str) -> None:
        x, y = min(corner[0], other[0]), min(corner[1], other[1])
        width, height = abs(corner[0] - other[0]), abs(corner[1] - other[1])
        self.parts.append(f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" {paint}/>')

    def _shape(self, shape: Any) -> None:
        if shape.xref in (None, "x") and not self._is_inside(shape.x0, shape.x1):
            return
        corner, other = (self._place(shape, x, y) for x, y in ((shape.x0, shape.y0), (shape.x1, shape.y1)))
        if shape.type == "rect":
            self._rect(corner, other, _paint("fill", shape.fillcolor))
        else:
            self._line(corner, other, shape.line.color, shape.line.width or 1, DASHES.get(shape.line.dash or "", ""))

    def _is_inside(self, *across: Any) -> bool:
        """Whether some of what stands at these places lies within the picture."""
        low, high = sorted((self.x.low, self.x.high))
        places = [float(x) for x in across]
        return min(places) <= high and max(places) >= low

    def _place(self, mark: Any, x: Any, y: Any) -> Point:
        across = self.x.at(float(x)) if mark.xref in (None, "x") else self.x.share(float(x))
        if mark.yref == "paper":
            return across, self.box[3] + float(y) * (self.box[1] - self.box[3])
        scale = self.ys[(mark.yref or "y").split()[0]]
        return across, scale.share(float(y)) if "domain" in (mark.yref or "") else scale.at(float(y))

    def _note(self, note: Any) -> None:
        if note.xref in (None, "x") and not self._is_inside(note.x):
            return
        x, y = self._place(note, note.x, note.y)
        size = note.font.size or 12
        down = {"top": 0.9, "bottom": -0.25}.get(note.yanchor or "middle", 0.32) * size
        side = {"left": "start", "right": "end"}.get(note.xanchor or "center", "middle")
        at = (x + (note.xshift or 0), y + down - (note.yshift or 0))
        self._words(note.text, at, size, note.font.color, side)

    def _legend(self) -> None:
        if not self.layout.showlegend:
            return
        x, y = self.box[0], self.height - 10
        for trace in self.traces:
            if trace.showlegend is False or not trace.name:
                continue
            paint = self._bar_paint(trace.marker, 0) if trace.type == "bar" else _paint("fill", trace.line.color)
            long = 24 + LETTER * 12 * len(_plain(trace.name)) + 14
            if x + long > self.width:
                x, y = self.box[0], y - 16
            self._rect((x, y - 9), (x + 12, y), paint)
            self._words(trace.name, (x + 17, y), 12, self.layout.legend.font.color, "start")
            x += long

    def _line(self, start: Point, end: Point, colour: Any, width: float = 1, dash: str = "") -> None:
        ends = f'x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}"'
        pen = f'{_paint("stroke", colour)} stroke-width="{width}" stroke-dasharray="{dash or "none"}"'
        self.parts.append(f"<line {ends} {pen}/>")

    def _words(self, words: str, at: Point, size: float, colour: Any, side: str) -> None:
        place = f'x="{at[0]:.1f}" y="{at[1]:.1f}" font-size="{size}" text-anchor="{side}"'
        self.parts.append(f"<text {place} {_paint('fill', colour)}>{escape(_plain(words))}</text>")


def _key(name: str) -> str:
    return f"{name[0]}axis{name[1:]}"


def _plain(words: str) -> str:
    return unescape(TAGS.sub(" ", str(words)))


def _number(value: Any) -> float | None:
    if value is None or (not isinstance(value, int | float) and not hasattr(value, "item")):
        return None
    return None if math.isnan(float(value)) else float(value)


def _each(value: Any, at: int) -> Any:
    """The value of one mark: its own of many, or the one of all."""
    if value is None or isinstance(value, str | int | float):
        return value
    return value[at] if at < len(value) else None


def _runs(trace: Any, y: _Scale, x: _Scale) -> Iterator[list[Point]]:
    """The points of a trace in pixels, apart where a value is missing; steps where its line has them."""
    run: list[Point] = []
    for across, up in zip(trace.x, trace.y, strict=True):
        place, value = _number(across), _number(up)
        if place is None or value is None:
            if run and not trace.connectgaps:
                yield run
                run = []
            continue
        point = x.at(place), y.at(value)
        if run and trace.line.shape == "hv":
            run.append((point[0], run[-1][1]))
        run.append(point)
    if run:
        yield run


def _points_text(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _paint(part: str, colour: Any) -> str:
    match = RGBA.fullmatch(str(colour or "#1C2B33"))
    if match is None:
        return f'{part}="{escape(str(colour or "#1C2B33"))}"'
    red, green, blue, share = match.groups()
    return f'{part}="rgb({red},{green},{blue})" {part}-opacity="{share}"'


def _ticks(axis: Any, scale: _Scale) -> list[tuple[float, str]]:
    """The ticks that an axis names, else round numbers within its range."""
    if axis.showticklabels is False:
        return []
    low, high = sorted((scale.low, scale.high))
    if axis.tickvals is not None:
        texts = axis.ticktext if axis.ticktext is not None else [in_digits(f"{v:,g}") for v in axis.tickvals]
        pairs = zip(map(float, axis.tickvals), map(str, texts), strict=True)
        return [(value, words) for value, words in pairs if low <= value <= high]
    about = (high - low) / (axis.nticks or 6)
    power = 10.0 ** math.floor(math.log10(about)) if about > 0 else 1.0
    step = next((power * k for k in (1, 2, 5) if power * k >= about), power * 10)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [
        (k * step, in_digits(f"{k * step:,.{places}f}".replace("-", "−")))
        for k in range(first, math.floor(high / step + 1e-9) + 1)
    ]
