# ruff: noqa: E501 - tables of invented figures read better in one row
"""Hand-written answers of an invented works: what the pages are shown with where no store is needed."""

from __future__ import annotations

import random
from datetime import timedelta

import polars as pl

from lineview.core.figure import Figure
from lineview.core.frames import ROPE_BATCHES, STATE_TIMELINE
from lineview.report.answer import Answer, Span, Table
from tests.board.invented_materials import order, weight, wrap
from tests.board.invented_scene import EARLY, LOCK_OUT, WEEK, plant, scope
from tests.board.invented_week import week

__all__ = ["ANSWERS", "EARLY", "order", "plant", "rate", "rope", "shift", "timeline", "week", "weight", "wrap"]


def rope(machine: str = "sizer2", label: str = "since Mon 8 June", line: str = "1") -> Answer:
    """Give a drifting rope with two adjustments and a forecast."""
    rng = random.Random(5)
    rows, wear, left = [], 15.12 - 15.0, 0.0
    changes = {21.5: "pair 3 adjusted", 44.0: "pair 3 adjusted"}
    for i in range(341):
        hour = 58 * (i + 0.5) / 341
        left = sum(1 for at in changes if at < hour)
        since = hour - max([0.0, *(at for at in changes if at < hour)])
        deviation = wear + 0.02 * left - 0.0085 * since + rng.gauss(0, 0.028)
        at = WEEK.start + timedelta(hours=hour * 3)
        name = ("honey", "anise", "pear")[i % 3]
        rows.append((f"b{i + 1}", name, at, hour, 15 + deviation, deviation, 0.05, 34.0, 60))
    forecast = pl.DataFrame(
        {
            "running_h": [58.0, 70.0, 80.0, 92.0],
            "low": [-0.02, -0.17, -0.30, -0.48],
            "mid": [0.00, -0.13, -0.24, -0.37],
            "high": [0.02, -0.09, -0.17, -0.27],
        }
    )
    hours = [r[3] for r in rows]
    smooth, signal, level = [], [], 0.0
    for row in rows:
        level = 0.9 * level + 0.1 * (row[5] - 0.05)
        smooth.append(level)
        signal.append(abs(level) > 0.05)
    return Answer(
        "rope",
        scope(machine, WEEK, label, line),
        (
            Span(f"The rope of {machine.replace('sizer', 'sizer ')} is "),
            Span("thinning 0.011 mm an hour", call=True),
            Span("; at this pace it leaves tolerance in "),
            Span("34 hours of running", call=True),
            Span(", Friday about 10:40."),
        ),
        "0.009 to 0.012 mm an hour; 29 to 41 hours. Batch taper and batch-to-batch change are taken out. "
        "Cost so far: 3.1 g a hundred pieces light.",
        (
            Figure("target_mm", "target", 15.0, "mm", working="plant.toml", interval_kind="set, no interval"),
            Figure("tolerance_low_mm", "tolerance from", 14.7, "mm", interval_kind="set, no interval"),
            Figure("tolerance_high_mm", "tolerance to", 15.3, "mm", interval_kind="set, no interval"),
            Figure(
                "drift_mm_per_h",
                "drift of the rope",
                -0.0112,
                "mm/h",
                low=-0.0124,
                high=-0.0094,
                interval_kind="95 % confidence",
                n=341,
                period=WEEK,
                sources=("trade-practice",),
                working="slope of 341 batch means over running hours = −0.0112",
            ),
            Figure("temperature_mm_per_c", "rope 1 °C cooler", None, "mm/°C", why_none="too few: needs 8, has 3"),
        ),
        (
            Table(
                "moves",
                "What moves the diameter",
                (("what", "what", ""), ("size", "size", "mm"), ("interval", "95 % interval", ""), ("from", "from", "")),
                (
                    {
                        "what": "wear, an hour of running",
                        "size": -0.011,
                        "interval": "−0.012 to −0.009",
                        "from": "341 batches, since the adjustment of Tuesday 14:05",
                    },
                    {
                        "what": "one batch to the next",
                        "size": 0.035,
                        "interval": "0.032 to 0.038",
                        "from": "standard deviation, 341 batches",
                    },
                    {
                        "what": "rope 1 °C cooler",
                        "size": 0.006,
                        "interval": "−0.001 to 0.013",
                        "from": "no measurable effect",
                    },
                ),
            ),
        ),
        {
            "batches": pl.DataFrame(rows, schema=ROPE_BATCHES, orient="row"),
            "forecast": forecast,
            "adjustments": pl.DataFrame(
                {
                    "running_h": list(changes),
                    "at": [WEEK.start + timedelta(hours=3 * h) for h in changes],
                    "label": list(changes.values()),
                }
            ),
            "ewma": pl.DataFrame(
                {"running_h": hours, "value": smooth, "low": [-0.05] * 341, "high": [0.05] * 341, "signal": signal}
            ),
        },
        ("No rope temperature was exported: taper and temperature cannot be told apart.",),
        (LOCK_OUT,),
    )


def timeline() -> pl.DataFrame:
    """Give an early shift's clock: changeovers, short stops, a slow stretch, a stop nobody explained."""
    marks = [
        (27, 34, "changeover", None), (70, 77, "changeover", None), (114, 119, "changeover", None),
        (119, 122, "short stop", None), (157, 162, "changeover", None), (180, 212, "slow", None),
        (215, 233, "stop", None), (240, 270, "break", "break"), (286, 292, "changeover", None),
        (330, 332, "short stop", "paper out"), (340, 347, "changeover", None), (372, 379, "changeover", None),
        (415, 421, "unseen", None), (440, 452, "stop", "knife changed"),
    ]  # fmt: skip
    rows, last = [], 0
    for start, end, state, reason in [*marks, (480, 480, "", None)]:
        if start > last:
            rows.append((last, start, "running", None))
        if state:
            rows.append((start, end, state, reason))
        last = end
    at = lambda minute: EARLY.start + timedelta(minutes=minute)  # noqa: E731 - one use, reads better
    data = [(at(a), at(b), s, 0.0, 0.0, 0.0, r) for a, b, s, r in rows]
    return pl.DataFrame(data, schema=STATE_TIMELINE, orient="row")


def rate() -> pl.DataFrame:
    """Give pieces a minute along that clock."""
    rng = random.Random(3)
    states = [(r["start"], r["end"], r["state"]) for r in timeline().iter_rows(named=True)]
    at, values = [], []
    for minute in range(480):
        now = EARLY.start + timedelta(minutes=minute)
        state = next(s for a, b, s in states if a <= now < b)
        speed = {"running": 350.0, "slow": 268.0, "unseen": None}.get(state, 0.0)
        at.append(now)
        values.append(speed + rng.gauss(0, 7) if speed else speed)
    return pl.DataFrame({"at": at, "rate_per_min": values}, schema_overrides={"rate_per_min": pl.Float64})


def shift(machine: str = "wrap1", label: str = "Tue 9 June, early", line: str = "1") -> Answer:
    """Give a shift below its nominal band."""
    loss_waterfall = [
        ("all planned minutes at 350 a minute", 455, 159250), ("changeovers", 45, -15750), ("stops of 5 minutes and more", 30, -10500),
        ("short stops", 5, -1750), ("slow stretches", 32, -2624), ("rejects", None, -1470), ("good pieces", None, 117940),
    ]  # fmt: skip
    return Answer(
        "shift",
        scope(machine, EARLY, label, line),
        (
            Span("This shift made 117,940 good pieces, "),
            Span("259 a minute", call=True),
            Span(" over its 455 planned minutes; the nominal band is 300 to 400."),
        ),
        "Running stretches alone: 346 a minute. 80 minutes stood still: 45 in seven changeovers, 30 in two stops, one "
        "without a reason. To reach the plan of 150,000 the rest must run at 362.",
        (
            Figure("good_pieces", "good pieces", 117940, "pieces", n=2880, period=EARLY, working="increments summed"),
            Figure(
                "uptime_percent",
                "uptime",
                80.2,
                "%",
                low=79.0,
                high=81.5,
                interval_kind="bounds: unseen minutes",
                n=2880,
                period=EARLY,
                sources=("iso-22400-2",),
                working="(running 333 + slow 32) / planned 455 = 80.2 %",
            ),
            Figure(
                "effectiveness_percent", "effectiveness", None, "%", why_none="not known: no design rate in plant.toml"
            ),
            Figure("reel_end_film", "film reel ends", EARLY.end - timedelta(minutes=8), working="reel left ÷ pace"),
        ),
        (
            Table(
                "ladder",
                "Where the pieces went",
                (("what", "what", ""), ("minutes", "minutes", ""), ("pieces", "pieces", "")),
                [{"what": w, "minutes": m, "pieces": p} for w, m, p in loss_waterfall],
            ),
            Table(
                "next",
                "Next",
                (("event", "what", ""), ("at", "when", ""), ("interval", "between", "")),
                [
                    {"event": "film reel ends", "at": EARLY.end - timedelta(minutes=8), "interval": "13:48 to 13:57"},
                    {"event": "batch ends, honey", "at": EARLY.end - timedelta(minutes=19), "interval": None},
                    {"event": "shift ends", "at": EARLY.end, "interval": None},
                ],
            ),
        ),
        {"rate": rate(), "timeline": timeline()},
        ("A plan export would add the pace still needed.",),
        (LOCK_OUT,),
    )


ANSWERS = {"rope": rope, "weight": weight, "shift": shift, "wrap": wrap, "order": order, "week": week}
