"""What a buyer supposes comes out as if it were so: compared with plant.toml and a count that really say it."""

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineview.app.inputs import Fetcher, Measured
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.core.errors import AskError
from lineview.core.frames import STOCK
from lineview.order.answer import answer_order
from lineview.order.what_if import read_what_if
from lineview.report.answer import Answer, to_object


def supposed(week: Works, query: str) -> Answer:
    return week.ask(read_address("/order", query).question_scope)


def really(week: Works, web: str, stock: pl.DataFrame | None = None, **changes: object) -> Answer:
    """The order of a plant whose web, or every web, is described so, and of a further count."""
    scope = week.ask(read_question("order")).scope
    inputs = Fetcher(week.store, week.records, week.plant, Measured()).inputs("order", scope)
    webs = tuple(w.model_copy(update=changes) if web in ("", w.id) else w for w in week.plant.webs)
    if stock is not None:
        inputs = replace(inputs, stock=pl.concat([inputs.stock, stock]))
    return answer_order(week.plant.model_copy(update={"webs": webs}), scope, inputs)


def same(answer: Answer, truth: Answer) -> None:
    """All but the words that nothing is saved."""
    got, right = to_object(answer), to_object(truth)
    assert got["sentence"] == right["sentence"]
    assert got["soft"].endswith(right["soft"][1:])
    assert got["soft"].startswith("What if, not saved: ")
    for part in ("figures", "tables", "series"):
        assert got[part] == right[part]


@pytest.mark.parametrize("days", [7, 45, 90])
def test_another_lead_time_is_as_if_the_plant_said_so(week: Works, days: int) -> None:
    web = week.plant.webs[0].id
    same(supposed(week, f"?lead_days={days}"), really(week, "", lead_time_days=float(days)))
    same(supposed(week, f"?web={web}&lead_days={days}"), really(week, web, lead_time_days=float(days)))


def test_another_price_is_as_if_the_plant_said_so(week: Works) -> None:
    web = week.plant.webs[1].id
    truth = really(week, web, price_per_reel=77.5, price_breaks=())
    same(supposed(week, f"?web={web}&price=77,5"), truth)


def test_a_count_of_today_is_as_if_it_was_made(week: Works) -> None:
    web = week.plant.webs[0]
    before = week.store.stock().filter(pl.col("web").is_in([web.id, web.name])).sort("at")
    at = before["at"][-1] + timedelta(minutes=1)
    open_orders = before.filter((pl.col("at") == before["at"][-1]) & pl.col("on_order_reels").is_not_null())
    blank = dict.fromkeys(STOCK)
    rows = [
        blank | {"at": at, "web": web.id, "on_order_reels": row["on_order_reels"], "expected_on": row["expected_on"]}
        for row in open_orders.iter_rows(named=True)
    ]
    rows.append(blank | {"at": at, "web": web.id, "whole_reels": 250.0})
    count = pl.DataFrame([row | {"intake": 99, "row": n} for n, row in enumerate(rows)], schema=STOCK)
    truth, what_if = really(week, web.id, count), supposed(week, f"?web={web.id}&counted_reels=250")
    assert what_if.text == truth.text
    for name in ("fan", "deliveries"):
        of_web = [a.series[name].filter(pl.col("web") == (web.name or web.id)) for a in (what_if, truth)]
        assert_frame_equal(*of_web)
    start = what_if.series["fan"].filter(pl.col("web") == (web.name or web.id)).row(0, named=True)
    assert start["mid"] == pytest.approx(250.0)


def test_twice_the_need_is_twice_and_a_larger_risk_orders_later(week: Works) -> None:
    known, double, bold = (supposed(week, query) for query in ("", "?need_percent=200", "?risk_percent=30"))
    needs = [{f.name: f.value for f in a.figures if f.name.startswith("use_reels")} for a in (known, double)]
    assert len(needs[0]) >= 8
    assert needs[1] == pytest.approx({name: 2 * value for name, value in needs[0].items()})
    days = [
        dict(a.series["deliveries"].filter(pl.col("kind") == "order by").select("web", "at").iter_rows())
        for a in (known, bold)
    ]
    assert all(days[1].get(web, at) >= at for web, at in days[0].items())
    assert any(days[1].get(web, at) > at for web, at in days[0].items())
    assert "Accepted: a 30 % chance" in bold.soft


@pytest.mark.parametrize("query", ["", "?lead_days=5", "?lead_days=45", "?lead_days=120", "?need_percent=300"])
def test_the_sentence_is_short_and_says_what_the_first_picture_shows(week: Works, query: str) -> None:
    answer = supposed(week, query)
    assert len(answer.text.split()) <= 30, answer.text
    assert sum(span.call for span in answer.sentence) <= 2
    first = answer.series["fan"]["web"][0]
    at, reels = (
        answer.series["deliveries"]
        .filter((pl.col("web") == first) & (pl.col("kind") == "order by"))
        .select("at", "reels")
        .row(0)
    )
    assert f"rder {reels:,.0f} reels of {first}" in answer.text
    assert f"{at.astimezone(week.plant.tz):%A} {at.astimezone(week.plant.tz).day} " in answer.text


def test_what_cannot_be_supposed_is_said_all_at_once(week: Works) -> None:
    with pytest.raises(AskError) as raised:
        read_what_if({"lead_days": "soon", "risk_percent": "90", "price": "4"})
    assert [fault.where for fault in raised.value.faults] == ["lead time, days", "accepted risk, %", "web"]
    with pytest.raises(AskError, match=r"1000 or 1\.000"):  # not one, and not a need of nothing
        read_what_if({"need_percent": "1,000"})
    with pytest.raises(AskError, match="unknown web 'tin'"):
        supposed(week, "?web=tin&price=4")
