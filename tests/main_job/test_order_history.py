"""The order of the invented week: its history is all there is, whatever period is looked at."""

from datetime import timedelta

import pytest
from lineview.gather_order import made_history, order_evidence

from lineview.question_scope import read_question
from lineview.scoping import scope_of
from lineview.works import Works


def test_a_period_changes_only_the_buyers_today(week: Works) -> None:
    whole, shift = week.ask(read_question("order")), week.ask(read_question("order", period="last-shift"))
    assert whole.text == shift.text
    assert whole.soft == shift.soft
    tables = [{t.name: list(t.rows) for t in answer.tables} for answer in (whole, shift)]
    assert tables[0] == tables[1]


def test_use_by_day_is_the_same_read_at_once_or_in_parts(week: Works, monkeypatch) -> None:
    machine = next(m for m in week.plant.machines if m.kind == "cut-and-wrap machine")
    scope = scope_of(week.plant, read_question("order"), machine, week.store.span(machine.id))
    evidence = order_evidence(week.store, week.plant, scope)
    machines = [m for m in week.plant.machines if m.kind == "cut-and-wrap machine"]
    monkeypatch.setattr("lineview.gather_order.AT_ONCE", timedelta(days=2))
    parts = made_history(week.store, week.plant, machines, evidence.batches, scope.now)
    both = evidence.made.join(parts, on=["line", "date", "product"], how="full", suffix="_parts")
    assert both["good_parts"].null_count() == both["good"].null_count() == 0
    # Only what nobody saw differs: the pace around a hole is taken from fewer days.
    apart = (both["good"] - both["good_parts"]).abs()
    assert (apart[(both["unseen"] == 0).arg_true()] < 1e-6).all()
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
    rest = answer.text.partition("It will almost surely")[2] or answer.text
    assert all(name in answer.text for name in at_risk), rest
