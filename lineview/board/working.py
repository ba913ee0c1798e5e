"""The folded working: every figure with its interval, how many readings, period, formula and sources."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

from dash import html

from lineview import show
from lineview.answers.answer import Answer
from lineview.board.tables import plain_table
from lineview.core.resources import shipped
from lineview.figure import Figure
from lineview.plant import Plant


@cache
def _titles() -> dict[str, str]:
    """Give the title of every published source the figures cite."""
    path = shipped("data") / "sources.toml"
    if not path.is_file():
        return {}
    known = tomllib.loads(path.read_text(encoding="utf-8"))
    return {key: f"{entry.get('title', key)} ({entry.get('obtained', '')})" for key, entry in known.items()}


def working(answer: Answer, plant: Plant, more: list[Any]) -> html.Details:
    """Give the fold that says how the answer was worked out.

    Parameters
    ----------
    answer : Answer
        Its figures.
    plant : Plant
        Units and zone.
    more : list
        Further pictures and tables to stand in it.

    Returns
    -------
    dash.html.Details
        Closed at first.
    """
    rows = [_row(figure, answer, plant) for figure in answer.figures]
    headings = ["figure", "value", "interval", "n", "how"]
    table = plain_table("Every figure of this answer", headings, rows, [False, True, True, True, False])
    cited = sorted({source for figure in answer.figures for source in figure.sources})
    sources = [html.Li([html.Span(_titles().get(one, one)), html.Code(one)]) for one in cited]
    listed = [html.H2("Sources"), html.Ul(sources, className="sources")] if sources else []
    period = show.period(answer.scope.period, plant)
    asked = html.P(f"All of {period} ({plant.zone}), but where another period is named.", className="soft")
    return html.Details(
        [html.Summary("How this was worked out"), *more, asked, table, *listed],
        className="fold",
        id="working",
    )


def _row(figure: Figure, answer: Answer, plant: Plant) -> list[Any]:
    spread = show.interval(figure, plant)
    how: list[Any] = [html.Span(figure.working)] if figure.working else []
    kind = figure.interval_kind
    if kind and kind != figure.why_none:
        how.append(html.Span(kind, className="soft"))
    if figure.period is not None and figure.period != answer.scope.period:
        how.append(html.Span(show.period(figure.period, plant), className="soft"))
    count = show.number(figure.n) if figure.n else ""
    return [figure.label, show.value(figure, plant), spread, count, html.Div(how, className="how")]
