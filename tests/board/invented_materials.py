# ruff: noqa: E501 - tables of invented figures read better in one row
"""Hand-written answers of an invented works about weights, wrap and orders."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import polars as pl

from lineview.core.figure import Figure
from lineview.report.answer import Answer, Span, Table
from tests.board.invented_scene import WEEK, scope


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
            Figure(
                "mean_g",
                "mean of a piece",
                6.84,
                "g",
                low=6.82,
                high=6.86,
                interval_kind="95 % confidence",
                n=1200,
                period=WEEK,
            ),
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
        ("Label weights are a planning aid; the decision rests with the local weights-and-measures authority.",),
    )


def wrap(machine: str = "wrap1", label: str = "the last 28 days", line: str = "1") -> Answer:
    """Give the use of two webs by cause."""
    causes = {
        "wax paper": [("geometry", 58.0), ("rejects", 0.7), ("restarts", 1.0), ("reel ends and splices", 1.6), ("unexplained", 2.1)],
        "clear film": [("geometry", 56.0), ("rejects", 0.7), ("restarts", 1.1), ("reel ends and splices", 0.9), ("unexplained", 0.2)],
    }  # fmt: skip
    rows = [(web, c, m) for web, parts in causes.items() for c, m in parts]
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
                low=58.6,
                high=59.2,
                interval_kind="95 % confidence",
                n=412,
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
            Table(
                "short reels",
                "Reels shorter than their label",
                (
                    ("reel", "reel", ""),
                    ("supplier", "supplier", ""),
                    ("label", "label", "m"),
                    ("short", "short by", "m"),
                ),
                [{"reel": "41", "supplier": "Invented Papers", "label": 1470.0, "short": 88.0}],
            ),
        ),
        {"causes": pl.DataFrame(rows, schema=["web", "cause", "m_per_thousand"], orient="row")},
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
                    (web, start + timedelta(days=day), mid - wide, mid - wide * 0.4, mid, mid + wide * 0.4, mid + wide)
                )
        arrivals.append((web, start + timedelta(days=38), float(arrives), "advised"))
    arrivals.append(("clear", datetime(2026, 6, 25, 10, tzinfo=UTC), 24.0, "order by"))
    names = ["web", "at", "low90", "low50", "mid", "high50", "high90"]
    return Answer(
        "order",
        scope(machine, WEEK, label, line),
        (
            Span("Order 24 reels of clear film by Thursday 25 June; "),
            Span("waiting a week means a risk of 17 % of running out", call=True),
            Span("."),
        ),
        "38 reels on hand by the count of Mon 8 June; 4.6 a week, 4.1 to 5.2.",
        (
            Figure("order_by_clear", "order clear film by", datetime(2026, 6, 25, 10, tzinfo=UTC)),
            Figure(
                "reels_clear",
                "reels of clear film",
                24,
                "reels",
                low=22,
                high=29,
                interval_kind="90 % of demands",
                n=28,
            ),
        ),
        (
            Table(
                "advice",
                "What to order",
                (("web", "web", ""), ("reels", "reels", ""), ("by", "order by", ""), ("money", "money", "EUR")),
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
        ("clear film: order 24 reels by Thursday 25 June. 38.0 reels on hand, at the expected need out in 58 days.",),
    )
