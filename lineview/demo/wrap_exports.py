"""The counter exports of the two cut-and-wrap machines, each awkward in its own way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from lineview.demo.day import LineDay, wall
from lineview.demo.files import write_gzip
from lineview.demo.spec import LineSpec
from lineview.demo.windows import Window

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
    """Give where a machine's readings are missing, from the last before to the first after [s since 1970]."""
    if day.spec.wrap == "wrap2":
        away = _outage(day)
        return [away] if np.isfinite(away[0]) else []
    return [(day.start_s + GAP[1], day.start_s + GAP[2])] if day.number % 7 == GAP[0] else []


def write_wrap1(day: LineDay, folder: Path, zone: ZoneInfo) -> None:
    """Write a day of the first machine: semicolons, Windows-1252, 16-bit counters, preamble, footer.

    Parameters
    ----------
    day : LineDay
        The first line's day; its generator draws the bad cells.
    folder : pathlib.Path
        Where the file goes; made already.
    zone : zoneinfo.ZoneInfo
        The zone of the works; moments are written as its wall time.
    """
    at = day.times(10.0, before_s=30.0, after_s=30.0)
    true = day.tally.at(at)
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
    made, rejected = (int(true[c][-1] - true[c][0]) for c in ("pieces", "rejects"))
    lines.append(f"Summe;;{made};{rejected}")
    text = "\r\n".join(lines) + "\r\n"
    (folder / f"wrap1_{day.date:%Y-%m-%d}.csv").write_bytes(text.encode("cp1252"))


def write_wrap2(day: LineDay, folder: Path, zone: ZoneInfo) -> None:
    """Write a day of the second machine: a file a shift, overlapping, long, UTF-16, gzipped, clock fast.

    Parameters
    ----------
    day : LineDay
        The second line's day; its generator draws bad readings, and its `lost` takes what an outage wipes.
    folder : pathlib.Path
        Where the files go; made already.
    zone : zoneinfo.ZoneInfo
        The zone of the works; stamps carry its offset, by a clock 42 s fast.
    """
    rows = _wrap2_rows(day)
    stamps = {at: _stamp(at, zone) for at in {row[0] for row in rows}}
    for window in (s.window for s in day.shifts):
        first, last = (
            max(window.start_s - 300.0, day.start_s - 30.0),
            min(window.end_s + 900.0, day.end_s + 30.0),
        )
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
    counted = np.floor(day.tally.at(at)[channel] * factor + 1e-6).astype(np.int64) + WRAP2_START[channel]
    values = counted - day.lost.get(channel, 0)
    away = _outage(day)
    if np.isfinite(away[0]):
        # The counters start again from 0; what they stood at is gone for good.
        day.lost[channel] = int(counted[at <= away[0]][-1])
        values[at >= away[1]] = counted[at >= away[1]] - day.lost[channel]
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
    shown = datetime.fromtimestamp(0, UTC) + timedelta(seconds=round(at_s + CLOCK_FAST_S, 3))
    return shown.astimezone(zone).isoformat(timespec="milliseconds")
