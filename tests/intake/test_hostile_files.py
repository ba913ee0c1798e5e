"""Files made to take a computer's memory and time: each a plain refusal, within stated bounds of both."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from shutil import copy2

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.errors import AskError, IntakeError
from lineview.intake.detect.workbooks import sheet_records_apart
from lineview.intake.read import read_export
from lineview.plant.read import read_plant
from lineview.report.answer import Question
from tests.intake.hostile_files import CELLS, cell, counted, hostile_files, row, workbook
from tests.intake.small_works import SmallWorks
from tests.main_job.invented_week import DEMO

QUESTIONS: tuple[Question, ...] = ("rope", "weight", "shift", "wrap", "order", "week")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes have no such limits there")
#: What taking all of them in may use: memory [bytes] at once, also of the process beside, and processor time [s].
MEMORY_BYTES, PROCESSOR_S = 2_000_000_000, 60
TAKE = f"""
import json, resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, ({3 * MEMORY_BYTES}, {3 * MEMORY_BYTES}))  # a machine is left in peace
resource.setrlimit(resource.RLIMIT_CPU, ({PROCESSOR_S}, {PROCESSOR_S}))
from lineview.app.works import Works
with Works(Path(sys.argv[1])) as works:
    taken = works.take([Path(sys.argv[2])])
most = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps([{{one.path.name: str(one.error) for one in taken}}, 1024 * most]))
"""


def test_each_is_refused_within_bounds(tmp_path: Path) -> None:
    works, folder = SmallWorks(tmp_path / "works"), tmp_path / "hostile"
    folder.mkdir()
    said = hostile_files(folder)
    command = [sys.executable, "-c", TAKE, str(works.folder), str(folder)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr[-2_000:]
    refused, most_bytes = json.loads(done.stdout)
    print(f"{len(refused)} files refused, at most {most_bytes / 1e6:,.0f} MB")
    assert most_bytes < MEMORY_BYTES
    assert {name: refused[name] for name, words in said.items() if words not in refused[name]} == {}
    assert set(refused) == set(said)
    assert not [text for text in refused.values() if "please report" in text or "Traceback" in text]
    with Works(works.folder) as opened:
        assert opened.last_reading() is None  # nothing of them came in


def test_after_one_that_is_too_large_workbooks_are_read_as_before(tmp_path: Path) -> None:
    good = workbook(tmp_path / "good.xlsx", counted(), "B201")
    bad = workbook(tmp_path / "bad.xlsx", [*counted(), row(1_048_576, cell("IV1048576", "x"))], "B201")
    for _ in range(2):
        with pytest.raises(IntakeError, match="would take more than 2 GB"):
            sheet_records_apart(bad.read_bytes(), bad)
        (table,) = sheet_records_apart(good.read_bytes(), good)
        assert table.frame.height == 201


def test_a_sheet_of_many_filled_rows_is_none_of_them(tmp_path: Path) -> None:
    path = workbook(tmp_path / "long.xlsx", counted(30_000), "B30001")
    (table,) = sheet_records_apart(path.read_bytes(), path)
    assert table.frame.height == 30_001


def variants(folder: Path, cells: tuple[str, ...]) -> list[Path]:
    """The invented week's text exports, each with one cell in a row, or in all, that fits no column."""
    written = []
    for path in sorted((DEMO / "exports").glob("*_2026-*")):
        if path.suffix not in (".csv", ".tsv", ".txt") or not re.search("06-08|W24|stock", path.name):
            continue
        lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
        first = next(i for i, line in enumerate(lines) if i and len(re.findall(r"\d", line)) > 3)
        mark = max(";\t,|", key=lines[first].count)
        rows = [line.split(mark) for line in lines[first : first + 30]]
        for place, (number, odd), which in product(range(len(rows[0])), enumerate(cells), ("one", "all")):
            bent = [list(one) for one in rows]
            for i, one in enumerate(bent):
                if place < len(one) and (which == "all" or i == 5):
                    one[place] = odd
            name = path.name.replace("_", f"_{place}{which}{number}_", 1)
            (folder / name).write_text("\n".join([*lines[:first], *map(mark.join, bent)]) + "\n", encoding="utf-8")
            written.append(folder / name)
    return written


def refused_or_read(files: list[Path]) -> None:
    plant = read_plant(DEMO / "plant.toml", None)
    for path in files:
        try:
            read_export(path, plant, now=datetime(2026, 6, 14, tzinfo=UTC))
        except IntakeError as error:
            assert error.faults, path.name


def test_cells_that_fit_no_column_are_refused(tmp_path: Path) -> None:
    refused_or_read(variants(tmp_path, CELLS[:1] + CELLS[10:11]))


@pytest.mark.long
def test_all_cells_that_fit_no_column_are_refused_and_every_question_is_answered(tmp_path: Path) -> None:
    refused_or_read(files := variants(tmp_path, CELLS))
    print(f"{len(files)} exports with cells that fit no column")
    for kind in sorted({path.name.partition("_")[0] for path in files}):
        folder = tmp_path / f"works {kind}"
        folder.mkdir()
        copy2(DEMO / "plant.toml", folder)
        with Works(folder) as works:
            works.take([DEMO / "exports"])
            works.take([path for path in files[::2] if path.name.startswith(f"{kind}_")])
            for question, line in product(QUESTIONS, ("line1", "line2")):
                try:
                    assert works.ask(read_question(question, line=line)).sentence
                except AskError as error:
                    assert error.faults, (kind, question)
