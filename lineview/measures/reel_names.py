"""Whether two names in a reel log mean the same reel: people write "R 41", "r41", "41 rest", "41b"."""

from __future__ import annotations

import re
from functools import lru_cache

#: What people add to a reel's name when its rest is mounted again: common practice, no source.
_MARK = re.compile(
    r"(?<=\d)(?:[b-e]|r|p)$|(?:rest|part|remainder|remnant|again|returned|reststück|teilrolle)$"
)


def names_meant(later: str) -> tuple[str, ...]:
    """Names of earlier reels, as plain_name gives them, that a later name can mean.

    Parameters
    ----------
    later : str
        As the log has it.

    Returns
    -------
    tuple of str
        Its own name, and its name without a mark that somebody added; empty for a name of nothing.

    Examples
    --------
    >>> names_meant("R-41"), names_meant("41 rest"), names_meant("41b"), names_meant(" ")
    (('r41',), ('41rest', '41'), ('41b', '41'), ())
    """
    name = plain_name(later)
    without = _MARK.sub("", name)
    return tuple(part for part in dict.fromkeys((name, without)) if part)


@lru_cache(maxsize=65_536)
def plain_name(name: str) -> str:
    """A reel's name without case, blanks and punctuation."""
    return "".join(char for char in name.casefold() if char.isalnum())
