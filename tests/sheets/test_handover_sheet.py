"""A shift's handover fits one sheet: its tables cut to what a crew reads, its longest stops kept."""

import polars as pl
import pytest

from lineview.sheets.handover import ROWS, handover
from lineview.sheets.page import to_pdf
from tests.references.pdf_pages import pages
from tests.simulate.shift import FRAME, ask, plan, sheet, works


@pytest.mark.parametrize("lost", [False, True])
def test_a_shift_with_everything_prints_on_one_sheet(lost: bool) -> None:
    batches = sheet(*((k * 0.5, ("mint", "lime", "nut", "almond")[k % 4]) for k in range(15)))
    frame = FRAME.filter(pl.col("at").dt.hour() != 9) if lost else FRAME
    answer = ask(frame, batches=batches, plan=plan(("mint", 0, 8, 150_000)))
    assert pages(to_pdf(answer, works())) == 1


def test_the_longest_stops_are_kept_in_order_of_time() -> None:
    answer = ask()
    kept = next(t for t in handover(answer) if t.name == "stops")
    whole = next(t for t in answer.tables if t.name == "stops")
    minutes = sorted((row["minutes"] for row in whole.rows), reverse=True)[: ROWS["stops"]]
    assert sorted((row["minutes"] for row in kept.rows), reverse=True) == minutes
    starts = [row["start"] for row in kept.rows]
    assert starts == sorted(starts)
