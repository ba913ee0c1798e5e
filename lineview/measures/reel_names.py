"""Whether two names in a reel log mean the same reel: people write "R 41", "r41", "41 rest", "41b"."""

from __future__ import annotations

import re
from functools import lru_cache

#: What people add to a reel's name when its rest is mounted again: common practice, no source.
_MARK = re.compile(
    r"(?<=\d)(?:[b-e]|r|p)$|(?:rest|part|remainder|remnant|again|returned|reststück|teilrolle)$"
)


def same_reel(earlier: str, later: str) -> bool:
    """Tell whether a later name means a reel mounted earlier.

    Parameters
    ----------
    earlier, later : str
        Names as the log has them.

    Returns
    -------
    bool
        True where they are alike but for case, blanks and punctuation, or the later one only adds a mark.

    Examples
    --------
    >>> same_reel("R 41", "r-41"), same_reel("41", "41 rest"), same_reel("41", "41b"), same_reel("4", "41")
    (True, True, True, False)
    """
    first, second = _plain(earlier), _plain(later)
    if not first or not second:
        return False
    return first in (second, _unmarked(second))


@lru_cache(maxsize=65_536)
def _unmarked(name: str) -> str:
    return _MARK.sub("", name)


@lru_cache(maxsize=65_536)
def _plain(name: str) -> str:
    return "".join(char for char in name.casefold() if char.isalnum())
