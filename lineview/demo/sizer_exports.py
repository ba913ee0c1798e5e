"""The gauge exports of the two sizers, the batch scanner and the hall thermometer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from lineview.demo.day import LineDay, wall
from lineview.demo.files import Cell, write_xlsx
from lineview.demo.rope import Batch

PAIRS_MM = (40.0, 28.0, 20.0)
#: The first pair slips a little, so speed times diameter squared is not quite the same at it.
SLIP = (0.006, 0.0, 0.0)
WINTER_TIME = ZoneInfo("Etc/GMT-1")


def write_sizer1(day: LineDay, folder: Path) -> None:
    """Write a day of the first sizer: XLSX, winter time all year, a units row, no value at a standstill.

    Parameters
    ----------
    day : LineDay
        The first line's day; its generator draws gauge noise and bad cells.
    folder : pathlib.Path
        Where the file goes; made already.
    """
    at = day.times(20.0)
    gauges, rope = day.tally.gauges(at), day.tally.at(at)["rope"]
    shown = gauges["diameter"] + day.rng.normal(0.0, day.spec.sd_gauge_mm, len(at))
    bad = set(day.rng.choice(len(at), 6, replace=False))
    rows: list[Sequence[Cell]] = [["Strangmessung (erfundene Daten)"], []]
    rows += [["Zeit (MEZ)", "Strang Ø", "Strang Länge"], ["", "mm", "dm"]]
    for i, moment in enumerate(at):
        value: Cell = None if math.isnan(shown[i]) else round(float(shown[i]), 2)
        if i in bad and value is not None:
            value = "----"
        rows.append([wall(moment, WINTER_TIME), value, (int(rope[i] * 10.0 + 1e-6) + 912345) % 1000000])
    notes = [["Hinweis"], ["Invented data. Messstelle 450 mm nach Walzenpaar 4"]]
    write_xlsx(folder / f"sizer1_{day.date:%Y-%m-%d}.xlsx", {"Messwerte": rows, "Hinweise": notes})


def write_sizer2(day: LineDay, folder: Path) -> None:
    """Write a day of the second sizer: comma CSV with a mark of UTF-8, epoch seconds, inches.

    Parameters
    ----------
    day : LineDay
        The second line's day; its generator draws gauge noise and bad cells.
    folder : pathlib.Path
        Where the file goes; made already.
    """
    at = day.times(30.0)
    gauges, rope = day.tally.gauges(at), day.tally.at(at)["rope"]
    shown = gauges["diameter"] + day.rng.normal(0.0, day.spec.sd_gauge_mm, len(at))
    bad = set(day.rng.choice(len(at), 4, replace=False))
    lines = ["unix_s,rope_dia_in,rope_m,v1,v2,v3,v4,"]
    for i, moment in enumerate(at):
        standing = math.isnan(shown[i])
        inches = "" if standing else f"{shown[i] / 25.4:.4f}"
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
    """Write what was scanned at each batch of the second line: long, epoch milliseconds.

    Parameters
    ----------
    batches : sequence of Batch
        The second line's batches, in the order of the file.
    path : pathlib.Path
        The file to write; an older one is replaced.
    """
    lines = ["# batch scanner, invented data", "ms|tag|text"]
    for batch in batches:
        ms = round((batch.start_s or 0.0) * 1000.0)
        lines += [f"{ms}|BATCH|{batch.id}", f"{ms}|FLAVOUR|{batch.product.flavour}"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def hall_rows(first: LineDay, second: LineDay, zone: ZoneInfo) -> list[str]:
    """Give a day of the hall thermometer: each minute, in °C and in °F, twelve-hour clock.

    Parameters
    ----------
    first, second : LineDay
        The same day of both lines; moments and noise come from the first.
    zone : zoneinfo.ZoneInfo
        The zone of the works; moments are written as its wall time.

    Returns
    -------
    list of str
        Rows without a heading, a tab between cells: wall time, rope temperature of the first sizer [°C]
        and of the second [°F]. A cell is empty where its sizer stands, and now and then the first reads
        n/a; where both are empty there is no row.
    """
    at = first.times(60.0)
    one, two = first.tally.gauges(at)["temperature"], second.tally.gauges(at)["temperature"]
    noise = first.rng.normal(0.0, 0.1, (2, len(at)))
    rows = []
    for i, moment in enumerate(at):
        celsius = "" if math.isnan(one[i]) else f"{one[i] + noise[0, i]:.1f}"
        fahrenheit = "" if math.isnan(two[i]) else f"{(two[i] + noise[1, i]) * 1.8 + 32.0:.1f}"
        if i % 700 == 333:
            celsius = "n/a"
        if not celsius and not fahrenheit:
            continue
        rows.append(f"{wall(moment, zone):%m/%d/%Y %I:%M:%S %p}\t{celsius}\t{fahrenheit}")
    return rows
