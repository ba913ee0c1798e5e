"""The weight answer on an invented line: what it tells, and what it refuses to tell in silence."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import polars as pl
import pytest

from lineview.core.errors import AskError
from lineview.plant import Line, Machine, Plant
from lineview.report.answer import Answer, to_json
from lineview.weight.answer import answer_weight
from lineview.weight.spread import spread_of
from tests.from_frames import Frames, answered, inputs
from tests.simulate.weighed_line import batch_sheet, counted, frames, plant, product, scope, web, weights


def ask(weighed: pl.DataFrame | None = None, works: object = None, **given: object) -> Answer:
    return answered("weight", works or plant(), scope(), frames(weighed, **given))


def value(answer: Answer, name: str) -> float:
    figure = answer.figure(name)
    assert figure is not None and isinstance(figure.value, (int, float)), (name, figure)
    return float(figure.value)


def test_sentence_tells_mean_target_and_both_spreads() -> None:
    answer = ask(weights())
    assert re.fullmatch(
        r"A piece weighs 6\.\d\d g on average, 0\.\d+ g (over|under) its target; "
        r"batches differ by 0\.\d+ g, pieces within a batch by 0\.\d+ g\.",
        answer.text,
    )
    to_json(answer)


def test_intervals_hold_the_truth_and_mean_is_told_from_batches() -> None:
    answer = ask(weights(batches=40))
    for name, truth in (("mean_g", 6.62), ("sd_within_g", 0.25), ("sd_between_g", 0.11)):
        figure = answer.figure(name)
        assert figure is not None and figure.low < truth < figure.high, figure
    mean = answer.figure("mean_g")
    assert mean is not None and "batch" in mean.interval_kind
    # 600 pieces alone would claim ±0.02 g; batches that differ by 0.11 g make it ±0.04 g.
    assert mean.high - mean.low > 0.06


def test_every_figure_carries_number_period_and_reason() -> None:
    for figure in ask(weights()).figures:
        assert figure.period is not None
        assert figure.value is not None or figure.why_none
        if figure.low is not None:
            assert figure.sources, figure.name


def test_gross_weights_lose_their_wrap_and_it_is_said() -> None:
    # 60 mm × 80 mm × 32.5 g/m² = 0.156 g
    heavy = weights(gross=True).with_columns(pl.col("mass_g") + 0.156)
    answer = ask(heavy)
    assert value(answer, "mean_g") == pytest.approx(value(ask(weights()), "mean_g"), abs=1e-9)
    assert any("0.156 g a piece taken off" in note for note in answer.notes)


def test_gross_weights_with_unknown_wrap_cannot_be_told() -> None:
    answer = ask(weights(gross=True), plant(webs=(web(grammage_g_m2=None),)))
    assert answer.figure("mean_g").why_none == (
        "not known: 300 weights set aside: weighed with the wrap, and the wrap's mass is not known"
    )


def test_pieces_weighed_together_show_the_same_spread_of_single_pieces() -> None:
    one = ask(weights(batches=40, each=6, seed=3))
    five = ask(weights(batches=40, each=6, seed=4, pieces=5))
    for answer in (one, five):
        figure = answer.figure("sd_within_g")
        assert figure is not None and figure.low < 0.25 < figure.high


def test_several_products_pool_their_deviations() -> None:
    works = plant(product("mint", 6.57), product("rose", 7.00))
    made = weights().with_columns(pl.col("mass_g"))
    sheet = batch_sheet(40, ("Mint", "Rose"))
    minutes = (pl.col("at") - made["at"].min()).dt.total_minutes() // 12 % 2
    made = made.with_columns(mass_g=pl.col("mass_g") + 0.43 * minutes)
    answer = ask(made, works, sheet=sheet)
    assert value(answer, "sd_between_g") < 0.2
    table = next(t for t in answer.tables if t.name == "products")
    assert [row["target_g"] for row in table.rows] == [6.57, 7.0]
    assert answer.text.startswith("Pieces average ")


def test_no_weights_says_too_few() -> None:
    answer = ask()
    assert answer.figure("mean_g").why_none == "too few: needs 1, has 0"
    assert "no weights" in answer.text


def test_a_sample_of_one_gives_a_mean_without_interval() -> None:
    answer = ask(weights().head(1))
    mean = answer.figure("mean_g")
    assert mean is not None and mean.value is not None and mean.low is None
    assert answer.figure("sd_within_g").why_none == "too few: needs 2, has 1"


def test_all_pieces_equal_gives_no_spread_of_zero() -> None:
    answer = ask(weights().with_columns(mass_g=6.6))
    assert "equal" in answer.figure("sd_within_g").why_none
    assert answer.figure("cp").value is None


def test_a_scale_stuck_for_a_while_is_set_aside() -> None:
    made = weights()
    stuck = made.with_columns(
        mass_g=pl.when(pl.int_range(pl.len()).is_between(100, 139)).then(6.71).otherwise("mass_g")
    )
    answer = ask(stuck)
    assert value(answer, "set_aside") == 39
    assert any("was stuck" in note for note in answer.notes)


def test_equal_neighbours_on_a_coarse_scale_are_no_stuck_scale() -> None:
    answer = ask(weights(digits=1, each=10))
    assert value(answer, "set_aside") == 0


@pytest.mark.parametrize(
    ("factor", "added", "words"),
    [
        (1 / 28.349523125, 0.0, "looks like ounces"),
        (0.84 / 28.349523125, 0.0, "looks like ounces"),
        (1 / 453.59237, 0.0, "looks like pounds"),
        (0.001, 0.0, "looks like kilograms"),
        (1000.0, 0.0, "looks like milligrams"),
        (5.0, 0.0, "looks like 5 pieces weighed as one"),
        (1.0, 12.4, "a bag or tray on the scale"),
        (-1.0, 0.0, "zero or negative"),
        (0.0, 0.0, "zero or negative"),
    ],
)
def test_wrong_unit_tare_and_sign_are_told_not_used(factor: float, added: float, words: str) -> None:
    answer = ask(weights(digits=6).with_columns(mass_g=pl.col("mass_g") * factor + added))
    assert answer.figure("mean_g").value is None
    assert words in answer.text


def test_the_same_export_twice_counts_once() -> None:
    made = weights()
    again = pl.concat([made, made.with_columns(pl.lit(2, pl.Int64).alias("intake"))])
    answer = ask(again)
    assert value(answer, "set_aside") == made.height
    assert value(answer, "mean_g") == value(ask(made), "mean_g")


def test_an_export_in_which_every_row_stands_twice_counts_once() -> None:
    made = weights(samples=(5,), each=1, batches=20)
    assert value(ask(pl.concat([made, made])), "set_aside") == made.height
    assert value(ask(weights(samples=(5,), each=2, batches=20)), "set_aside") == 0


def test_one_weighing_is_counted_in_the_singular() -> None:
    soft = ask(weights().head(1)).soft
    assert "1 piece in 1 weighing of 1 batch" in soft
    assert soft.endswith(".")


def test_batches_without_a_spread_of_their_own_are_not_said_to_differ_by_nothing() -> None:
    answer = ask(weights(between=0.0, seed=2))
    assert value(answer, "sd_between_g") == 0
    assert "batches by no more than that explains" in answer.text


def test_equal_pieces_of_one_sample_are_not_called_duplicates() -> None:
    assert value(ask(weights(digits=1)), "pieces") == 300


def test_weights_without_any_batch_tell_spread_within_samples_only() -> None:
    from lineview.core.frames import BATCHES, empty

    answer = ask(weights(), sheet=empty(BATCHES))
    assert "no batch sheet" in answer.figure("sd_between_g").why_none
    assert value(answer, "sd_piece_g") == pytest.approx(0.25, abs=0.05)


def test_one_batch_tells_that_its_interval_is_of_that_batch() -> None:
    answer = ask(weights(batches=1))
    assert answer.figure("sd_between_g").why_none == "too few: needs 2 batches, has 1"
    assert "this one batch" in answer.figure("mean_g").interval_kind


def test_unknown_product_leaves_weights_out_and_says_so() -> None:
    works = plant(product("mint"), product("rose", 7.0))
    answer = ask(weights(), works, sheet=batch_sheet(40, ("nobody knows",)))
    assert answer.figure("mean_g").value is None
    assert "which product" in answer.text


def test_other_machines_and_moments_are_not_looked_at() -> None:
    made = weights()
    other = made.with_columns(machine=pl.lit("wrap9"), mass_g=pl.col("mass_g") + 1)
    late = made.with_columns(pl.col("at").dt.offset_by("1d"), mass_g=pl.col("mass_g") + 1)
    answer = ask(pl.concat([made, other, late]))
    assert value(answer, "mean_g") == value(ask(made), "mean_g")


def test_row_order_does_not_matter() -> None:
    made = weights()
    shuffled = made.sample(fraction=1.0, shuffle=True, seed=7)
    for name in ("mean_g", "sd_within_g", "sd_between_g", "ppk"):
        assert value(ask(shuffled), name) == pytest.approx(value(ask(made), name), rel=1e-6)


def test_unknown_machine_is_refused() -> None:
    wrong = dataclasses.replace(scope(), machine="wrap9")
    with pytest.raises(AskError, match="wrap9"):
        answer_weight(plant(), wrong, inputs("weight", plant(), scope(), frames(weights())))


def two_lines(*products: object) -> Plant:
    """Give the invented works with a second line."""
    works = plant(*products)
    second = Machine(id="wrap2", kind="cut-and-wrap machine", line="line2")
    return works.model_copy(
        update={"lines": (*works.lines, Line(id="line2", name="Second line")), "machines": (*works.machines, second)}
    )


def beside(heavier_g: float, product_name: str = "mint") -> Frames:
    """Frames of the asked line, with another line whose pieces are so much heavier."""
    other = weights(seed=9).with_columns(machine=pl.lit("wrap2"), mass_g=pl.col("mass_g") + heavier_g)
    sheet = batch_sheet(40, (product_name,)).with_columns(line=pl.lit("line2"))
    return dataclasses.replace(frames(weights()), weights_elsewhere=other, batches_elsewhere=sheet)


def told(answer: Answer) -> dict[str, tuple[object, object, object]]:
    return {f.name: (f.value, f.low, f.high) for f in answer.figures if f.name != "sd_lines_g"}


def test_another_line_leaves_every_figure_of_the_asked_line_as_it_is() -> None:
    alone = answered("weight", two_lines(), scope(), frames(weights()))
    both = answered("weight", two_lines(), scope(), beside(0.5))
    assert told(alone) == told(both)
    assert alone.text == both.text
    to_json(both)


def test_the_spread_between_lines_and_the_difference_are_told() -> None:
    answer = answered("weight", two_lines(), scope(), beside(0.5))
    spread = answer.figure("sd_lines_g")
    assert spread is not None and spread.value == pytest.approx(0.5 / 2**0.5, abs=0.08)
    assert spread.low < spread.value < spread.high
    rows = next(t for t in answer.tables if t.name == "lines").rows
    assert [row["line"] for row in rows] == ["line1", "Second line"]
    assert rows[1]["apart_low"] < 0.5 < rows[1]["apart_high"]
    assert any("heavier on Second line than on line1" in note for note in answer.notes)


def test_lines_that_do_not_differ_are_said_not_to_be_told_apart() -> None:
    notes = answered("weight", two_lines(), scope(), beside(0.0)).notes
    assert any("no measurable difference" in note for note in notes)


def test_one_line_alone_cannot_be_compared() -> None:
    spread = answered("weight", plant(), scope(), frames(weights())).figure("sd_lines_g")
    assert spread is not None and spread.why_none == "not known: one line was weighed"


def test_lines_that_share_no_product_cannot_be_compared() -> None:
    works = two_lines(product("mint"), product("rose"))
    spread = answered("weight", works, scope(), beside(0.5, "rose")).figure("sd_lines_g")
    assert spread is not None and "no product of this line" in spread.why_none


@pytest.mark.parametrize(("batches", "each"), [(20, 2), (60, 4), (200, 2)])
@pytest.mark.parametrize("sampled", [True, False])
def test_two_lanes_weighed_in_turn_keep_every_spread_inside_its_limits(batches: int, each: int, sampled: bool) -> None:
    rng = np.random.default_rng(batches)
    lane_g, single_g = 0.1, 0.03
    rows = [
        (f"B{b}", f"B{b}-{p // 2}" if sampled else None, (lane_g if p % 2 else -lane_g) + rng.normal(0, single_g), 1)
        for b in range(batches)
        for p in range(each)
    ]
    frame = pl.DataFrame(rows, schema=["batch", "sample", "off_g", "pieces"], orient="row")
    spread = spread_of(frame, pl.col("off_g"), draws=1000)
    for level in ("between", "samples", "piece", "within", "total"):
        estimate = getattr(spread, level)
        if estimate.value is not None and estimate.low is not None:
            assert estimate.low <= estimate.value <= estimate.high, level
    truth = (lane_g**2 + single_g**2) ** 0.5
    assert spread.within.low <= truth <= spread.within.high


def test_weights_equal_but_for_rounding_have_no_spread_within() -> None:
    mass = [round(m / 0.1) * 0.1 for m in (6.8, 6.8, 6.9, 6.9, 7.0, 7.0)]
    mass[0] += 1e-15
    frame = pl.DataFrame({"batch": ["a", "a", "b", "b", "c", "c"], "sample": None, "off_g": mass, "pieces": 1})
    spread = spread_of(frame.cast({"sample": pl.String}), pl.col("off_g"), draws=500)
    assert spread.within.value is None


def test_a_week_whose_rejects_were_read_for_a_part_alone_has_no_weekly_mass_and_the_rest() -> None:
    works = plant()
    wrap, sizer = works.machines
    rejects = wrap.counters[0].model_copy(update={"id": "rejects", "counts": "rejects"})
    works = works.model_copy(
        update={"machines": (wrap.model_copy(update={"counters": (*wrap.counters, rejects)}), sizer)}
    )
    pieces = counted()
    early = pieces.filter(pl.col("at") < pieces["at"].median()).with_columns(channel=pl.lit("rejects"), value=0.0)
    answer = ask(weights(), works, readings={"wrap1": pl.concat([pieces, early])})
    assert value(answer, "mean_g") == value(ask(weights()), "mean_g")
    assert answer.figure("giveaway_kg_per_week").value is None
    assert answer.figure("giveaway_kg_per_week").why_none
