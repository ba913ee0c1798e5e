"""The frame of every page: places that callbacks fill, and the skip link before them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from lineview.board.aria import aria

#: Stands where the sentence will, for as long as the first answer takes.
WAITING = "Working it out …"
#: The document around the app: its language, and what a browser needs to know before any style is read.
INDEX = """<!DOCTYPE html>
<html lang="en" data-start="{start}">
<head>
{{%metas%}}
<meta name="color-scheme" content="light dark">
<title>{{%title%}}</title>
{{%favicon%}}
{{%css%}}
</head>
<body>
{{%app_entry%}}
<div class="dash-scripts">{{%config%}}{{%scripts%}}{{%renderer%}}</div>
</body>
</html>"""


def index(night: bool | None) -> str:
    """Give the document, told how to start.

    Parameters
    ----------
    night : bool or None
        None follows the system.

    Returns
    -------
    str
        HTML with Dash's places in it.
    """
    return INDEX.format(start={None: "", True: "night", False: "day"}[night])


def frame(poll_s: float, version: int | str, opening: Sequence[Any] = ()) -> html.Div:
    """Give the places that the callbacks fill.

    Parameters
    ----------
    poll_s : float
        Seconds between looks for new data [s].
    version : int or str
        Of the data, as they are when the page is opened.
    opening : sequence of Dash components
        What stands in the head until the answer is worked out.

    Returns
    -------
    dash.html.Div
        The same for every page and every visitor.
    """
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="screen"),
            dcc.Store(id="version", data=version),
            dcc.Store(id="title"),
            dcc.Store(id="shown"),
            dcc.Interval(id="tick", interval=poll_s * 1000),
            html.A("Skip to the answer", href="#answer", className="skip"),
            html.Header(
                [
                    html.Div(list(opening), id="head", className="head"),
                    html.Button("Night", id="theme", type="button"),
                ],
                className="top",
            ),
            html.Main(
                [
                    html.H1(
                        html.Span(WAITING, className="waiting soft"),
                        id="sentence",
                        className="sentence",
                        **aria(live="polite"),
                    ),
                    html.Div(id="above"),
                    html.Div(id="outcome", role="status", **aria(live="polite")),
                    html.Div(id="page"),
                    html.Div(id="below"),
                ],
                id="answer",
                tabIndex=-1,
            ),
            html.Footer(id="foot"),
        ],
        id="board",
    )
