"""Mutated exports: no exception but the project's own, every row kept or refused, none slow or large."""

from __future__ import annotations

import codecs
import gzip
import json
import random
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lineview.core.errors import IntakeError
from lineview.intake.exports import Export, Proposal
from lineview.intake.layout.propose import settle
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up

NOW = datetime(2026, 6, 12, tzinfo=UTC)
FORMS = (
    "%Y-%m-%d %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%Y-%m-%dT%H:%M:%SZ",
    "%d-%m-%y %H:%M",
    "%H:%M:%S",
)
HEADERS = {
    "time": ("time", "Zeit", "Horodatage (UTC)", "Fecha", "Datum", "tijd [MEZ]", "timestamp"),
    "pieces": ("pieces", "Stück", "Ist Stück", "Nombre de pièces", "piezas", "Stück/min", "Soll Stück", "count"),
    "film": ("film", "Folie [m]", "Film ft", "pellicola", "Restmeter Folie"),
    "state": ("state", "Status", "état", "quality", "Betriebsart"),
    "mass": ("piece g", "Brutto [g]", "Netto g", "weight", "mass kg"),
    "duration": ("Dauer", "duration", "minutes"),
}
ODD = (
    "", " ", "-", "n/a", "NaN", "inf", "1e400", "#####", "1.#QNAN", "4.2949E+09", "1,234", "1.234,5", "00:12",
    "24:00", "25:61",
    "2062-01-01 00:00:00", "0", "-1", "99999999999999999999999", "\u202f1 000", "Total",
    "=1+1", '="7"', '"', '""', "'", "a;b", "a,b",
    "\t", "12 mm", "5 kg", "∞", "½", "\ufeff", "\u200b", "𝟙", "ÿ", "\x1a", "\x00", "\x07", "\r", "\x0b", "\x85",
    "\u2028", "x" * 5000,
    "true", "null", "[1]", "{", "1970-01-01", "08.06.2026", "26-06-09",
)  # fmt: skip


def grid(draw: random.Random) -> list[list[str]]:
    """A table as a machine would write it: a header, and rows of times and counts."""
    kinds = ["time", *draw.choices([kind for kind in HEADERS if kind != "time"], k=draw.randint(1, 5))]
    form = draw.choice(FORMS)
    at, count = datetime(2026, 6, 8, 6), draw.randint(0, 10 ** draw.randint(1, 9))  # noqa: DTZ001 - a wall clock
    table = [[draw.choice(HEADERS[kind]) for kind in kinds]]
    if draw.random() < 0.2:
        table.append(["", *draw.choices(["m", "ft", "g", "pcs", "°C", ""], k=len(kinds) - 1)])
    for _ in range(draw.randint(0, 40)):
        at += timedelta(seconds=draw.choice([10, 10, 10, 60, 3600]))
        count += draw.randint(-3, 60)
        row = {
            "time": f"{at:{form}}",
            "pieces": str(count),
            "film": f"{count / 10:.1f}",
            "state": draw.choice(["Run", "Stop", "Good", "192"]),
        }
        row |= {"mass": f"{draw.gauss(6.9, 0.1):.2f}", "duration": f"{draw.randint(0, 59)}:{draw.randint(0, 59):02}"}
        table.append([row[kind] for kind in kinds])
    return table


def bent(table: list[list[str]], draw: random.Random) -> list[list[str]]:
    """The same with odd cells, ragged, repeated and swapped rows, preambles and second headers."""
    for _ in range(draw.randint(0, 6)):
        row = draw.choice(table)
        change = draw.random()
        if change < 0.5 and row:
            row[draw.randrange(len(row))] = draw.choice(ODD)
        elif change < 0.6:
            row.append(draw.choice(ODD))
        elif change < 0.7 and row:
            row.pop()
        elif change < 0.8:
            table.insert(draw.randrange(len(table) + 1), list(draw.choice(table)))
        elif change < 0.86:
            table.insert(0, draw.choice([["Report 08.06.2026"], ["All times in UTC"], [], ["wrap1", "x"]]))
        elif change < 0.92:
            table.insert(draw.randrange(len(table) + 1), draw.sample(table[0], len(table[0])))
        elif change < 0.96:
            draw.shuffle(table)
        else:
            table.append(["Total", "9", "9"])
    return table


def written(table: list[list[str]], draw: random.Random) -> bytes:
    """The bytes of a table: separators, quotes, line ends, encodings, and now and then broken ones."""
    mark, end = draw.choice(";,\t|;;"), draw.choice(["\n", "\r\n", "\r", "\n\r", "\n\n"])
    if draw.random() < 0.1:
        names = table[0]
        lines = [json.dumps(dict(zip(names, row, strict=False))) for row in table[1:]]
        text = "\n".join(lines) if draw.random() < 0.6 else "[" + ",".join(lines) + "]"
    elif draw.random() < 0.1:
        text = end.join("".join(f"{cell[:22]:<24}" for cell in row) for row in table)
    else:
        share = draw.choice([0, 0, 0.2, 1])

        def cell(text: str) -> str:
            return (
                '"' + text.replace('"', '""' if draw.random() < 0.9 else '"') + '"' if draw.random() < share else text
            )

        text = end.join(mark.join(map(cell, row)) for row in table)
    encoding = draw.choice(
        ["utf-8", "utf-8", "utf-8-sig", "cp1252", "cp850", "utf-16", "utf-16-le", "utf-32", "latin-1"]
    )
    data = text.encode(encoding, errors="replace")
    for _ in range(draw.choice([0, 0, 0, 1, 3])):
        place = draw.randrange(len(data) + 1)
        long = b"z" * draw.choice([10, 200_000])
        odd = [bytes([draw.randrange(256)]), b"\x00" * draw.randint(1, 300), b'"', codecs.BOM_UTF8, long]
        inserted = draw.choice(odd)
        data = data[:place] if draw.random() < 0.15 else data[:place] + inserted + data[place:]
    return gzip.compress(data, 1) if draw.random() < 0.05 else data


def taken(path: Path, draw: random.Random) -> str:
    """Take a file in as somebody would who answers every question; say what became of it."""
    try:
        found = read_export(path, WORKS, now=NOW)
        if isinstance(found, Proposal):
            answers = {q.about: draw.choice(q.options)[0] for q in found.questions if q.options}
            found = read_export(path, WORKS, layout=settle(found, answers), now=NOW)
    except IntakeError as error:
        assert all(fault.what and (fault.expected or fault.do or fault.where) for fault in error.faults)
        return "refused"
    assert isinstance(found, Export)
    adds_up(found)
    return "taken"


def run(folder: Path, first: int, count: int) -> Counter[str]:
    """Mutated exports by their seeds."""
    ends: Counter[str] = Counter()
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the most begins anew: other tests ran before
    before = held_kb("VmRSS")
    for seed in range(first, first + count):
        draw = random.Random(seed)
        path = folder / draw.choice(["wrap1.csv", "wrap1_2026-06-08.txt", "weights_wrap1.csv", "stops.csv", "log.dat"])
        path.write_bytes(written(bent(grid(draw), draw), draw))
        begun = time.process_time()
        try:
            ends[taken(path, draw)] += 1
        except BaseException as error:
            error.add_note(f"seed {seed}")
            raise
        spent = time.process_time() - begun
        assert spent < 5, f"seed {seed} took {spent:.1f} s of processor"
    assert held_kb("VmHWM") - before < 1_000_000, "more than 1 GB"
    return ends


def held_kb(name: str) -> int:
    """Memory of this process [kB]: VmRSS now, VmHWM at the most."""
    return int(Path("/proc/self/status").read_text(encoding="utf-8").partition(f"{name}:")[2].split()[0])


def test_some_mutated_exports(tmp_path):
    ends = run(tmp_path, 0, 200)
    assert ends["taken"] > 40
    assert ends["refused"] > 40


@pytest.mark.long
@pytest.mark.parametrize("part", range(10))
def test_mutated_exports(tmp_path, part):
    ends = run(tmp_path, 2_000 * part, 2_000)
    print(part, dict(ends))
    assert ends["taken"] > 400
