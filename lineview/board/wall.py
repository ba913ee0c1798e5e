"""The wall page: the shift's sentence and tape, in type that reads from five metres, and nothing to press."""

from __future__ import annotations

from typing import Any

from dash import html

from lineview.answers.answer import Answer
from lineview.board.graph import graph
from lineview.charts.look import Look
from lineview.charts.pictures import pictures

#: Letters a two-hundredth of the distance high can be read with ease: 25 mm at five metres, which is some
#: 60 px of type on a 1.2 m wide screen of 1920 px. Common practice, no source.
SCALE = 2.5


def wall_page(answer: Answer, look: Look) -> list[Any]:
    """Give the wall's picture and soft line.

    Parameters
    ----------
    answer : Answer
        The shift's.
    look : Look
        At the wall's scale.

    Returns
    -------
    list
        Dash components.
    """
    drawn = [graph(p, answer.text, look.scale) for p in pictures(answer, look) if p.first]
    return [html.P(answer.soft, className="soft lead"), *drawn[:1]]
