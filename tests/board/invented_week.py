"""A hand-written week of an invented works: its losses by cause, one of them worse than before."""

from __future__ import annotations

import polars as pl

from lineview.core.figure import Figure
from lineview.report.answer import Answer, Span, Table
from tests.board.invented_scene import LOCK_OUT, WEEK, scope


def week(machine: str = "wrap1", label: str = "the week of Mon 8 June", line: str = "1") -> Answer:
    """Give a week in which changeovers cost most and jams get worse."""
    rows = [
        ("changeovers", 480.0, 480.0, 495.0, 3180.0, "no change beyond chance"),
        ("stops: jam at knife", 260.0, 260.0, 275.0, 1720.0, "worse than before"),
        ("rejects", 41.0, 41.0, 41.0, 610.0, "no change beyond chance"),
        ("rope off its target diameter", None, None, None, 140.0, ""),
    ]
    names = ("cause", "minutes", "low", "high", "cost", "verdict")
    told = [dict(zip(names, row, strict=True)) for row in rows]
    columns = (("cause", "where it went", ""), ("minutes", "minutes lost", "min"), ("cost", "cost", "EUR"))
    return Answer(
        "week",
        scope(machine, WEEK, label, line),
        (
            Span("Changeovers cost most: "),
            Span("3,180 EUR and 480 minutes of 781 lost", call=True),
            Span("; not changed beyond chance."),
        ),
        "1,402,000 good pieces of 1,676,000 possible. Worse beyond chance: stops for jam at knife.",
        (Figure("all_rows_lost_min", "all rows: minutes lost", 781.0, "min", n=12, period=WEEK, working="sum"),),
        (Table("ledger of losses", "What was lost, by cause", columns, told),),
        {"losses": pl.DataFrame(rows, schema=list(names), orient="row")},
        ("Not known: rush freight and shortage.",),
        (LOCK_OUT,),
    )
