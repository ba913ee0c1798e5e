"""Pages that work without scripts: setting up, the works, signing in, the account, a larger file."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader

from lineview.board.address import NAMES, WORKS
from lineview.board.script_words import document_attributes
from lineview.core.language import spoken, tr, tr_count


def plain_page(template: str, **context: Any) -> str:
    """A page from its template, every value escaped."""
    return _templates().get_template(template).render(**context)


@cache
def _templates() -> Environment:
    templates = Environment(loader=PackageLoader("lineview.board", "pages"), autoescape=True, trim_blocks=True)
    templates.globals |= {"tr": tr, "tr_count": tr_count, "spoken": spoken, "document": document_attributes}
    return templates


def page_links(here: str = "") -> list[tuple[str, str, bool]]:
    """The pages of the board with their addresses, and whether each is the one at `here`."""
    pages = [*((tr(name), f"/{page}") for page, name in NAMES.items()), (tr(WORKS), "/works")]
    return [(name, href, href == here) for name, href in pages]
