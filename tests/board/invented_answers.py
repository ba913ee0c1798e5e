# ruff: noqa: E501 - tables of invented figures read better in one row
"""Hand-written answers of an invented works: what the pages are shown with where no store is needed."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import polars as pl

from lineview.answers.answer import Answer, Scope, Span, Table
from lineview.columns import ROPE_BATCHES, TAPE
from lineview.figure import Figure, Period, cannot_tell, too_few
from lineview.plant import Line, Machine, Plant, Product, Shift, Web

EARLY = Period(datetime(2026, 6, 9, 4, tzinfo=UTC), datetime(2026, 6, 9, 12, tzinfo=UTC))
WEEK = Period(datetime(2026, 6, 1, 22, tzinfo=UTC), datetime(2026, 6, 9, 12, tzinfo=UTC))
LOCK_OUT = (
    "Before reaching past a guard, clearing a jam or adjusting rollers and knives: stop and lock out by your site's "
    "procedure. Figures come from counters and may be late; no interlock may depend on them."
)


def plant(units: str = "metric", currency: str = "EUR") -> Plant:
    """Give the invented works."""
    film = {"cut_length_mm": 56, "width_mm": 70, "reel_outer_mm": 300, "reel_core_mm": 76}
    return Plant(
        shop="Gorse Lane Sweets",
        zone="Europe/Berlin",
        units=units,  # type: ignore[arg-type]
        currency=currency,
        shifts=(
            Shift(id="early", start="06:00", end="14:00"),  # type: ignore[arg-type]
            Shift(id="late", start="14:00", end="22:00"),  # type: ignore[arg-type]
        ),
        lines=(Line(id="1", name="line 1"), Line(id="2", name="line 2")),
        machines=(
            Machine(id="sizer2", kind="sizer", name="sizer 2", line="1"),
            Machine(id="wrap1", kind="cut-and-wrap machine", name="cut-and-wrap 1", line="1"),
            Machine(id="wrap3", kind="cut-and-wrap machine", name="cut-and-wrap 3", line="1"),
            Machine(id="sizer4", kind="sizer", name="sizer 4", line="2"),
            Machine(id="wrap2", kind="cut-and-wrap machine", name="cut-and-wrap 2", line="2"),
        ),
        webs=(
            Web(id="clear", kind="film", name="clear film", **film),  # type: ignore[arg-type]
            Web(id="wax", kind="wax paper", name="wax paper", **{**film, "cut_length_mm": 58}),  # type: ignore[arg-type]
        ),
        products=(
            Product(
                id="honey",
                flavour="honey",
                mass_g=6.8,
                mass_tolerance_g=0.3,
                diameter_mm=15,
                diameter_tolerance_mm=0.3,
                cut_length_mm=27,
            ),
        ),
    )


def scope(machine: str, period: Period, label: str, line: str = "1") -> Scope:
    """Give a scope whose now is its period's end."""
    return Scope(line, machine, period, period.end, label)


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
                -0.0124,
                -0.0094,
                "95 % confidence",
                341,
                WEEK,
                ("trade-practice",),
                "slope of 341 batch means over running hours = −0.0112",
            ),
            too_few("temperature_mm_per_c", "rope 1 °C cooler", "mm/°C", needs=8, has=3),
        ),
        (
            Table(
                "moves",
                "What moves the diameter",
                (
                    ("what", "what", ""),
                    ("size", "size", "mm"),
                    ("interval", "95 % interval", ""),
                    ("from", "from", ""),
                ),
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
                        "from": "cannot be told from zero",
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
                {
                    "running_h": hours,
                    "value": smooth,
                    "low": [-0.05] * 341,
                    "high": [0.05] * 341,
                    "signal": signal,
                }
            ),
        },
        ("No rope temperature was exported: taper and temperature cannot be told apart.",),
        (LOCK_OUT,),
    )


def tape() -> pl.DataFrame:
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
    return pl.DataFrame(data, schema=TAPE, orient="row")


def rate() -> pl.DataFrame:
    """Give pieces a minute along that clock."""
    rng = random.Random(3)
    states = [(r["start"], r["end"], r["state"]) for r in tape().iter_rows(named=True)]
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
    ladder = [
        ("nominal, 350 a minute", 455, 159250), ("changeovers", 45, -15750), ("stops of 5 minutes and more", 30, -10500),
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
            Figure(
                "good_pieces",
                "good pieces",
                117940,
                "pieces",
                n=2880,
                period=EARLY,
                working="increments summed",
            ),
            Figure(
                "uptime_percent",
                "uptime",
                80.2,
                "%",
                79.0,
                81.5,
                "bounds: unseen minutes",
                2880,
                EARLY,
                ("iso-22400-2",),
                "(running 333 + slow 32) / planned 455 = 80.2 %",
            ),
            cannot_tell("effectiveness_percent", "effectiveness", "%", "no design rate in plant.toml"),
        ),
        (
            Table(
                "ladder",
                "Where the pieces went",
                (("what", "what", ""), ("minutes", "minutes", ""), ("pieces", "pieces", "")),
                [{"what": w, "minutes": m, "pieces": p} for w, m, p in ladder],
            ),
            Table(
                "next",
                "Next",
                (("what", "what", ""), ("at", "when", ""), ("interval", "between", "")),
                [
                    {
                        "what": "film reel ends",
                        "at": EARLY.end - timedelta(minutes=8),
                        "interval": "13:48 to 13:57",
                    },
                    {"what": "batch ends, honey", "at": EARLY.end - timedelta(minutes=19), "interval": None},
                    {"what": "shift ends", "at": EARLY.end, "interval": None},
                ],
            ),
        ),
        {"rate": rate(), "tape": tape()},
        ("A plan export would add the pace still needed.",),
        (LOCK_OUT,),
    )


def weight(machine: str = "wrap1", label: str = "the last 7 days", line: str = "1") -> Answer:
    """Give weights that are even within a batch and uneven between batches."""
    rng = random.Random(9)
    rows = []
    for i in range(120):
        mean = 6.84 + rng.gauss(0, 0.07)
        at = WEEK.start + timedelta(minutes=i * 90)
        rows.append((at, mean, 0.12, mean - 0.05, mean + 0.05, 10))
    names = ["at", "mean_g", "sd_g", "low", "high", "n"]
    return Answer(
        "weight",
        scope(machine, WEEK, label, line),
        (
            Span(
                "A piece weighs 6.84 g, 0.04 g over its target; batches differ by 0.07 g, pieces in one batch by 0.12 g."
            ),
        ),
        "6.82 to 6.86 g; 1,200 pieces of 120 batches. Wrap of 0.21 g a piece is taken off.",
        (
            Figure("mean_g", "mean of a piece", 6.84, "g", 6.82, 6.86, "95 % confidence", 1200, WEEK),
            Figure("target_g", "target", 6.8, "g", interval_kind="set, no interval"),
            Figure("tolerance_low_g", "tolerance from", 6.5, "g", interval_kind="set, no interval"),
            Figure("tolerance_high_g", "tolerance to", 7.1, "g", interval_kind="set, no interval"),
        ),
        (
            Table(
                "spread",
                "Spread of a piece's weight",
                (("what", "what", ""), ("sd", "standard deviation", "g"), ("interval", "95 % interval", "")),
                [
                    {"what": "between batches", "sd": 0.07, "interval": "0.06 to 0.08"},
                    {"what": "within a batch", "sd": 0.12, "interval": "0.11 to 0.13"},
                ],
            ),
        ),
        {"batches": pl.DataFrame(rows, schema=names, orient="row")},
        (),
        (
            "Label weights are a planning aid; the decision rests with the local weights-and-measures authority.",
        ),
    )


def wrap(machine: str = "wrap1", label: str = "the last 28 days", line: str = "1") -> Answer:
    """Give the use of two webs by cause."""
    causes = {
        "wax paper": [("geometry", 58.0), ("rejects", 0.7), ("restarts", 1.0), ("reel ends and splices", 1.6), ("unexplained", 2.1)],
        "clear film": [("geometry", 56.0), ("rejects", 0.7), ("restarts", 1.1), ("reel ends and splices", 0.9), ("unexplained", 0.2)],
    }  # fmt: skip
    rows = [
        (web, "film" if "film" in web else "wax paper", c, m)
        for web, parts in causes.items()
        for c, m in parts
    ]
    return Answer(
        "wrap",
        scope(machine, WEEK, label, line),
        (
            Span("A thousand pieces take 58.9 m of film and 63.4 m of wax paper; "),
            Span("two metres of the paper have no explanation", call=True),
            Span("."),
        ),
        "58.6 to 59.2 m and 62.8 to 64.0 m, last four weeks, 9.4 million good pieces. Reel 41 is 6 % shorter than its "
        "label says.",
        (
            Figure(
                "film_m_per_thousand",
                "film a thousand good pieces",
                58.9,
                "m/1000",
                58.6,
                59.2,
                "95 % confidence",
                412,
            ),
        ),
        (
            Table(
                "use",
                "A thousand good pieces take",
                (("web", "web", ""), ("m", "length", "m"), ("kg", "mass", "kg"), ("money", "money", "EUR")),
                [
                    {"web": "clear film", "m": 58.9, "kg": 0.132, "money": 0.71},
                    {"web": "wax paper", "m": 63.4, "kg": 0.178, "money": None},
                ],
            ),
        ),
        {"causes": pl.DataFrame(rows, schema=["web", "kind", "cause", "m_per_thousand"], orient="row")},
        ("No price of wax paper in plant.toml.",),
        ("Wrap that touches food must be approved for it: the supplier's declaration says so.",),
    )


def order(machine: str = "wrap1", label: str = "all readings", line: str = "1") -> Answer:
    """Give the stock of two webs ahead, one delivery each, one to be ordered."""
    start = datetime(2026, 6, 9, 12, tzinfo=UTC)
    rows, arrivals = [], []
    for web, stock, use, arrives in (("clear", 38.0, 4.6, 24), ("wax", 52.0, 5.4, 36)):
        for day in range(63):
            for after in (False, True) if day == 38 else (day > 38,):
                mid = stock - use * day / 7 + (arrives if after else 0)
                wide = 0.15 * day**0.8
                rows.append(
                    (
                        web,
                        start + timedelta(days=day),
                        mid - wide,
                        mid - wide * 0.4,
                        mid,
                        mid + wide * 0.4,
                        mid + wide,
                    )
                )
        arrivals.append((web, start + timedelta(days=38), float(arrives), "advised"))
    arrivals.append(("clear", datetime(2026, 6, 25, 10, tzinfo=UTC), 24.0, "order by"))
    names = ["web", "at", "low90", "low50", "mid", "high50", "high90"]
    return Answer(
        "order",
        scope(machine, WEEK, label, line),
        (
            Span("Order 24 reels of clear film by Thursday 25 June; "),
            Span("waiting a week risks running out with 1 chance in 6", call=True),
            Span("."),
        ),
        "38 reels on hand by the count of Mon 8 June; 4.6 a week, 4.1 to 5.2.",
        (
            Figure("order_by_clear", "order clear film by", datetime(2026, 6, 25, 10, tzinfo=UTC)),
            Figure("reels_clear", "reels of clear film", 24, "reels", 22, 29, "90 % of demands", 28),
        ),
        (
            Table(
                "advice",
                "What to order",
                (
                    ("web", "web", ""),
                    ("reels", "reels", ""),
                    ("by", "order by", ""),
                    ("money", "money", "EUR"),
                ),
                [
                    {
                        "web": "clear film",
                        "reels": 24,
                        "by": datetime(2026, 6, 25, 10, tzinfo=UTC).date(),
                        "money": 1488.0,
                    },
                    {"web": "wax paper", "reels": 0, "by": None, "money": None},
                ],
            ),
        ),
        {
            "fan": pl.DataFrame(rows, schema=names, orient="row"),
            "deliveries": pl.DataFrame(arrivals, schema=["web", "at", "reels", "kind"], orient="row"),
        },
        (),
        ("Wrap that touches food must be approved for it.",),
    )


ANSWERS = {"rope": rope, "weight": weight, "shift": shift, "wrap": wrap, "order": order}
