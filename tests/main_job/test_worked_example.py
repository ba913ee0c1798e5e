"""The handbook's worked examples hold: a layout reads its export; a diff adds a figure, and every way out shows it."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from lineview.app.works import Works
from lineview.intake.exports import Export
from lineview.intake.read import read_export
from lineview.plant.read import read_plant
from lineview.plant.write import plant_text
from tests.intake.invented_works import WORKS
from tests.structure.conftest import ROOT

LABEL = "mean length of a changeover"
#: Run in the copy: what each way out writes of the shift.
WAYS_OUT = r"""
import json, re, sys
from pathlib import Path
import fastexcel
from plotly.utils import PlotlyJSONEncoder
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.board.answer_page import answer_page
from lineview.charts.style import ChartStyle
from lineview.report.answer import to_object
from lineview.sheets.pdf import _page, to_pdf
from lineview.sheets.tables import to_xlsx

with Works(Path(sys.argv[1])) as works:
    answer, plant = works.ask(read_question("shift", period=sys.argv[2])), works.plant
    board = answer_page(answer, ChartStyle(plant), read_address("/shift", ""))
    sheet = fastexcel.read_excel(to_xlsx(answer, plant)).load_sheet(0, header_row=None).to_polars()
    assert to_pdf(answer, plant).startswith(b"%PDF")
    page = json.dumps(board, cls=PlotlyJSONEncoder)
    ways = {
        "JSON": to_object(answer)["figures"],
        "board": [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr>(.*?)</tr>", page)],
        "PDF": [row for table in _page(answer, plant)["tables"] for row in table["rows"]],
        "XLSX": sheet.rows(),
    }
    print(json.dumps(ways, ensure_ascii=False, default=str))
"""


def _example(kind: str) -> str:
    handbook = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (example,) = re.findall(rf"```{kind}\n(.*?)```", handbook, re.DOTALL)
    return str(example)


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the package with its tests, to which the handbook's diff is applied."""
    copy = tmp_path_factory.mktemp("copy")
    for part in ("lineview", "tests"):
        shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    for part in ("data", "assets", "pyproject.toml"):
        (copy / part).symlink_to(ROOT / part)
    subprocess.run(["git", "apply", "-"], input=_example("diff"), cwd=copy, text=True, check=True)
    return copy


def _run(copy: Path, *command: str) -> str:
    outside = {key: text for key, text in os.environ.items() if key != "PYTHONPATH"}
    environment = outside | {"PYTHONPATH": str(copy), "COLUMNS": "200"}
    done = subprocess.run(
        [sys.executable, *command], cwd=copy, env=environment, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def _beside(label: str, rows: list[Any]) -> str:
    """The cell that stands after the one with this label."""
    return next(str(row[list(row).index(label) + 1]) for row in rows if label in row[:-1])


def test_the_layout_reads_the_export_beside_it(tmp_path: Path) -> None:
    (tmp_path / "night_1.csv").write_text(_example("csv"), encoding="utf-8")
    (tmp_path / "plant.toml").write_text(plant_text(WORKS, {}, {}) + _example("toml"), encoding="utf-8")
    export = read_export(tmp_path / "night_1.csv", read_plant(tmp_path / "plant.toml"))
    assert isinstance(export, Export)
    rows = export.parts[0].tidy.sort("channel", "at").select("machine", "channel", "value").rows()
    values = {"pieces": [1200, 1258], "rejects": [3, 4]}
    assert rows == [("wrap2", channel, value) for channel in values for value in values[channel]]
    assert export.refusals.select("row", "column", "text").rows() == [(4, "Zähler", "n.v.")]


def test_the_example_is_short() -> None:
    lines = _example("diff").splitlines()
    changed = [line for line in lines if line[0] in "+-" and line[:4] not in ("+++ ", "--- ")]
    assert len(changed) <= 30
    assert sum(line.startswith("+++ ") for line in lines) == 3


def test_the_figure_is_on_every_way_out(copied: Path, week: Works) -> None:
    period = "2026-06-09.early"
    ways = json.loads(_run(copied, "-c", WAYS_OUT, str(week.folder), period))
    figure = ways["JSON"]["mean_changeover_min"]
    minutes, count = ways["JSON"]["changeover_min"]["value"], ways["JSON"]["changeovers"]["value"]
    assert count > 1
    assert figure["value"] == pytest.approx(minutes / count)
    assert figure["label"] == LABEL
    shown = f"{figure['value']:.2f}"
    assert _beside(LABEL, ways["board"]) == _beside(LABEL, ways["PDF"]) == f"{shown} min"
    assert float(_beside(LABEL, ways["XLSX"])) == pytest.approx(figure["value"])
    command = "from lineview.cli.main import main; main()"
    printed = _run(copied, "-c", command, "answer", "shift", "--works", str(week.folder), "--period", period, "--all")
    assert re.search(rf"{LABEL}\s+{shown} min", printed)


def test_the_examples_check_passes(copied: Path) -> None:
    tests = "tests/shift/test_shift.py"
    printed = _run(copied, "-m", "pytest", "-q", "-p", "no:cacheprovider", tests, "-k", "flavour_to_flavour")
    assert "1 passed" in printed
