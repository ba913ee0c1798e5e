"""Pages without scripts (setting up, signing in and such), and what a document says of its language."""

from __future__ import annotations

import json
from functools import cache
from html import escape
from typing import Any

from jinja2 import Environment, PackageLoader

from lineview.board.address import NAMES, WORKS
from lineview.core.language import ENGLISH, in_digits, mark, spoken, tr, tr_count


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


#: Every text of the scripts in assets, as they know it; the first words of each line say where.
_WORDS = (
    *(mark("Day"), mark("Night"), mark("Choose a file")),
    *(mark("{count} stops are ticked."), mark("Ticked: {stop}.")),
    # tables
    *(mark("Sort by"), mark("as worked out"), mark("{column}, up"), mark("{column}, down")),
    *(mark("Filter"), mark("Copy"), mark("Save as CSV"), mark("table"), mark("Sort, filter, copy and save: {table}")),
    *(mark("Fetching all rows …"), mark("The rows could not be fetched; try again.")),
    *(mark("{count} rows of {all}"), mark("{count} row of {all}")),
    *(mark("{count} rows of {all}, the first {shown} shown"), mark("This browser did not let it be copied.")),
    *(mark("{count} rows copied"), mark("{count} row copied"), mark("{count} rows saved"), mark("{count} row saved")),
    # what people write
    *(mark("Enter the note."), mark("Enter what was done."), mark("Sending …"), mark("Throw it away")),
    mark("Nobody is signed in here any more"),
    mark("This takes the right to write notes."),
    mark("Not taken: “{entry}”: {why}"),
    mark("Kept on this device, not sent yet: “{entry}” ({at}). It is sent when the board answers."),
    mark("The board cannot be reached, and this browser keeps nothing: write it on paper."),
    mark("{why}. Kept on this device; it is sent when somebody signs in."),
    mark("The board cannot be reached. Kept on this device; it is sent when the board answers."),
    *(mark("The board cannot be reached"), mark("{why}; nothing was changed.")),
)


def document_attributes() -> str:
    """The attributes of the document's root: its language, its words, and the signs of its numbers."""
    words = {} if spoken() == ENGLISH else {text: tr(text) for text in _WORDS}
    attributes = {"lang": spoken(), "data-separators": in_digits(".,")}
    attributes |= {"data-words": json.dumps(words, ensure_ascii=False)} if words else {}
    return " ".join(f'{name}="{escape(text)}"' for name, text in attributes.items())
