"""Names of files as text that can be written anywhere."""

from __future__ import annotations


def readable(name: str) -> str:
    r"""A file's name or path as text of whole characters.

    Parameters
    ----------
    name : str
        As the system gives it: bytes that are not UTF-8 are lone surrogates in it.

    Returns
    -------
    str
        The same with a sign for each such byte, and blanks for line breaks and other control characters.

    Examples
    --------
    >>> readable("log-\udce4.csv"), readable("two\nlines.csv")
    ('log-�.csv', 'two lines.csv')
    """
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return "".join(" " if ord(character) < 32 or ord(character) == 127 else character for character in text)
