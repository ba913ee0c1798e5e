"""Which pictures an answer gets: its series, as far as they are there, to drawn figures."""

from __future__ import annotations

from datetime import datetime

import polars as pl

from lineview.answers.answer import Answer
from lineview.charts.look import Look, Picture
from lineview.charts.order import order_picture
from lineview.charts.residuals import residual_picture
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
    ewma = answer.series.get("ewma")
    if ewma is not None and ewma.height:
        drawn.append(residual_picture(ewma, look))
    return drawn


def _weight(answer: Answer, look: Look) -> list[Picture]:
    target = Target(*(_value(answer, n) for n in ("target_g", "tolerance_low_g", "tolerance_high_g")))
    return [weight_picture(answer.series["batches"], target, look, answer.scope.period)]


def _shift(answer: Answer, look: Look) -> list[Picture]:
    machine = look.plant.machine(answer.scope.machine)
    nominal = machine.nominal_per_min if machine else (300.0, 400.0)
    title = ", ".join(part for part in (_shown(answer, look), answer.scope.label) if part)
    title = _capital(title)
    series = answer.series
    return [shift_picture(series["rate"], series["tape"], nominal, answer.scope.period, look, title)]


def _wrap(answer: Answer, look: Look) -> list[Picture]:
    return [wrap_picture(answer.series["causes"], look)]


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
                deliveries=_of_web(answer.series.get("deliveries"), web),
                order_by=_order_by(answer, web),
                call=_called(answer),
                name=_capital(f"{(known.name if known else '') or web}, reels on hand"),
                first=count == 0,
            )
        )
    return drawn


def _of_web(frame: pl.DataFrame | None, web: str) -> pl.DataFrame | None:
    return None if frame is None else frame.filter(pl.col("web") == web)


def _order_by(answer: Answer, web: str) -> datetime | None:
    days = _of_web(answer.series.get("order_by"), web)
    if days is not None and days.height:
        found = days["at"].to_list()[0]
        return found if isinstance(found, datetime) else None
    figure = answer.figure(f"order_by_{web}") or answer.figure("order_by")
    return figure.value if figure and isinstance(figure.value, datetime) else None
