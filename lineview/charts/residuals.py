"""The rope's control charts: limits as a pale area, signals told by their shape and their words."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go
import polars as pl

from lineview import show
from lineview.charts.look import Look, Picture, blank, label
from lineview.charts.theme import see_through
from lineview.charts.thin import thin
from lineview.core.units import in_units

#: More signals than this are marked smaller, so that the line can be seen between them.
CROWD = 20


def residual_picture(chart: pl.DataFrame, look: Look, title: str, axis: str) -> Picture:
    """Draw the batches' residuals, or a moving average of them, between control limits.

    Parameters
    ----------
    chart : polars.DataFrame
        running_h [h], value, low, high [mm], signal (whether it is outside) and stands (whether a signal
        comes after the last adjustment; all do where the column is missing).
    look : Look
        Colours, units, width.
    title, axis : str
        The picture's title and the words at its axis.

    Returns
    -------
    Picture
        For the folded working, with the names of ISO 7870.

    Notes
    -----
    Source: iso-7870-2, iso-7870-6
    """
    unit = show.unit_words("mm", look.plant.units)
    shown = thin(chart.sort("running_h"), "running_h", "value")
    hours = shown["running_h"].to_list()
    low, value, high = (_converted(shown[c], look) for c in ("low", "value", "high"))
    figure = blank(look, "running hours", f"{axis}, {unit}")
    _between(figure, look, hours, low, high)
    _line(figure, look, hours, value, f"%{{y:.4f}} {unit}", "solid")
    _signals(figure, look, shown, hours, value)
    words = ("LCL", "UCL") if look.narrow else ("lower control limit", "upper control limit")
    _limit_words(figure, look, hours, (low, words[0]), (high, words[1]))
    return Picture(title, figure, height=240, first=False)


def cusum_picture(cusum: pl.DataFrame, look: Look) -> Picture:
    """Draw the two one-sided cumulative sums of the batches' residuals inside their decision interval.

    Parameters
    ----------
    cusum : polars.DataFrame
        running_h [h], upper, lower, limit [mm], signal and stands as in residual_picture.
    look : Look
        Colours, units, width.

    Returns
    -------
    Picture
        The lower sum hangs below the axis; for the folded working, with the names of ISO 7870-4.

    Notes
    -----
    Source: iso-7870-4
    """
    both = cusum.sort("running_h").with_columns(
        down=-pl.col("lower"), floor=-pl.col("limit"),
        outer=pl.when(pl.col("lower") > pl.col("upper")).then(-pl.col("lower")).otherwise(pl.col("upper")),
    )  # fmt: skip
    shown = thin(both, "running_h", "outer")
    hours, unit = shown["running_h"].to_list(), show.unit_words("mm", look.plant.units)
    names = ("upper", "down", "floor", "limit", "outer")
    upper, down, floor, top, outer = (_converted(shown[name], look) for name in names)
    figure = blank(look, "running hours", f"CUSUM, {unit}")
    _between(figure, look, hours, floor, top)
    _line(figure, look, hours, upper, f"upper sum %{{y:.3f}} {unit}", "solid")
    _line(figure, look, hours, down, f"lower sum %{{y:.3f}} {unit}", "dot")
    _signals(figure, look, shown, hours, outer)
    words = ("−H", "H") if look.narrow else ("−H, lower sum", "decision interval H, upper sum")
    _limit_words(figure, look, hours, (floor, words[0]), (top, words[1]))
    return Picture("CUSUM chart of the batches' residuals (ISO 7870-4)", figure, height=260, first=False)


def _converted(column: pl.Series, look: Look) -> list[float | None]:
    return [None if v is None else in_units(v, "mm", look.plant.units)[0] for v in column.to_list()]


def _between(figure: go.Figure, look: Look, hours: list[float], low: Sequence[float | None],
             high: Sequence[float | None]) -> None:  # fmt: skip
    quiet = {"mode": "lines", "line": {"width": 0, "shape": "hv"}, "hoverinfo": "skip"}
    figure.add_scatter(x=hours, y=low, **quiet)
    figure.add_scatter(x=hours, y=high, fill="tonexty", fillcolor=look.tokens.band, **quiet)


def _line(figure: go.Figure, look: Look, hours: list[float], value: Sequence[float | None], words: str,
          dash: str) -> None:  # fmt: skip
    figure.add_scatter(
        x=hours,
        y=value,
        mode="lines",
        line={"color": look.tokens.ink, "width": 1.3 * look.scale, "dash": dash},
        hovertemplate=f"{words}<extra></extra>",
    )


def _limit_words(
    figure: go.Figure, look: Look, hours: list[float], *limits: tuple[Sequence[float | None], str]
) -> None:
    for (values, words), side in zip(limits, ("top", "bottom"), strict=True):
        told = [v for v in values if v is not None]
        if told:
            behind = see_through(look.tokens.card, 0.75)
            label(figure, look, words, hours[-1], told[-1], xanchor="right", yanchor=side, bgcolor=behind)


def _signals(
    figure: go.Figure, look: Look, shown: pl.DataFrame, hours: list[float], value: Sequence[float | None]
) -> None:
    """Mark signals: filled and in the call colour where they stand, open and in ink where dealt with."""
    signal = shown["signal"].to_list()
    stands = shown["stands"].to_list() if "stands" in shown.columns else signal
    old = [i for i, s in enumerate(signal) if s and not stands[i]]
    new = [i for i, s in enumerate(signal) if s and stands[i]]
    _marks(figure, look, hours, value, old, "diamond-open", look.tokens.ink, "before the last adjustment")
    _marks(figure, look, hours, value, new, "diamond", look.tokens.call, "signal")


def _marks(
    figure: go.Figure,
    look: Look,
    hours: list[float],
    value: Sequence[float | None],
    places: list[int],
    symbol: str,
    colour: str,
    words: str,
) -> None:
    if not places:
        return
    figure.add_scatter(
        x=[hours[i] for i in places],
        y=[value[i] for i in places],
        mode="markers",
        marker={
            "symbol": symbol,
            "size": (6 if len(places) > CROWD else 8) * look.scale,
            "color": colour,
            "line": {"width": 1.2 * look.scale, "color": colour},
        },
        hovertemplate=f"{words}<extra></extra>",
    )
    first = places[0]
    at = value[first] or 0.0
    label(
        figure,
        look,
        "first signal" if words == "signal" else "dealt with",
        hours[first],
        at,
        colour=colour,
        yshift=12 if at >= 0 else -12,
        bgcolor=see_through(look.tokens.card, 0.75),
        xanchor="right" if hours[first] > hours[0] + 0.25 * (hours[-1] - hours[0]) else "left",
    )
