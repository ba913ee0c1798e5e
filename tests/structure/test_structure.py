"""The way of the data is one way, pure inside, small files, and a top level of exactly seven names."""

import ast
import re
import subprocess

import pytest

from tests.structure.conftest import ROOT, Source

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


def test_imports_point_backwards(sources: list[Source]) -> None:
    wrong = {
        s.name: upward
        for s in sources
        if s.stage in MAY and (upward := s.of_package - MAY[s.stage] - BASE - {s.stage})
    }
    assert not wrong


def test_the_base_imports_no_stage(sources: list[Source]) -> None:
    base = [s for s in sources if s.stage in BASE]
    assert {s.stage for s in base} == BASE
    may = {stage: {"core"} if stage in CORE else BASE for stage in BASE} | {"plant": {"core", "plant"}}
    assert not {s.name: s.of_package for s in base if not s.of_package <= may[s.stage]}


def test_pure_stages_touch_nothing_outside(sources: list[Source]) -> None:
    wrong = {}
    for source in (s for s in sources if s.stage in PURE):
        code = "\n".join(line.split("#")[0] for line in source.text.splitlines())
        calls = IMPURE_CALLS.findall(re.sub(r'"""[\s\S]*?"""', "", code))
        imports = {n.split(".")[0] for n in source.imported} & IMPURE_MODULES
        if calls or imports:
            wrong[source.name] = (calls, imports)
    assert not wrong


def test_only_charts_import_plotly(sources: list[Source]) -> None:
    users = {s.stage for s in sources if any(n.split(".")[0] == "plotly" for n in s.imported)}
    assert users == {"charts"}


def test_files_are_small(sources: list[Source]) -> None:
    assert not [f"{s.name}: {n}" for s in sources if (n := len(s.text.splitlines())) > 500]


def test_functions_are_short(sources: list[Source]) -> None:
    long = []
    for source in sources:
        for node in source.nodes:
            if isinstance(node, ast.FunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                inner = [n for n in body if isinstance(n, ast.FunctionDef)]  # measured by themselves
                lines -= sum((n.end_lineno or 0) - n.lineno + 1 for n in inner)
                if lines >= 60:
                    long.append(f"{source.name}: {node.name} has {lines} lines")
    assert not long, "\n".join(long)


def _is_all(node: ast.stmt) -> bool:
    return isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == ["__all__"]


def test_no_logic_in_init_and_no_utils(sources: list[Source]) -> None:
    for source in (s for s in sources if s.path.name == "__init__.py"):
        _, *rest = source.tree.body  # the docstring, then names passed on
        passed_on = [node for node in rest if isinstance(node, ast.ImportFrom) or _is_all(node)]
        assert rest == passed_on, source.name
    assert not [s.name for s in sources if s.path.name == "utils.py"]


def test_top_level_is_exactly_what_it_should_be() -> None:
    git = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if git.returncode:
        pytest.skip("not a git checkout, so its top level cannot be listed")
    visible = {line.split("/")[0] for line in git.stdout.splitlines() if not line.startswith(".")}
    assert visible == {"README.md", "DEVELOPERS.md", "pyproject.toml", "lineview", "data", "tests", "assets"}
