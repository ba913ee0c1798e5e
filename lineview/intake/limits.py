"""How large an export may be, looked at before anything of it is unpacked or read whole."""

from __future__ import annotations

from pathlib import Path

from lineview.core.errors import Fault, IntakeError

#: Text that is read whole, and what a packed file may hold then [bytes]; larger ones are read in pieces.
MOST_WHOLE = 800_000_000
#: Parts of a gzip, each with a header of its own.
MOST_MEMBERS = 100_000
#: Lines of text that is read whole; a row that is refused takes some 400 bytes.
MOST_LINES = 4_000_000
#: Of JSON, whose parts each take many times their text [bytes].
MOST_JSON = 100_000_000
#: Of one line of other text [bytes].
MOST_LINE = 1 << 18
#: Columns of a table: with more it is no export of a machine, and each would be looked at.
MOST_COLUMNS = 2_000


def check_size(path: Path) -> None:
    """Raise where a file is too large to be read whole.

    Parameters
    ----------
    path : pathlib.Path
        Of the file.

    Raises
    ------
    IntakeError
        Where it is.
    """
    try:
        size = path.stat().st_size
    except OSError:
        return  # reading it says what is wrong
    if size > MOST_WHOLE:
        expected = f"up to {MOST_WHOLE // 1_000_000} MB read whole"
        raise IntakeError(_too_large(path, f"the file has {size:,} bytes", expected))


def check_text(path: Path, data: bytes) -> None:
    """Raise where a line is too long to be a row, there are too many, or JSON too large to be held.

    Parameters
    ----------
    path : pathlib.Path
        For messages.
    data : bytes
        Of a text, in any encoding.

    Raises
    ------
    IntakeError
        Where one is.
    """
    if data.lstrip()[:1] in (b"{", b"["):  # often a single line
        if len(data) > MOST_JSON:
            what, expected = f"the JSON has {len(data):,} bytes", f"up to {MOST_JSON // 1_000_000} MB"
            raise IntakeError(Fault(what, str(path), expected, "Export shorter periods, each to a file."))
        return
    lines = max(data.count(b"\n"), data.count(b"\r"))
    if lines > MOST_LINES:
        raise IntakeError(_too_large(path, f"the text has {lines:,} lines", f"up to {MOST_LINES:,} read whole"))
    begin = 0
    while len(data) - begin > MOST_LINE:
        end = max(data.rfind(b"\n", begin, begin + MOST_LINE), data.rfind(b"\r", begin, begin + MOST_LINE))
        if end < 0:
            what = f"a line is longer than {MOST_LINE:,} bytes"
            raise IntakeError(Fault(what, str(path), "a line for each row", "Export it again."))
        begin = end + 1


def _too_large(path: Path, what: str, expected: str) -> Fault:
    do = "Export shorter periods, each to a file, as text in UTF-8: those are read in pieces."
    return Fault(what, str(path), expected, do)
