"""The line of each key and table of a TOML text, which tomllib does not report."""

from __future__ import annotations

import tomllib

#: The keys and list indices that lead to a value.
KeyPath = tuple[str | int, ...]

_BARE_END = ",]}\n#"


class KeyLines:
    r"""The line of every key path of a TOML text that tomllib has already accepted.

    Parameters
    ----------
    text : str
        The TOML text.

    Examples
    --------
    >>> KeyLines('shop = "Fair"\n[[machines]]\nid = "wrap1"').of(("machines", 0, "id"))
    3
    """

    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._line = 1
        self._known: dict[KeyPath, int] = {}
        self._tables: dict[KeyPath, int] = {}
        self._scan()

    def of(self, path: KeyPath) -> int:
        """The line of a key path, or of the nearest table around it that the text has."""
        while path and path not in self._known:
            path = path[:-1]
        return self._known.get(path, 1)

    def _scan(self) -> None:
        base: KeyPath = ()
        while self._skip(" \t\n"):
            if self._text[self._at] == "[":
                base = self._header()
            else:
                self._pair(base)

    def _peek(self, length: int = 1) -> str:
        return self._text[self._at : self._at + length]

    def _step(self, count: int = 1) -> None:
        self._line += self._text.count("\n", self._at, self._at + count)
        self._at += count

    def _skip(self, blank: str) -> bool:
        """Pass over blanks and comments; whether there is text left."""
        while self._at < len(self._text):
            if self._peek() == "#":
                end = self._text.find("\n", self._at)
                self._step((end if end >= 0 else len(self._text)) - self._at)
            elif self._peek() in blank:
                self._step()
            else:
                return True
        return False

    def _header(self) -> KeyPath:
        line, double = self._line, self._peek(2) == "[["
        self._step(2 if double else 1)
        *parents, last = self._key()
        self._step(2 if double else 1)
        path: KeyPath = ()
        for name in parents:
            path = self._newest((*path, name))
        path = (*path, last)
        if double:
            self._known.setdefault(path, line)
            self._tables[path] = self._tables.get(path, -1) + 1
        path = self._newest(path)
        self._known.setdefault(path, line)
        return path

    def _newest(self, path: KeyPath) -> KeyPath:
        """The path of the newest table where the path is an array of tables."""
        return (*path, self._tables[path]) if path in self._tables else path

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip(" \t")
            start = self._at
            if self._peek() in "\"'":
                self._string()
                names.append(str(tomllib.loads("k=" + self._text[start : self._at])["k"]))
            else:
                while self._peek().isalnum() or self._peek() in ("-", "_"):
                    self._step()
                names.append(self._text[start : self._at])
            self._skip(" \t")
            if self._peek() != ".":
                return names
            self._step()

    def _pair(self, base: KeyPath) -> None:
        line, path = self._line, base
        for name in self._key():
            path = (*path, name)
            self._known.setdefault(path, line)
        self._step()
        self._skip(" \t")
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._known.setdefault(path, self._line)
        first = self._peek()
        if first in "\"'":
            self._string()
        elif first == "[":
            self._many(path, "]")
        elif first == "{":
            self._many(path, "}")
        else:
            while self._at < len(self._text) and self._peek() not in _BARE_END:
                self._step()

    def _many(self, path: KeyPath, closing: str) -> None:
        """Read the items of an array or the pairs of an inline table."""
        self._step()
        count = 0
        while self._skip(" \t\n,") and self._peek() != closing:
            if closing == "]":
                self._value((*path, count))
                count += 1
            else:
                self._pair(path)
        self._step()

    def _string(self) -> None:
        quote = self._peek()
        mark = quote * 3 if self._peek(3) == quote * 3 else quote
        self._step(len(mark))
        while self._at < len(self._text) and self._peek(len(mark)) != mark:
            self._step(2 if quote == '"' and self._peek() == "\\" else 1)
        self._step(len(mark))
        while len(mark) == 3 and self._peek() == quote:  # up to two quotes may precede the closing three
            self._step()
