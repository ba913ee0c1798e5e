"""What moves the rope's diameter, one part above the other, all to one scale, adding up to the deviation."""

from __future__ import annotations

from dataclasses import dataclass

import plotly.graph_objects as go
import polars as pl

from lineview import show
from lineview.charts.look import Look, Picture, blank, label
from lineview.charts.theme import see_through
from lineview.charts.thin import thin
from lineview.core.units import in_units

#: The parts in their order, each with its words at a desk and on a phone.
PARTS = (
    ("wear_mm", "level and wear", "level and wear"),
    ("steps_mm", "adjustments and steps", "adjustments, steps"),
    ("temperature_mm", "rope temperature", "temperature"),
    ("products_mm", "product, against the others", "product"),
    ("shift_mm", "each batch's own shift", "batch's own shift"),
)
#: A part takes at least this share of the largest one's height, so that its words have room.
LEAST = 0.35
#: Room above each part for its words [px], and the height of the tallest one.
ABOVE, TALL = 20, 95


@dataclass(frozen=True)
class _Panel:
    name: str
    words: str
    low: float
    high: float


def components_picture(components: pl.DataFrame, look: Look) -> Picture | None:
    """Draw what each batch's deviation is put down to.

    Parameters
    ----------
    components : polars.DataFrame
        running_h [h] and a column a part [mm]; a part that is null throughout is not drawn.
    look : Look
        Colours, units, width.

    Returns
    -------
    Picture or None
        For the folded working; every part to the same scale, so that the tallest moves the rope most.
    """
    told = components.sort("running_h")
    panels = _panels(told, look)
    if not panels:
        return None
    unit = show.unit_words("mm", look.plant.units)
    figure = blank(look, "running hours", "")
    spans = [panel.high - panel.low for panel in panels]
    height = TALL * sum(spans) / max(spans) + ABOVE * len(panels)
    top = 1.0
    for at, (panel, span) in enumerate(zip(panels, spans, strict=True)):
        top -= ABOVE / height
        bottom = max(0.0, top - TALL * span / max(spans) / height)
        _axis(figure, look, panel, at, (bottom, top))
        _draw(figure, look, thin(told, "running_h", panel.name), panel, at)
        top = bottom
    figure.update_xaxes(anchor=f"y{len(panels)}" if len(panels) > 1 else "y")
    title = f"What moves the rope off its target, {unit}: the parts add up to each batch's deviation"
    return Picture(title, figure, height=80 + round(height), first=False)


def _panels(told: pl.DataFrame, look: Look) -> list[_Panel]:
    """List the parts that are in the model, each with the range of its axis in the plant's unit."""
    ranges = []
    for name, desk, phone in PARTS:
        if name not in told.columns or told[name].null_count() == told.height:
            continue
        values = [0.0, *(in_units(v, "mm", look.plant.units)[0] for v in told[name].drop_nulls().to_list())]
        ranges.append((name, phone if look.narrow else desk, min(values), max(values)))
    widest = max((high - low for *_, low, high in ranges), default=0.0)
    if widest <= 0:
        return []
    panels = []
    for name, words, low, high in ranges:
        more = max(0.0, LEAST * widest - (high - low)) / 2 + 0.04 * widest
        panels.append(_Panel(name, words, low - more, high + more))
    return panels


def _key(at: int) -> str:
    return "" if at == 0 else str(at + 1)


def _axis(figure: go.Figure, look: Look, panel: _Panel, at: int, domain: tuple[float, float]) -> None:
    like = figure.layout.yaxis.to_plotly_json() if at else {}
    like |= {
        "domain": domain,
        "range": [panel.low, panel.high],
        "nticks": 3,
        "title": {"text": ""},
        "zeroline": True,
        "zerolinecolor": look.tokens.grey,
        "zerolinewidth": 1,
        "anchor": "x",
    }
    figure.update_layout({f"yaxis{_key(at)}": like})
    label(
        figure,
        look,
        panel.words,
        0.0,
        1.0,
        colour=look.tokens.ink,
        xref="paper",
        yref=f"y{_key(at)} domain",
        xanchor="left",
        yanchor="bottom",
    )


def _draw(figure: go.Figure, look: Look, shown: pl.DataFrame, panel: _Panel, at: int) -> None:
    unit = show.unit_words("mm", look.plant.units)
    steps = panel.name == "steps_mm"
    quiet = panel.name in ("shift_mm", "temperature_mm", "products_mm")
    figure.add_scatter(
        x=shown["running_h"].to_list(),
        y=[
            None if v is None else in_units(v, "mm", look.plant.units)[0] for v in shown[panel.name].to_list()
        ],
        yaxis=f"y{_key(at)}",
        mode="lines",
        line={
            "color": look.tokens.note if steps else look.tokens.ink,
            "width": (0.9 if quiet else 1.8) * look.scale,
            "shape": "hv" if steps else "linear",
        },
        fill="tozeroy",
        fillcolor=see_through(look.tokens.grey, 0.24),
        hovertemplate=f"{panel.words} %{{y:+.3f}} {unit}<extra></extra>",
    )
