"""How to read each page, folded at its end, and the pages that say how figures are worked out, from which source."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any
from urllib.parse import quote

from dash import html
from flask import Flask, Response

from lineview.board.plain import page_links, plain_page
from lineview.core.language import mark, tr
from lineview.core.resources import shipped
from lineview.report.figure_table import EXACT, FIGURES

ALL = "/methods"


@cache
def _sources() -> Mapping[str, Mapping[str, Any]]:
    """Every source by its id; none in a package without its data."""
    path = shipped("data") / "sources.toml"
    return tomllib.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}


def method_link(name: str) -> str:
    """The address of a source's page."""
    return f"{ALL}/{quote(name)}"


def method_title(name: str) -> str:
    """A source's title, and how far it was read."""
    source = _sources().get(name, {})
    return f"{source.get('title', name)} ({tr(source['obtained'])})" if source else name


def _figures(name: str) -> list[tuple[str, str, str]]:
    """Label, unit and interval of each figure that a source is for."""
    rows = (row for row in FIGURES.values() if name in row.sources.split())
    kinds = ((row, "" if row.interval == EXACT else row.interval) for row in rows)  # the estimate may have another
    return list(dict.fromkeys((_plain(row.label), _plain(row.unit), _plain(kind)) for row, kind in kinds))


def _plain(words: str) -> str:
    """Words of the table of figures without the places in braces that an answer fills."""
    return re.sub(r"\{[^}]*\}", "…", re.sub(r"\{(of|on)\}", "", tr(words)))


def add_method_routes(server: Flask, shop: Callable[[], str]) -> None:
    """Add a page for each source of a figure, and the list of them."""

    def method(name: str) -> Any:
        source = _sources().get(name)
        if source is None:
            return Response(tr("There is no method of this name."), status=404, mimetype="text/plain")
        about = {"name": name, "source": source, "figures": _figures(name), "back": ALL}
        about["sentence"] = tr(source["method"]) if "method" in source else source["title"]
        return plain_page("method.html", title=tr("Method"), shop=shop(), pages=page_links(), **about)

    def methods() -> Any:
        names = {name for row in FIGURES.values() for name in row.sources.split()}
        listed = [(method_title(name), method_link(name)) for name in sorted(names)]
        sentence = tr("How each figure is worked out, and from which source.")
        return plain_page(
            "method.html", title=tr("Methods"), sentence=sentence, shop=shop(), pages=page_links(), listed=listed
        )

    server.add_url_rule(f"{ALL}/<name>", "method", method)
    server.add_url_rule(ALL, "methods", methods)


TITLE = mark("How to read this page")

#: What all pages that answer a question share.
_OF_ALL = (
    mark("The sentence answers the question; what is underlined in it needs somebody to act or to look."),
    mark("A dash is what is not known; it is never 0. How each figure came about is under “How this was worked out”."),
)

#: By page, a few plain sentences.
READING = {
    "rope": (
        mark(
            "The picture is the rope's diameter over time; past the last reading it shows where the "
            "rope is heading, and how sure that is."
        ),
    ),
    "weight": (
        mark(
            "The spread between batches and that from piece to piece are told apart, because they "
            "have different causes."
        ),
    ),
    "shift": (
        mark(
            "Each stretch of the picture is a time of one state; hatched ones are without pieces, "
            "and the legend names their kinds. All minutes add up to the time that was planned."
        ),
    ),
    "wrap": (
        mark(
            "What a thousand good pieces take is split by cause, and the causes add up to the whole. "
            "“Unexplained” is what no export accounts for."
        ),
    ),
    "order": (
        mark("The list under the sentence names what is to be done, a web a line, the most urgent first."),
        mark(
            "The line in the picture is the reels expected on hand; the dark band holds half of what "
            "may happen, the pale one 90 %. It jumps where a delivery comes."
        ),
        mark("The order is for the whole works and for the day of the last reading, not for today."),
    ),
    "week": (
        mark(
            "Each loss is one row, and the rows add up. A trend is called better or worse only where "
            "chance alone would hardly make it."
        ),
    ),
    "bags": (
        mark(
            "Each bag's mass less the empty bag is compared with the label; the rules chosen say how "
            "far the mean and how many bags may be under it."
        ),
        mark("It is a planning aid, not a legal test."),
    ),
}


def how_to_read(page: str) -> list[Any]:
    """The fold of a page, closed; nothing where a page has none."""
    of_page = READING.get(page, ())
    sentences = of_page if page == "bags" or not of_page else (*of_page, *_OF_ALL)
    listed = html.Ul([html.Li(tr(text)) for text in sentences])
    return [html.Details([html.Summary(tr(TITLE)), listed], className="fold", id="how-to-read")] if sentences else []
