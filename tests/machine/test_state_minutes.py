"""States from a machine's own codes: stops split by kind, silences filled, maintenance set aside."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from lineview.machine.state_codes import MEANINGS, state_intervals
from lineview.plant import Gauge
from lineview.report.answer import Answer
from tests.factories import readings as readings_of
from tests.factories import value
from tests.one_count import count_machine
from tests.simulate.shift import ask, table, works
from tests.simulate.wrapper import START, machine, readings, simulate

CODES = {"B": "blocked", "S": "starved", "M": "maintenance", "C": "changeover"}
OWN = machine(name="Cut-and-wrap 1", gauges=(Gauge(id="state", measures="state", codes=CODES),))
PLANT = works(OWN)


def marks(*rows: tuple[float, str]) -> pl.DataFrame:
    """Rows of the state channel: seconds after START, state."""
    at = [START + timedelta(seconds=s) for s, _ in rows]
    return readings_of("w1", "state", at, text=[state for _, state in rows])


def coded(seed: int, every_s: float | None, lag_s: float = 0.0) -> tuple[pl.DataFrame, dict[str, float]]:
    """States of a simulated line, each stop of one kind or two; and the planned minutes of each kind."""
    run, rng = simulate(seed), np.random.default_rng(seed)
    changes, truth = [(-3600.0, "Execute")], dict.fromkeys(("B", "S", "Held"), 0.0)
    for a, b in run.stops:
        kinds = rng.permutation(["B", "S", "Held"])[: 1 + (b - a > 240)]
        edges = np.linspace(a, b, len(kinds) + 1)
        for kind, left, right in zip(kinds, edges[:-1], edges[1:], strict=True):
            changes.append((float(left) + lag_s, str(kind)))
            for x, y in ((0.0, 10800.0), (12300.0, 28800.0)):
                truth[str(kind)] += max(0.0, min(float(right), y) - max(float(left), x)) / 60
        changes.append((b + lag_s, "Execute"))
    changes.sort(key=lambda change: change[0])
    if every_s is None:
        return marks(*changes), truth
    times = np.arange(-600, 29400, every_s)
    place = np.searchsorted([at for at, _ in changes], times, side="right") - 1
    return marks(*((float(t), changes[k][1]) for t, k in zip(times, place, strict=True))), truth


def planned_share(answer: Answer) -> float:
    names = ("running", "slow", "short_stop", "stop", "changeover", "unseen")
    return sum(value(answer, f"{name}_min") for name in names)


@pytest.mark.parametrize(("every_s", "lag_s"), [(None, 0.0), (None, 4.0), (10.0, 0.0)])
def test_codes_tell_the_kinds_of_stops_in_minutes(every_s: float | None, lag_s: float) -> None:
    worst = 0.0
    for seed in range(700, 704):
        run = simulate(seed)
        states, truth = coded(seed, every_s, lag_s)
        answer = ask(pl.concat([readings(run, 10, seed=seed), states]), plant=PLANT)
        kinds = ("own_stop_min", "blocked_min", "starved_min", "outside_min", "cleaning_min", "maintenance_min")
        found = {name: value(answer, name) for name in kinds if answer.figure(name)}
        assert sum(found.values()) == pytest.approx(value(answer, "stop_min") + value(answer, "short_stop_min"))
        assert planned_share(answer) == pytest.approx(value(answer, "planned_min"), abs=1e-9)
        for name, kind in (("blocked_min", "B"), ("starved_min", "S"), ("own_stop_min", "Held")):
            worst = max(worst, abs(found[name] - truth[kind]))
        assert value(answer, "coded_min") == 0
        loss_waterfall = table(answer, "ladder")
        assert sum(r["pieces"] for r in loss_waterfall[:-1]) == loss_waterfall[-1]["pieces"]
        assert {"stops: blocked", "short stops: starved"} & {r["cause"] for r in loss_waterfall}
    print(f"kinds of stop by codes, every {every_s} s, lag {lag_s} s: worst {worst:.2f} min of a shift")
    assert worst < 0.5


@pytest.mark.parametrize("every_s", [None, 10.0])
def test_codes_fill_a_silence_of_the_counter(every_s: float | None) -> None:
    for seed in range(710, 714):
        run = simulate(seed)
        states, _ = coded(seed, every_s)
        frame = readings(run, 10, seed=seed)
        lost = frame.filter(~pl.col("at").is_between(START + timedelta(hours=4), START + timedelta(hours=5.5)))
        whole, blind, filled = (ask(f, plant=PLANT) for f in (frame, lost, pl.concat([lost, states])))
        assert value(blind, "unseen_min") == pytest.approx(90, abs=1)
        assert value(filled, "unseen_min") == pytest.approx(0, abs=1e-6)
        assert value(filled, "coded_min") == pytest.approx(90, abs=1)
        assert value(filled, "good_pieces") == value(whole, "good_pieces")
        uptime = filled.figure("uptime_percent")
        assert uptime is not None
        assert uptime.low <= value(whole, "uptime_percent") <= uptime.high
        assert value(filled, "uptime_percent") == pytest.approx(value(whole, "uptime_percent"), abs=0.3)
        assert planned_share(filled) == pytest.approx(value(filled, "planned_min"), abs=1e-9)
        loss_waterfall = table(filled, "ladder")
        assert sum(r["pieces"] for r in loss_waterfall[:-1]) == loss_waterfall[-1]["pieces"]
        assert value(filled, "iso_effectiveness_percent") == pytest.approx(
            value(whole, "iso_effectiveness_percent"), rel=0.01
        )


def test_a_shift_without_counter_readings_is_told_by_its_states() -> None:
    states, _ = coded(720, 10.0)
    answer = ask(states, plant=PLANT)
    truth = ask(readings(simulate(720), 10, seed=720), plant=PLANT)
    assert answer.text.startswith(
        "No counter of Cut-and-wrap 1 was read, so its pieces are not known; by its own states"
    )
    assert value(answer, "uptime_percent") == pytest.approx(value(truth, "uptime_percent"), abs=0.5)
    assert answer.figure("good_pieces").value is None
    assert answer.figure("iso_effectiveness_percent").value is None
    assert value(answer, "iso_availability_percent") == pytest.approx(value(answer, "uptime_percent"))


def test_the_counter_goes_before_a_code_that_contradicts_it() -> None:
    run = simulate(730)
    answer = ask(
        pl.concat([readings(run, 10, seed=730), marks((-600, "Execute"), (3600, "B"), (9000, "Execute"))]), plant=PLANT
    )
    plain = ask(readings(run, 10, seed=730), plant=PLANT)
    assert value(answer, "running_min") == value(plain, "running_min")
    assert any("disagreed" in note and "the counter takes precedence" in note for note in answer.notes)


def test_pieces_of_a_counter_in_maintenance_are_no_good_pieces() -> None:
    run = simulate(740)
    frame = readings(run, 10, seed=740)
    answer = ask(pl.concat([frame, marks((-600, "Execute"), (3600, "M"), (5400, "Execute"))]), plant=PLANT)
    plain = ask(frame, plant=PLANT)
    taken = int(((run.pieces > 3600) & (run.pieces <= 5400)).sum())
    assert value(answer, "pieces_in_maintenance") == pytest.approx(taken, abs=1)
    assert value(answer, "pieces_made") == value(plain, "pieces_made") - value(answer, "pieces_in_maintenance")
    assert value(answer, "good_pieces") < value(plain, "good_pieces")
    assert value(answer, "maintenance_min") == pytest.approx(30, abs=1)
    loss_waterfall = table(answer, "ladder")
    assert sum(r["pieces"] for r in loss_waterfall[:-1]) == loss_waterfall[-1]["pieces"]


@pytest.mark.parametrize(("held_min", "state"), [(3, "short_stop_min"), (6, "stop_min")])
def test_a_code_splits_a_changeover_from_the_stop_before_it(held_min: float, state: str) -> None:
    """What stood before it is short or not by itself, whatever the changeover took."""
    run = simulate(750)
    a, b = max(((a, b) for a, b in run.stops if a > 0 and (b < 10800 or a > 12300)), key=lambda s: s[1] - s[0])
    frame = readings(run, 10, seed=750)
    plain = ask(pl.concat([frame, marks((-600, "Execute"), (a, "C"), (b, "Execute"))]), plant=PLANT)
    states = marks((-600, "Execute"), (a, "Held"), (a + 60 * held_min, "C"), (b, "Execute"))
    answer = ask(pl.concat([frame, states]), plant=PLANT)
    assert value(answer, "changeover_min") == pytest.approx((b - a) / 60 - held_min, abs=0.3)
    assert value(answer, state) - value(plain, state) == pytest.approx(held_min, abs=0.3)


def test_a_channel_read_at_intervals_tells_no_more_than_the_gap() -> None:
    read = marks(*((float(s), "Execute") for s in range(0, 600, 10)), (3000.0, "B"), (3010.0, "B"))
    spells = state_intervals(OWN, read, gap_s=120)
    assert [MEANINGS[k] for k in spells.meaning] == ["running", "blocked"]
    assert (spells.end[0] - spells.start[0]) / 1e6 == 590 + 120
    moments = spells.start[0] + np.array([-1, 0, 710, 2000, 3000]) * 1_000_000
    assert [MEANINGS[k] if k >= 0 else "" for k in spells.at(moments)] == ["", "running", "", "", "blocked"]
    written = marks((0.0, "Execute"), (3000.0, "B"), (3300.0, "Execute"))
    assert (state_intervals(OWN, written, gap_s=120).end[0] - START.timestamp() * 1e6) / 1e6 == 3000
    alone = state_intervals(OWN, marks((0.0, "Execute")), gap_s=120)  # a single word holds for a day
    assert (alone.end - alone.start).tolist() == [86_400_000_000]
    assert not state_intervals(OWN.model_copy(update={"gauges": ()}), written, gap_s=120).has_rows


def test_wrap_and_order_count_the_same_pieces_as_the_shift() -> None:
    run = simulate(760)
    states = marks((-600, "Execute"), (3600, "M"), (5400, "Execute"))
    frame = pl.concat([readings(run, 10, seed=760), states])
    answer = ask(frame, plant=PLANT)
    counts = count_machine(OWN, frame, gap_s=PLANT.gap_s)
    counted = counts.between((START, START + timedelta(hours=8))).total
    assert counted is not None
    assert counted.at(0).value == pytest.approx(value(answer, "pieces_made"), abs=1)
