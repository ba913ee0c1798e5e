"""Deliberate faults: what can be changed in a module's syntax tree so that it says something else."""

from __future__ import annotations

import ast
import hashlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
FOLDERS = (
    "core", "machine", "stats", "rope", "weight", "shift", "wrap", "order", "intake", "report", "records", "week",
)  # fmt: skip

_COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
_REACHED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
_REPLACED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And}
_SWAPPED = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}
#: Levels and shares of intervals that are mistaken for each other.
_LEVELS = {0.95: 0.9, 0.9: 0.8, 0.05: 0.1, 0.025: 0.05, 0.975: 0.95, 0.5: 0.25}


@dataclass(frozen=True)
class Fault:
    """One fault: the module's path from the root, the function around it, the line, and how it reads."""

    path: str
    function: str
    line: int
    before: str
    after: str
    number: int | None = None  # of the module's sites; None for one written out

    def tree(self) -> ast.Module:
        """The module's syntax tree with the fault in it."""
        text = (ROOT / self.path).read_text(encoding="utf-8")
        if self.number is None:
            return ast.parse(text.replace(self.before, self.after))
        tree = ast.parse(text)
        list(_sites(tree))[self.number][2]()
        return ast.fix_missing_locations(tree)

    @property
    def key(self) -> str:
        """What the fault is called, wherever its line moves to."""
        return f"{self.path.removeprefix('lineview/')}:{self.function}: {self.before} → {self.after}"


def modules(folder: str) -> list[Path]:
    """A folder's modules."""
    return sorted((ROOT / "lineview" / folder).rglob("*.py"))


def faults_of(path: Path) -> list[Fault]:
    """Every fault that the operators make in a module."""
    name = path.relative_to(ROOT).as_posix()
    out = []
    for number, (node, function, change) in enumerate(_sites(ast.parse(path.read_text(encoding="utf-8")))):
        parts = list(ast.walk(node))  # a constant may stand deep in what is shown
        kept = [{k: list(v) if isinstance(v, list) else v for k, v in vars(part).items()} for part in parts]
        before = ast.unparse(node)
        change()
        out.append(Fault(name, function, node.lineno, before, ast.unparse(node), number))
        for part, fields in zip(parts, kept, strict=True):
            vars(part).update(fields)
    return out


def drawn(seed: int, count: int) -> list[Fault]:
    """So many faults, as many of each folder but for one."""
    of_folders = [_in_turn(seed, [f for path in modules(folder) for f in faults_of(path)]) for folder in FOLDERS]
    return [faults[place] for place in range(count) for faults in of_folders if place < len(faults)][:count]


def _in_turn(seed: int, faults: list[Fault]) -> list[Fault]:
    """Faults in an order by chance that a change elsewhere leaves as it is; those that read alike lie apart."""
    ranked, alike = [], Counter[str]()
    for fault in faults:
        alike[fault.key] += 1
        ranked.append((hashlib.sha256(f"{seed} {alike[fault.key]} {fault.key}".encode()).hexdigest(), fault))
    return [fault for _, fault in sorted(ranked, key=lambda pair: pair[0])]


def listed(path: str, before: str, after: str) -> Fault:
    """One fault written out: text that stands once in a module, and what stands there instead."""
    text = (ROOT / path).read_text(encoding="utf-8")
    if text.count(before) != 1:
        raise LookupError(f"{path} has {text.count(before)} times {before!r}")
    line = text[: text.index(before)].count("\n") + 1
    inside = [
        n for n in ast.walk(ast.parse(text))
        if isinstance(n, ast.FunctionDef) and n.lineno <= line <= (n.end_lineno or 0)
    ]  # fmt: skip
    function = max(inside, key=lambda n: n.lineno).name if inside else ""
    return Fault(path, function, line, before, after)


_Site = tuple[ast.expr, str, Callable[[], None]]


def _sites(tree: ast.Module) -> Iterator[_Site]:
    """Places of a tree that can be made wrong: the expression shown, the function around, and the change."""
    stack: list[tuple[ast.AST, str, ast.expr | None]] = [(tree, "", None)]
    while stack:
        node, function, shown = stack.pop()
        if isinstance(node, ast.expr):
            big = node if shown is None or not isinstance(node, ast.Constant | ast.operator) else shown
            yield from ((big, function, change) for change in _changes(node))
            shown = node
        name = node.name if isinstance(node, ast.FunctionDef) else function
        stack += [(child, name, shown) for child in _children(node)]


def _children(node: ast.AST) -> list[ast.AST]:
    """What of a node is code that runs: no annotations, texts, or decorators."""
    if isinstance(node, ast.FunctionDef):
        return [*node.args.defaults, *(d for d in node.args.kw_defaults if d), *node.body]
    if isinstance(node, ast.ClassDef):
        return [*node.body]
    if isinstance(node, ast.AnnAssign):
        return [node.value] if node.value else []
    if isinstance(node, ast.JoinedStr | ast.Raise):
        return []
    return list(ast.iter_child_nodes(node))


def _changes(node: ast.expr) -> Iterator[Callable[[], None]]:
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        for table in (_COMPARED, _REACHED):
            if new := table.get(type(node.ops[0])):
                yield lambda new=new: node.ops.__setitem__(0, new())
    elif isinstance(node, ast.BinOp | ast.BoolOp):
        if new := _REPLACED.get(type(node.op)):
            yield lambda: setattr(node, "op", new())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield lambda: setattr(node, "op", ast.UAdd())
    elif isinstance(node, ast.Call):
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in _SWAPPED:
            field = "id" if isinstance(node.func, ast.Name) else "attr"
            yield lambda: setattr(node.func, field, _SWAPPED[name])
    elif isinstance(node, ast.Constant):
        yield from _constants(node)


def _constants(node: ast.Constant) -> Iterator[Callable[[], None]]:
    value = node.value
    if isinstance(value, bool):
        yield lambda: setattr(node, "value", not value)
    elif isinstance(value, int):
        yield lambda: setattr(node, "value", value + 1)
    elif isinstance(value, float):
        yield lambda: setattr(node, "value", _LEVELS.get(value, value * 1.1 if value else 0.1))
