"""The folders import one way, the pure ones touch nothing outside, and modules stay readable."""

import ast
import re
import statistics
import subprocess
from collections import defaultdict
from graphlib import CycleError, TopologicalSorter

import pytest

from tests.structure.conftest import ROOT, Source

#: The folders in the order of the way of the data: each may import those before it, and itself.
ORDER = (
    "core", "plant", "report", "stats", "intake", "store", "machine", "records",
    "rope", "wrap", "weight", "shift", "order", "week", "app", "charts", "sheets", "board", "demo", "cli",
)  # fmt: skip
#: Thin presentation: may read the answer contract and the plant, and nothing that measures.
PRESENTATION = ("charts", "sheets")
MEASURING = {"stats", "intake", "store", "machine", "records", "rope", "wrap", "weight", "shift", "order", "week"}
PURE = (
    "core", "plant", "report", "stats", "machine", "records",
    "rope", "wrap", "weight", "shift", "order", "week", "charts",
)  # fmt: skip
#: Where the edge is: files that come with the package, and plant.toml.
EDGES = {"core/resources.py", "plant/read.py", "plant/write.py", "plant/positions.py", "records/stale.py"}
IMPURE_MODULES = {"os", "pathlib", "socket", "subprocess", "sqlite3", "sqlalchemy", "deltalake", "requests"}
IMPURE_MODULES |= {"urllib", "http", "random", "time", "tempfile", "shutil", "io"}
IMPURE_CALLS = re.compile(r"\b(open\(|datetime\.now|datetime\.utcnow|date\.today|default_rng\(\)|pl\.read_|pl\.scan_)")
#: Modules (without the packages' own files), lines of one and of all, as the code stands; they may fall.
MOST_MODULES, MOST_LINES, MOST_IN_ALL = 300, 500, 72_022
MOST_OF_ONE_NEIGHBOUR = 44
#: Statements that the formatter leaves as they stand, in the package.
MOST_UNFORMATTED = 15
#: What an answer comes through: folders in which sums and lists have one order, in every run.
ANSWERING = MEASURING - {"stats", "intake", "store"} | {"app", "report", "charts", "sheets"}
#: What makes a figure, or the estimate in it.
FIGURE_MAKERS = {"Figure", "Row", "Estimate", "KeyFigure", "moment", "count", "too_few", "unknown"}


def imports_between(sources: list[Source]) -> dict[str, dict[str, int]]:
    """How many modules of each folder import each other folder."""
    picture: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for source in (s for s in sources if s.stage in ORDER):
        for folder in sorted(source.of_package & set(ORDER) - {source.stage}):
            picture[source.stage][folder] += 1
    return picture


def drawn(picture: dict[str, dict[str, int]]) -> str:
    """The picture as DEVELOPERS.md shows it: a folder, and the folders that its modules import."""
    lines = []
    for folder in ORDER:
        named = [name for name in ORDER if name in picture.get(folder, {})]
        lines.append(f"    {folder:<8} -> {' '.join(named)}".rstrip())
    return "\n".join(lines)


def modules_of(sources: list[Source]) -> dict[str, set[str]]:
    """By module, the modules of the package that it imports, inside functions too."""
    named = {".".join(s.path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): s for s in sources}
    known = set(named)
    out = {}
    for own, source in named.items():
        found = set()
        for node in source.nodes:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("lineview"):
                for alias in node.names:
                    inner = f"{node.module}.{alias.name}"
                    found.add(inner if inner in known else str(node.module))
        out[own] = (found & known) - {own}
    return out


def test_imports_go_one_way(sources: list[Source]) -> None:
    upward = {
        f"{s.name} imports {folder}"
        for s in sources
        if s.stage in ORDER
        for folder in s.of_package & set(ORDER)
        if ORDER.index(folder) > ORDER.index(s.stage)
    }
    assert not upward
    assert {s.stage for s in sources} == {*ORDER, "__init__"}


def test_presentation_measures_nothing(sources: list[Source]) -> None:
    assert not {s.name for s in sources if s.stage in PRESENTATION and s.of_package & MEASURING}


def test_the_import_picture_of_the_handbook_is_true(sources: list[Source]) -> None:
    picture = drawn(imports_between(sources))
    print(picture)
    assert picture in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_no_modules_import_in_a_circle(sources: list[Source]) -> None:
    try:
        TopologicalSorter(modules_of(sources)).prepare()
    except CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))


def test_pure_folders_touch_nothing_outside(sources: list[Source]) -> None:
    wrong = {}
    for source in (s for s in sources if s.stage in PURE and s.name not in EDGES):
        code = "\n".join(line.split("#")[0] for line in source.text.splitlines())
        calls = IMPURE_CALLS.findall(re.sub(r'"""[\s\S]*?"""', "", code))
        imports = {n.split(".")[0] for n in source.imported} & IMPURE_MODULES
        if calls or imports:
            wrong[source.name] = (calls, imports)
    assert not wrong


def test_only_charts_import_plotly(sources: list[Source]) -> None:
    users = {s.stage for s in sources if any(n.split(".")[0] == "plotly" for n in s.imported)}
    assert users == {"charts"}


def with_one_importer(sources: list[Source]) -> list[str]:
    """Modules that a single module imports, of their own folder."""
    users: dict[str, set[str]] = defaultdict(set)
    for module, imported in modules_of(sources).items():
        for name in imported:
            users[name].add(module)
    return [m for m, by in users.items() if len(by) == 1 and m.rpartition(".")[0] == min(by).rpartition(".")[0]]


def docstring_lines(sources: list[Source]) -> int:
    return sum(
        (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
        for source in sources
        for node in source.nodes
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module) and ast.get_docstring(node)
    )


def test_modules_are_as_long_as_their_subject(sources: list[Source]) -> None:
    lines = {s.name: len(s.text.splitlines()) for s in sources}
    proper = {name: n for name, n in lines.items() if not name.endswith("__init__.py")}
    median, total, doc = statistics.median(proper.values()), sum(lines.values()), docstring_lines(sources)
    alone, at_root = with_one_importer(sources), [s.name for s in sources if "/" not in s.name]
    of_tests = sum(len(path.read_text(encoding="utf-8").splitlines()) for path in (ROOT / "tests").rglob("*.py"))
    print(
        f"{len(proper)} modules, {len(at_root)} at the root, median {median:.0f} lines, longest {max(lines.values())}"
    )
    print(f"{len(alone)} modules with one importer, in their own folder")
    print(f"package {total} lines, of which docstrings {doc / total:.1%}; tests {of_tests} lines")
    assert not {name: n for name, n in lines.items() if n > MOST_LINES}
    assert len(proper) <= MOST_MODULES
    assert 120 <= median <= 241
    assert total <= MOST_IN_ALL
    assert doc <= 0.27 * total
    assert len(alone) <= MOST_OF_ONE_NEIGHBOUR
    assert at_root == ["__init__.py"]


def test_few_lines_are_kept_from_the_formatter(sources: list[Source]) -> None:
    kept = {s.name: n for s in sources if (n := s.text.count("fmt: skip") + s.text.count("fmt: off"))}
    print(f"{sum(kept.values())} statements are kept from the formatter: {kept}")
    assert sum(kept.values()) <= MOST_UNFORMATTED


def test_figures_are_made_with_names_not_places(sources: list[Source]) -> None:
    """A row of numbers without names is where a low and a high end change places unnoticed."""
    longest: dict[str, int] = {}
    for node in (node for source in sources for node in source.nodes if isinstance(node, ast.Call)):
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in FIGURE_MAKERS or (name == "add" and "figures" in ast.unparse(node.func)):
            longest[name] = max(longest.get(name, 0), len(node.args))
    print(f"most arguments by place: {longest}")
    assert longest.keys() == FIGURE_MAKERS | {"add"}
    assert max(longest.values()) <= 4


def _is_unordered(call: ast.Call) -> bool:
    """Whether a call is one of polars that orders rows anew in each run unless it says otherwise."""
    names = {word.arg for word in call.keywords}
    at = call.func
    if (
        not isinstance(at, ast.Attribute)
        or "maintain_order" in names
        or (names & {"how"} and "anti" in ast.unparse(call))
    ):
        return False
    joins = at.attr == "join" and bool(names & {"on", "how", "left_on"})
    return joins or (at.attr in ("group_by", "unique") and ast.unparse(at.value) != "np")


def test_answers_sum_in_one_order(sources: list[Source]) -> None:
    """Sums of the same numbers in another order differ in their last digit."""
    unordered = [
        f"{s.name}:{node.lineno}: {ast.unparse(node)[-80:]}"
        for s in sources
        if s.stage in ANSWERING
        for node in s.nodes
        if isinstance(node, ast.Call) and _is_unordered(node)
    ]
    assert not unordered, "\n".join(["say maintain_order:", *unordered])


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
    top = {line.split("/")[0] for line in git.stdout.splitlines()}
    # A link to a virtual environment, once tracked, takes the place of the environment itself at a merge.
    hidden = {".ci", ".gitignore", ".pre-commit-config.yaml"}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "lineview", "data", "tests", "assets"} | hidden


def test_the_security_table_is_whole_and_names_tests_that_are_there() -> None:
    text = (ROOT / "tests" / "board" / "security.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+\.\d+\.\d+.*?) \| .*\|$", text, re.MULTILINE)
    assert len(rows) == len(set(rows)) == 62
    named = set(re.findall(r"`(tests/[\w/]+\.py)`", text))
    assert len(named) >= 6
    assert not [name for name in named if not (ROOT / name).is_file()]
