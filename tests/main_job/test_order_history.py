"""The order of the invented week: its history is all there is, whatever period is looked at."""

from datetime import timedelta

from lineview.gather_order import made_history, order_evidence
from lineview.scoping import scope_of
from lineview.works import Works


def test_a_period_changes_only_the_buyers_today(week: Works) -> None:
    whole, shift = week.ask("order"), week.ask("order", period="last-shift")
    assert whole.text == shift.text
    assert whole.soft == shift.soft
    tables = [{t.name: list(t.rows) for t in answer.tables} for answer in (whole, shift)]
    assert tables[0] == tables[1]


def test_use_by_day_is_the_same_read_at_once_or_in_parts(week: Works, monkeypatch) -> None:
    machine = next(m for m in week.plant.machines if m.kind == "cut-and-wrap machine")
    scope = scope_of(week.plant, "order", machine, week.store.span(machine.id))
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
