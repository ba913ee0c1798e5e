# ruff: noqa: E501 - tables of invented exports read better in one row
"""Small exports, each odd in its own way: a shift of one invented wrapper, a few weights, stops or reels."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import polars as pl

from lineview.demo.files import Cell, write_ods, write_xlsx

#: The files of one export by their names.
Files = Mapping[str, bytes]
DAY = "2026-06-08"
START = datetime(2026, 6, 8, 6)  # noqa: DTZ001 - the works' wall clock
ISO = "%Y-%m-%d %H:%M:%S"
BERLIN = ZoneInfo("Europe/Berlin")


def made(minute: float) -> int:
    """Pieces on the counter: 340 a minute, and none in a break."""
    return 4711 + round(340 * (min(minute, 40) + max(0.0, minute - 52)))


def log(head: str, cell: Callable[[int], object] = made, form: str = ISO, **how: float) -> str:
    """A row every so many seconds of so many from a start: its time, and cells by the place of the row."""
    every, count, first = how.get("every", 60), int(how.get("count", 121)), how.get("first", 0)
    times = [START + timedelta(seconds=first + every * k) for k in range(count)]
    return f"{head}\n" + "".join(f"{at:{form}};{cell(k)}\n" for k, at in enumerate(times))


def over_both(cell: Callable[[int], int], lost: int, found: int) -> str:
    """A row every five minutes of both shifts, by the minutes since 06:00; none between two of them."""
    minutes = [k for k in range(-10, 965, 5) if not lost <= k < found]
    rows = [f"{START + timedelta(minutes=k):{ISO}};{cell(min(max(k, 0), 955)) if k >= 0 else 0}\n" for k in minutes]
    return "Time;Pieces\n" + "".join(rows)


def of_hours(cell: Callable[[datetime], object], count: int = 60, hours: int = 1, head: str = "Time;Pieces") -> str:
    times = [START + timedelta(hours=hours * k) for k in range(1, count + 1)]
    return f"{head}\n" + "".join(f"{at:%Y-%m-%d %H:%M:%S};{cell(at)}\n" for at in times)


def an_hour(at: datetime) -> int:
    """Pieces of the hour before a moment, in two shifts."""
    return 19_500 + (at.hour * 613 + at.day * 977) % 2_000 if 6 < (at.hour or 24) <= 22 else 0


def register(at: datetime) -> int:
    """A counter of 16 bits read each hour."""
    hours = range(1, round((at - START).total_seconds() / 3600) + 1)
    return sum(an_hour(START + timedelta(hours=k)) for k in hours) % 65_536


def moments(form: Callable[[datetime], str], hours: float = 0, head: str = "Time;Pieces") -> str:
    times = [START + timedelta(hours=hours, minutes=k) for k in range(121)]
    return f"{head}\n" + "".join(f"{form(at)};{made(k)}\n" for k, at in enumerate(times))


def serials(zero: datetime) -> str:
    return moments(lambda at: f"{(at - zero) / timedelta(days=1):.7f}")


def swapped_days() -> str:
    """What a spreadsheet makes of days that are months as well."""
    days = [datetime(2026, 6, day, 6) for day in range(8, 25)]  # noqa: DTZ001 - the works' wall clock
    times = [day + timedelta(minutes=m) for day in days for m in range(0, 960, 60)]
    forms = ("%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M")
    return "Time;Pieces\n" + "".join(f"{at:{forms[at.day > 12]}};{4711 + 20_400 * k}\n" for k, at in enumerate(times))


def night(form: str = ISO) -> str:
    """The night on which the clock goes back, two hours of it from 02:00 to 03:00."""
    begin = datetime(2026, 10, 24, 19, tzinfo=UTC)
    times = [(begin + timedelta(minutes=6 * k)).astimezone(BERLIN) for k in range(121)]
    return "Time;Pieces\n" + "".join(f"{at:{form}};{made(6 * k)}\n" for k, at in enumerate(times))


def long_table(quality: Callable[[int], str]) -> str:
    rows = [
        f"{START + timedelta(minutes=k):%Y-%m-%dT%H:%M:%S+02:00}\t{tag}\t{value}\t{quality(k)}\n"
        for k in range(90)
        for tag, value in (("W1.Pieces", made(k)), ("W1.Rejects", k // 3), ("W1.State", "Run"), ("W1.Load", 40 + k % 7))
    ]
    return "timestamp\ttag\tvalue\tquality\n" + "".join(rows)


def at_once(head: str, *names: str) -> str:
    cells = [(f"{START + timedelta(minutes=k):{ISO}}", k) for k in range(121)]
    return f"{head}\n" + "".join(
        f"{at};{name};{made(k) + 7 * n * k}\n" for at, k in cells for n, name in enumerate(names)
    )


def split(text: str, *spans: tuple[int, int]) -> list[str]:
    """Parts of an export, each with its header."""
    head, *rows = text.splitlines(keepends=True)
    return [head + "".join(rows[a:b]) for a, b in spans]


def packed(write: Callable[[Path], object], ending: str) -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"file.{ending}"
        write(path)
        return path.read_bytes()


def workbook() -> bytes:
    def rows(day: int) -> list[list[Cell]]:
        times = [datetime(2026, 6, day, 6) + timedelta(minutes=10 * k) for k in range(25)]  # noqa: DTZ001 - a cell has no zone
        return [["time", "pieces", "Film [m]"], *([at, day * 90_000 + 3400 * k, 190 * k] for k, at in enumerate(times))]

    return packed(lambda path: write_xlsx(path, {f"{day}.6.": rows(day) for day in (8, 9)}), "xlsx")


def sheet_of_clocks() -> bytes:
    rows: list[list[Cell]] = [["Uhrzeit", "Stück"]]
    rows += [[f"{6 + k // 60:02}:{k % 60:02}:00", made(k)] for k in range(90)]
    return packed(lambda path: write_ods(path, "08.06.2026", rows), "ods")


def parquet() -> bytes:
    frame = pl.DataFrame(
        {"time": [START + timedelta(minutes=k) for k in range(90)], "pieces": list(map(made, range(90)))}
    )
    buffer = BytesIO()
    frame.with_columns(pl.col("time").dt.replace_time_zone("Europe/Berlin")).write_parquet(buffer)
    return buffer.getvalue()


def documents() -> list[dict[str, object]]:
    return [
        {"time": f"{START + timedelta(minutes=k):%Y-%m-%dT%H:%M:%S}", "counters": {"pieces": made(k), "film": k / 10}}
        for k in range(90)
    ]


def fixed() -> str:
    lines = [f"{'Zeit':<24}{'Stück':>10}{'Folie m':>12}"]
    lines += [
        f"{f'{START + timedelta(minutes=k):%d.%m.%Y %H:%M:%S}':<24}{made(k):>10}{k * 19.5:>12.1f}" for k in range(90)
    ]
    return "Report of the night\n\n" + "\n".join(lines) + "\n"


def thousands(k: int, *marks: str) -> str:
    return f"{made(k):,}".replace(",", marks[k * len(marks) // 121])


LOST = range(30, 60)
#: Exports of one machine that counts, with which a works can be set up; a name without an ending is of a CSV file.
COUNTING: dict[str, str | bytes | dict[str, str]] = {
    "plain": log("Time;Pieces;Rejects;Film [m]", lambda k: f"{made(k)};{k // 2};{19 * k}"),
    "lots in a header": log("Time;Pieces x100", lambda k: made(k) // 100),
    "lots unsaid": log("Time;Pieces", lambda k: made(k) // 100),
    "lots unsaid, far too fast": log("Time;Pieces", lambda k: made(k) * 15),
    "what is left": log("Time;Pieces to go", lambda k: 900_000 - made(k - k % 7)),
    "what is left, unsaid": log("Time;Pieces", lambda k: 900_000 - made(k)),
    "sixteen bits": of_hours(register),
    "sums of hours": of_hours(an_hour),
    "sums of hours, one lost": of_hours(an_hour).replace("2026-06-09 10:00:00", "?"),
    "sums of hours and days": of_hours(an_hour).replace(
        "2026-06-09 07:", f"2026-06-08 23:59:59;{sum(an_hour(START + timedelta(hours=k)) for k in range(1, 18))}\n2026-06-09 07:"
    ),
    "sums of hours written twice": of_hours(an_hour) + of_hours(an_hour).partition("\n")[2][:900],
    "equal sums": of_hours(lambda _: 20_400, 20),
    "sums of two columns": of_hours(lambda at: f"{an_hour(at)};{an_hour(at) // 99}", 40, head="Time;Pieces;Rejects"),
    "since the shift's start": log("Time;Pieces", lambda k: 340 * (10 * k % 480) or 163_200, every=600, count=144, first=600),
    "totals of shifts": of_hours(lambda at: 150_000 + at.day * 977 + at.hour, 9, 8, "shift end;pieces"),
    "a day a row": "Date;Pieces\n" + "".join(f"{k:02}.06.2026;{150_000 + 977 * k % 800}\n" for k in range(1, 16)),
    "an hour beside the day": "Date;Hour;Pieces\n" + "".join(f"08.06.2026;{h:02}-{h + 1:02};{20_000 + h * h}\n" for h in range(6, 14)),
    "no seconds": "Time;Pieces\n" + "".join(f"08.06.2026 06:{k // 6:02};{4711 + 57 * k}\n" for k in range(120)),
    "paces": of_hours(lambda at: 330 + at.minute + at.hour % 9, 40).replace(":00:00", ":10:00"),
    "kilo": log("Time;Pieces", lambda k: f"{made(k) / 1000:.1f}k"),
    "exponents": log("Time;Pieces", lambda k: f"{made(k) // 1000}E3"),
    "good and bad": log("Time;Good;Bad", lambda k: f"{made(k)};{33 + 3 * k}"),
    "good alone": log("Zeit;Gutstück", made, "%d.%m.%Y %H:%M:%S"),
    "rejects with blanks": log("Time;Pieces;Rejects incl. blanks;Blanks", lambda k: f"{made(k)};{9 * k};{2 * k}"),
    "no rejects so far": log("Time;Pieces;Rejects", lambda k: f"{made(k)};-"),
    "two columns of pieces": log("Time;pieces A;pieces B", lambda k: f"{made(k)};{made(k) // 2}"),
    "lanes": log("Time;Lane 1 pieces;Lane 2 pieces", lambda k: f"{(65_000 + 170 * k) % 65_536};{9_000 + 170 * k}"),
    "what is planned beside": log("Zeit;Soll Stück;Ist Stück", lambda k: f"180000;{made(k)}"),
    "a pace beside": log("Zeit;Stück/min;Stück;Takt", lambda k: f"{340 + k % 3};{made(k)};87"),
    "film of no unit": log("Time;Pieces;Film", lambda k: f"{made(k)};{(made(k) - 4711) * 57 // 100}"),
    "paper in feet": log("Time;Pieces;Wax paper (ft)", lambda k: f"{made(k)};{(made(k) - 4711) // 6}"),
    "clocks": {f"wrapper1_{DAY}.csv": log("Clock;Pieces", made, "%H:%M:%S")},
    "clocks below a date": "Report 08.06.2026\n" + log("Clock;Pieces", made, "%H:%M:%S"),
    "clocks after one date": log("Time;Pieces", made, "%H:%M:%S").replace("06:00:00", "06/08/2026 06:00:00", 1),
    "clocks of no day": log("Clock;Pieces", made, "%H:%M:%S"),
    "a day in its first row": log("Day;Time;Pieces", lambda k: made(10 * k), f"{DAY};%H:%M:%S", every=600).replace(f"\n{DAY};", "\n;").replace("\n;", f"\n{DAY};", 1),
    "the day a shift began": log("Production day;Time;Pieces", made, f"{DAY};%H:%M:%S", first=61_200),
    "since 1970 by the wall": moments(lambda at: f"{at.replace(tzinfo=UTC).timestamp():.0f}"),
    "since 1970": moments(lambda at: f"{at.replace(tzinfo=BERLIN).timestamp() * 1000:.0f}"),
    "a spreadsheet's days": serials(datetime(1899, 12, 30)),  # noqa: DTZ001 - a spreadsheet has none
    "a spreadsheet's days of 1904": serials(datetime(1904, 1, 1)),  # noqa: DTZ001 - a spreadsheet has none
    "UTC by a letter": moments(lambda at: f"{at:%Y-%m-%dT%H:%M:%SZ}", -2),
    "UTC unsaid": moments(lambda at: f"{at:{ISO}}", -2),
    "UTC in a header": moments(lambda at: f"{at:{ISO}}", -2, "Zeit (UTC);Stück"),
    "winter time in summer": moments(lambda at: f"{at:{ISO}}", -1, "Zeit [MEZ];Stück"),
    "winter time in cells": moments(lambda at: f"{at:{ISO} CET}"),
    "New York": "Timezone: America/New_York\n" + moments(lambda at: f"{at:{ISO}}", -6),
    "twelve hours": moments(lambda at: f"{at:%Y-%m-%d %I:%M:%S}", 8),
    "twelve hours and a half of the day": moments(lambda at: f"{at:%m/%d/%Y %I:%M:%S %p}", 24 * 6 + 8),
    "the month first, perhaps": moments(lambda at: f"{at:%m/%d/%Y %H:%M:%S}", 24),
    "the year first, perhaps": moments(lambda at: f"{at:%y-%m-%d %H:%M}"),
    "months in words": moments(lambda at: f"{at.day}. Juni {at:%Y %H:%M}"),
    "one number": moments(lambda at: f"{at:%Y%m%d%H%M%S}"),
    "parts of seconds": moments(lambda at: f"{at:{ISO}},{at.minute:03}"),
    "hundredths of an hour": moments(lambda at: f"{at:%Y-%m-%d %H}:{at.minute * 5 // 3:02}"),
    "days swapped": swapped_days(),
    "the clock goes back": night(),
    "the clock goes back, newest first": "Time;Pieces\n" + "".join(reversed(night().splitlines(keepends=True)[1:])),
    "the clock goes forward": log("Time;Pieces").replace(f"{DAY} 07:", "2026-03-29 02:").replace(DAY, "2026-03-29"),
    "a far row": log("Time;Pieces") + "2062-06-08 06:01:00;9\n",
    "a clock that lost its time": log("Time;Pieces") + log("Time;Pieces").partition("\n")[2].replace("2026", "2000"),
    "a clock set back": "\n".join(log("Time;Pieces").splitlines()[:61] + log("Time;Pieces", lambda k: made(k + 30)).splitlines()[31:]) + "\n",
    "status 0 and 1": log("Time;Pieces;Status", lambda k: f"{made(k)};{int(k % 60 > 0)}"),
    "status 192": log("Time;Pieces;Status", lambda k: f"{made(k) if k != 50 else 0};{192 if k != 50 else 0}"),
    "status in words": log("time;pieces;Quality", lambda k: f"{made(k)};{'Good' if k % 30 else 'Uncertain'}"),
    "status of each": log("Time;Pieces;Pieces quality;Rejects;Rejects quality", lambda k: f"{made(k)};0x0;{k};{'0x80050000' if k == 7 else '0x0'}"),
    "states": log("Time;Pieces;State", lambda k: f"{made(k)};{'Run' if not 40 <= k < 52 else 'Stopped'}"),
    "nothing as 0": log("Time;Pieces", lambda k: 0 if 30 <= k % 60 < 35 else made(k)),
    "nothing as -9999": log("Time;Pieces", lambda k: -9999 if 30 <= k % 60 < 35 else made(k)),
    "nothing as 999999": log("Time;Pieces", lambda k: 999_999 if 30 <= k % 60 < 35 else made(k)),
    "placeholders": log("Time;Pieces", lambda k: ("n/a", "#####", "", "?")[k % 4] if 30 <= k < 34 else made(k)),
    "placeholders alone": log("Time;Pieces", lambda k: made(k) if k < 3 else "#####"),
    "both marks of thousands": log("Time;Pieces", lambda k: thousands(k, ".", ",")),
    "points of thousands": log("Time;Pieces;Folie [m]", lambda k: f"{thousands(k, '.')};{k},5"),
    "spaces of thousands": log("Time;Pieces", lambda k: thousands(k, " ")),
    "a mark of thousands or parts": log("Time;Pieces", lambda k: f"{1 + k},{340 * k % 1000:03}", every=600),
    "hexadecimal": log("Time;Pieces", lambda k: f"{made(k):06X}"),
    "parts of pieces": log("Time;Pieces", lambda k: f"{made(k) / 7:.3f}"),
    "a top": log("Time;Pieces", lambda k: min(40_000 + 340 * k, 65_535)),
    "a turn": log("Time;Pieces", lambda k: (40_000 + 340 * k) % 65_536),
    "a reset": log("Time;Pieces", lambda k: made(k) if k < 70 else made(k) - made(70)),
    "a reset at the change of shifts": over_both(lambda k: 340 * k if k < 479 else 340 * (k - 483), 470, 490),
    "a reset while nothing is read": over_both(lambda k: 340 * k if k < 440 else 340 * (k - 470), 440, 520),
    "a turn while nothing is read": over_both(lambda k: (40_000 + 340 * k) % 65_536, 400, 560),
    "unread at the change of shifts": over_both(lambda k: 340 * k, 380, 590),
    "frozen at the change of shifts": over_both(lambda k: 340 * (k if not 440 <= k < 500 else 440), 0, 0),
    "differences at the change of shifts": over_both(lambda k: 1_700 + k % 37, 470, 490),
    "another counter from the second shift on": over_both(lambda k: 340 * k + 600_000 * (k >= 480), 475, 485),
    "hundreds": log("Time;Pieces", lambda k: made(k) // 100 * 100),
    "thousands of pieces": log("Time;Pieces", lambda k: made(k) // 1000 * 1000),
    "a number of 32 bits": log("Time;Pieces", lambda k: (16_780_000 + made(k)) // 2 * 2),
    "unplugged": log("Time;Pieces;Rejects", lambda k: f"{made(min(k, LOST.start) + max(0, k - LOST.stop))};{7 * k}", count=241),
    "changes alone": "".join(row for k, row in enumerate(log("Time;Pieces").splitlines(keepends=True)) if not 42 <= k < 52),
    "sums of changes alone": log("Time;Pieces", lambda k: 330 + k % 17).replace(f"{DAY} 06:2", "?").replace("\n?", "\n#"),
    "never changes": log("Time;Pieces", lambda _: 340),
    "another name midway": log("Time;Machine;Pieces", lambda k: f"{'Wrap 2' if k < 60 else 'WRAP-02'};{made(k)}"),
    "another name, machine first": log("Machine;Time;Pieces", made, f"Wrap 2;{ISO}").replace(f"Wrap 2;{DAY} 07", f"WRAP-02;{DAY} 07"),
    "pieces and total pieces": log("Time;Total pieces;Pieces", lambda k: f"{made(k) + 9};{made(k)}"),
    "machines in a column": at_once("Time;Machine;Pieces", "wrap1", "wrap2"),
    "machines in headers": log("Zeit;Maschine 1 Stück;Maschine 2 Stück", lambda k: f"{made(k)};{310 * k}"),
    "a header for each machine": ";Wrapper 1;;Wrapper 2;\n" + log("Time;Pieces;Rejects;Pieces;Rejects", lambda k: f"{made(k)};{k};{310 * k};{k // 2}"),
    "headers of names alone": log("Time;wrap1;wrap2", lambda k: f"{made(k)};{310 * k}"),
    "a preamble": "Machine: wrap2\nShop: invented\n\n" + log("Datum;Uhrzeit;Stück", made, "%d.%m.%Y;%H:%M:%S"),
    "no header": log("Time;Pieces", lambda k: f"{made(k)};x;{k}").partition("\n")[2],
    "headers again": log("Time;Pieces").replace(f"\n{DAY} 07:", f"\nTime;Pieces\n{DAY} 07:", 2) + "Total;9\n",
    "another header": "\n".join(["time;film;pieces", f"{DAY} 05:00:00;8;158", *log("time;pieces;film", lambda k: f"{made(k)};{k + 9}").splitlines()]),
    "units of a second header": f"time;film\n;m\n{DAY} 06:00:00;100\n{DAY} 06:01:00;119\ntime;film\n;ft\n{DAY} 06:02:00;450\n{DAY} 06:03:00;520\n",
    "separators at the ends": "Report;;;\n;;;\n" + log("Time;Pieces;;;", lambda k: f"{made(k)};;;"),
    "cut off": log("Time;Pieces;Rejects", lambda k: f"{made(k)};{k}")[:-6],
    "cut off in a count": log("Time;Pieces")[:-2],
    "quoted": log('"Time of\nday";"Pieces"', lambda k: f'"{made(k)}"'),
    "line breaks in notes": log("Time;Pieces;Remark", lambda k: f'{made(k)};"jam;\nfilm {k}"' if k % 9 == 4 else f"{made(k)};"),
    "an inch in a note": log("Time;Pieces;Remark", lambda k: f'{made(k)};5" film' if k % 9 == 4 else f"{made(k)};"),
    "blanks beside quotes": log("Time;Pieces;Remark", lambda k: f'{made(k)}; "said ""no"" twice; {k}" '),
    "a long table": {"wrap1_long.tsv": long_table(lambda k: "Good" if k % 9 else "Bad")},
    "a long table of codes": {"wrap1_long.tsv": long_table(lambda k: "192" if k % 9 else "64")},
    "fixed width": {"wrap1.prn": fixed()},
    "halves": dict(zip(("wrapper_a.csv", "wrapper_b.csv"), split(log("Time;Pieces"), (0, 61), (61, 121)), strict=True)),
    "halves that overlap": dict(zip(("wrapper_a.csv", "wrapper_b.csv"), split(log("Time;Pieces"), (0, 80), (50, 121)), strict=True)),
    "two machines": {"wrapper_a.csv": log("Time;Pieces"), "wrapper_b.csv": log("Time;Pieces", lambda k: 9_000 + 310 * k)},
    "a second download": {"wrapper1.csv": split(log("Time;Pieces"), (0, 60))[0], "wrapper1 (1).csv": log("Time;Pieces")},
    "a corrected copy": {"wrapper1.csv": log("Time;Pieces"), "wrapper1_corrected.csv": log("Time;Pieces", lambda k: made(k) - 500 * (k > 100))},
    "days of files": {f"wrapper1_0{d}.06.2026.csv": log("Zeit;Stück;Ausschuss", lambda k, d=d: f"{d * 99_000 + 340 * k};{k}", f"0{d}.06.2026 %H:%M:%S") for d in (7, 8, 9)},
    "a wrapper and a sizer": {"wrap1.csv": log("Time;Pieces"), "sizer1.csv": log("Time;Rope diameter;Temp", lambda k: f"0.5{k % 9}1;9{k % 5}.5")},
}  # fmt: skip
BINARY: dict[str, Files] = {
    "workbook": {"wrap1.xlsx": workbook()},
    "sheet of clocks": {"wrap1.ods": sheet_of_clocks()},
    "parquet": {"wrap1.parquet": parquet()},
    "documents by line": {"wrap1.jsonl": "\n".join([*map(json.dumps, documents()), '{"time":"20']).encode()},
    "documents in a list": {"wrap1.json": json.dumps(documents()).encode()},
    "documents in a document": {"wrap1.json": json.dumps({"machine": "x", "rows": documents()}, indent=1).encode()},
    "UTF-16": {"wrap1.txt": log("Zeit\tStück").replace(";", "\t").encode("utf-16")},
    "a code page": {"wrap1.csv": log("Zeit;Stück;Größe Folie [m]", lambda k: f"{made(k)};{k}").encode("cp1252")},
    "packed": {"wrap1.csv.gz": gzip.compress(log("Time;Pieces").encode(), mtime=0)},
    "no text": {"wrap1.csv": bytes(range(256)) * 9},
    "nothing": {"wrap1.csv": b""},
}


def timed(head: str, rows: Iterable[str]) -> str:
    """A row every ten minutes: its time, then the cells given."""
    times = (START + timedelta(minutes=10 * k) for k in range(999))
    return f"{head}\n" + "".join(f"{at:%Y-%m-%d %H:%M};{cells}\n" for at, cells in zip(times, rows, strict=False))


STOP = f"{DAY} 07:00:00;{DAY} 07:10:00;"
#: Exports of what is no reading, or of a sizer, by the name of their file.
BESIDE: dict[str, str] = {
    "weights_wrap1.csv": timed("when;grams;batch;sample", (f"6.{k}2;B{k // 5};{k}" for k in range(30))),
    "weights_oz.csv": timed("Time;Machine;Weight (oz)", (f"{'wrap1' if k % 9 else 'lift'};0.2{k}" for k in range(10, 40))),
    "weights_comma.csv": timed("Time;Weight", (f"6,{k}17" for k in range(30))),
    "weights_mg.csv": timed("Time;Mass mg", (f"6,{k}02" for k in range(10, 40))),
    "weights_open.csv": timed("Time;Mass", (f"1,{k}34" for k in range(10, 40))),
    "weights_net.csv": timed("Time;Brutto [g];Tara [g];Netto [g]", (f"9.{k};3.00;6.{k}" for k in range(10, 40))),
    "weights_gross.csv": timed("Time;Gross g;Tare g", (f"9.{k};3.00" for k in range(10, 40))),
    "weights_called_gross.csv": timed("Time;Machine;Gross g", (f"wrap1;7.{k}" for k in range(10, 40))),
    "weights_several.csv": timed("Time;piece 1 g;piece 2 g;mean g;std g", (f"6.{k};6.4;6.{k};0.1" for k in range(10, 40))),
    "weights_together.csv": timed("Time;grams;n;lot", ("65.5;10;B1", "0;10;B1", "-1;10;B2", "65.5;x;B2", ";10;B2", "64,9;10;B3", "6.5;1.5;B3")),
    "weights_two.csv": timed("Time;Machine;Weight (g)", (f"W{k % 2};{7 - k % 2}.{k}" for k in range(10, 40))),
    "weights_one.csv": timed("Time;Machine no;Weight (g)", (f"W7;7.0{k}" for k in range(10, 40))),
    "weights_words.csv": timed("Time;target g;actual g", (f"6.60;6.{k} g" for k in range(10, 40))),
    "batches.csv": timed("Beginn;Charge;Sorte;Einwaage [kg];Linie", ("B1;Pflaume;22,7;line1", "B2;Plum;22,9;Linie 1", "B3;plum;23;line9", ";plum;23;line2", "B5;Pear;;line2")),
    "batches_lb.csv": timed("Start;Lot;Flavor;In (lb);End", ("L1;plum;50;06:09", "L2;plum;51;06:19", "L3;plum;50;05:00", "L4;plum;;06:39")),
    "batches_unsaid.csv": timed("Start;Lot;Flavour;Mass in;Line", (f"L{k};plum;5{k};line1" for k in range(8))),
    "batches_ended.csv": timed("Ende;Charge;Sorte", ("B1;plum", "B2;plum")),
    "stops_wrap1.csv": f"Beginn;Ende;Grund\n{STOP}Stau\n{DAY} 09:00:00;;kein Film\n{DAY} 10:00:00;{DAY} 09:00:00;Stau\n",
    "stops_durations.csv": timed("Start;Duration;Reason", ("4 min 30 s;jam", "1 h 2 min;jam", "45s;film", "4'30\";jam", "2 Std. 5 Min.;jam", "x;jam")),
    "stops_clock.csv": timed("Start;Duration;Reason", ("4:30;jam", "0:45;film")),
    "stops_whole_clock.csv": timed("Start;Duration;Reason;Machine", ("0:04:30;jam;wrap1", "0:00:45;film;wrap2")),
    "stops_number.csv": timed("Start;Duration;Reason", (f"{k}.5;jam" for k in range(1, 9))),
    "stops_both.csv": f"Start;End;Duration (min);Reason\n{STOP}10;jam\n{DAY} 08:00:00;{DAY} 08:30:00;12;jam\n{DAY} 09:00:00;;3;jam\n",
    "stops_sum.csv": timed("Start;Reason;Duration (min)", ("jam;5", "film;12", "jam;7", "Total;24")),
    "stops_running.csv": f"Start;End;State\n{STOP}jam\n{DAY} 07:10:00;{DAY} 09:00:00;RUN\n",
    "stops_logged.csv": f"Logged;Start;End;Reason;Department\n{DAY} 07:15:00;{STOP}jam;Produktion\n",
    "stops_either.csv": f"Stop;Start;Reason\n{STOP}jam\n",
    "stops_machines.csv": timed("Start;End;Machine;Reason", (f"{DAY} 15:00;{m};jam" for m in ("packer", "cooker", "WRAP 1", "wrap2"))),
    "stops_over_midnight.csv": f"Start;End;Reason\n{DAY} 23:55:00;00:05;jam\n2026-10-25 02:50:00;2026-10-25 02:10:00;jam\n",
    "reels_wrap1.csv": timed("time;web;reel;length [m];left [m];splices", ("wax;R1;2800;12;1", "film-plum;R2;2.9e3;-;0", "string;R3;9;1;0", "WAX;;2800;;")),
    "reels_ft.csv": timed("Mounted;Web;Reel;Length;Rest of old reel (m)", (f"wax;R{k};9{k}00;12" for k in range(9))),
    "reels_removed.csv": timed("Removed;Web;Reel;Length (m)", (f"wax;R{k};2000" for k in range(3))),
    "reels_both.csv": f"Removed;Mounted;Web;Reel;Length (m)\n{DAY} 09:00;{DAY} 07:00;wax;R1;2000\n",
    "stock.csv": f"counted;web;whole reels;part diameter;on order;due\n{DAY};wax;3;21,5;2;2026-06-12\n{DAY};film-plum;12;;;\n{DAY};wax;;;;\n",
    "plan_line1.csv": "date;product;planned pieces\n2026-06-08;Plum;120000\n2026-06-09;Plum;x\n2026-06-10;Pear;90000\n",
    "plan_weeks.csv": "Week;Product;Pieces\n2026-W25;plum;100000\nKW 26/2026;plum;120000\n2027-W53;plum;1\n27;plum;1\n",
    "plan_spans.csv": "from;until;line;product;pieces\n2026-06-08;2026-06-13;line1;Plum;5,000\n2026-06-08;2026-06-08;line2;Plum;6,000\n2026-06-09;2026-06-08;line2;Plum;7\n",
    "sizer1_inches.csv": "Zeit;Strang Ø;Temperatur\n;in;°F\n" + log("x", lambda k: f"0,55{k % 9};95,{k % 7}", "%d.%m.%Y %H:%M:%S").partition("\n")[2],
    "sizer1_three.csv": log("time;diameter min;diameter mean;diameter max", lambda k: f"13.{k % 9};14.0{k % 9};14.9"),
    "sizer1_units.csv": log("time;rope dia;speed 4;temp", lambda k: f"1.4{k % 9} cm;30.{k % 5} m/min;36.{k % 4} °C"),
    "sizer1_unsaid.csv": log("time;Durchmesser;Geschwindigkeit;Temperatur", lambda k: f"99.{k % 9};{300 + k % 9};{95 + k % 3}"),
    "machine.csv": log("time;pieces;rejects", lambda k: f"{made(k)};{k}"),
    "wrap1_lots.csv": log("time;pieces (100s);film [min];rejects [kg]", lambda k: f"{made(k) // 100};{k};{k}"),
    "wrap1_grams.csv": log("time;count [g];film in ft;good pieces per h", lambda k: f"{made(k)};{60 * k};21000"),
}  # fmt: skip


def small_exports() -> dict[str, Files]:
    """Every small export by its name: the files it is made of."""
    counting = {
        name: {
            file: text.encode() for file, text in (what if isinstance(what, dict) else {"wrapper1.csv": what}).items()
        }
        for name, what in COUNTING.items()
    }
    return counting | BINARY | {name: {name: text.encode()} for name, text in BESIDE.items()}
