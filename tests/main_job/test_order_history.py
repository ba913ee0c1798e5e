"""The order of the invented week: its history is all there is, whatever period is looked at."""

import json
from datetime import UTC, datetime, time, timedelta

import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.machine.products import product_spans
from lineview.order.tables import supplier_sheet, suppliers_due
from lineview.plant import Machine
from lineview.report.answer import to_object
from lineview.sheets.pdf import to_pdf
from lineview.sheets.tables import to_csv
from tests.from_frames import counted
from tests.references.pdf_pages import pages


def test_a_period_changes_only_the_buyers_today(week: Works) -> None:
    whole, shift = week.ask(read_question("order")), week.ask(read_question("order", period="last-shift"))
    assert whole.text == shift.text
    assert whole.soft == shift.soft
    tables = [{t.name: list(t.rows) for t in answer.tables} for answer in (whole, shift)]
    assert tables[0] == tables[1]


def counted_at_once(week: Works, machine: Machine) -> pl.DataFrame:
    """Good pieces of a machine by day and product, from all its readings in one count."""
    span = week.store.span(machine.id)
    start, end = span.start, span.end + timedelta(microseconds=1)
    counts = counted(week.plant, machine, week.store.readings(machine.id, start, end))
    sheet = week.store.batches(machine.line, start - timedelta(hours=12), end)
    rows = []
    for part in product_spans(sheet, machine.line, start, span.end):
        at = part.start
        while at < part.end:
            day = at.astimezone(week.plant.tz).date()
            midnight = datetime.combine(day + timedelta(days=1), time(), week.plant.tz)
            stop = min(part.end, midnight.astimezone(UTC))
            rows.append((machine.line, day, part.product, counts.between((at, stop)).good.at(0).value))
            at = stop
    columns = {"line": pl.String, "date": pl.Date, "product": pl.String, "good": pl.Float64}
    frame = pl.DataFrame(rows, schema=columns, orient="row").fill_nan(0.0)
    return frame.group_by("line", "date", "product").agg(pl.col("good").sum())


def test_use_by_day_is_the_same_from_records_as_from_readings_at_once(week: Works) -> None:
    machines = [m for m in week.plant.machines if m.kind == "cut-and-wrap machine"]
    now = max(week.store.span(m.id).end for m in machines) + timedelta(seconds=1)
    kept = Fetcher(week.store, week.records, week.plant, Measured()).output(machines, now)
    at_once = pl.concat([counted_at_once(week, machine) for machine in machines])
    both = kept.join(at_once, on=["line", "date", "product"], how="full", suffix="_at_once")
    both = both.filter(pl.col("good").fill_null(0) + pl.col("good_at_once").fill_null(0) > 0)
    assert both["good_at_once"].null_count() == both["good"].null_count() == 0
    apart = (both["good"] - both["good_at_once"]).abs()
    # Each of a day's stretches is rounded to a millionth of a piece.
    assert (apart[(both["unseen"] == 0).arg_true()] < 1e-4).all()
    assert apart.sum() < 1e-4 * both["good"].sum()


def test_one_quantity_a_web_in_sheet_table_and_figures(week: Works) -> None:
    answer = week.ask(read_question("order"))
    tables = {table.name: table.rows for table in answer.tables}
    book = {row["web"]: row for row in tables["order"]}
    sent = [row for row in tables["order sheet"] if row["web"] in book]
    assert len(sent) >= 3
    quantities = {f.value for f in answer.figures if f.name.startswith("order_quantity")}
    assert {row["reels"] for row in sent} <= quantities
    for row in sent:
        assert row["reels"] == book[row["web"]]["order"]
        assert row["money"] == pytest.approx(book[row["web"]]["money"])


def test_every_web_that_runs_out_before_its_delivery_is_named(week: Works) -> None:
    answer = week.ask(read_question("order"))
    book = next(table.rows for table in answer.tables if table.name == "order")
    at_risk = [row["web"] for row in book if (row["before_open"] or 0) > 5]
    assert len(at_risk) >= 2
    forward = [point for point in answer.points if "sk the supplier to bring forward " in point]
    assert sorted(point.partition(":")[0] for point in forward) == sorted(at_risk)
    for row in book:  # what is ordered is ordered in the list too, a web a line, as the book says
        lines = [point for point in answer.points if point.startswith(f"{row['web']}: ")]
        assert len(lines) <= 1
        assert not lines or not row["order"] or f"order {row['order']:.0f} reels" in lines[0]
    assert "will almost surely run out before its delivery" in answer.text
    assert len(answer.text.split()) <= 30
    assert sum(span.call for span in answer.sentence) == 1


def test_a_supplier_gets_the_first_order_and_nothing_of_the_works_own(week: Works) -> None:
    answer, plant = week.ask(read_question("order")), week.plant
    book = next(table.rows for table in answer.tables if table.name == "order")
    due = [row for table in answer.tables if table.name == "order sheet" for row in table.rows]
    suppliers = suppliers_due(answer, plant)
    assert len(suppliers) == 2
    for supplier in suppliers:
        sheet = supplier_sheet(answer, supplier, plant)
        theirs = [row for row in due if row["supplier"] == supplier and row["price"] is not None]
        first = [row for row in theirs if row["by"] == theirs[0]["by"]]
        assert [(r["web"], r["reels"], r["price"]) for r in sheet.tables[0].rows] == [
            (r["web"], r["reels"], r["price"]) for r in first
        ]
        assert not (sheet.figures or sheet.series or sheet.notes)
        text = json.dumps(to_object(sheet)) + to_csv(sheet, plant).decode()
        others = [row for row in due if row["supplier"] != supplier]
        inside = [name for row in others for name in (row["supplier"], row["web"]) if name not in ("freight", "total")]
        inside += ["risk", "on hand", "week", "freight", "reorder", "line1", "wrap1", "last reading"]
        own = [row for row in book if row["supplier"] == supplier]
        inside += [f"{row[key]}" for row in own for key in ("on_hand", "use", "reorder", "chance_week_later")]
        assert [words for words in inside if words in text] == []
        assert pages(to_pdf(sheet, plant)) == 1
