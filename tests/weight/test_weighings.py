"""Weights made ready: batches by name and by time, samples, and faults that only several rows show."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.errors import MeasureError
from lineview.core.frames import BATCHES, WEIGHTS
from lineview.weight.account import PieceFacts, weighings, with_batches
from lineview.weight.faults import sort_out, with_samples
from lineview.wrap.use import wrap_mass_g

T = datetime(2026, 6, 9, 4, tzinfo=UTC)
FACTS = {"Mint": PieceFacts("mint", 6.6, 0.6, 0.2), "Rose": PieceFacts("rose", 7.0, 0.6, None)}


def weights(*rows: tuple[float, float, int, bool, str, str]) -> pl.DataFrame:
    """Rows of minute, mass, pieces, gross, batch, sample."""
    made = [
        ("wrap1", T + timedelta(minutes=m), g, k, gross, batch, sample, 1, i + 2)
        for i, (m, g, k, gross, batch, sample) in enumerate(rows)
    ]
    return pl.DataFrame(made, schema=WEIGHTS, orient="row")


def sheet(*rows: tuple[str, str, float, float | None]) -> pl.DataFrame:
    made = [
        ("line1", b, p, T + timedelta(minutes=s), None if e is None else T + timedelta(minutes=e), 22.7, 1, i)
        for i, (b, p, s, e) in enumerate(rows)
    ]
    return pl.DataFrame(made, schema=BATCHES, orient="row")


def test_a_number_that_comes_again_hours_later_and_after_others_is_of_another_batch() -> None:
    """Numbers that began anew each day had made one batch of all first ones: 0.16 g within for 0.05."""
    day, none = 24 * 60, sheet(("B1", "Mint", -30, -20))
    given = weights(
        *[(m, 6.6, 1, False, b, "") for m, b in ((0, "1"), (5, "1"), (20, "2"), (25, "1"), (30, "2"), (day, "1"))]
    )
    assert with_batches(given, none)["batch"].to_list() == ["1", "1", "2", "1", "2", "1 (2)"]
    alone = weights(*[(m, 6.6, 1, False, "1", "") for m in (0, 5, day, 2 * day)])  # one lot over days
    assert with_batches(alone, none)["batch"].to_list() == ["1"] * 4


def test_batch_by_time_with_a_little_grace() -> None:
    batches = sheet(("B1", "Mint", 0, 10), ("B2", "Rose", 60, 70))
    found = with_batches(weights(*[(m, 6.6, 1, False, "", "") for m in (-1, 5, 20, 40, 65)]), batches)
    assert found["batch"].to_list() == [None, "B1", "B1", None, "B2"]
    assert found["named"].to_list() == [None, "Mint", "Mint", None, "Rose"]


def test_a_weights_own_batch_goes_before_its_time() -> None:
    batches = sheet(("B1", "Mint", 0, 10), ("B2", "Rose", 12, 22))
    found = with_batches(weights((15, 6.6, 1, False, "B1", "")), batches)
    assert found.select("batch", "named").row(0) == ("B1", "Mint")


def test_a_batch_number_that_comes_again_means_the_latest_before() -> None:
    batches = sheet(("7", "Mint", 0, 10), ("7", "Rose", 600, 610))
    early = with_batches(weights((5, 6.6, 1, False, "7", "")), batches)
    late = with_batches(weights((605, 6.6, 1, False, "7", "")), batches)
    assert (early["named"][0], late["named"][0]) == ("Mint", "Rose")


def test_net_mass_of_a_piece() -> None:
    batches = sheet(("B1", "Mint", 0, 30), ("B2", "Rose", 40, None))
    given = weights((5, 34.0, 5, True, "", ""), (6, 33.0, 5, False, "", ""), (45, 7.2, 1, True, "", ""))
    found = weighings(given, batches, FACTS)
    assert found["net_g"].round(6).to_list() == [6.6, 6.6, None]
    assert sort_out(found).reasons == {"weighed with the wrap, and the wrap's mass is not known": 1}


def test_samples_by_name_or_by_the_minutes_between() -> None:
    batches = sheet(("B1", "Mint", 0, 30))
    given = weights(*[(m, 6.6, 1, False, "", "") for m in (1, 1, 1.5, 8, 8.2)], (20, 6.6, 1, False, "", "x"))
    found = with_samples(weighings(given, batches, FACTS))
    assert found["sample"].n_unique() == 3
    assert found["sample"][5] == "x"


def test_a_minute_between_weighings_is_one_sample_yet() -> None:
    given = weights(*[(m, 6.6, 1, False, "", "") for m in (1, 2, 3.1)])
    assert with_samples(weighings(given, sheet(("B1", "Mint", 0, 30)), FACTS))["sample"].n_unique() == 2


def test_no_number_of_pieces_and_no_weight_are_set_aside() -> None:
    given = weights((1, 6.6, 0, False, "", ""), (2, float("nan"), 1, False, "", ""), (3, 6.6, 1, False, "", ""))
    found = sort_out(weighings(given, sheet(("B1", "Mint", 0, 30)), FACTS))
    assert found.reasons == {"no number of pieces": 1, "no weight": 1}
    assert found.good.height == 1


def test_repeats_in_a_file_whose_moments_are_all_different_are_one_weighing() -> None:
    rows = [(m / 10, 6.5 + m / 100, 1, False, "", "") for m in range(40)]
    found = sort_out(weighings(weights(*rows, rows[7]), sheet(("B1", "Mint", 0, 30)), FACTS))
    assert found.reasons == {"given twice": 1}


def test_pieces_of_one_sample_may_weigh_the_same() -> None:
    """Seventeen of twenty alone at their moment: the three that share one are a sample, two of them alike."""
    rows = [(m / 10, 6.5 + m / 100, 1, False, "", "") for m in range(17)]
    sample = [(3.0, mass, 1, False, "", "") for mass in (6.5, 6.55, 6.5)]
    found = sort_out(weighings(weights(*rows, *sample), sheet(("B1", "Mint", 0, 30)), FACTS))
    assert (found.reasons, found.good.height) == ({}, 20)


def test_a_few_odd_weights_do_not_spoil_the_rest() -> None:
    rows = [(m / 10, 6.5 + m / 100, 1, False, "", "") for m in range(20)]
    # 6.6 g is 0.2328 oz; up to a fifth lighter or a quarter heavier it still looks like it, 30 % heavier no more.
    odd = [(3 + k / 100, mass, 1, False, "", "") for k, mass in enumerate((0.2328, 0.194, 0.288, 0.303, 19.8, 2.0))]
    found = sort_out(weighings(weights(*rows, *odd), sheet(("B1", "Mint", 0, 30)), FACTS))
    assert found.good.height == 20
    assert found.reasons == {
        "far above one piece": 1, "far below one piece": 2, "looks like ounces, not grams": 3,
    }  # fmt: skip


def test_missing_columns_are_told_all_at_once() -> None:
    with pytest.raises(MeasureError, match="mass_g"):
        weighings(weights().drop("mass_g", "pieces"), sheet(), FACTS)


def test_no_webs_no_wrap_mass() -> None:
    assert wrap_mass_g([]) is None
