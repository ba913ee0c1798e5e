"""The head of a page: the shop's name, the pages, and pickers made of plain links."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from dash import dcc, html

from lineview.board.address import NAMES, Address
from lineview.board.aria import aria
from lineview.plant import Plant
from lineview.scoping import machines_asked
from lineview.works import Works


def header(works: Works, plant: Plant, address: Address, shown: dict[str, str]) -> list[Any]:
    """Give what stands in the page's head.

    Parameters
    ----------
    works : Works
        For the periods to pick from.
    plant : Plant
        For the shop's name, lines and machines.
    address : Address
        Of this page.
    shown : dict
        The names of the line, machine and period that the answer is about.

    Returns
    -------
    list
        Dash components.
    """
    return [
        html.Span(plant.shop, className="shop"),
        html.Nav(
            [_page_link(page, name, address) for page, name in NAMES.items()],
            className="pages",
            **aria(label="pages"),
        ),
        html.Div(_pickers(works, plant, address, shown), className="pickers"),
    ]


def opening(shop: str) -> list[Any]:
    """Give the head as it stands before an answer is worked out: the shop's name and the pages.

    Parameters
    ----------
    shop : str
        The shop's name; "" where the plant description is wrong.

    Returns
    -------
    list
        Dash components.
    """
    pages = [dcc.Link(name, href=Address(page).href) for page, name in NAMES.items()]
    return [
        html.Span(shop, className="shop"),
        html.Nav(pages, className="pages", **aria(label="pages")),
    ]


def _page_link(page: str, name: str, address: Address) -> Any:
    if page == address.page:
        return html.A(name, href=address.href, className="here", **aria(current="page"))
    return dcc.Link(name, href=address.on(page).href)


def _pickers(works: Works, plant: Plant, address: Address, shown: dict[str, str]) -> list[Any]:
    question = address.question
    if question is None:
        return []
    whole = question == "order"  # stock is the whole works', whatever the line
    lines = [] if whole else [(line.id, line.name or line.id) for line in plant.lines]
    machines = [] if whole else [(m.id, m.shown) for m in machines_asked(plant, question, address.line)]
    picked: list[Any] = []
    if len(lines) > 1:
        picked.append(_picker("line", shown.get("line"), lines, address.line, address.with_line))
    if len(machines) > 1:
        picked.append(
            _picker("machine", shown.get("machine"), machines, address.machine, address.with_machine)
        )
    periods = works.periods(question, address.line)
    picked.append(
        _picker("period", shown.get("period"), periods, address.period, address.with_period, _days())
    )
    return picked


def _picker(
    kind: str,
    name: str | None,
    choices: Sequence[tuple[str, str]],
    chosen: str | None,
    to: Callable[[str], Address],
    below: Any = None,
) -> html.Details:
    """Give one picker: its present choice, unfolding to links; each choice is an address."""
    current = name or dict(choices).get(chosen or "") or chosen or (choices[0][1] if choices else "none yet")
    kinds = [] if current.casefold().startswith(kind) else [html.Span(f"{kind} ", className="kind")]
    links = [
        html.Li(
            dcc.Link(
                label,
                href=to(token).href,
                className="chosen" if label == current or token == chosen else "",
            )
        )
        for token, label in choices
    ]
    return html.Details(
        [
            html.Summary([*kinds, html.Span(current, className="choice")]),
            html.Div([html.Ul(links), *([below] if below is not None else [])], className="choices"),
        ],
        className="picker",
        id=f"pick-{kind}",
    )


def _days() -> html.Div:
    """Give the fields for a stretch of days of one's own."""
    field: dict[str, Any] = {
        "type": "text",
        "placeholder": "2026-06-08",
        "debounce": False,
        "className": "day",
    }
    return html.Div(
        [
            html.Label(["from", dcc.Input(id="day-from", **field)]),
            html.Label(["to", dcc.Input(id="day-to", **field)]),
            html.Button("Show", id="day-show", type="button"),
            html.P("", id="day-fault", className="fault", role="alert"),
        ],
        className="days",
    )
