"""The one place that makes a chart on a page, so that no chart can be sent anywhere."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from lineview.board.aria import aria
from lineview.charts.look import Picture

#: plotly.js would offer to upload a chart to a server of its makers; nothing of that kind is left.
CONFIG: Any = {
    "displayModeBar": False,
    "displaylogo": False,
    "showSendToCloud": False,
    "modeBarButtonsToRemove": ["sendChartToCloud", "sendDataToCloud", "editInChartStudio"],
    "showEditInChartStudio": False,
    "displayNotifier": False,
    "showTips": False,
    "showAxisDragHandles": False,
    "doubleClick": False,
    "scrollZoom": False,
    "responsive": True,
}


def graph(picture: Picture, words: str, scale: float = 1.0) -> html.Figure:
    """Give a picture as a figure with its title, named for those who cannot see it.

    Parameters
    ----------
    picture : Picture
        Drawn.
    words : str
        What it shows, in a sentence.
    scale : float
        As the picture was drawn.

    Returns
    -------
    dash.html.Figure
        For the page.
    """
    height = None if scale > 1 else f"{picture.height}px"  # the wall's picture fills what is left of it
    return html.Figure(
        [
            html.Figcaption(picture.title),
            html.Div(
                dcc.Graph(
                    figure=picture.figure, config=CONFIG, responsive=True, style={"height": height or "100%"}
                ),
                role="img",
                **aria(label=f"{picture.title}. {words}"),
            ),
        ],
        className="picture",
    )
