"""How to read each page: what its sentence, marks and picture mean, folded at its end."""

from __future__ import annotations

from typing import Any

from dash import html

from lineview.core.language import mark, tr

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
