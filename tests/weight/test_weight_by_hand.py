"""Weights in equal batches, samples and pieces, to the figures a reader gets: each worked out from mean squares.

In a balanced nest restricted maximum likelihood gives what the analysis of variance gives (Searle, Casella and
McCulloch 1992, section 3.8): that is worked out here, and the rest from it by the published formulas.
"""

from __future__ import annotations

import json
import math
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2, norm, t

from lineview.core.frames import WEIGHTS
from lineview.plant import Break, Counter, Line, Machine, Plant, Shift
from lineview.report.answer import to_json
from lineview.stats.batch_correlation import fit_memory
from lineview.weight.giveaway import grouped_means
from lineview.weight.spread import _piece_draws, _with_samples, piece_points, spread_of, within_offsets
from tests import factories
from tests.from_frames import Frames, answered
from tests.simulate import weighed_line
from tests.simulate.weighed_line import START, batch_sheet, scope

TARGET_G, TOLERANCE_G, PRICE, BATCH_KG, SCALE_KG, STEP_G = 6.57, 0.6, 5.0, 22.7, 0.05, 0.01
HEAVIER_G = 0.30
#: Of each batch, of its two samples, of the three pieces of each: grams about the level above.
BATCH = np.array([0.31, -0.12, 0.05, -0.22, 0.18, 0.02, -0.13, -0.01])
SAMPLE = np.array([[1, -1], [-1, 1], [2, -2], [-1, 1], [1, -1], [-2, 2], [1, -1], [1, -1]]) * 0.1
PIECE = np.array([-0.11, 0.03, 0.08])
#: In turn from the first, second and third of a sample, so that none is always the light one.
ROLLED = np.array([[np.roll(PIECE, b + s) for s in range(2)] for b in range(8)])
MASS = TARGET_G + 0.05 + BATCH[:, None, None] + SAMPLE[:, :, None] + ROLLED
OFF = MASS - TARGET_G

BATCHES, SAMPLES, PIECES = MASS.shape
MS_PIECE = ((OFF - OFF.mean(axis=2, keepdims=True)) ** 2).sum() / (BATCHES * SAMPLES * (PIECES - 1))
MS_SAMPLE = PIECES * ((OFF.mean(axis=2) - OFF.mean(axis=(1, 2))[:, None]) ** 2).sum() / (BATCHES * (SAMPLES - 1))
MS_BATCH = SAMPLES * PIECES * OFF.mean(axis=(1, 2)).var(ddof=1)
MEAN = OFF.mean()
#: Variances; the scale's steps add step² / 12 to that of a piece (Sheppard).
V_PIECE = MS_PIECE - STEP_G**2 / 12
V_SAMPLE = (MS_SAMPLE - MS_PIECE) / PIECES
V_BATCH = (MS_BATCH - MS_SAMPLE) / (SAMPLES * PIECES)
WITHIN, TOTAL = math.sqrt(V_PIECE + V_SAMPLE), math.sqrt(V_PIECE + V_SAMPLE + V_BATCH)
#: Counted: 55 pieces and a reject each ten seconds; eight hours, of which half an hour is a break.
MADE_PER_MIN, REJECTS_PER_MIN, PLANNED_MIN = 330, 6, 450
GOOD = (MADE_PER_MIN - REJECTS_PER_MIN) * 480
A_WEEK = GOOD * 5  # Monday to Friday


def works() -> Plant:
    counters = tuple(Counter(id=name, counts=name, fastest_per_min=450) for name in ("pieces", "rejects"))
    machines = (
        Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=counters),
        Machine(id="wrap2", kind="cut-and-wrap machine", line="line2"),
    )
    early = Shift(id="early", start="04:00", end="12:00", breaks=(Break(start="07:00", end="07:30"),))
    mint = weighed_line.product("mint", TARGET_G, mass_tolerance_g=TOLERANCE_G, price_per_kg=PRICE)
    return Plant(
        shop="Invented works",
        lines=(Line(id="line1"), Line(id="line2")),
        shifts=(early,),
        machines=machines,
        webs=(weighed_line.web(),),
        products=(mint,),
        batch_scale_error_kg=SCALE_KG,
    )


def weighed(machine: str, heavier_g: float = 0.0) -> pl.DataFrame:
    rows = [
        {"at": START + timedelta(minutes=12 * b + 3 + 4 * s), "mass_g": round(MASS[b, s, p] + heavier_g, 2)}
        for b, s, p in np.ndindex(*MASS.shape)
    ]
    return factories.rows(WEIGHTS, rows, machine=machine, pieces=1, gross=False, batch="", sample="")


@pytest.fixture(scope="module")
def shown() -> dict[str, Any]:
    tens = np.arange(8 * 360 + 1)
    at = factories.moments(START.timestamp() + 10.0 * tens)
    read = [factories.readings("wrap1", name, at, each * tens) for name, each in (("pieces", 55.0), ("rejects", 1.0))]
    sheet = batch_sheet(BATCHES, mass_in_kg=BATCH_KG)
    frames = Frames(
        readings={"wrap1": pl.concat(read)},
        weights=weighed("wrap1"),
        batches=sheet,
        weights_elsewhere=weighed("wrap2", HEAVIER_G),
        batches_elsewhere=sheet.with_columns(line=pl.lit("line2")),
    )
    return dict(json.loads(to_json(answered("weight", works(), scope(), frames))))


def ends(figure: dict[str, Any]) -> tuple[float, float]:
    return figure["low"], figure["high"]


def test_every_figure_is_the_one_worked_out(shown) -> None:
    figures, n = shown["figures"], OFF.size
    off = abs(MEAN) / TOLERANCE_G
    a_week = MEAN * A_WEEK / 1000
    good_kg = BATCHES_MIN * (MADE_PER_MIN - REJECTS_PER_MIN) * (TARGET_G + MEAN) / 1000
    expected = {
        "good_pieces": (GOOD, "pieces", None),
        "mean_g": (TARGET_G + MEAN, "g", n),
        "target_g": (TARGET_G, "g", 1),
        "deviation_g": (MEAN, "g", n),
        "sd_piece_g": (math.sqrt(V_PIECE), "g", n),
        "sd_samples_g": (math.sqrt(V_SAMPLE), "g", n),
        "sd_within_g": (WITHIN, "g", n),
        "sd_between_g": (math.sqrt(V_BATCH), "g", BATCHES),
        "sd_total_g": (TOTAL, "g", n),
        "sd_lines_g": (math.sqrt(HEAVIER_G**2 / 2 - MS_BATCH / OFF.size), "g", 2),
        "batches": (BATCHES, "", n),
        "pieces": (n, "", n),
        "set_aside": (0, "", 0),
        "cp": (TOLERANCE_G / (3 * WITHIN), "", n),
        "cpk": ((1 - off) * TOLERANCE_G / (3 * WITHIN), "", n),
        "pp": (TOLERANCE_G / (3 * TOTAL), "", n),
        "ppk": ((1 - off) * TOLERANCE_G / (3 * TOTAL), "", n),
        "below_tolerance_percent": (100 * norm.cdf((-TOLERANCE_G - MEAN) / TOTAL), "%", n),
        "giveaway_g_per_piece": (MEAN, "g", n),
        "giveaway_kg_per_week": (a_week, "kg", n),
        "giveaway_money_per_week": (a_week * PRICE, "EUR", n),
        "yield_percent": (100 * good_kg / (BATCHES * BATCH_KG), "%", BATCHES),
        "unexplained_kg": (BATCHES * BATCH_KG - OUT * good_kg, "kg", BATCHES),
        "batches_outside": (0, "", BATCHES),
    }
    for name, (value, unit, count) in expected.items():
        assert figures[name]["value"] == pytest.approx(value, rel=1e-6), name
        assert figures[name]["unit"] == unit, name
        assert count is None or figures[name]["n"] == count, name


#: Minutes in which pieces of a batch came: up to the next one, the last up to its own end; and rejects beside good.
BATCHES_MIN, OUT = 12 * (BATCHES - 1) + 10, MADE_PER_MIN / (MADE_PER_MIN - REJECTS_PER_MIN)


def test_limits_of_the_mean_are_students_by_batches(shown) -> None:
    figures = shown["figures"]
    half = t.ppf(0.975, BATCHES - 1) * math.sqrt(MS_BATCH / OFF.size)
    assert ends(figures["deviation_g"]) == pytest.approx((MEAN - half, MEAN + half), abs=0.05 * half)
    low, high = (f"{'−' if end < 0 else '+'}{abs(end):.3f} g" for end in ends(figures["deviation_g"]))
    assert shown["sentence"] == (
        f"A piece weighs {TARGET_G + MEAN:.2f} g on average, {MEAN:.3f} g over its target; batches differ by "
        f"{math.sqrt(V_BATCH):.3f} g, pieces within a batch by {WITHIN:.3f} g."
    )
    assert f"; mean off target {low} to {high} with 95 % confidence" in shown["soft"]
    for name, scale in {"giveaway_g_per_piece": 1, "giveaway_kg_per_week": A_WEEK / 1000}.items():
        assert ends(figures[name]) == pytest.approx([end * scale for end in ends(figures["deviation_g"])]), name
    money = [end * PRICE for end in ends(figures["giveaway_kg_per_week"])]
    assert ends(figures["giveaway_money_per_week"]) == pytest.approx(money)
    assert ends(figures["mean_g"]) == pytest.approx([TARGET_G + end for end in ends(figures["deviation_g"])])


def test_limits_of_spreads_are_those_of_their_pivots(shown) -> None:
    """Weerahandi 1993: each mean square over its chi square, here drawn on its own."""
    rng, draws = np.random.default_rng(7), 200_000
    df = (BATCHES - 1, BATCHES * (SAMPLES - 1), BATCHES * SAMPLES * (PIECES - 1))
    batch, sample, piece = (
        square * d / chi2.rvs(d, size=draws, random_state=rng)
        for square, d in zip((MS_BATCH, MS_SAMPLE, MS_PIECE), df, strict=True)
    )
    for name, variance in {
        "sd_between_g": (batch - sample) / (SAMPLES * PIECES),
        "sd_samples_g": (sample - piece) / PIECES,
    }.items():
        expected = np.sqrt(np.maximum(np.quantile(variance, [0.025, 0.975]), 0))
        assert ends(shown["figures"][name]) == pytest.approx(tuple(expected), abs=0.1 * expected[1]), name


def test_the_yields_limits_join_the_mean_and_the_batch_scale(shown) -> None:
    """GUM 4.3.7 and 5.1.2: the mean's standard uncertainty, and a scale that is off by one amount throughout."""
    figures = shown["figures"]
    low, high = ends(figures["deviation_g"])
    u_mean, u_scale = (high - low) / 2 / 1.96, BATCHES * SCALE_KG / math.sqrt(3)
    good, mass_in = BATCHES_MIN * (MADE_PER_MIN - REJECTS_PER_MIN), BATCHES * BATCH_KG
    percent = figures["yield_percent"]["value"]
    half = 2 * math.hypot(100 * good * u_mean / 1000, percent * u_scale) / mass_in
    assert ends(figures["yield_percent"]) == pytest.approx((percent - half, percent + half))
    left, half = figures["unexplained_kg"]["value"], 2 * math.hypot(OUT * good * u_mean / 1000, u_scale)
    assert ends(figures["unexplained_kg"]) == pytest.approx((left - half, left + half))


def test_the_other_line_is_apart_by_what_was_added(shown) -> None:
    here, there = shown["tables"]["lines"]["rows"]
    u = math.sqrt(MS_BATCH / OFF.size)
    wide = t.ppf(0.975, 2 * (BATCHES - 1))
    assert (here["off_g"], there["off_g"]) == pytest.approx((MEAN, MEAN + HEAVIER_G))
    assert (here["off_low"], here["off_high"]) == pytest.approx((MEAN - wide * u, MEAN + wide * u))
    half = wide * u * math.sqrt(2)
    apart = (there["apart_g"], there["apart_low"], there["apart_high"])
    assert apart == pytest.approx((HEAVIER_G, HEAVIER_G - half, HEAVIER_G + half))
    assert (here["batches"], here["pieces"], here["apart_g"]) == (BATCHES, OFF.size, None)


def test_every_working_table_and_note_has_the_numbers_worked_out(shown) -> None:
    figures, n = shown["figures"], OFF.size
    off, good, mass_in = MEAN / TOLERANCE_G, BATCHES_MIN * (MADE_PER_MIN - REJECTS_PER_MIN), BATCHES * BATCH_KG
    good_kg, u_scale = good * (TARGET_G + MEAN) / 1000, BATCHES * SCALE_KG / math.sqrt(3)
    u_mean = (figures["deviation_g"]["high"] - figures["deviation_g"]["low"]) / 2 / 1.96
    scale = f"u(batch scale) = {BATCHES} × {SCALE_KG} kg / √3 = {u_scale:.2f} kg"
    by, counted = ", in tolerances from the target", f"counted over {n} weighings"
    within, total = WITHIN / TOLERANCE_G, TOTAL / TOLERANCE_G
    whole = {
        "mean_g": f"target {TARGET_G} g {MEAN:+.4f} g mean deviation over {BATCHES} batches",
        "target_g": "plant.toml, 1 product(s)",
        "sd_total_g": f"√({math.sqrt(V_BATCH):.4f}² + {WITHIN:.4f}²)",
        "batches": counted,
        "pieces": counted,
        "set_aside": "none was set aside",
        "cp": f"1 / (3 × {within:.4f}){by}",
        "cpk": f"(1 − |{off:+.4f}|) / (3 × {within:.4f}){by}",
        "pp": f"1 / (3 × {total:.4f}){by}",
        "ppk": f"(1 − |{off:+.4f}|) / (3 × {total:.4f}){by}",
        "below_tolerance_percent": "normal share below target − tolerance, by mean and total spread",
        "giveaway_g_per_piece": "mean mass − target; negative: short",
        "giveaway_kg_per_week": f"{MEAN:+.4f} g × {A_WEEK:,} pieces a week ({GOOD:,} pieces × {5 * PLANNED_MIN:,} / "
        f"{PLANNED_MIN} planned minutes)",
        "giveaway_money_per_week": "giveaway a week × price_per_kg in plant.toml",
        "yield_percent": f"{good:,} good pieces = {good_kg:.1f} kg of {mass_in:.1f} kg in; u(mean mass, counts) = "
        f"{good * u_mean / 1000:.2f} kg; {scale}",
        "unexplained_kg": f"{mass_in:.1f} kg in − good {good_kg:.1f} kg − rejects {(OUT - 1) * good_kg:.1f} kg; "
        f"u(mean mass, counts) = {OUT * good * u_mean / 1000:.2f} kg; {scale}",
        "batches_outside": "none; by chance 0.1",
    }
    assert {name: figures[name]["working"] for name in whole} == whole
    nest = "restricted maximum likelihood, levels batch / sample / piece, 48 weighings; batches taken as independent"
    assert all(
        figures[f"sd_{name}_g"]["working"].startswith(nest) for name in ("within", "between", "samples", "piece")
    )
    spreads = {"between batches": "between", "between sample times in a batch": "samples", "piece to piece": "piece"}
    spreads |= {"within batches": "within", "of all pieces": "total"}
    of_table = {
        "spread": [(f"spread {words}", f"sd_{name}_g") for words, name in spreads.items()],
        "capability": [
            ("capability Cp, within batches", "cp"), ("capability Cpk, within batches", "cpk"),
            ("performance Pp, all pieces", "pp"), ("performance Ppk, all pieces", "ppk"),
            ("pieces below their tolerance, %", "below_tolerance_percent"),
        ],
    }  # fmt: skip
    for table, rows in of_table.items():
        assert [tuple(row.values()) for row in shown["tables"][table]["rows"]] == [
            (words, *(figures[name][key] for key in ("value", "low", "high", "working"))) for words, name in rows
        ]
    (gives,) = shown["tables"]["giveaway"]["rows"]
    kg, money = (figures[f"giveaway_{what}_per_week"] for what in ("kg", "money"))
    assert gives == {
        "product": "mint", "pieces": A_WEEK, "off_g": pytest.approx(MEAN), "price": PRICE,
        "kg": kg["value"], "kg_low": kg["low"], "kg_high": kg["high"],
        "money": money["value"], "money_low": money["low"], "money_high": money["high"],
        "allowed_g": None, "room_g": None, "why": "",
    }  # fmt: skip
    (product,) = shown["tables"]["products"]["rows"]
    mean = [pytest.approx(grams) for grams in (TARGET_G + MEAN, TARGET_G, MEAN)]
    assert list(product.values()) == ["mint", BATCHES, n, *mean]
    half = t.ppf(0.975, 2 * (BATCHES - 1)) * math.sqrt(2 * MS_BATCH / n)
    assert shown["notes"] == [
        f"More mass came out than went in ({100 * good_kg / mass_in:.0f} %): the count, the mean mass or the batches' "
        "mass in is wrong, or batches are missing from the sheet.",
        f"Pieces of the same products are {HEAVIER_G:.3f} g heavier on line2 than on line1 ({HEAVIER_G - half:+.3f} g "
        f"to {HEAVIER_G + half:+.3f} g, 95 %).",
        "Source of the spread not known: no rope diameter in this period.",
    ]
    assert shown["soft"].startswith(
        f"Tue 9 June, early; {n} pieces in {n} weighings of {BATCHES} batches; mean off target "
    )


def test_the_charts_are_those_of_the_handbooks(shown) -> None:
    """Limits by d2 = 1.128, D4 = 3.267, and c4 = 0.9515 for the six of a batch (NIST handbook 6.3.2, from memory)."""
    means, single, moving, spread = OFF.mean(axis=(1, 2)), *shown["tables"]["chart"]["rows"]
    apart = np.abs(np.diff(means)).mean()
    assert (single["low"], single["centre"], single["high"]) == pytest.approx(
        (MEAN - 3 * apart / 1.128, MEAN, MEAN + 3 * apart / 1.128), abs=1e-4
    )
    assert (moving["low"], moving["centre"], moving["high"]) == pytest.approx((0, apart, 3.267 * apart), abs=2e-4)
    pooled = math.sqrt(OFF.reshape(BATCHES, -1).var(axis=1, ddof=1).mean())
    half = 3 * math.sqrt(1 - 0.9515**2)
    expected = (pooled * (0.9515 - half), pooled * 0.9515, pooled * (0.9515 + half))
    assert (spread["low"], spread["centre"], spread["high"]) == pytest.approx(expected, abs=1e-3)
    assert {row["outside"] for row in (single, moving, spread)} == {"none"}


def test_plans_are_the_cheapest_that_are_narrow_enough(shown) -> None:
    """All plans tried: a batch's sample costs as much as five pieces weighed; Student's t by batches."""
    n, s, p = np.meshgrid(np.arange(2, 401), np.arange(1, 4), np.arange(1, 21), indexing="ij")
    width = t.ppf(0.975, np.arange(1, 400))[:, None, None] * np.sqrt((V_BATCH + (V_SAMPLE + V_PIECE / p) / s) / n)
    for part, row in zip((0.05, 0.1, 0.2), shown["tables"]["plans"]["rows"], strict=True):
        effort = np.where(width <= part * TOLERANCE_G, n * s * (5 + p), np.inf)
        plan = (row["batches"], row["samples"], row["pieces"])
        assert row["within"] == pytest.approx(part * TOLERANCE_G)
        assert effort[plan[0] - 2, plan[1] - 1, plan[2] - 1] == effort.min()
        assert row["total"] == math.prod(plan)


def test_each_batch_is_a_point_with_the_limits_of_its_own_mean(shown) -> None:
    points = shown["series"]["batches"]
    assert [p["deviation_g"] for p in points] == pytest.approx(list(OFF.mean(axis=(1, 2))))
    assert [p["sd_g"] for p in points] == pytest.approx(list(OFF.reshape(BATCHES, -1).std(axis=1, ddof=1)))
    half = t.ppf(0.975, OFF.size - BATCHES) * WITHIN / math.sqrt(SAMPLES * PIECES)
    first = points[0]
    assert (first["low"], first["high"]) == pytest.approx((first["mean_g"] - half, first["mean_g"] + half))


@pytest.mark.parametrize("step_g", [0.25, 0.35])
def test_a_coarse_scale_shifts_the_means_limits_by_the_first_term_of_rounding(step_g: float) -> None:
    """Rounding moves a normal mean by step / π × exp(−2 π² sd² / step²) at most (its Fourier series, from memory)."""
    read = np.round(MASS / step_g) * step_g
    row = [(f"b{b}", f"{b}-{s}", read[b, s, p], 1) for b, s, p in np.ndindex(*MASS.shape)]
    frame = pl.DataFrame(row, schema=["batch", "sample", "mass_g", "pieces"], orient="row")
    seen = spread_of(frame, pl.col("mass_g"), draws=400)
    fine = spread_of(frame.rename({"mass_g": "net_g"}), pl.col("net_g"), draws=400)  # no scale, no steps
    variance = fine.total.number**2 - step_g**2 / 12
    assert seen.total.number**2 == pytest.approx(variance)
    shift = step_g / math.pi * math.exp(-2 * math.pi**2 * variance / step_g**2)
    assert fine.mean_low - seen.mean_low == pytest.approx(shift, rel=1e-6)
    assert seen.mean_high - fine.mean_high == pytest.approx(shift, rel=1e-6)


def test_a_scale_whose_steps_hide_the_spread_may_be_off_by_half_a_step() -> None:
    """Pieces of 6.8 ± 0.1 g in steps of 0.5 g: their mean had been 6.857 g, from 6.821 to 6.893."""
    mass = np.random.default_rng(5).normal(6.8, 0.1, (40, 20))
    row = [(f"b{b}", f"{b}", round(mass[b, p] * 2) / 2, 1) for b, p in np.ndindex(*mass.shape)]
    frame = pl.DataFrame(row, schema=["batch", "sample", "mass_g", "pieces"], orient="row")
    seen = spread_of(frame, pl.col("mass_g"), draws=400)
    fine = spread_of(frame.rename({"mass_g": "net_g"}), pl.col("net_g"), draws=400)
    assert seen.mean_low is not None and seen.mean_high is not None
    assert seen.mean_low < mass.mean() < seen.mean_high
    assert (fine.mean_low - seen.mean_low, seen.mean_high - fine.mean_high) == pytest.approx((0.25, 0.25))


def test_of_very_many_pieces_every_second_is_drawn_from_the_first_to_the_last() -> None:
    grams = np.arange(9_999.0)
    frame = pl.DataFrame({"at": grams, "net_g": grams}).with_columns(batch=pl.lit("b"), product=pl.lit("mint"))
    assert piece_points(frame)["mass_g"].to_list() == list(grams[::2])


def nested(unit: float = 1.0) -> pl.DataFrame:
    """Thirty batches of uneven size that follow each other and have heavy tails, in another unit."""
    rng = np.random.default_rng(5)
    level = np.cumsum(rng.standard_t(3, 30)) * 0.03
    rows = [
        (f"b{b:02}", f"{b}-{k // 2}", "mint", (6.6 + level[b] + rng.standard_t(4) * 0.1) * unit, 6.6 * unit, 1 + b % 2)
        for b in range(30)
        for k in range(4 + b % 3)
    ]
    return pl.DataFrame(rows, schema=["batch", "sample", "product", "net_g", "target_g", "pieces"], orient="row")


def test_limits_are_in_the_unit_of_the_weights() -> None:
    """What is weighed in milligrams has every mean, spread and limit a thousand times as large."""
    grams, milligrams = (spread_of(nested(unit), pl.col("net_g"), draws=400) for unit in (1.0, 1000.0))
    assert grams.levels == ("batch", "sample", "piece")
    for level in ("between", "samples", "piece", "within", "total"):
        one, other = getattr(grams, level), getattr(milligrams, level)
        assert (other.value, other.low, other.high) == pytest.approx(
            (1000 * one.value, 1000 * one.low, 1000 * one.high), rel=1e-4
        ), level
    means = (grams.mean, grams.mean_low, grams.mean_high)
    assert (milligrams.mean, milligrams.mean_low, milligrams.mean_high) == pytest.approx([1000 * m for m in means])


def test_a_products_mean_is_the_less_sure_the_closer_its_batches_follow_in_time() -> None:
    kept = nested()
    means, variance, df = grouped_means(kept, "product", 0.1, 0.1)
    batches = kept.group_by("batch", maintain_order=True).agg(
        off=((pl.col("net_g") - 6.6) * pl.col("pieces")).sum() / pl.col("pieces").sum(), n=pl.col("pieces").sum()
    )
    off, n = batches["off"].to_numpy(), batches["n"].to_numpy()
    weight = 0.1**2 / (0.1**2 + 0.1**2 / n)
    mean = np.average(off, weights=weight)
    widening = fit_memory(off - mean, 0.1**2 / n).widening
    assert (widening > 1.2, df) == (True, 29)
    assert means["mint"].mean_g == pytest.approx(mean)
    assert variance == pytest.approx((weight * (off - mean) ** 2).sum() / 29 * widening**2)


def test_single_pieces_are_stretched_for_the_mean_that_was_taken_out() -> None:
    """n pieces about their own mean have (n - 1) / n of the variance; a piece alone in its batch tells none."""
    net = {"a": [6.5, 6.7], "b": [6.6], "c": [6.4, 6.5, 6.6]}
    frame = pl.DataFrame(
        [(batch, value, 1) for batch, values in net.items() for value in values],
        schema=["batch", "net_g", "pieces"], orient="row",
    )  # fmt: skip
    expected = [-0.1 * 2**0.5, 0.1 * 2**0.5, -0.1 * 1.5**0.5, 0.0, 0.1 * 1.5**0.5]
    assert within_offsets(frame).tolist() == pytest.approx(expected)


@pytest.mark.parametrize("batches", [0, 4])
def test_samples_and_pieces_are_drawn_as_wide_as_pooled_pieces_ask_for(batches: int) -> None:
    """The pooled variance times its own chi-square over that: 1 for normal pieces, whatever their number."""
    n, draws = 24, 2000
    y, k = np.random.default_rng(3).normal(0.0, 0.2, n), np.ones(n)
    of = [np.repeat(np.arange(batches, dtype=float), n // batches)] if batches else []
    normal = np.random.default_rng(4).permutation(np.linspace(0.5, 1.5, draws))
    drawn, _ = _with_samples(normal, y, k, of, np.zeros(draws))
    pooled = np.sort(_piece_draws(y, k, of, draws)[0])
    wider = pooled * chi2.isf((np.arange(draws) + 0.5) / draws, n - (batches or 1))
    rank = np.argsort(np.argsort(normal))
    assert drawn == pytest.approx((np.linspace(0.5, 1.5, draws) * wider / np.median(wider))[rank])
