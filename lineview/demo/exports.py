"""The exports of the machines, each awkward in its own way: counters, gauges, scanner, thermometer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from lineview.demo.files import Cell, wall, write_gzip, write_xlsx
from lineview.demo.rope import Batch
from lineview.demo.spec import LineSpec, Window
from lineview.demo.truth import LineDay

WRAP1_START = {"pieces": 41200, "rejects": 9120, "blanks": 30211, "film": 51234, "paper": 18400}
WRAP2_START = {"good": 8412345, "rejects": 104020, "blanks": 61007, "film": 51400000, "paper": 45900000}
#: Name, channel, counts a piece or metre, every how manieth moment.
WRAP2_TAGS = (
    ("W2.Good.Acc", "good", 1.0, 1), ("W2.Reject.Acc", "rejects", 1.0, 1), ("W2.Blank.Acc", "blanks", 1.0, 1),
    ("W2.Film.cm", "film", 100.0, 3), ("W2.Paper.cm", "paper", 100.0, 3),
)  # fmt: skip
CLOCK_FAST_S = 42.0
#: The first machine's logger was off the network: day of the week from 0, from and to [s into its shifts].
GAP = (2, 15840.0, 16670.0)
#: The second machine was without power: day of the week, from and to [s into its late shift].
OUTAGE = (1, 40.0, 200.0)
_HEADER = "Datum;Uhrzeit;Stück gesamt;Ausschuss;Leerwickel;Folie;Wachspapier;Takt 1/min"


def gaps_of(day: LineDay) -> list[tuple[float, float]]:
    """Where a machine's readings are missing, from the last before to the first after [s since 1970]."""
    if day.spec.wrap == "wrap2":
        away = _outage(day)
        return [away] if np.isfinite(away[0]) else []
    return [(day.start_s + GAP[1], day.start_s + GAP[2])] if day.number % 7 == GAP[0] else []


def write_wrap1(day: LineDay, folder: Path, zone: ZoneInfo) -> None:
    """Write a day of the first machine: semicolons, Windows-1252, 16-bit counters, preamble, footer."""
    at = day.times(10.0, before_s=30.0, after_s=30.0)
    true = day.counters.at(at)
    scaled = {**true, "film": true["film"] * 10.0, "paper": true["paper"] * 10.0}
    columns = {c: (np.floor(scaled[c] + 1e-6).astype(int) + WRAP1_START[c]) % 65536 for c in WRAP1_START}
    speed = np.diff(true["pieces"], prepend=true["pieces"][0]) * 6.0
    bad = set(day.rng.choice(len(at) - 2, 5, replace=False) + 1)
    if day.number % 7 == 1:
        columns["pieces"][len(at) // 3] = 65535  # a read of all ones
    lines = ["Zählerprotokoll Wickler 1 (erfundene Daten);;", f"Erstellt;{day.date:%d.%m.%Y};", "",
             _HEADER, ";;Stk;Stk;Stk;dm;dm;1/min"]  # fmt: skip
    for i, moment in enumerate(at):
        if any(a < moment < b for a, b in gaps_of(day)):
            continue
        if i and i % 1440 == 3:
            lines.append(_HEADER)
        stamp = wall(moment, zone).strftime("%d.%m.%Y;%H:%M:%S")
        cells = ["Fehler" if i in bad and c == "pieces" else str(v[i]) for c, v in columns.items()]
        lines.append(f"{stamp};{';'.join(cells)};{f'{speed[i]:.1f}'.replace('.', ',')}")
    pieces, rejects = (int(true[c][-1] - true[c][0]) for c in ("pieces", "rejects"))
    lines.append(f"Summe;;{pieces};{rejects}")
    text = "\r\n".join(lines) + "\r\n"
    (folder / f"wrap1_{day.date:%Y-%m-%d}.csv").write_bytes(text.encode("cp1252"))


def write_wrap2(day: LineDay, folder: Path, zone: ZoneInfo) -> None:
    """Write a day of the second machine: a file a shift, overlapping, long, UTF-16, gzipped, clock fast."""
    rows = _wrap2_rows(day)
    stamps = {at: _stamp(at, zone) for at in {row[0] for row in rows}}
    for window in (s.window for s in day.shifts):
        first, last = (max(window.start_s - 300.0, day.start_s - 30.0), min(window.end_s + 900.0, day.end_s + 30.0))
        picked = [row for row in rows if first <= row[0] <= last]
        if day.number % 7 == 3 and window.shift == "late":
            picked = _with_conflict(picked, window, day.spec)
        lines = ["timestamp\tname\tvalue\tquality"]
        lines += [f"{stamps[at]}\t{name}\t{value}\t{quality}" for at, name, value, quality in picked]
        name = f"wrap2_{window.date:%Y-%m-%d}_{window.shift}.tsv.gz"
        write_gzip(folder / name, ("\ufeff" + "\r\n".join(lines) + "\r\n").encode("utf-16-le"))


Row = tuple[float, str, str, str]


def _wrap2_rows(day: LineDay) -> list[Row]:
    rows: list[Row] = []
    at = day.times(10.0, before_s=30.0, after_s=30.0)
    away = _outage(day)
    at = at[~((at > away[0]) & (at < away[1]))]
    for name, channel, factor, thin in WRAP2_TAGS:
        moments = at[::thin]
        values = _wrap2_values(day, channel, factor, moments)
        quality = day.rng.choice(["Good", "Uncertain", "Bad"], len(moments), p=[0.998, 0.0012, 0.0008])
        quality[[0, -1]] = "Good"
        for moment, value, word in zip(moments, values, quality, strict=True):
            rows.append((float(moment), name, "0" if word == "Bad" else str(int(value)), str(word)))
    rows += [(s.t0, "W2.State", _state(s.state, s.reason), "Good") for s in day.stretches()]
    return sorted(rows)


def _wrap2_values(day: LineDay, channel: str, factor: float, at: NDArray[np.float64]) -> NDArray[np.int64]:
    counts = np.floor(day.counters.at(at)[channel] * factor + 1e-6).astype(np.int64) + WRAP2_START[channel]
    values = counts - day.counts_at_reset.get(channel, 0)
    away = _outage(day)
    if np.isfinite(away[0]):
        # The counters start again from 0; what they stood at is gone for good.
        day.counts_at_reset[channel] = int(counts[at <= away[0]][-1])
        values[at >= away[1]] = counts[at >= away[1]] - day.counts_at_reset[channel]
    if day.number % 7 == 3 and channel == "good":
        turns = np.flatnonzero(np.diff(values // 65536) > 0)
        if len(turns):
            values[turns[0] + 1] -= 65536  # the low word is new, the high word still old
    return values


def _outage(day: LineDay) -> tuple[float, float]:
    late = [s.window.start_s for s in day.shifts if s.window.shift == "late"]
    if day.number % 7 != OUTAGE[0] or not late:
        return (np.inf, np.inf)
    return late[0] + OUTAGE[1], late[0] + OUTAGE[2]


def _state(state: str, reason: str) -> str:
    if state in ("running", "slow"):
        return "Execute"
    if state == "break":
        return "Idle"
    if reason in ("waiting for rope", "next batch"):
        return "Suspended"
    return "Setup" if state == "changeover" else "Held"


def _with_conflict(rows: list[Row], window: Window, spec: LineSpec) -> list[Row]:
    """Change one reject reading in the overlap of two files, as if one of them had been edited."""
    which = next(i for i, r in enumerate(rows) if r[1] == "W2.Reject.Acc" and r[0] >= window.start_s - 200.0)
    at, name, value, quality = rows[which]
    return [*rows[:which], (at, name, str(int(value) + 3), quality), *rows[which + 1 :]]


def _stamp(at_s: float, zone: ZoneInfo) -> str:
    moment = datetime.fromtimestamp(0, UTC) + timedelta(seconds=round(at_s + CLOCK_FAST_S, 3))
    return moment.astimezone(zone).isoformat(timespec="milliseconds")


PAIRS_MM = (40.0, 28.0, 20.0)
#: The first pair slips a little, so speed times diameter squared is not quite the same at it.
SLIP = (0.006, 0.0, 0.0)
WINTER_TIME = ZoneInfo("Etc/GMT-1")


def write_sizer1(day: LineDay, folder: Path) -> None:
    """Write a day of the first sizer: XLSX, winter time all year, a units row, no value at a standstill."""
    at = day.times(20.0)
    gauges, rope = day.counters.gauges(at), day.counters.at(at)["rope"]
    diameter_mm = gauges["diameter"] + day.rng.normal(0.0, day.spec.sd_gauge_mm, len(at))
    bad = set(day.rng.choice(len(at), 6, replace=False))
    rows: list[Sequence[Cell]] = [["Strangmessung (erfundene Daten)"], []]
    rows += [["Zeit (MEZ)", "Strang Ø", "Strang Länge"], ["", "mm", "dm"]]
    for i, moment in enumerate(at):
        value: Cell = None if math.isnan(diameter_mm[i]) else round(float(diameter_mm[i]), 2)
        if i in bad and value is not None:
            value = "----"
        rows.append([wall(moment, WINTER_TIME), value, (int(rope[i] * 10.0 + 1e-6) + 912345) % 1000000])
    notes = [["Hinweis"], ["Invented data. Messstelle 450 mm nach Walzenpaar 4"]]
    write_xlsx(folder / f"sizer1_{day.date:%Y-%m-%d}.xlsx", {"Messwerte": rows, "Hinweise": notes})


def write_sizer2(day: LineDay, folder: Path) -> None:
    """Write a day of the second sizer: comma CSV with a mark of UTF-8, epoch seconds, inches."""
    at = day.times(30.0)
    gauges, rope = day.counters.gauges(at), day.counters.at(at)["rope"]
    diameter_mm = gauges["diameter"] + day.rng.normal(0.0, day.spec.sd_gauge_mm, len(at))
    bad = set(day.rng.choice(len(at), 4, replace=False))
    lines = ["unix_s,rope_dia_in,rope_m,v1,v2,v3,v4,"]
    for i, moment in enumerate(at):
        standing = math.isnan(diameter_mm[i])
        inches = "" if standing else f"{diameter_mm[i] / 25.4:.4f}"
        if i in bad:
            inches = "1.#QNAN"
        speeds = ["0.000"] * 4 if standing else _speeds(gauges["speed"][i], gauges["diameter"][i], day.rng)
        lines.append(f"{round(moment)},{inches},{int(rope[i] + 1e-6)},{','.join(speeds)},")
    text = "\ufeff" + "\n".join(lines) + "\n"
    (folder / f"sizer2_{day.date:%Y-%m-%d}.csv").write_text(text, encoding="utf-8", newline="")


def _speeds(out: float, diameter: float, rng: np.random.Generator) -> list[str]:
    noise = 1.0 + rng.normal(0.0, 0.001, 4)
    before = [out * (diameter / d) ** 2 * (1.0 + s) for d, s in zip(PAIRS_MM, SLIP, strict=True)]
    return [f"{v * n:.3f}" for v, n in zip([*before, out], noise, strict=True)]


def write_scanner(batches: Sequence[Batch], path: Path) -> None:
    """Write what was scanned at each batch of the second line: long, epoch milliseconds."""
    lines = ["# batch scanner, invented data", "ms|tag|text"]
    for batch in batches:
        ms = round((batch.start_s or 0.0) * 1000.0)
        lines += [f"{ms}|BATCH|{batch.id}", f"{ms}|FLAVOUR|{batch.product.flavour}"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def hall_rows(first: LineDay, second: LineDay, zone: ZoneInfo) -> list[str]:
    """A day of the hall thermometer: each minute, in °C and in °F, twelve-hour clock.

    Gives [°C].
    """
    at = first.times(60.0)
    first_c, second_c = first.counters.gauges(at)["temperature"], second.counters.gauges(at)["temperature"]
    noise = first.rng.normal(0.0, 0.1, (2, len(at)))
    rows = []
    for i, moment in enumerate(at):
        celsius = "" if math.isnan(first_c[i]) else f"{first_c[i] + noise[0, i]:.1f}"
        fahrenheit = "" if math.isnan(second_c[i]) else f"{(second_c[i] + noise[1, i]) * 1.8 + 32.0:.1f}"
        if i % 700 == 333:
            celsius = "n/a"
        if not celsius and not fahrenheit:
            continue
        rows.append(f"{wall(moment, zone):%m/%d/%Y %I:%M:%S %p}\t{celsius}\t{fahrenheit}")
    return rows


def write_unknown(folder: Path, seed: int, start: date) -> None:
    """Write a short log of a borrowed trial counter on the first line, tab separated."""
    rng = np.random.default_rng([seed, 5])
    pieces, rejects = 1012, 12
    lines = ["Trial counter (invented data)", "Date\tTime\tPieces made\tRejects\tRope dia mm"]
    for i in range(120):
        pieces += int(rng.integers(172, 180))
        rejects += int(rng.random() < 0.8)
        hour, minute, second = 10 + (i // 2) // 60, (i // 2) % 60, (i % 2) * 30
        day = f"{start.day:02d}/{start.month:02d}/{start.year}"
        stamp = f"{day}\t{hour:02d}:{minute:02d}:{second:02d}"
        lines.append(f"{stamp}\t{pieces % 10000:,}\t{rejects}\t{rng.normal(15.05, 0.06):.2f}")
    (folder / "trial_counter.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
