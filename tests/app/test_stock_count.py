"""A count entered on the board: what it keeps, and what it asks for instead of guessing."""

from __future__ import annotations

import pytest

from lineview.app.question import read_question
from lineview.app.stock_count import read_count
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.order.orders import latest_counts

AT, EARLY = "2026-06-12 23:30", "2026-06-12 21:30"  # the week's own count is of 22:30


def test_a_count_with_part_reels_and_deliveries_is_kept_followed_and_undone(week: Works) -> None:
    web = week.plant.webs[0]
    before = week.store.stock()
    part = (web.reel_outer_mm + web.reel_core_mm) / 2
    coming = "36 2026-08-19; 12,5 02.09.2026"
    intake = week.count_stock({"web": web.id, "at": AT, "whole": "12", "parts": f"{part:g} {part:g}", "coming": coming})
    try:
        count = latest_counts(week.plant, week.store.stock()).by_web[web.id]
        assert count.whole_reels == 12
        assert 0 < count.part_m < 2 * (count.metres - count.part_m) / 12  # two part reels are less than two whole ones
        assert [d.reels for d in count.deliveries] == [36, 12.5]
        days = [d.at.astimezone(week.plant.tz).date().isoformat() for d in count.deliveries if d.at]
        assert days == ["2026-08-19", "2026-09-02"]
        order = next(table for table in week.ask(read_question("order")).tables if table.name == "order")
        row = next(row for row in order.rows if row["web"] == (web.name or web.id))
        assert row["on_order"] == 48.5
    finally:
        week.undo_count(intake)
    assert week.store.stock().equals(before)
    with pytest.raises(AskError, match="a count of this moment or later stands"):
        week.count_stock({"web": web.id, "at": EARLY, "whole": "12", "parts": "", "coming": "none"})
    with pytest.raises(AskError, match="no count entered on the board"):
        week.undo_count(1)  # an export that came from a machine


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        ({"whole": "-1"}, "not a number from 0 on"),
        ({"whole": "nan"}, "not a number from 0 on"),
        ({"parts": "9999"}, "thicker than new"),
        ({"coming": ""}, "what is still to come is not stated"),
        ({"coming": "36 soon"}, "not a date and time"),
        ({"web": "gold"}, "unknown web"),
        ({"at": "yesterday"}, "not a date and time"),
    ],
)
def test_what_cannot_be_read_is_asked_for(week: Works, texts: dict[str, str], said: str) -> None:
    good = {"web": week.plant.webs[0].id, "at": AT, "whole": "12", "parts": "", "coming": "none"}
    with pytest.raises(AskError, match=said):
        read_count(week.plant, **{**good, **texts})
