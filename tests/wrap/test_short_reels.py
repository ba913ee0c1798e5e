"""Reels that held less than their label: lengths that hold the truth, and a claim without the works' own figures."""

from __future__ import annotations

import csv
import io

import numpy as np
import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.cli.answers import write_supplier_sheets
from lineview.core.errors import AskError
from lineview.sheets.pdf import _page, to_pdf
from lineview.sheets.tables import to_csv
from lineview.wrap.reconcile import (
    CHANGE_SD_M,
    CUT_COMMON_SD,
    CUT_OWN_SD,
    FEED_COMMON_SD,
    FEED_OWN_SD,
    READ_SD_M,
    ReelMetres,
    WrongLabel,
    measured_length,
)
from lineview.wrap.tables import claim_sheet, suppliers_claimed, verdict
from tests.main_job.invented_week import DEMO
from tests.references.pdf_pages import pages


def test_intervals_hold_the_length_as_often_as_they_say() -> None:
    """4,000 drawn reels of 1,100 to 3,000 m, rests of up to 400 m, labels 6 % too high: simulated here."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(4000):
        true_m, rest_m = rng.uniform(1100, 3000), rng.uniform(0, 400)
        used = true_m - rest_m
        views = [
            used * (1 + rng.normal(0, common) + rng.normal(0, own)) + rng.normal(0, CHANGE_SD_M)
            for common, own in ((CUT_COMMON_SD, CUT_OWN_SD), (FEED_COMMON_SD, FEED_OWN_SD))
        ]
        label = true_m * 1.06
        noted = rest_m + rng.normal(0, READ_SD_M)
        length = measured_length(ReelMetres("r", "film", *views, label - noted, label, READ_SD_M))
        assert length is not None
        held += length.ends[0] <= true_m <= length.ends[1]
    print(f"{held / 40:.1f} % of 4,000 intervals hold the length (95 stated)")
    assert 0.94 <= held / 4000 <= 0.96
    assert measured_length(ReelMetres("r", "film", None, 900.0, 1000.0, 1000.0, 2.5)) is None


def test_a_length_is_the_mean_of_both_weighted_by_what_is_doubtful_and_what_was_left() -> None:
    """By hand: 300 m by wraps and 303 m fed, 20 m left; variances (0.5 %)² + (0.3 %)² + 1.5², and 2.5² of the rest."""
    wraps, fed = 1.5**2 + 0.9**2 + 1.5**2, 1.515**2 + 0.909**2 + 1.5**2  # 5.31 and 5.3715 m²
    length = measured_length(ReelMetres("r", "film", 300.0, 303.0, 310.0, 330.0, 2.5))
    assert length is not None
    assert length.number == pytest.approx((300 * fed + 303 * wraps) / (wraps + fed) + 20)
    half = 2 * (wraps * fed / (wraps + fed) + 2.5**2) ** 0.5
    assert length.ends == pytest.approx((length.number - half, length.number + half))


def test_the_weeks_short_reel_is_measured_right_and_claimed(week: Works) -> None:
    """The demo's one mislabelled reel; its true length is the simulator's."""
    answer, plant = week.ask(read_question("wrap", machine="wrap1", period="all")), week.plant
    (row,) = next(table.rows for table in answer.tables if table.name == "short reels")
    truth = pl.read_csv(DEMO / "truth" / "reels.csv", infer_schema_length=None)
    (true_m,) = truth.filter((pl.col("machine") == "wrap1") & (pl.col("reel") == row["reel"]))["true_m"]
    assert row["low"] <= true_m <= row["high"] < row["label"]
    assert row["short"] == pytest.approx(row["label"] - row["length"])
    assert f"held {row['share']:.0f} % less than its label" in answer.soft
    reels = next(table.rows for table in answer.tables if table.name == "reels")
    assert reels[0]["reel"] == row["reel"]  # marked first
    (supplier,) = suppliers_claimed(answer)
    claim = claim_sheet(answer, supplier, plant)
    assert claim.figures == ()
    assert len(claim.tables) == 1
    assert any("GUM" in note for note in claim.notes)
    assert pages(to_pdf(claim, plant)) == 1
    head, *rows = csv.reader(io.StringIO(to_csv(claim, plant).decode("utf-8-sig")))
    assert "supplier" not in head
    assert [one[0] for one in rows] == [row["reel"]]


def test_a_claim_is_a_file_a_supplier(week: Works, tmp_path) -> None:
    write_supplier_sheets(week, read_question("wrap", machine="wrap1", period="all"), tmp_path / "claim.xlsx")
    assert [path.name for path in tmp_path.iterdir()] == ["claim-paper-supplier-invented.xlsx"]
    with pytest.raises(AskError, match="no reel held less than its label"):
        write_supplier_sheets(week, read_question("wrap", machine="wrap2", period="all"), tmp_path / "claim.pdf")
    with pytest.raises(AskError, match="has no suppliers"):
        write_supplier_sheets(week, read_question("rope"), tmp_path / "claim.pdf")


def test_what_a_buyer_orders_is_printed_first_and_the_rest_is_short(week: Works) -> None:
    """Nine webs: sentence, list, order sheet and order book before any picture, four pages at most."""
    answer, plant = week.ask(read_question("order")), week.plant
    page = _page(answer, plant)
    assert page["tables-first"]
    assert [table.name for table in answer.tables[:2]] == ["order sheet", "order"]
    assert [table["title"] for table in page["tables"][:2]] == [table.title for table in answer.tables[:2]]
    assert pages(to_pdf(answer, plant)) <= 4


def test_a_reel_that_held_more_than_its_label_is_told_so() -> None:
    less, more = (verdict(WrongLabel("F1", "film", "label", share, 0.02, 9.0)) for share in (-0.06, 0.06))
    assert less == "reel F1 held 6 % less than its label, beyond ±2 %"
    assert more == "reel F1 held 6 % more than its label, beyond ±2 %"
