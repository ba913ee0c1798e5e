"""Draw the pictures of an answer from its series; those without data are left out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import plotly.graph_objects as go
import polars as pl

from lineview.charts.order import order_picture
from lineview.charts.rope import Tolerance, cusum_picture, residual_picture, rope_picture
from lineview.charts.shift import shift_picture, strips_of, strips_picture
from lineview.charts.style import ChartStyle, Picture, blank, label, see_through, thin
from lineview.charts.week import difference_picture, looks_picture, loss_picture, trial_picture
from lineview.charts.weight import Target, weight_picture
from lineview.charts.wrap import wrap_picture
from lineview.core.figure import Figure
from lineview.core.language import mark, tr
from lineview.core.units import in_units
from lineview.report import show
from lineview.report.answer import Answer, scope_name
from lineview.report.figure_table import FIGURES

#: The parts in their order, each with its words at a desk and on a phone.
PARTS = (
    ("wear_mm", mark("level and wear"), mark("level and wear")),
    ("steps_mm", mark("adjustments and steps"), mark("adjustments, steps")),
    ("temperature_mm", mark("rope temperature"), mark("temperature")),
    ("products_mm", mark("product, against the others"), mark("product")),
    ("shift_mm", mark("each batch's own shift"), mark("batch's own shift")),
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


def components_picture(components: pl.DataFrame, look: ChartStyle) -> Picture | None:
    """Draw what each batch's deviation is put down to."""
    ordered = components.sort("running_h")
    panels = _panels(ordered, look)
    if not panels:
        return None
    unit = show.unit_words("mm", look.plant.units)
    figure = blank(look, tr("running hours"), "")
    spans = [panel.high - panel.low for panel in panels]
    height = TALL * sum(spans) / max(spans) + ABOVE * len(panels)
    top = 1.0
    for at, (panel, span) in enumerate(zip(panels, spans, strict=True)):
        top -= ABOVE / height
        bottom = max(0.0, top - TALL * span / max(spans) / height)
        _axis(figure, look, panel, at, (bottom, top))
        _draw(figure, look, thin(ordered, "running_h", panel.name), panel, at)
        top = bottom
    figure.update_xaxes(anchor=f"y{len(panels)}" if len(panels) > 1 else "y")
    title = tr("What moves the rope off its target, {unit}: the parts add up to each batch's deviation", unit=unit)
    return Picture(title, figure, height=80 + round(height), first=False)


def _panels(components: pl.DataFrame, look: ChartStyle) -> list[_Panel]:
    """List the parts that are in the model, each with the range of its axis in the plant's unit."""
    ranges = []
    for name, desk, phone in PARTS:
        if name not in components.columns or components[name].null_count() == components.height:
            continue
        values = [0.0, *(in_units(v, "mm", look.plant.units)[0] for v in components[name].drop_nulls().to_list())]
        ranges.append((name, tr(phone if look.narrow else desk), min(values), max(values)))
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


def _axis(figure: go.Figure, look: ChartStyle, panel: _Panel, at: int, domain: tuple[float, float]) -> None:
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


def _draw(figure: go.Figure, look: ChartStyle, points: pl.DataFrame, panel: _Panel, at: int) -> None:
    unit = show.unit_words("mm", look.plant.units)
    steps = panel.name == "steps_mm"
    quiet = panel.name in ("shift_mm", "temperature_mm", "products_mm")
    figure.add_scatter(
        x=points["running_h"].to_list(),
        y=[None if v is None else in_units(v, "mm", look.plant.units)[0] for v in points[panel.name].to_list()],
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


#: What each series must have to be drawn.
NEEDS: dict[str, dict[str, tuple[str, ...]]] = {
    "rope": {"batches": ("running_h", "diameter_mm", "deviation_mm", "batch", "product")},
    "weight": {"batches": ("at", "mean_g", "low", "high", "n")},
    "shift": {"rate": ("at", "rate_per_min"), "timeline": ("start", "end", "state", "reason")},
    "wrap": {"causes": ("web", "cause", "m_per_thousand")},
    "order": {"fan": ("web", "at", "low90", "low50", "mid", "high50", "high90")},
    "week": {"losses": ("cause", "minutes", "cost", "verdict")},
}


def pictures(answer: Answer, look: ChartStyle) -> tuple[Picture, ...]:
    """Draw an answer.

    Parameters
    ----------
    answer : Answer
        Its series and figures.
    look : Look
        Colours, plant, width, scale.

    Returns
    -------
    tuple of Picture
        Empty where the series it needs are not there; the sentence and notes say why then.
    """
    if not _drawable(answer):
        return ()
    drawings = {"rope": _rope, "weight": _weight, "shift": _shift, "wrap": _wrap, "order": _order, "week": _week}[
        answer.question
    ](answer, look)
    return tuple(drawings)


def _drawable(answer: Answer) -> bool:
    if "trial_shifts" in answer.series:
        return answer.series["trial_shifts"].height > 0
    for name, columns in NEEDS[answer.question].items():
        frame = answer.series.get(name)
        if frame is None or not frame.height or not set(columns) <= set(frame.columns):
            return False
    return True


def _value(answer: Answer, name: str) -> float | None:
    figure = answer.figure(name)
    return float(figure.value) if figure and isinstance(figure.value, int | float) else None


def _needs_person(answer: Answer) -> bool:
    return any(span.call for span in answer.sentence)


def _scope_words(answer: Answer, look: ChartStyle) -> str:
    return scope_name(answer.scope, look.plant)


def _rope(answer: Answer, look: ChartStyle) -> list[Picture]:
    batches = answer.series["batches"]
    target, low, high = (_value(answer, n) for n in ("target_mm", "tolerance_low_mm", "tolerance_high_mm"))
    if target is None or low is None or high is None or high <= low:
        return []
    drawings = [
        rope_picture(
            batches,
            Tolerance(target, low, high),
            look,
            forecast=answer.series.get("forecast"),
            adjustments=answer.series.get("adjustments"),
            call=_needs_person(answer),
            name=tr("Rope of {scope}", scope=_scope_words(answer, look)),
        )
    ]
    return [*drawings, *_behind_the_rope(answer, look)]


#: The charts that watch the rope for drift: series, title, words at the axis.
WATCHING = (
    ("residuals", mark("Residual chart of the batches, Shewhart limits (ISO 7870-2)"), mark("residual")),
    ("ewma", mark("EWMA chart of the residuals (ISO 7870-6)"), "EWMA"),
    ("quick", mark("EWMA chart of the residuals, quicker to see large drifts (ISO 7870-6)"), "EWMA"),
)


def _behind_the_rope(answer: Answer, look: ChartStyle) -> list[Picture]:
    """Draw what the rope's deviation is made of, and the charts that watch it."""
    drawings: list[Picture] = []
    parts = answer.series.get("components")
    if parts is not None and parts.height:
        stacked = components_picture(parts, look)
        drawings += [] if stacked is None else [stacked]
    for name, title, axis in WATCHING:
        chart = answer.series.get(name)
        if chart is not None and chart.height:
            drawings.append(residual_picture(chart, look, tr(title), tr(axis)))
    cusum = answer.series.get("cusum")
    if cusum is not None and cusum.height:
        drawings.append(cusum_picture(cusum, look))
    return drawings


def _weight(answer: Answer, look: ChartStyle) -> list[Picture]:
    """Draw weights as they are, or off their targets where the batches have several."""
    batches, target = answer.series["batches"], _targets(answer, look)
    if target.target_g is not None and "target_g" in batches.columns and batches["target_g"].n_unique() > 1:
        off = pl.col("mean_g", "low", "high") - pl.col("target_g")
        batches, name = batches.with_columns(off), tr(tr("Piece weight off its target, batch by batch"))
        shift = target.target_g
        target = Target(0.0, *(None if v is None else v - shift for v in (target.low_g, target.high_g)))
        return [weight_picture(batches, target, look, answer.scope.period, name, off_target=True)]
    return [weight_picture(batches, target, look, answer.scope.period)]


def _targets(answer: Answer, look: ChartStyle) -> Target:
    """Give target and tolerance: the answer's own, else the plant's where all its batches share one."""
    declared = [_value(answer, n) for n in ("target_g", "tolerance_low_g", "tolerance_high_g")]
    batches = answer.series["batches"]
    if declared[0] is not None and declared[1] is None and "product" in batches.columns:
        products = [look.plant.product(str(p)) for p in batches["product"].unique(maintain_order=True).to_list()]
        widths = {p.mass_tolerance_g for p in products if p is not None}
        if len(widths) == 1 and None not in products:
            width = widths.pop()
            declared[1:] = [declared[0] - width, declared[0] + width]
    return Target(*declared)


def _shift(answer: Answer, look: ChartStyle) -> list[Picture]:
    machine = look.plant.machine(answer.scope.machine)
    nominal = machine.nominal_per_min if machine else (300.0, 400.0)
    title = ", ".join(part for part in (_scope_words(answer, look), answer.scope.label) if part)
    title = show.capital(title)
    series = answer.series
    strips = strips_of(series["timeline"], answer.scope.period, look)
    if len(strips[1]) > 1 and "rate_per_min" in series["timeline"].columns:
        return [strips_picture(series["timeline"], nominal, strips, look, title, _rates(answer))]
    return [shift_picture(series["rate"], series["timeline"], nominal, answer.scope.period, look, title)]


def _rates(answer: Answer) -> dict[str, str]:
    """The effective rate of each shift of a longer period, by its period."""
    rows = next((table.rows for table in answer.tables if table.name == "shifts"), ())
    known = ((row["date"], row["shift"], row["rate"]) for row in rows if row["date"] and row["rate"] is not None)
    return {f"{day}.{shift}": show.number(rate, 0) for day, shift, rate in known}


def _wrap(answer: Answer, look: ChartStyle) -> list[Picture]:
    odd = any(span.call for span in answer.sentence)
    return [wrap_picture(answer.series["causes"], look, call=odd)]


def _order(answer: Answer, look: ChartStyle) -> list[Picture]:
    """Draw one picture a web; the first of the series, the most urgent, stands open."""
    fan = answer.series["fan"]
    drawings = []
    for count, web in enumerate(fan["web"].unique(maintain_order=True).to_list()):
        described = look.plant.web(web)
        drawings.append(
            order_picture(
                fan.filter(pl.col("web") == web).sort("at", maintain_order=True),
                look,
                deliveries=_coming(answer, web),
                order_by=_order_by(answer, web),
                call=_needs_person(answer),
                name=show.capital(tr("{web}, reels on hand", web=(described.name if described else "") or web)),
                first=count == 0,
            )
        )
    return drawings


def _week(answer: Answer, look: ChartStyle) -> list[Picture]:
    """Draw the largest losses, in money where all of it is known; or a trial."""
    if "trial_shifts" in answer.series:
        return _trial(answer, look)
    drawings = [loss_picture(answer.series["losses"], look)]
    differences = answer.series.get("differences")
    if differences is None or not differences.height:
        return drawings
    return [difference_picture(differences, look), *(replace(picture, first=False) for picture in drawings)]


def _trial(answer: Answer, look: ChartStyle) -> list[Picture]:
    """Draw a trial's measure shift by shift, and the change as it was known after each."""
    figure, looks = answer.figure("trial_before"), answer.series["trial_looks"]
    unit, name = (figure.unit, _measure_of(figure)) if figure else ("", tr("measure"))
    drawings = [trial_picture(answer.series["trial_shifts"], unit, name, look, call=_needs_person(answer))]
    planned = _value(answer, "trial_planned_shifts") or 0.0
    return [*drawings, looks_picture(looks, unit, round(planned), look)] if looks.height > 1 else drawings


def _measure_of(figure: Figure) -> str:
    """The measure that the label of its figure before the trial names."""
    start, _, end = tr(FIGURES["trial_before"].label, measure="\0").partition("\0")
    return figure.label.removeprefix(start).removesuffix(end)


def _of_web(frame: pl.DataFrame | None, web: str) -> pl.DataFrame | None:
    return None if frame is None else frame.filter(pl.col("web") == web)


def _coming(answer: Answer, web: str) -> pl.DataFrame | None:
    """A web's deliveries, without the rows of order days."""
    deliveries = _of_web(answer.series.get("deliveries"), web)
    if deliveries is None or "kind" not in deliveries.columns:
        return deliveries
    return deliveries.filter(pl.col("kind") != "order by")


def _order_by(answer: Answer, web: str) -> datetime | None:
    """The day by which a web is to be ordered."""
    deliveries = _of_web(answer.series.get("deliveries"), web)
    if deliveries is None or "kind" not in deliveries.columns:
        return None
    days = deliveries.filter(pl.col("kind") == "order by")["at"].to_list()
    return min(days, default=None)
