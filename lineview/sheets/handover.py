"""What of a shift goes on its handover: the tables that fit one sheet; the rest stays on the board."""

from __future__ import annotations

from dataclasses import replace

from lineview.answers.answer import Answer, Table

#: Rows of each table on the sheet; tables not named here stay on the board.
ROWS = {
    "ladder": 14,
    "next": 5,
    "stops": 10,
    "reasons": 8,
    "shifts": 8,
    "found changeovers": 6,
    "changeovers": 6,
    "order": 12,
    "key figures": 5,
}
#: Columns too wide for half a sheet.
_LEFT_OUT = {
    "stops": ("end",),
    "shifts": ("planned", "stood", "unseen"),
    "found changeovers": ("end",),
    "key figures": ("formula", "minutes"),
    "changeovers": ("shortest_min", "longest_min"),
}

#: Tables of the left column; the others stand on the right.
LEFT = ("ladder", "reasons", "key figures")


def handover(answer: Answer) -> list[Table]:
    """Give the tables that are printed.

    Parameters
    ----------
    answer : Answer
        Of any question.

    Returns
    -------
    list of Table
        Of a shift those of `ROWS`, cut to them, its longest stops by time; of any other question all.
    """
    if answer.question != "shift":
        return list(answer.tables)
    return [_cut(table) for table in answer.tables if table.name in ROWS]


def _cut(table: Table) -> Table:
    rows, title, most = list(table.rows), table.title, ROWS[table.name]
    if table.name == "stops" and len(rows) > most:
        longest = sorted(rows, key=lambda row: -row["minutes"])[:most]
        title = f"The {most} longest stops"
        rows = [row for row in rows if row in longest]
    columns = tuple(c for c in table.columns if c[0] not in _LEFT_OUT.get(table.name, ()))
    if table.name in ("reasons", "changeovers") and len(rows) > most:
        title = f"{title}, {most} of {len(rows)}"
    return replace(table, title=title, columns=columns, rows=rows[:most])
