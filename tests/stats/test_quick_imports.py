"""The five questions import nothing slow: no scipy.stats, no statsmodels, no pandas."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lineview.app.works import Works
from lineview.demo.make import make_demo

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "lineview"
SLOW = ("scipy.stats", "statsmodels", "pandas")
#: These take a fifth of a second of processor time, which the rope's and the weight's answers do without.
SLOWISH = ("scipy.optimize", "scipy.interpolate", "scipy.signal", "scipy.sparse.linalg")
#: Forecasts from more than a season of weeks fit a regression by statsmodels, imported there alone.
EXEMPT = PACKAGE / "order" / "forecast.py"
ASK = f"""
import json, sys
from lineview.cli.main import main
try:
    main()
finally:
    print(json.dumps([name for name in {SLOW + SLOWISH!r} if name in sys.modules]), file=sys.stderr)
"""


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of the demo, taken in."""
    folder = tmp_path_factory.mktemp("works")
    make_demo(folder, days=2)
    with Works(folder) as opened:
        opened.take([folder / "exports"])
    return folder


def run(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
    )  # fmt: skip


@pytest.mark.parametrize("question", ["rope", "weight", "shift", "wrap", "order"])
def test_an_answer_imports_nothing_slow(works: Path, question: str) -> None:
    process = run(ASK, "answer", question, "--works", str(works), "--period", "all", "--json")
    figures = json.loads(process.stdout)["figures"].values()
    assert sum(figure["value"] is not None for figure in figures) >= 10
    loaded = json.loads(process.stderr.splitlines()[-1])
    assert not set(loaded) & set(SLOW)
    assert question not in ("rope", "weight") or loaded == []


def imports(path: Path) -> set[str]:
    """Modules of science that a file imports anywhere, within functions too."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return {name for name in names if name.split(".")[0] in {"scipy", "statsmodels", "pandas"}}


def test_no_function_imports_anything_slow_that_this_tiny_works_does_not_reach() -> None:
    imported = {name for path in PACKAGE.rglob("*.py") if path != EXEMPT for name in imports(path)}
    assert {name for name in imported if name.startswith("scipy.special")}, "the walk sees imports"
    code = f"""
import importlib, json, sys
for name in {sorted(imported)!r}:
    try:
        importlib.import_module(name)
    except ModuleNotFoundError:  # a function or class, not a module
        pass
print(json.dumps([name for name in {SLOW!r} if name in sys.modules]))
"""
    assert json.loads(run(code).stdout) == []
