"""Pages that say how figures are worked out, made from the sources and the table of figures."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any
from urllib.parse import quote

from flask import Flask, Response

from lineview.board.plain import page_links, plain_page
from lineview.core.language import tr
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
        said = tr(source["method"]) if "method" in source else source["title"]
        return plain_page("method.html", title=tr("Method"), sentence=said, shop=shop(), pages=page_links(), **about)

    def methods() -> Any:
        used = {name for row in FIGURES.values() for name in row.sources.split()}
        listed = [(method_title(name), method_link(name)) for name in sorted(used)]
        said = tr("How each figure is worked out, and from which source.")
        return plain_page(
            "method.html", title=tr("Methods"), sentence=said, shop=shop(), pages=page_links(), listed=listed
        )

    server.add_url_rule(f"{ALL}/<name>", "method", method)
    server.add_url_rule(ALL, "methods", methods)
