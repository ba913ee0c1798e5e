"""Names of figures: words and ids in snake case."""

from __future__ import annotations


def slug(text: str) -> str:
    """Give a word or id as part of a figure's name.

    Examples
    --------
    >>> slug("wax paper"), slug("film-vanilla")
    ('wax_paper', 'film_vanilla')
    """
    return "".join(c if c.isalnum() else "_" for c in text.casefold())
