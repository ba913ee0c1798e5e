"""Points, clock, kinds of product and forecast of the rope, each worked out here from a few readings."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.core.frames import BATCHES
from lineview.plant import WEEK, Counter, Machine, Plant, Shift
from lineview.report.answer import to_json
from lineview.rope.account import rope_account
from lineview.rope.batches import live_hours, points_of, readings_in_batches, rope_clock
from lineview.rope.drift_model import fit_rope
from lineview.rope.forecast import ahead_of
from lineview.rope.mass import week_effect
from lineview.rope.products import Target, group_products, kinds_by_name, line_batches
from lineview.rope.watch import _last_signal, _segment
from lineview.rope.words import about
from lineview.stats.correlated_regression import Noise, innovation_form
from tests import factories
from tests.from_frames import Frames, counted, rope_seen
from tests.simulate.rope import START, ask, rope, sheet, works
from tests.simulate.rope_batches import line


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


def test_a_batch_is_the_mean_of_its_readings_off_the_target_of_its_product() -> None:
    """Ten readings a batch, 14.1 mm and 20.3 mm on average, thinning by 0.01 mm a minute from the first to the last."""
    minutes, fall = np.arange(10.0), 0.01
    read = pl.DataFrame(
        {
            "at": [at(m) for m in (*minutes, *(20 + minutes))],
            "value": [*(14.1 - fall * (minutes - 4.5)), *(20.3 - fall * (minutes - 4.5))],
        }
    ).cast({"at": pl.Datetime("us", "UTC")})
    marks = [{"batch": b, "product": p, "start": at(m)} for b, p, m in (("a", "mint", 0), ("b", "nut", 20))]
    core = readings_in_batches(read, factories.rows(BATCHES, marks, line="1"))
    points = points_of(core, None, {"mint": 14.0, "nut": 20.5}, lambda moments: np.arange(len(moments)) + 3.0)
    assert points["diameter_mm"].to_list() == pytest.approx([14.1, 20.3])
    assert points["deviation_mm"].to_list() == pytest.approx([0.1, -0.2])
    assert points["sd_mm"].to_list() == pytest.approx([fall * math.sqrt(110 / 12)] * 2)  # of 0 to 9, divisor 9
    assert points["taper_mm"].to_list() == pytest.approx([-9 * fall] * 2)
    assert points["at"].to_list() == [at(4.5), at(24.5)]
    assert (points["n"].to_list(), points["running_h"].to_list()) == ([10, 10], [3.0, 4.0])


@pytest.mark.parametrize(("length_s", "edge_s"), [(400, 60), (1200, 120)])
def test_an_edge_of_two_minutes_is_left_out_and_of_a_short_batch_its_share(length_s: int, edge_s: int) -> None:
    seconds = np.arange(0, length_s + 1, 4)
    read = pl.DataFrame({"at": factories.moments(START.timestamp() + seconds), "value": 14.0})
    core = readings_in_batches(
        read, factories.rows(BATCHES, [{"batch": "a", "start": at(0)}], line="1", product="mint")
    )
    assert [core["at"].min(), core["at"].max()] == [at(edge_s / 60), at((length_s - edge_s) / 60)]


def test_a_kind_without_a_base_is_called_by_two_flavours_and_how_many_more() -> None:
    names = ("mint", "nut", "fig", "plum")
    products = tuple(factories.product(name, diameter_mm=d) for name, d in zip(names, (14, 14, 14, 20), strict=True))
    named = kinds_by_name(Plant(shop="Invented", products=products), pl.Series(names))
    assert named == {**dict.fromkeys(("mint", "nut", "fig"), "fig, mint and 1 more"), "plum": "plum"}


def test_a_kind_is_called_by_its_base_where_that_has_one_diameter() -> None:
    of = {"mint": ("soft", 14), "nut": ("soft", 14), "fig": ("hard", 14), "plum": ("hard", 20)}
    products = tuple(factories.product(name, base=base, diameter_mm=d) for name, (base, d) in of.items())
    named = kinds_by_name(Plant(shop="Invented", products=products), pl.Series(list(of)))
    assert named == {"mint": "soft", "nut": "soft", "fig": "fig", "plum": "plum"}


def test_running_hours_are_those_of_the_counter_from_the_periods_start_on() -> None:
    """A wrapper that runs ten minutes and stands ten, in turn, for four hours."""
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=450)
    wrapper = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(counter,))
    seconds = np.arange(0.0, 4 * 3600 + 1, 10.0)
    runs = (seconds[:-1] // 600) % 2 == 0
    made = np.concatenate([[0.0], np.cumsum(np.where(runs, 55.0, 0.0))])
    moments = factories.moments(START.timestamp() + seconds)
    counts = counted(works(), wrapper, factories.readings("w", "pieces", moments, made))
    gauge = pl.DataFrame({"at": moments, "value": 14.0}).filter(pl.Series(np.append(runs, False)))
    clock = rope_clock(None, [counts], gauge, (START, at(240)), gap_s=120)
    asked = pl.Series([at(m) for m in (0, 5, 10, 20, 120, 240)]).cast(pl.Datetime("us", "UTC"))
    assert clock.hours(asked).tolist() == pytest.approx([0, 5 / 60, 10 / 60, 10 / 60, 1, 2], abs=1e-6)
    assert clock.source == "pieces of w"


@pytest.mark.parametrize(("hours", "source"), [(2.5, "pieces of w"), (2.3, "live gauge readings")])
def test_a_counter_read_for_less_than_three_fifths_of_the_rope_is_no_clock(hours: float, source: str) -> None:
    """The gauge is live for four hours, three fifths of which are 2.4."""
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=450)
    wrapper = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(counter,))
    seconds = np.arange(0.0, 4 * 3600 + 1, 10.0)
    moments = factories.moments(START.timestamp() + seconds)
    read = int(np.sum(seconds <= 3600 * hours))
    counts = counted(works(), wrapper, factories.readings("w", "pieces", moments[:read], 55.0 * np.arange(read)))
    clock = rope_clock(None, [counts], pl.DataFrame({"at": moments, "value": 14.0}), (START, at(240)), gap_s=120)
    assert clock.source == source


@pytest.mark.parametrize(
    ("read_s", "hours_s"),
    [([], [0, 0, 0, 0, 0]), ([20], [0, 0, 0, 0, 0]), ([0, 10, 20, 30, 400, 410], [0, 5, 30, 30, 40])],
)
def test_live_hours_are_those_between_readings_that_follow_each_other(read_s: list[int], hours_s: list[int]) -> None:
    """No gap longer than a minute is live, and nothing is before the first reading or after the last."""
    asked, read = (
        factories.moments(START.timestamp() + np.array(s, dtype=float)) for s in ([-9, 5, 35, 399, 900], read_s)
    )
    found = live_hours(pl.DataFrame({"at": read}), asked, 60.0)
    assert (found * 3600).tolist() == pytest.approx(hours_s)


def test_the_spread_of_a_batchs_mean_knows_how_long_readings_go_together() -> None:
    """Readings of memory 0.7 leave on a mean of n about √((1 + 0.7) ÷ (1 − 0.7) ÷ n) of their own spread."""
    plant, frame = works(), rope(200, seed=4)
    period = (START, frame["at"].max() + timedelta(seconds=1))
    seen = rope_seen(plant, plant.machines[0], Frames({"sizer2": frame}, batches=sheet(200, 10)), period)
    within = rope_account(plant, plant.machines[0], seen, period).within
    assert within is not None
    n = 30 * (1 - 2 * 0.15)  # 15 % of a ten-minute batch is left out at either end
    assert within.sampling_sd_mm == pytest.approx(0.03 * math.sqrt(1.7 / 0.3 / n), rel=0.15)


#: Wear and target of a line whose clock runs an hour while two planned ones pass.
def slow_clock() -> tuple[pl.DataFrame, Target]:
    points, _ = line(np.random.default_rng(3), wear=-0.004, phi=0.0, batches=120, recorded=0)
    hours = points["running_h"]
    points = points.with_columns(at=START + pl.duration(microseconds=(hours * 7.2e9).round().cast(pl.Int64)))
    return points, Target(works().products[0], 14.0, 0.3, 0.3)


@pytest.mark.parametrize(
    ("shifts", "planned_share"), [((), 1.0), ((Shift(id="s", start="04:00", end="16:00", days=WEEK),), 0.5)]
)
def test_the_moment_is_running_hours_by_how_many_of_them_a_planned_hour_has(
    shifts: tuple[Shift, ...], planned_share: float
) -> None:
    """Around the clock half of each hour is run; in shifts of half a day, all of it."""
    points, target = slow_clock()
    plant = Plant(shop="Invented", shifts=shifts)
    last = points["at"][-1]
    ahead = ahead_of(plant, fit_rope(points, []), target, 0.03, last)
    assert ahead is not None and ahead.mean.value_h is not None and ahead.moment is not None
    hour = np.arange(0, (last - points["at"][0]) / timedelta(hours=1), 0.01) + (points["at"][0] - START) / timedelta(
        hours=1
    )
    planned_h = 0.01 * (hour % 24 < 24 * planned_share).sum()
    assert ahead.uptime == pytest.approx(float(np.ptp(points["running_h"].to_numpy())) / planned_h, rel=1e-3)
    assert ahead.planned_h_per_week == pytest.approx(7 * 24 * planned_share)
    days = (ahead.moment - last) / timedelta(days=1)
    expected = ahead.mean.value_h / ahead.uptime / (24 * planned_share)
    assert days == pytest.approx(expected, abs=1e-6 if planned_share == 1 else 0.51)


def test_so_many_adjustments_are_judged_as_batches_allow_and_those_are_the_last() -> None:
    points, _ = line(np.random.default_rng(5), wear=0.0, phi=0.0, batches=14, recorded=0)
    moments = points["at"].to_list()
    done = [(b - timedelta(seconds=1), 0.0, f"set {k}") for k, b in enumerate(moments[1:], 1)]
    model = fit_rope(points, done)
    assert [a.label for a in model.adjustments if a.recorded] == [
        f"set {k}" for k in range(5, 14)
    ]  # beside level, wear, temperature


@pytest.mark.parametrize("phi", [-0.4, 0.0, 0.5, 0.9])
@pytest.mark.parametrize("white", [0.0, 0.5])
def test_surprises_of_a_level_learnt_on_the_way_are_standard_and_apart(phi: float, white: float) -> None:
    """Their covariance, from that of the noise: the identity where none is white, near it after the first else."""
    n, noise = 40, Noise(phi, white)
    scale = innovation_form(noise)[1]
    of_each = np.column_stack([_segment(one, noise, scale, 1e12) for one in np.eye(n)])[1:]
    covariance = of_each @ ((1 - white) * phi ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))) @ of_each.T
    covariance += white * of_each @ of_each.T
    apart = 0.12 if white and phi else 1e-4  # of the first two; a filter has no past
    assert covariance == pytest.approx(np.eye(n - 1), abs=apart)
    assert covariance[5:, 5:] == pytest.approx(np.eye(n - 6), abs=0.02 if white else 1e-4)


@pytest.mark.parametrize(("outside", "first"), [("0110", None), ("01001", 4), ("01011", 3), ("111", 0), ("", None)])
def test_signals_that_stand_begin_after_the_last_point_within_limits(outside: str, first: int | None) -> None:
    assert _last_signal(np.array([mark == "1" for mark in outside], dtype=bool)) == first


def kinds(**counts: int) -> pl.Series:
    """Batches of each kind in turn, those that last longest last."""
    return pl.Series([name for name, count in counts.items() for _ in range(count)])


@pytest.mark.parametrize(
    ("batches", "names", "reference", "aside", "mixed"),
    [
        ({"hard": 10, "soft": 8}, ("hard",), "soft", (), ()),  # what is on the line now is the level
        ({"soft": 8, "hard": 12, "nut": 2}, ("soft",), "hard", ("nut",), ()),  # two of 22 are set aside
        ({"soft": 6, "nut": 3, "fig": 2}, (), "soft", (), ("nut", "fig")),  # without five of eleven too few are left
        ({"nut": 5, "fig": 5}, (), "", (), ("nut", "fig")),
        ({"soft": 9}, (), "", (), ()),
        ({"soft": 9, "nut": 3}, (), "soft", ("nut",), ()),  # three quarters stay: just enough
    ],
)
def test_rare_kinds_are_set_aside_where_enough_is_left(
    batches: dict[str, int], names: tuple[str, ...], reference: str, aside: tuple[str, ...], mixed: tuple[str, ...]
) -> None:
    found = group_products(kinds(**batches), {name: name for name in batches})
    assert (found.names, found.reference, found.aside, found.mixed) == (names, reference, aside, mixed)
    assert int(found.usable.sum()) == sum(n for name, n in batches.items() if name not in aside)


def test_the_commonest_kind_is_the_level_where_a_rare_one_is_on_the_line() -> None:
    found = group_products(kinds(soft=7, hard=20, nut=1), {k: k for k in ("soft", "hard", "nut")})
    assert (found.reference, found.names) == ("hard", ("soft",))


def test_a_lines_batches_are_those_that_touch_the_period() -> None:
    marks = [
        {"batch": "early", "start": at(0)}, {"batch": "over its start", "start": at(20)},
        {"batch": "within", "start": at(40), "end": at(45)}, {"batch": "at its end", "start": at(60)},
    ]  # fmt: skip
    frame = factories.rows(BATCHES, marks, line="1", product="mint")
    assert line_batches(frame, "1", (at(30), at(60)))["batch"].to_list() == ["over its start", "within"]
    assert line_batches(frame, "1", (at(45), at(61)))["batch"].to_list() == ["at its end"]
    assert line_batches(frame, "2", (at(0), at(90))).is_empty()


@pytest.mark.parametrize(("minute", "clock"), [(4.9, "10:00"), (5.1, "10:10"), (26, "10:30"), (56, "11:00")])
def test_a_forecasts_moment_is_to_ten_minutes(minute: float, clock: str) -> None:
    moment = datetime(2026, 6, 9, 10, tzinfo=UTC) + timedelta(minutes=minute)
    assert about(moment, Plant(shop="Invented", zone="UTC"), moment) == f"Tuesday about {clock}"


@pytest.mark.parametrize(("times", "step"), [(1, 0.01), (4, 0.1)])
def test_what_to_set_is_no_finer_than_its_interval_bears(times: int, step: float) -> None:
    """Nine batches, and the same with all deviations four times as large: then the place is known to 0.1 mm."""
    answer = ask(rope(9, level=0.4).with_columns(value=14 + times * (pl.col("value") - 14)), sheet(9, 10))
    off = answer.figure("deviation_mm")
    assert off is not None and isinstance(off.low, float) and isinstance(off.high, float)
    assert ((off.high - off.low) / 2 < 0.05) == (step == 0.01)
    said = {row["what"]: row["said"] for t in answer.tables if t.name == "lead" for row in t.rows}["to set"]
    size, low, high = (f"{round(v / step) * step:.2f} mm" for v in (off.value, off.low, off.high))
    assert said.startswith(f"{size} thinner ({low} to {high}); ")
    drift = answer.figure("drift_mm_per_h")
    assert drift is not None and float(drift.working.rpartition("chance ")[2].split()[0]) > 0.05  # so few batches too


def test_what_a_deviation_moves_a_week_is_summed_over_products() -> None:
    """Mass goes with the square of the diameter; pieces that nobody named are taken for what is on the line."""
    works = Plant(
        shop="Invented",
        products=(
            factories.product("mint", mass_g=6.8, diameter_mm=14, price_per_kg=5),
            factories.product("nut", mass_g=7.4, diameter_mm=20, price_per_kg=3),
        ),
    )
    mint, nut = works.products
    effect = week_effect(works, {"mint": 1000.0, "nut": 500.0, "": 40.0}, 3.0, (0.1, 0.05, 0.2), mint)

    def kg(mass_g: float, target_mm: float, pieces: float) -> np.ndarray:
        return mass_g * ((1 + np.array([0.1, 0.05, 0.2]) / target_mm) ** 2 - 1) * pieces / 1000

    of_mint, of_nut, of_nobody = kg(6.8, 14, 3000), kg(7.4, 20, 1500), kg(6.8, 14, 120)
    assert effect.kg == pytest.approx(tuple(of_mint + of_nut + of_nobody))
    assert effect.money == pytest.approx(tuple(5 * of_mint + 3 * of_nut))
    assert effect.unnamed == pytest.approx(40 / 1540)
    assert [(week.product, week.pieces) for week in effect.products] == [(mint, 3000), (nut, 1500), (mint, 120)]
    assert week_effect(works, {"mint": 1000.0, "": 60.0}, 3.0, (0.1, 0.05, 0.2), mint).money is None  # over 5 %


def test_a_rope_that_is_out_already_says_so_and_calls() -> None:
    answer = ask(rope(wear=0.006, level=0.4), sheet(120, 10))
    assert answer.text.endswith(" an hour and is out of tolerance already.")
    assert "out of tolerance already" in [span.text for span in answer.sentence if span.call]
    hours = answer.figure("hours_to_tolerance")
    assert hours is not None and hours.value == 0.0
    said = {row["what"]: row["said"] for t in answer.tables if t.name == "lead" for row in t.rows}
    assert said["out of tolerance"] == "already"


def mm(value: float, decimals: int = 3, *, signed: bool = False) -> str:
    sign = "−" if value < 0 else "+" if signed else ""
    return f"{sign}{abs(value):.{decimals}f} mm"


def clock(moment: str, form: str = "%A %H:%M") -> str:
    return datetime.fromisoformat(moment).strftime(form)


@pytest.mark.parametrize("wear", [0.003, -0.006])
def test_a_drifting_rope_word_for_word_and_cell_for_cell(wear: float) -> None:
    """Twenty hours from Monday 04:00 in batches of ten minutes: what is said is what the figures say."""
    shown = json.loads(to_json(ask(rope(wear=wear), sheet(120, 10))))
    figures = shown["figures"]
    value, low, high = ({name: figure[key] for name, figure in figures.items()} for key in ("value", "low", "high"))
    drift, off, hours = value["drift_mm_per_h"], value["deviation_mm"], value["hours_to_tolerance"]
    pace = f"{'thinning' if wear < 0 else 'thickening'} {mm(abs(drift), 4)} an hour"
    moment = datetime.fromisoformat(value["leaves_tolerance_at"])
    near = datetime.fromtimestamp(round(moment.timestamp() / 600) * 600, UTC)
    assert shown["sentence"] == (
        f"The rope of sizer 2 is {pace}; at this pace it leaves tolerance in {hours:.0f} hours of running, "
        f"{near:%A} about {near:%H:%M}."
    )
    assert shown["needs_a_person"] == [pace, f"{hours:.0f} hours of running"]
    ends = [clock(end["leaves_tolerance_at"]) for end in (low, high)]
    if datetime.fromisoformat(high["leaves_tolerance_at"]).date() > START.date() + timedelta(days=4):
        ends[1] = clock(high["leaves_tolerance_at"], "%-d %B %H:%M")
    between = {
        k: f"{low[k]:.0f} to {high[k]:.0f}" for k in ("hours_to_tolerance", "hours_to_first_out", "hours_to_share_out")
    }
    wears = f"{mm(low['drift_mm_per_h'], 4, signed=True)} to {mm(high['drift_mm_per_h'], 4, signed=True)}"
    assert shown["soft"] == (
        f"{wears} an hour of running (95 %); {between['hours_to_tolerance']} hours, {ends[0]} to {ends[1]} until the "
        f"mean is out (90 %); the first batch is likely out within {value['hours_to_first_out']:.0f} hours "
        f"({between['hours_to_first_out']}); 5 % of pieces are out from {value['hours_to_share_out']:.0f} hours on "
        f"({between['hours_to_share_out']}). Batch taper and batch-to-batch change are taken out. 120 batches since "
        "Monday 04:04."
    )
    last_h = (119 * 600 + 290) / 3600  # the middle of the last batch's readings
    assert hours == pytest.approx(((0.3 if wear > 0 else -0.3) - off) / drift)
    effect = 6.8 * ((1 + off / 14) ** 2 - 1)
    assert (value["level_mm"], value["weight_effect_g_per_piece"]) == pytest.approx((14 + off, effect))
    assert (moment - START) / timedelta(hours=1) == pytest.approx(last_h + hours, abs=0.1)
    sum_mm = f"14 {'−' if off < 0 else '+'} {abs(off):.4f}"
    workings = {
        "target_mm": "the products' diameter_mm in plant.toml", "tolerance_low_mm": "14 − 0.3",
        "tolerance_high_mm": "14 + 0.3", "drift_since": "no step in the period",
        "level_mm": sum_mm, "weight_effect_g_per_piece": f"6.8 g × ((({sum_mm}) ÷ 14)² − 1), mint",
        "taper_mm": "mean over batches of slope × length, 120 batches",
        "deviation_mm": f"model at {last_h:.2f} running hours, the last batch",
        "leaves_tolerance_at": f"{hours:.1f} running hours ÷ 1.00 running hours a planned hour, along the planned "
        "shifts",
    }  # fmt: skip
    assert {name: figures[name]["working"] for name in workings} == workings
    minus = ["−" if number < 0 else "" for number in (off, wear)]
    leaves = f"(tolerance − ({minus[0]}{abs(off):.4f}) mm) ÷ {minus[1]}{abs(drift):.5f} mm/h; of the"
    assert figures["hours_to_tolerance"]["working"].startswith(leaves)
    fit = "generalised least squares of 120 batch means on running hours (live gauge readings), 0 step(s); correlation"
    assert figures["drift_mm_per_h"]["working"].startswith(fit)
    lead = {row["what"]: row["said"] for row in shown["tables"]["lead"]["rows"]}
    assert lead["sizer"] == "sizer 2, 1"
    assert lead["since"] == "Monday 04:04, the first batch shown"
    assert lead["out of tolerance"] == (
        f"in {hours:.0f} hours of running ({between['hours_to_tolerance']}, 90 %), {near:%A} about {near:%H:%M}"
    )
    sizes = {
        "wear, an hour of running": ("drift_mm_per_h", 4, True),
        "one batch to the next": ("batch_to_batch_sd_mm", 3, False),
        "within a batch": ("within_batch_sd_mm", 3, False), "from a batch's start to its end": ("taper_mm", 3, True),
    }  # fmt: skip
    rows = {row["what"]: (row["size"], row["interval"]) for row in shown["tables"]["causes"]["rows"]}
    assert rows == {
        what: (
            mm(value[name], decimals, signed=signed),
            f"{mm(low[name], decimals, signed=signed)} to {mm(high[name], decimals, signed=signed)}",
        )
        for what, (name, decimals, signed) in sizes.items()
    } | {"rope 1 °C warmer": (None, None)}  # no temperature was read
    (gauge,) = shown["tables"]["gauges"]["rows"]
    assert list(gauge.values()) == ["dia", "yes", 3600, 0, 0, ""]
