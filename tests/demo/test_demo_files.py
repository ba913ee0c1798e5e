"""The demo as files: the same bytes each time, small, marked invented, and true to their truth."""

import csv
import gzip
import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from pydantic import BaseModel

from lineview.core.resources import shipped
from lineview.demo.files import write_ods
from lineview.demo.make import make_demo
from lineview.demo.spec import demo_plant
from lineview.plant.read import read_plant

DEMO = shipped("data") / "demo"


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def _hashes(folder: Path, content: Callable[[Path], bytes] = Path.read_bytes) -> dict[str, str]:
    return {
        str(f.relative_to(folder)): hashlib.sha256(content(f)).hexdigest()
        for f in sorted(folder.rglob("*"))
        if f.is_file()
    }


def _unpacked(file: Path) -> bytes:
    """Give a file's content; what packs it may differ from one Python to another."""
    if file.suffix == ".gz":
        return gzip.decompress(file.read_bytes())
    if file.suffix in (".xlsx", ".ods"):
        with zipfile.ZipFile(file) as packed:
            names = [n for n in packed.namelist() if "sheet" in n or n == "content.xml"]
            return b"".join(packed.read(n) for n in sorted(names))
    return file.read_bytes()


def test_the_same_seed_gives_the_same_bytes_and_another_gives_others(demo: Path, tmp_path: Path) -> None:
    for name, seed in (("one", 3), ("two", 3)):
        make_demo(tmp_path / name, days=1, seed=seed)
    other_seed = _hashes(tmp_path / "one")
    assert other_seed == _hashes(tmp_path / "two")
    ours = _hashes(demo)
    assert ours["plant.toml"] == other_seed["plant.toml"]
    assert ours["exports/wrap1_2026-06-08.csv"] != other_seed["exports/wrap1_2026-06-08.csv"]


def test_the_shipped_week_is_what_the_simulator_writes(demo: Path) -> None:
    assert _hashes(demo, _unpacked) == _hashes(DEMO, _unpacked)


def test_the_week_is_small_and_says_that_it_is_invented() -> None:
    size = sum(f.stat().st_size for f in DEMO.rglob("*") if f.is_file())
    assert size < 15_000_000
    assert "INVENTED" in (DEMO / "README.txt").read_text(encoding="utf-8")
    assert "invented" in demo_plant().shop
    assert json.loads((DEMO / "truth" / "truth.json").read_text(encoding="utf-8"))["invented"] is True


def test_the_plant_description_reads_and_uses_every_key(demo: Path) -> None:
    plant = read_plant(demo / "plant.toml")
    assert plant == demo_plant()
    used: dict[str, set[str]] = {}
    keys: dict[str, set[str]] = {}
    for part in _parts(plant):
        name = type(part).__name__
        used.setdefault(name, set()).update(part.model_fields_set)
        keys[name] = set(type(part).model_fields)
    assert {name: keys[name] - used[name] for name in keys if keys[name] - used[name]} == {}


def _parts(part: BaseModel) -> Iterator[BaseModel]:
    yield part
    for value in (getattr(part, name) for name in type(part).model_fields):
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else ()
        for item in inner:
            if isinstance(item, BaseModel):
                yield from _parts(item)


def test_truth_states_add_up_to_each_shift(demo: Path) -> None:
    rows = rows_of(demo / "truth" / "shifts.csv")
    assert len(rows) == 22
    for row in rows:
        length = (datetime.fromisoformat(row["end"]) - datetime.fromisoformat(row["start"])).total_seconds()
        states = ("running", "slow", "short_stop", "stop", "changeover", "break")
        assert sum(float(row[f"{s}_s"]) for s in states) == pytest.approx(length, abs=0.01)


def test_truth_stops_add_up_to_the_shifts_stops(demo: Path) -> None:
    stops = rows_of(demo / "truth" / "stops.csv")
    for row in rows_of(demo / "truth" / "shifts.csv"):
        mine = [s for s in stops if all(s[k] == row[k] for k in ("machine", "date", "shift"))]
        for state in ("short stop", "stop", "changeover"):
            total = sum(float(s["seconds"]) for s in mine if s["state"] == state)
            assert total == pytest.approx(float(row[f"{state.replace(' ', '_')}_s"]), abs=0.05)


def _wrap1(demo: Path) -> dict[str, list[tuple[datetime, int]]]:
    """Read the first machine's files with no help from intake: semicolons, twelve hours of care."""
    readings: dict[str, list[tuple[datetime, int]]] = {}
    names = ("pieces", "rejects", "blanks", "film", "paper")
    for file in sorted((demo / "exports").glob("wrap1_*.csv")):
        for line in file.read_bytes().decode("cp1252").splitlines():
            cells = line.split(";")
            if len(cells) != 8 or not cells[0][:1].isdigit():
                continue
            at = datetime.strptime(f"{cells[0]} {cells[1]}", "%d.%m.%Y %H:%M:%S")  # noqa: DTZ007 - wall time
            for name, cell in zip(names, cells[2:7], strict=True):
                if cell.isdigit():
                    readings.setdefault(name, []).append((at, int(cell)))
    return readings


def _turned(values: list[int], modulus: int, most: int) -> int:
    """Add up increments modulo the counter's size, leaving out single reads that cannot be."""
    total, last = 0, values[0]
    for value in values[1:]:
        step = (value - last) % modulus
        if step <= most:
            total, last = total + step, value
    return total


def test_first_machines_counters_add_up_to_the_truth(demo: Path) -> None:
    rows = [r for r in rows_of(demo / "truth" / "shifts.csv") if r["machine"] == "wrap1"]
    webs = [r for r in rows_of(demo / "truth" / "web_use.csv") if r["machine"] == "wrap1"]
    totals = {name: _turned([v for _, v in read], 65536, 20000) for name, read in _wrap1(demo).items()}
    assert totals["pieces"] == sum(int(r["good"]) + int(r["rejects"]) for r in rows)
    assert totals["rejects"] == sum(int(r["rejects"]) for r in rows)
    assert totals["blanks"] == sum(int(r["blanks"]) for r in rows)
    for name, kind in (("film", "film"), ("paper", "wax paper")):
        metres = sum(float(r["metres"]) for r in webs if r["kind"] == kind)
        assert totals[name] / 10.0 == pytest.approx(metres, abs=0.2)


def test_second_machines_counters_add_up_to_the_truth(demo: Path) -> None:
    """Overlaps are read once; after the power cut the counters begin again at 0 and no piece is lost."""
    read: dict[str, dict[str, int]] = {}
    for file in sorted((demo / "exports").glob("wrap2_*.tsv.gz")):
        text = gzip.decompress(file.read_bytes()).decode("utf-16")
        for line in text.splitlines()[1:]:
            stamp, name, value, quality = line.split("\t")
            if quality != "Bad" and name.endswith(("Acc", "cm")):
                read.setdefault(name, {}).setdefault(stamp, int(value))
    rows = [r for r in rows_of(demo / "truth" / "shifts.csv") if r["machine"] == "wrap2"]
    for name, column in (("W2.Good.Acc", "good"), ("W2.Reject.Acc", "rejects")):
        values = np.array([v for _, v in sorted(read[name].items())])
        at_zero = int(np.flatnonzero((values[1:] == 0) & (values[:-1] > 1000))[0]) + 1
        total = sum(_turned(list(map(int, part)), 2**32, 5000) for part in np.split(values, [at_zero]))
        assert total == sum(int(r[column]) for r in rows)


def test_clocks_and_conflicts_are_there_to_be_found(demo: Path) -> None:
    """One moment with two values, one word torn by 65536, and a clock 42 s fast."""
    values_at: dict[tuple[str, str], set[str]] = {}
    for file in sorted((demo / "exports").glob("wrap2_2026-06-11_*.tsv.gz")):
        for line in gzip.decompress(file.read_bytes()).decode("utf-16").splitlines()[1:]:
            stamp, name, value, _ = line.split("\t")
            values_at.setdefault((stamp, name), set()).add(value)
    assert sum(len(values) > 1 for (_, name), values in values_at.items() if name == "W2.Reject.Acc") == 1
    good = [int(next(iter(v))) for (_, n), v in sorted(values_at.items()) if n == "W2.Good.Acc" and v != {"0"}]
    assert sum(65000 < -step <= 65536 for step in np.diff(good)) == 1
    assert all(stamp[17:19] in {"02", "12", "22", "32", "42", "52"} for stamp, n in values_at if n != "W2.State")


def test_weighed_pieces_belong_to_batches_of_the_sheet(demo: Path) -> None:
    batches = {r["batch"]: r for r in rows_of(demo / "truth" / "batches.csv")}
    text = next((demo / "exports").glob("weights1_*.txt")).read_text(encoding="utf-8").splitlines()
    rows = [line.split("|") for line in text[3:-1]]
    assert len(rows) > 500
    off = []
    for _, grams, _, batch, _ in rows:
        assert batch in batches
        if grams != "E-02":
            off.append(float(grams) - 0.208 - float(batches[batch]["mean_g"]))
    assert abs(np.mean(off)) < 4 * np.std(off) / np.sqrt(len(off))


def test_open_document_sheets_are_read_by_a_library(tmp_path: Path) -> None:
    odf = pytest.importorskip("odf.opendocument")
    path = tmp_path / "a.ods"
    write_ods(path, "Waage", [["Zeit", "g & ø"], [datetime(2026, 6, 8, 6, 1, 2), 6.53]])  # noqa: DTZ001 - wall time
    assert zipfile.ZipFile(path).namelist()[0] == "mimetype"
    text = str(odf.load(str(path)).spreadsheet)
    assert "g & ø" in text
    assert "08.06.2026 06:01:02" in text
