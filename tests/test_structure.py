"""The way of the data is one way, pure inside, small files, and a top level of exactly seven names."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "lineview"
#: Names of core in their former place.
FORMER = {"errors", "columns", "figure"}
CORE = {"core", *FORMER}
BASE = {*CORE, "plant", "show", "show_cells"}
#: What each stage may import of the package, besides itself and the base.
MAY = {
    "plant": set(),
    "intake": set(),
    "store": {"intake"},
    "core": set(),
    "stats": {"core"},
    "measures": {"core", "stats"},
    "stock": {"core", "stats", "measures"},
    "answers": {"core", "stats", "measures", "stock"},
    "charts": {"answers"},
    "demo": set(),
}
PURE = ("core", "stats", "measures", "stock", "answers", "charts")
IMPURE_MODULES = {"os", "pathlib", "socket", "subprocess", "sqlite3", "sqlalchemy", "deltalake", "requests"}
IMPURE_MODULES |= {"urllib", "http", "random", "time", "tempfile", "shutil", "io"}
IMPURE_CALLS = re.compile(
    r"\b(open\(|datetime\.now|datetime\.utcnow|date\.today|default_rng\(\)|pl\.read_|pl\.scan_)"
)


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def stage(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return parts[0]


def imported(path: Path) -> set[str]:
    """Names of the modules that a file imports."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names if node.module == "lineview"}
    return names


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_backwards(path: Path) -> None:
    here = stage(path)
    if here not in MAY:
        return
    of_package = {n.split(".")[1] for n in imported(path) if n.startswith("lineview.")}
    assert of_package <= MAY[here] | BASE | {here}


def test_the_base_imports_no_stage() -> None:
    for path in modules():
        of_package = {n.split(".")[1] for n in imported(path) if n.startswith("lineview.")}
        if stage(path) in BASE:
            assert of_package <= BASE, path
        if stage(path) in CORE:
            assert of_package <= {"core"}, path
        if stage(path) == "plant":
            assert of_package <= {"core", "plant"}, path


@pytest.mark.parametrize(
    "path", [p for p in modules() if stage(p) in PURE], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_pure_stages_touch_nothing_outside(path: Path) -> None:
    assert not {n.split(".")[0] for n in imported(path)} & IMPURE_MODULES
    code = "\n".join(line.split("#")[0] for line in path.read_text(encoding="utf-8").splitlines())
    code = re.sub(r'"""[\s\S]*?"""', "", code)
    assert not IMPURE_CALLS.search(code)


def test_only_charts_import_plotly() -> None:
    users = {stage(p) for p in modules() if any(n.split(".")[0] == "plotly" for n in imported(p))}
    assert users <= {"charts"}


def test_files_are_small() -> None:
    long = [f"{p.name}: {n}" for p in modules() if (n := len(p.read_text("utf-8").splitlines())) > 500]
    assert not long


def test_functions_are_short() -> None:
    long = []
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                inner = [n for n in body if isinstance(n, ast.FunctionDef)]  # measured by themselves
                lines -= sum((n.end_lineno or 0) - n.lineno + 1 for n in inner)
                if lines >= 60:
                    long.append(f"{path.relative_to(PACKAGE)}: {node.name} has {lines} lines")
    assert not long, "\n".join(long)


def _is_all(node: ast.stmt) -> bool:
    return isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == ["__all__"]


def test_no_logic_in_init_and_no_utils() -> None:
    for path in PACKAGE.rglob("__init__.py"):
        _, *rest = ast.parse(path.read_text(encoding="utf-8")).body  # the docstring, then names passed on
        passed_on = [node for node in rest if isinstance(node, ast.ImportFrom) or _is_all(node)]
        assert rest == passed_on, path
    assert not list(PACKAGE.rglob("utils.py"))


def test_top_level_is_exactly_what_it_should_be() -> None:
    git = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if git.returncode:
        pytest.skip("not a git checkout, so its top level cannot be listed")
    visible = {line.split("/")[0] for line in git.stdout.splitlines() if not line.startswith(".")}
    assert visible == {"README.md", "DEVELOPERS.md", "pyproject.toml", "lineview", "data", "tests", "assets"}
