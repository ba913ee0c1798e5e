"""A simulated week of a wrapper and a sizer, read in trouble; all invented.

Two shifts a day on five days, from 06:00 to 22:00 UTC. A break begins with the late shift and another lies
within the early one, so that shifts meet at a break. Readings come every ten seconds, three seconds off the
shifts' edges, from a quarter of an hour before the first shift to one after the last.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.frames import BATCHES, READINGS, REELS
from lineview.plant import Break, Counter, Gauge, Line, Machine, Plant, Shift

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
DAYS, HOUR = 5, 3600
EVERY_S, OFFSET_S = 10, 3
#: Seconds of a day in which the machines are read.
READ_S = (6 * HOUR - 900, 22 * HOUR + 900)
BREAKS_S = ((9 * HOUR, 9 * HOUR + 900), (14 * HOUR, 14 * HOUR + 1200))
PIECES_PER_S, ROPE_M_PER_S = 5.9, 0.21
MODULUS, ROPE_MODULUS = 10_000, 65_536

WRAPPER = Machine(
    id="wrap", kind="cut-and-wrap machine", line="1",
    counters=(
        Counter(id="made", counts="pieces", modulus=MODULUS, fastest_per_min=450),
        Counter(id="bad", counts="rejects", modulus=MODULUS, fastest_per_min=450),
        Counter(id="empty", counts="blank wraps", modulus=MODULUS, fastest_per_min=450),
        Counter(id="film", counts="film", modulus=100_000, fastest_per_min=300, unit_value=0.1),
    ),
    gauges=(
        Gauge(id="state", measures="state", codes={"M": "maintenance", "B": "blocked"}),
        Gauge(id="flavour", measures="product"),
    ),
)  # fmt: skip
SIZER = Machine(
    id="size", kind="sizer", line="1",
    counters=(
        Counter(id="metres", counts="rope", modulus=ROPE_MODULUS, fastest_per_min=2000, unit_value=0.01),
    ),
    gauges=(Gauge(id="dia", measures="rope diameter", unit="mm"),),
)  # fmt: skip


def plant() -> Plant:
    days = ("mon", "tue", "wed", "thu", "fri")
    shifts = (
        Shift(id="early", start="06:00", end="14:00", days=days, breaks=(Break(start="09:00", end="09:15"),)),
        Shift(id="late", start="14:00", end="22:00", days=days, breaks=(Break(start="14:00", end="14:20"),)),
    )
    return Plant(shop="Invented", lines=(Line(id="1"),), shifts=shifts, machines=(WRAPPER, SIZER))


def moment(at_s: float) -> datetime:
    return MONDAY + timedelta(seconds=float(at_s))


def day_of(at_s: float) -> float:
    """Seconds since Monday of the day's start."""
    return at_s // 86_400 * 86_400


def runs(seed: int) -> np.ndarray:
    """Whether the machines run in each second of the week."""
    rng = np.random.default_rng(seed)
    second = np.arange(DAYS * 86_400)
    clock = second % 86_400
    running = (clock >= 6 * HOUR - 300) & (clock < 22 * HOUR + 200)
    for begin, end in BREAKS_S:
        running &= ~((clock >= begin) & (clock < end))
    starts = np.cumsum(rng.exponential(1100, 500) + 150)
    for start, lasts in zip(starts, 15 + rng.exponential(80, 500), strict=True):
        running[int(start) : int(start + lasts)] = False
    return running


def channel(machine: str, name: str, at_s: np.ndarray, value: np.ndarray, quality: str = "good") -> pl.DataFrame:
    at = pl.Series(np.round(at_s * 1e6).astype(np.int64) + round(MONDAY.timestamp() * 1e6))
    frame = pl.DataFrame({"at": at.cast(pl.Datetime("us", "UTC")), "value": value.astype(float)})
    same = {"machine": pl.lit(machine), "channel": pl.lit(name), "quality": pl.lit(quality), "text": pl.lit(None)}
    whole = frame.with_row_index("row").with_columns(**same, intake=pl.lit(1)).select(list(READINGS))
    return whole.cast(dict(READINGS))


def said(name: str, marks: list[tuple[float, str]]) -> pl.DataFrame:
    """READINGS of a channel that says texts."""
    rows = [("wrap", name, moment(at), None, text, "good", 1, k) for k, (at, text) in enumerate(marks)]
    return pl.DataFrame(rows, schema=READINGS, orient="row")


def totals(running: np.ndarray) -> dict[str, np.ndarray]:
    """What each counter would show without its modulus, second by second."""
    made = np.floor(np.concatenate(([0.0], np.cumsum(running[:-1] * PIECES_PER_S))))
    starts = np.concatenate(([0.0], np.cumsum(np.diff(running.astype(int)) == 1)))
    return {
        "made": made + 4000, "bad": np.floor(made * 0.012) + 900, "empty": 6 * starts,
        "film": np.floor(made * 0.56 + 6 * starts * 0.56) + 30_000,
        "metres": np.floor(np.concatenate(([0.0], np.cumsum(running[:-1] * ROPE_M_PER_S))) * 100),
    }  # fmt: skip


def read_at() -> np.ndarray:
    """The seconds at which the counters are read."""
    day = np.arange(READ_S[0] + OFFSET_S, READ_S[1], EVERY_S)
    return np.concatenate([day + 86_400 * k for k in range(DAYS)])


#: Stretches without readings: [from, until) in seconds since Monday. At speed, over a break's start, over the
#: edge of two shifts, over the end of a day's readings, and a whole shift.
GAPS_S = (
    (8 * HOUR, 8 * HOUR + 700),
    (86_400 + 9 * HOUR - 200, 86_400 + 9 * HOUR + 500),
    (86_400 + 14 * HOUR - 300, 86_400 + 14 * HOUR + 1500),
    (2 * 86_400 + 21 * HOUR, 3 * 86_400),
    (3 * 86_400 + 14 * HOUR, 3 * 86_400 + 22 * HOUR + 900),
)
#: Moments at which every counter starts again at 0: at speed, in a break, in the night.
RESETS_S = (11 * HOUR + 7, 86_400 + 9 * HOUR + 400, 2 * 86_400, 4 * 86_400 + 14 * HOUR + 600)


def wrapper_readings(seed: int) -> pl.DataFrame:
    return _troubled("wrap", {"made": MODULUS, "bad": MODULUS, "empty": MODULUS, "film": 100_000}, seed)


def sizer_readings(seed: int) -> pl.DataFrame:
    at = read_at()
    rng = np.random.default_rng(seed)
    running = runs(seed)[at.astype(int)]
    dia = channel("size", "dia", at[running], 14 + rng.normal(0, 0.03, int(running.sum())))
    return pl.concat([_troubled("size", {"metres": ROPE_MODULUS}, seed), dia])


def _troubled(machine: str, moduli: dict[str, int], seed: int) -> pl.DataFrame:
    at, total = read_at(), totals(runs(seed))
    kept = np.ones(len(at), dtype=bool)
    for begin, end in GAPS_S:
        kept &= (at < begin) | (at >= end)
    at = at[kept]
    frames = []
    for name, modulus in moduli.items():
        count = total[name][at.astype(int)]
        for reset in RESETS_S:
            count = np.where(at >= reset, total[name][at.astype(int)] - total[name][int(reset)], count)
        value = np.mod(count, modulus)
        value[5000:5004] = 0.0  # placeholders
        frames.append(channel(machine, name, at, value))
    whole = pl.concat(frames)
    return pl.concat([whole, whole.sample(200, seed=seed).with_columns(intake=pl.lit(2, pl.Int64))])


def states(seed: int) -> pl.DataFrame:
    """A machine's own words, written where they change: maintenance while it runs, and what nobody knows."""
    running = runs(seed)
    changes = np.flatnonzero(np.diff(running.astype(int))) + 1
    marks = [(0.0, "Held")]
    for k, at in enumerate(changes.tolist()):
        marks.append((float(at), "Execute" if running[at] else ("Held", "B", "99")[k // 2 % 3]))
    inside = [(10 * HOUR, 1000), (86_400 + 13 * HOUR + 3500, 1400), (3 * 86_400 + 13 * HOUR + 3300, 900)]
    for begin, lasts in inside:
        marks = [mark for mark in marks if not begin <= mark[0] < begin + lasts]
        marks += [(float(begin), "M"), (float(begin + lasts), "Execute" if running[begin + lasts] else "Held")]
    return said("state", sorted(marks))


def flavours() -> pl.DataFrame:
    return said("flavour", [(6 * HOUR + 5000 * k, ("mint", "lime", "plum")[k % 3]) for k in range(60)])


def batches() -> pl.DataFrame:
    rows = []
    for k in range(DAYS * 48):
        at = 86_400 * (k // 48) + 6 * HOUR + 1200 * (k % 48)
        rows.append(("1", f"B{k}", ("mint", "lime")[k % 2], moment(at + 4), None, 45.0, 1, k))
    return pl.DataFrame(rows, schema=BATCHES, orient="row")


def reels() -> pl.DataFrame:
    rows = [
        ("wrap", moment(86_400 * (k // 4) + (7 + 4 * (k % 4)) * HOUR + 35), "film", f"r{k}", 2900.0, None, 0, 1, k)
        for k in range(DAYS * 4)
    ]
    return pl.DataFrame(rows, schema=REELS, orient="row")
