"""A count entered on the board: what it keeps, and what it asks for instead of guessing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from shutil import copy2

import pytest

from lineview.app.inputs import Fetcher
from lineview.app.question import read_question
from lineview.app.stock_count import read_count
from lineview.app.works import Works
from lineview.core.errors import AskError
from lineview.order.orders import latest_counts
from tests.main_job.invented_week import DEMO

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
        ({"whole": "1,200"}, r"1200 or 1\.200"),
        ({"parts": "9999"}, "thicker than new"),
        ({"coming": ""}, "what is still to come is not stated"),
        ({"coming": "36 soon"}, "not a date and time"),
        ({"web": "gold"}, "unknown web"),
        ({"at": "yesterday"}, "not a date and time"),
        ({"at": "2026-06-12"}, "a day alone; expected its time of day too, for instance 2026-06-12 06:00"),
    ],
)
def test_what_cannot_be_read_is_asked_for(week: Works, texts: dict[str, str], said: str) -> None:
    good = {"web": week.plant.webs[0].id, "at": AT, "whole": "12", "parts": "", "coming": "none"}
    with pytest.raises(AskError, match=said):
        read_count(week.plant, **{**good, **texts})


def test_a_count_that_is_still_to_come_is_not_known(week: Works, tmp_path) -> None:
    """A slip of the date in an export; the latest count that can have been made stands, and the answer says so."""
    web = week.plant.webs[0]
    before = week.ask(read_question("order"))
    slip = datetime.now(UTC) + timedelta(days=40)
    path = tmp_path / "stock_late.csv"
    path.write_text(f"counted;web;whole;part_mm;ordered;due\n{slip:%d.%m.%Y} 08:00;{web.id};9999;;;\n", "utf-8")
    (taken,) = week.take([path])
    assert taken.receipt is not None
    assert taken.receipt.kept == 1
    try:
        after = week.ask(read_question("order"))
        name = f"reels_on_hand_{web.id}".replace("-", "_")
        assert after.figure(name).value == before.figure(name).value
        assert any("are not used: that is to come" in note and web.id in note for note in after.notes)
    finally:
        week.store.undo(taken.receipt.intake)


def test_looking_back_what_was_used_since_the_count_of_then_is_fetched(tmp_path, monkeypatch) -> None:
    """The latest count of all said from when on counters are read: of an older one, weeks of use were missing."""
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    counts = tmp_path / "stock_old.csv"
    rows = "".join(f"{day} 08:00;film-vanilla;500;;;\n" for day in ("01.05.2026", "11.06.2026"))
    counts.write_text(f"counted;web;whole;part_mm;ordered;due\n{rows}", encoding="utf-8")
    read_from, plain = [], Fetcher.counts

    def noted(self, machine, period, **how):
        read_from.append(period[0])
        return plain(self, machine, period, **how)

    monkeypatch.setattr(Fetcher, "counts", noted)
    with Works(tmp_path) as works:
        works.take([counts, *sorted((DEMO / "exports").glob("wrap1_*.csv"))])
        works.ask(read_question("order", start="2026-06-08 06:00", end="2026-06-09 12:00"))
    assert min(read_from) <= datetime(2026, 5, 1, 8, tzinfo=UTC)
