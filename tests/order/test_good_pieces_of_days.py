"""Good pieces of a period long past, from the output by day: no upper end where nothing bounds it."""

import json
import math
from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.app.works import Works
from lineview.order.answer import answer_order
from lineview.records.output import DAILY_OUTPUT, good_pieces
from lineview.report.answer import to_json
from tests.from_frames import inputs
from tests.intake.small_works import MADE, PER_MIN, START, SmallWorks, rows, stamps
from tests.simulate.webs import frames_of, scope_of, wrap_line

DAYS = (date(2026, 3, 2), date(2026, 3, 3))


@pytest.fixture(scope="module")
def works():
    return wrap_line(1, days=2, every_s=60)


def figure_of(works, high: float) -> dict:
    """The good pieces in the JSON of the order answer; two days, of one of them the most is `high`."""
    rows = [
        ("line1", DAYS[0], "", 500.0, 480.0, 520.0, 0.0, 960.0),
        ("line1", DAYS[1], "", 300.0, 300.0, high, 0.0, 960.0),
        ("line2", DAYS[1], "", 7.0, 7.0, math.inf, 0.0, 960.0),
    ]
    output = pl.DataFrame(rows, schema=DAILY_OUTPUT, orient="row")
    scope = scope_of(works)
    order_inputs = replace(
        inputs("order", works.plant, scope, frames_of(works)), good=good_pieces(output, "line1", *DAYS)
    )
    text = to_json(answer_order(works.plant, scope, order_inputs))
    assert "NaN" not in text
    assert "Infinity" not in text
    return json.loads(text)["figures"]["good_pieces"]


@pytest.mark.parametrize("high", [math.inf, math.nan])
def test_a_day_without_an_upper_end_leaves_the_sum_without_one(works, high: float) -> None:
    figure = figure_of(works, high)
    assert (figure["value"], figure["low"], figure["high"]) == (800.0, 780.0, None)


def test_bounded_days_add_up(works) -> None:
    figure = figure_of(works, 310.0)
    assert (figure["value"], figure["low"], figure["high"]) == (800.0, 780.0, 830.0)


def test_a_day_that_nobody_read_has_its_part_of_what_was_counted_over_it(tmp_path) -> None:
    """Read in the early shifts of Monday and Wednesday, and 432,000 counted meanwhile: 300 a planned minute."""
    two_days = timedelta(days=2)
    works = SmallWorks(tmp_path / "works")
    monday = rows(stamps(481, 60), lambda minutes: round(PER_MIN * minutes))
    later = rows(stamps(481, 60, START + two_days), lambda minutes: MADE + 432_000 + round(PER_MIN * (minutes - 2880)))
    assert works.take(f"time;pieces\n{monday}{later}", answers={"on_change": "false"}).error is None
    with Works(works.folder) as opened:
        now = opened.store.span("wrap1").end + timedelta(seconds=1)
        machines = [opened.plant.machine("wrap1")]
        output = Fetcher(opened.store, opened.records, opened.plant, Measured()).output(machines, now)
    assert output["date"].to_list() == [(START + timedelta(days=k)).date() for k in range(3)]
    assert output["good_low"].to_list() == pytest.approx([MADE, 0, MADE])
    assert output["good"].sum() == pytest.approx(2 * MADE + 432_000)
    assert output["unseen"].sum() == pytest.approx(432_000)
    assert output["good"].to_list() == pytest.approx((output["good_low"] + output["unseen"]).to_list())
    (unread,) = output.filter(pl.col("date") == (START + timedelta(days=1)).date()).rows(named=True)
    assert 432_000 / 2 < unread["good"] < unread["good_high"] == 432_000  # more than half of the time lies in it
    assert unread["planned_min"] == 960
