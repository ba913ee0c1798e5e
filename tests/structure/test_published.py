"""Published values are held against code of the project; test_reached sees to it that an answer reaches that."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def names_in(node: ast.AST) -> set[str]:
    inside = list(ast.walk(node))
    arguments = {a.arg for n in inside if isinstance(n, ast.arguments) for a in n.args}
    return arguments | {n.id for n in inside if isinstance(n, ast.Name)}


@cache
def of_project(path: Path) -> frozenset[str]:
    """Names in a module of tests that are of lineview or use it, themselves or through what stands beside them."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    ours: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.module:
            names = {alias.asname or alias.name: alias.name for alias in node.names}
            beside = ROOT / f"{node.module.replace('.', '/')}.py"
            if node.module.startswith("tests") and beside.exists():
                ours |= {here for here, name in names.items() if name in of_project(beside)}
            ours |= set(names) if node.module.split(".")[0] == "lineview" else set()
    used = {n.name: names_in(n) for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
    for node in tree.body:
        if isinstance(node, ast.Assign):
            used |= {name.id: names_in(node.value) for name in node.targets if isinstance(name, ast.Name)}
    while more := {name for name, inside in used.items() if name not in ours and inside & ours}:
        ours |= more
    return frozenset(ours)


def without_project(path: Path) -> list[str]:
    body = ast.parse(path.read_text(encoding="utf-8")).body
    tests = [n.name for n in body if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")]
    return [name for name in tests if name not in of_project(path)]


@pytest.mark.parametrize("path", sorted((ROOT / "tests/published").glob("test_*.py")), ids=lambda path: path.stem)
def test_each_published_value_is_held_against_the_project(path: Path) -> None:
    assert not without_project(path)


def test_one_that_holds_none_of_it_is_seen(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text(
        "from lineview.a import f\nfrom tests.b import g\ndef h(): return f()\ndef test_a(): h()\ndef test_b(): g()\n"
    )
    assert without_project(tmp_path / "a.py") == ["test_b"]
