"""The wrap answer on a simulated machine: figures, views, faults in the reel log, and what is missing."""

import json
from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import t

from lineview.core.errors import AskError
from lineview.core.figure import Period
from lineview.core.frames import BATCHES, REELS, empty
from lineview.report.answer import to_json
from lineview.report.tables import table_text
from lineview.wrap.answer import answer_wrap
from lineview.wrap.use import Cause, WebUse
from lineview.wrap.words import needs_person
from tests.from_frames import answered, inputs
from tests.simulate.webs import START, frames_of, scope_of, wrap_line


@pytest.fixture(scope="module")
def works():
    return wrap_line(2, days=3, every_s=30)


def answer_of(works, plant=None, **frames):
    return answered("wrap", plant or works.plant, scope_of(works), frames_of(works, **frames))


def test_the_sentence_says_metres_of_both_webs(works) -> None:
    answer = answer_of(works)
    assert answer.text.startswith("A thousand pieces take 57.")
    assert " m of film and 51." in answer.text
    names = [c[0] for c in next(t for t in answer.tables if t.name == "views").columns]
    assert names[:3] == ["web", "view", "metres"]
    causes = answer.series["causes"]
    assert set(causes["web"]) == {"film", "wax paper"}  # as the sentence and every table have it, in any language
    order = causes.filter(pl.col("web") == "film")["cause"].to_list()
    assert order[0] == "geometry"
    assert order[-1] == "unexplained"
    assert all(figure.value is not None or figure.why_none for figure in answer.figures)


def test_the_metres_of_products_keep_their_differences_beside_a_few_stray_pieces(works) -> None:
    of_products = next(t for t in answer_of(works).tables if t.name == "products")
    stray = {**of_products.rows[0], "good": 8, "m": 346.2, "fed": 346.2, "difference": 296.2}
    shown = table_text(replace(of_products, rows=[*of_products.rows, stray]), works.plant)
    at = shown.headings.index("difference, m")
    assert shown.rows[0][at] == f"{of_products.rows[0]['difference']:.2f}"
    assert shown.rows[0][at - 3] == f"{of_products.rows[0]['m']:.2f}"


def test_square_metres_kilograms_and_money_follow_from_metres(works) -> None:
    answer = answer_of(works)
    metres = answer.figure("film_m_per_thousand").value
    assert answer.figure("film_m2_per_thousand").value == pytest.approx(metres * 0.076)
    assert answer.figure("film_kg_per_thousand").value == pytest.approx(metres * 0.076 * 23 * 1.35 / 1000)
    assert answer.figure("film_money_per_thousand").value == pytest.approx(metres * 34 / 2875)


def test_the_three_views_agree_within_their_doubt(works) -> None:
    views = next(t for t in answer_of(works).tables if t.name == "views").rows
    film = {row["view"]: row for row in views if row["web"] == "film"}
    assert set(film) == {"geometry", "feed counter", "reel balance", "reconciled"}
    for row in film.values():
        assert abs(row["metres"] - film["reconciled"]["metres"]) <= row["doubt"] + film["reconciled"]["doubt"]
        if row["view"] != "reconciled":
            assert row["metres"] + row["adjustment"] == pytest.approx(film["reconciled"]["metres"])


def test_a_mislabelled_reel_is_named_in_plain_words() -> None:
    short = wrap_line(7, days=3, every_s=30, mislabelled=0.06)
    answer = answer_of(short)
    assert "Reel F1-0003 held 6 % less than its label, beyond ±2" in answer.soft
    assert "beyond ±2" in answer.soft


def test_a_reel_mounted_twice_is_named(works) -> None:
    reels = works.reels.with_columns(
        reel=pl.when(pl.col("reel") == "F1-0004").then(pl.lit("F1-0002")).otherwise(pl.col("reel")),
        left_m=pl.when(pl.col("reel").is_in(["F1-0003"])).then(0.0).otherwise(pl.col("left_m")),
    )
    answer = answer_of(works, reels=reels)
    assert "Reel F1-0002 was mounted twice and nothing was left on it the first time." in answer.soft


def test_reels_taken_off_before_the_period_and_those_of_an_unread_day_are_not_listed(works) -> None:
    later = replace(scope_of(works), period=Period(works.end - timedelta(hours=20), works.end))
    rows = next(t for t in answered("wrap", works.plant, later, frames_of(works)).tables if t.name == "reels").rows
    assert rows
    assert all(row["taken_off"] is None or row["taken_off"] > later.period.start for row in rows)
    unread = Period(works.end + timedelta(days=1), works.end + timedelta(days=2))
    answer = answered("wrap", works.plant, replace(later, period=unread, now=unread.end), frames_of(works))
    assert not next(t for t in answer.tables if t.name == "reels").rows
    assert answer.notes == ("No counter of pieces or good pieces has readings in this period.",)


def test_without_a_reel_log_ends_and_splices_stay_unexplained(works) -> None:
    answer = answer_of(works, reels=empty(REELS))
    assert answer.figure("film_m_per_thousand_reel_ends").value is None
    assert any(note.startswith("No reel log") for note in answer.notes)
    assert answer.figure("film_m_per_thousand").value > 56


def test_without_batches_shared_webs_are_still_told(works) -> None:
    answer = answer_of(works, batches=empty(BATCHES))
    assert answer.figure("film_m_per_thousand_geometry").value == pytest.approx(56)
    assert any(note.startswith("No batch sheet") for note in answer.notes)


def test_products_with_different_cuts_and_no_batches_cannot_be_told(works) -> None:
    other = works.plant.webs[0].model_copy(update={"id": "film2", "cut_length_mm": 60.0})
    plant = works.plant.model_copy(update={"webs": (*works.plant.webs, other)})
    answer = answer_of(works, plant=plant, batches=empty(BATCHES))
    assert answer.figure("film_m_per_thousand_geometry").value is None
    assert answer.figure("wax_paper_m_per_thousand_geometry").value == pytest.approx(50)


def test_without_a_feed_counter_geometry_and_rejects_are_told(works) -> None:
    machine = works.plant.machines[0]
    bare = machine.model_copy(update={"counters": tuple(c for c in machine.counters if c.id != "film")})
    plant = works.plant.model_copy(update={"machines": (bare,)})
    answer = answer_of(works, plant=plant)
    assert answer.figure("film_m_per_thousand_fed").value is None
    assert "no film feed counter" in answer.figure("film_m_per_thousand_fed").why_none
    assert answer.figure("film_m_per_thousand").value > answer.figure("film_m_per_thousand_geometry").value


def test_without_a_price_money_says_why(works) -> None:
    webs = tuple(web.model_copy(update={"price_per_reel": None}) for web in works.plant.webs)
    answer = answer_of(works, plant=works.plant.model_copy(update={"webs": webs}))
    assert answer.figure("film_money_per_thousand").value is None
    assert "price" in answer.figure("film_money_per_thousand").why_none


def test_paper_that_slips_is_left_unexplained_and_needs_a_person() -> None:
    slipping = wrap_line(3, days=2, every_s=30, extra_per_wrap=0.04)
    answer = answer_of(slipping)
    assert answer.figure("film_m_per_thousand_unexplained").value == pytest.approx(56 * 0.04, rel=0.1)
    assert [span.text for span in answer.sentence if span.call]
    assert "have no explanation" in answer.text


@pytest.mark.parametrize(
    ("metres", "low", "high", "needs"),
    [(0.9, 0.5, 1.3, False), (1.1, 0.7, 1.5, True), (-1.1, -1.5, -0.7, True), (1.1, -0.1, 2.3, False)],
)
def test_more_than_a_hundredth_that_is_surely_unexplained_needs_a_person(
    metres: float, low: float, high: float, needs: bool
) -> None:
    cause = Cause("unexplained", metres, low, high, False, "")
    use = WebUse("film", 1000.0, 100.0, 99.0, 101.0, None, (cause,), 101.0, 100.0, 102.0, True, {}, {})
    assert needs_person(use) is needs


def test_no_readings_cannot_tell(works) -> None:
    answer = answered("wrap", works.plant, scope_of(works), frames_of(works, readings={}))
    assert answer.text == "What a thousand pieces take is not known yet."
    assert answer.figure("film_m_per_thousand").why_none


def test_a_sizer_is_no_machine_to_ask(works) -> None:
    with pytest.raises(AskError, match="not a cut-and-wrap machine"):
        wrap_inputs = inputs("wrap", works.plant, scope_of(works), frames_of(works))
        answer_wrap(works.plant, replace(scope_of(works), machine="sizer1"), wrap_inputs)


def test_a_reset_is_left_out_of_both_sides_of_the_ratio(works) -> None:
    """At a power cut every counter starts again at 0: what was counted before and after must still fit."""
    cut = works.end - (works.end - START) / 2
    at_cut = works.readings.filter(pl.col("at") >= cut).group_by("channel").agg(first=pl.col("value").first())
    readings = (
        works.readings.join(at_cut, on="channel", maintain_order="left")
        .with_columns(
            value=pl.when(pl.col("at") >= cut)
            .then((pl.col("value") - pl.col("first")) % 65536)
            .otherwise(pl.col("value"))
        )
        .drop("first")
    )
    without_reset, half = answer_of(works), answer_of(works, readings={"wrap1": readings})
    fed_figure = half.figure("film_m_per_thousand_fed").value
    assert fed_figure == pytest.approx(without_reset.figure("film_m_per_thousand_fed").value, rel=5e-4)


def test_us_units_are_spoken_in_feet(works) -> None:
    answer = answer_of(works, plant=works.plant.model_copy(update={"units": "US"}))
    assert " ft of film" in answer.text


def test_the_headline_interval_is_what_the_reconciled_views_leave_open(works) -> None:
    answer = answer_of(works)
    headline, reconciled = answer.figure("film_m_per_thousand"), answer.figure("film_reconciled_m")
    assert headline.interval_kind.startswith("k = 2, from the views of ")
    relative = (reconciled.high - reconciled.low) / 2 / 2 / reconciled.value
    assert headline.high - headline.low >= 4 * relative * headline.value
    assert headline.high - headline.low <= 8 * relative * headline.value
    assert headline.low < 1000 * works.truth.fed_m["film"] / works.truth.good < headline.high
    fed = answer.figure("film_m_per_thousand_fed")
    assert fed.high - fed.low < 0.1 * (headline.high - headline.low)


def test_without_a_reel_log_the_headline_is_as_sure_as_the_feed_counters_scale(works) -> None:
    headline = answer_of(works, reels=empty(REELS)).figure("film_m_per_thousand")
    assert "assumed" in headline.interval_kind
    assert (headline.high - headline.low) / 2 == pytest.approx(0.01 * headline.value, rel=0.02)


def test_without_a_web_in_the_plant_the_metres_fed_are_told_all_the_same(works) -> None:
    products = tuple(p.model_copy(update={"webs": ()}) for p in works.plant.products)
    plant = works.plant.model_copy(update={"webs": (), "products": products})
    answer = answered("wrap", plant, scope_of(works), frames_of(works))
    assert answer.text.startswith("By the feed counter a thousand pieces take ")
    assert "the causes are not known: plant.toml describes no such web" in answer.text
    # a minute in which a counter may have turned or been set back is in neither part of the ratio
    whole = (answer.figure("wrap_good_pieces").value or 0.0) / works.truth.good
    assert whole > 0.9998
    for kind, fed in works.truth.fed_m.items():
        name = kind.replace(" ", "_")
        figure = answer.figure(f"{name}_m_per_thousand_fed")
        assert figure.low * whole <= 1000.0 * fed / works.truth.good <= figure.high / whole
        assert answer.figure(f"{name}_m_per_thousand_geometry").value is None
        assert "no " + kind in answer.figure(f"{name}_m_per_thousand").why_none
    use = next(t for t in answer.tables if t.name == "use")
    assert [row["what"] for row in use.rows] == ["fed by the counter"] * 2


def test_what_stays_on_the_core_has_students_limits_of_what_the_log_says_was_left(works) -> None:
    figure = json.loads(to_json(answer_of(works)))["figures"]["film_m_per_reel_end"]
    remainders = works.reels.filter(pl.col("web") == "film")["left_m"].drop_nulls().to_numpy()
    n, mean = remainders.size, remainders.mean()
    assert n >= 10
    error = np.sqrt(((remainders - mean) ** 2).sum() / (n - 1) / n)
    assert figure["value"] == pytest.approx(mean)
    assert (figure["low"], figure["high"]) == pytest.approx(t.interval(0.95, n - 1, mean, error))
    assert figure["low"] < 8.0 < figure["high"]  # metres that the simulated line leaves on a core, on average
    assert figure["interval"] == "95 % confidence"
