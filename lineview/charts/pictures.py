"""Which pictures an answer gets: its series, as far as they are there, to drawn figures."""

from __future__ import annotations

from datetime import datetime

import polars as pl

from lineview.answers.answer import Answer
from lineview.charts.components import components_picture
from lineview.charts.look import Look, Picture
from lineview.charts.order import order_picture
from lineview.charts.residuals import cusum_picture, residual_picture
from lineview.charts.rope import Tolerance, rope_picture
from lineview.charts.shift import shift_picture
from lineview.charts.weight import Target, weight_picture
from lineview.charts.wrap import wrap_picture

#: What each series must have to be drawn.
NEEDS: dict[str, dict[str, tuple[str, ...]]] = {
    "rope": {"batches": ("running_h", "diameter_mm", "deviation_mm", "batch", "product")},
    "weight": {"batches": ("at", "mean_g", "low", "high", "n")},
    "shift": {"rate": ("at", "rate_per_min"), "tape": ("start", "end", "state", "reason")},
    "wrap": {"causes": ("web", "cause", "m_per_thousand")},
    "order": {"fan": ("web", "at", "low90", "low50", "mid", "high50", "high90")},
}


def pictures(answer: Answer, look: Look) -> tuple[Picture, ...]:
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
    drawn = {
        "rope": _rope,
        "weight": _weight,
        "shift": _shift,
        "wrap": _wrap,
        "order": _order,
    }[answer.question](answer, look)
    return tuple(drawn)


def _drawable(answer: Answer) -> bool:
    for name, columns in NEEDS[answer.question].items():
        frame = answer.series.get(name)
        if frame is None or not frame.height or not set(columns) <= set(frame.columns):
            return False
    return True


def _value(answer: Answer, name: str) -> float | None:
    figure = answer.figure(name)
    return float(figure.value) if figure and isinstance(figure.value, int | float) else None


def _called(answer: Answer) -> bool:
    return any(span.call for span in answer.sentence)


def _shown(answer: Answer, look: Look) -> str:
    machine = look.plant.machine(answer.scope.machine)
    return machine.shown if machine else answer.scope.machine


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _rope(answer: Answer, look: Look) -> list[Picture]:
    batches = answer.series["batches"]
    target, low, high = (_value(answer, n) for n in ("target_mm", "tolerance_low_mm", "tolerance_high_mm"))
    if target is None or low is None or high is None or high <= low:
        return []
    drawn = [
        rope_picture(
            batches,
            Tolerance(target, low, high),
            look,
            forecast=answer.series.get("forecast"),
            adjustments=answer.series.get("adjustments"),
            call=_called(answer),
            name=f"Rope of {_shown(answer, look)}",
        )
    ]
    return [*drawn, *_behind_the_rope(answer, look)]


#: The charts that watch the rope for drift: series, title, words at the axis.
WATCHING = (
    ("residuals", "Residual chart of the batches, Shewhart limits (ISO 7870-2)", "residual"),
    ("ewma", "EWMA chart of the residuals (ISO 7870-6)", "EWMA"),
    ("quick", "EWMA chart of the residuals, quicker to see large drifts (ISO 7870-6)", "EWMA"),
)


def _behind_the_rope(answer: Answer, look: Look) -> list[Picture]:
    """Draw what the rope's deviation is made of, and the charts that watch it."""
    drawn: list[Picture] = []
    parts = answer.series.get("components")
    if parts is not None and parts.height:
        stacked = components_picture(parts, look)
        drawn += [] if stacked is None else [stacked]
    for name, title, axis in WATCHING:
        chart = answer.series.get(name)
        if chart is not None and chart.height:
            drawn.append(residual_picture(chart, look, title, axis))
    cusum = answer.series.get("cusum")
    if cusum is not None and cusum.height:
        drawn.append(cusum_picture(cusum, look))
    return drawn


def _weight(answer: Answer, look: Look) -> list[Picture]:
    """Draw weights as they are, or off their targets where the batches have several."""
    batches, target = answer.series["batches"], _targets(answer, look)
    if target.target_g is not None and "target_g" in batches.columns and batches["target_g"].n_unique() > 1:
        off = pl.col("mean_g", "low", "high") - pl.col("target_g")
        batches, name = batches.with_columns(off), "Piece weight off its target, batch by batch"
        shift = target.target_g
        target = Target(0.0, *(None if v is None else v - shift for v in (target.low_g, target.high_g)))
        return [weight_picture(batches, target, look, answer.scope.period, name, off_target=True)]
    return [weight_picture(batches, target, look, answer.scope.period)]


def _targets(answer: Answer, look: Look) -> Target:
    """Give target and tolerance: the answer's own, else the plant's where all its batches share one."""
    told = [_value(answer, n) for n in ("target_g", "tolerance_low_g", "tolerance_high_g")]
    batches = answer.series["batches"]
    if told[0] is not None and told[1] is None and "product" in batches.columns:
        found = [look.plant.product(str(p)) for p in batches["product"].unique().to_list()]
        widths = {p.mass_tolerance_g for p in found if p is not None}
        if len(widths) == 1 and None not in found:
            width = widths.pop()
            told[1:] = [told[0] - width, told[0] + width]
    return Target(*told)


def _shift(answer: Answer, look: Look) -> list[Picture]:
    machine = look.plant.machine(answer.scope.machine)
    nominal = machine.nominal_per_min if machine else (300.0, 400.0)
    title = ", ".join(part for part in (_shown(answer, look), answer.scope.label) if part)
    title = _capital(title)
    series = answer.series
    return [shift_picture(series["rate"], series["tape"], nominal, answer.scope.period, look, title)]


def _wrap(answer: Answer, look: Look) -> list[Picture]:
    odd = any(span.call for span in answer.sentence)
    return [wrap_picture(answer.series["causes"], look, call=odd)]


def _order(answer: Answer, look: Look) -> list[Picture]:
    """Draw one picture a web; the first of the series, the most urgent, stands open."""
    fan = answer.series["fan"]
    drawn = []
    for count, web in enumerate(fan["web"].unique(maintain_order=True).to_list()):
        known = look.plant.web(web)
        drawn.append(
            order_picture(
                fan.filter(pl.col("web") == web).sort("at", maintain_order=True),
                look,
                deliveries=_coming(answer, web),
                order_by=_order_by(answer, web),
                call=_called(answer),
                name=_capital(f"{(known.name if known else '') or web}, reels on hand"),
                first=count == 0,
            )
        )
    return drawn


def _of_web(frame: pl.DataFrame | None, web: str) -> pl.DataFrame | None:
    return None if frame is None else frame.filter(pl.col("web") == web)


def _coming(answer: Answer, web: str) -> pl.DataFrame | None:
    """Give a web's deliveries without the rows that say when to order."""
    found = _of_web(answer.series.get("deliveries"), web)
    if found is None or "kind" not in found.columns:
        return found
    return found.filter(pl.col("kind") != "order by")


def _order_by(answer: Answer, web: str) -> datetime | None:
    """Give the day a web is to be ordered by, from the rows that say it."""
    found = _of_web(answer.series.get("deliveries"), web)
    if found is None or "kind" not in found.columns:
        return None
    days = found.filter(pl.col("kind") == "order by")["at"].to_list()
    return min(days, default=None)
