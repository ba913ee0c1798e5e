"""A mark that changes whenever what the store would answer does, in whichever process it changed."""

from __future__ import annotations

from sqlalchemy import func, select

from lineview.store.journal import JournalReader
from lineview.store.tables import adjustments, intakes, notes, stop_reasons


def version_of(journal: JournalReader) -> str:
    """Give the mark.

    Parameters
    ----------
    journal : JournalReader
        Open.

    Returns
    -------
    str
        Equal as long as nothing was taken in, taken back or written down by hand.
    """
    seen = intakes.c.state.in_(("done", "undone"))  # what is only begun is in no answer yet
    counts = (intakes.c.state, func.count(), func.max(intakes.c.id))
    by_state = select(*counts).where(seen).group_by(intakes.c.state)
    with journal.reading() as connection:
        marks = sorted(tuple(row) for row in connection.execute(by_state))
        for table in (adjustments, stop_reasons, notes):
            marks.append(tuple(connection.execute(select(func.count(), func.max(table.c.id))).one()))
    return "-".join(":".join(str(part) for part in mark) for mark in marks)
