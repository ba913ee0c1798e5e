"""Every definition of the package is reached from a command, a page or an answer.

The walk starts where something outside the package calls in, and follows the names that reached code
refers to, each read in its own scope; a method is reached where its class is and its name is used.
Two dead modules that call each other are therefore found. What only a test uses belongs to the tests.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cached_property

import pytest

from tests.structure.conftest import Source

#: The console script of pyproject.toml calls `run`. Pages and answers must be reached from there.
COMMAND_LINE = ("lineview.cli.start", "run")
#: Alembic runs the environment as a module, and reads and calls these names of every version.
MIGRATIONS = "lineview.store.migrations"
MIGRATION_NAMES = {"upgrade", "downgrade", "revision", "down_revision", "branch_labels", "depends_on"}
#: Pydantic calls a method that carries one of these.
VALIDATORS = {"field_validator", "model_validator", "field_serializer", "model_serializer", "computed_field"}
#: A library calls the methods of classes made from these of its own: the server's, Formatter's and Dash's.
CALLED_BY_LIBRARY = {"HTTPRequestParser", "HTTPChannel", "GuardedChannel", "Formatter", "Dash"}

Place = tuple[str, str]  # module and name; the name "" is the module's level, "Class.method" a method
Function = ast.FunctionDef | ast.AsyncFunctionDef


def _decorators(node: Function | ast.ClassDef) -> set[str]:
    """Names of the decorators; an `@app.command()` gives "app.command"."""
    calls = [d.func if isinstance(d, ast.Call) else d for d in node.decorator_list]
    return {ast.unparse(call) for call in calls}


def _local_names(node: Function | ast.Lambda) -> set[str]:
    """Names that a function binds itself and that are therefore not the module's; without its imports."""
    names = {part.arg for part in ast.walk(node.args) if isinstance(part, ast.arg)}
    queue: list[ast.AST] = list(node.body) if isinstance(node.body, list) else [node.body]
    while queue:
        part = queue.pop()
        if isinstance(part, Function | ast.ClassDef):
            names.add(part.name)
            continue
        if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store):
            names.add(part.id)
        queue += [] if isinstance(part, ast.Lambda) else list(ast.iter_child_nodes(part))
    return names


class References(ast.NodeVisitor):
    """What a piece of code refers to: names of its module, attributes, and definitions named by strings."""

    def __init__(self) -> None:
        self.names: set[str] = set()
        self.attributes: set[str] = set()
        self.dotted: set[tuple[str, str]] = set()
        self.by_string: set[Place] = set()
        self._local: list[set[str]] = []

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for outside in [*node.decorator_list, node.args, *([node.returns] if node.returns else [])]:
            self.visit(outside)
        self._local.append(_local_names(node))
        for statement in node.body:
            self.visit(statement)
        self._local.pop()

    def visit_Lambda(self, node: ast.Lambda) -> None:
        self._local.append(_local_names(node))
        self.generic_visit(node)
        self._local.pop()

    def visit_Name(self, node: ast.Name) -> None:
        if isinstance(node.ctx, ast.Load) and not any(node.id in names for names in self._local):
            self.names.add(node.id)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        self.attributes.add(node.attr)
        if isinstance(node.value, ast.Name):
            self.dotted.add((node.value.id, node.attr))
        self.generic_visit(node)

    def visit_Tuple(self, node: ast.Tuple) -> None:
        """A table of the answers names module and function, so that each is imported when first asked."""
        values = [e.value for e in node.elts if isinstance(e, ast.Constant) and isinstance(e.value, str)]
        if len(values) == len(node.elts) == 2:
            self.by_string.add((values[0], values[1]))
        self.generic_visit(node)


class Module:
    """The definitions of one file, the names it imports, and the rest of its level."""

    def __init__(self, name: str, tree: ast.Module, *, is_folder: bool = False) -> None:
        self.name = name
        self.is_folder = is_folder  # an __init__, which holds no more than names passed on
        self.code: dict[str, list[ast.AST]] = {"": []}
        self.called_by_framework: set[str] = set()
        self.methods: dict[str, list[str]] = {}
        self.imported: dict[str, set[Place]] = {}
        for node in tree.body:
            self._define(node)
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("lineview"):
                for alias in node.names:
                    where = (node.module, alias.name)
                    self.imported.setdefault(alias.asname or alias.name, set()).add(where)

    def _define(self, node: ast.stmt) -> None:
        if isinstance(node, Function):
            self.code.setdefault(node.name, []).append(node)
            if any("." in decorator for decorator in _decorators(node)):  # a command that typer keeps
                self.called_by_framework.add(node.name)
        elif isinstance(node, ast.ClassDef):
            self._define_class(node)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                names = [n.id for n in ast.walk(target) if isinstance(n, ast.Name)]
                for name in names:
                    self.code.setdefault("" if name.startswith("__") else name, []).append(node)
        else:
            self.code[""].append(node)

    def _define_class(self, node: ast.ClassDef) -> None:
        members = [n for n in node.body if isinstance(n, Function)]
        rest = [n for n in node.body if not isinstance(n, Function)]
        self.code[node.name] = [*node.decorator_list, *node.bases, *node.keywords, *rest]
        for member in members:
            place = f"{node.name}.{member.name}"
            dunder = member.name.startswith("__") and member.name.endswith("__")
            served = bool({ast.unparse(base) for base in node.bases} & CALLED_BY_LIBRARY)
            if dunder or served or _decorators(member) & VALIDATORS:  # called by Python, by a library
                self.code[node.name].append(member)
            else:
                self.code.setdefault(place, []).append(member)
                self.methods.setdefault(node.name, []).append(member.name)


class Walk:
    """What is reached in a package, its trees by file, from the places given."""

    def __init__(self, trees: dict[str, ast.Module]) -> None:
        self.modules: dict[str, Module] = {}
        for file, tree in trees.items():
            full = ".".join(("lineview", *file.removesuffix(".py").split("/")))
            name = full.removesuffix(".__init__")
            self.modules[name] = Module(name, tree, is_folder=full != name)
        self.reached: set[Place] = set()
        self._used_attributes: set[str] = set()
        self._waiting: dict[str, set[Place]] = {}  # methods of reached classes, until their name is used
        self._queue: list[Place] = []

    def start(self, places: list[Place]) -> Walk:
        """Walk from these places until nothing new is reached."""
        self._queue += places
        while self._queue:
            self._reach(self._queue.pop())
        return self

    def _reach(self, place: Place) -> None:
        module = self.modules.get(place[0])
        if module is None or place in self.reached:
            return
        if place[1] not in module.code:
            passed_on = module.imported.get(place[1], set())  # by this module, which is therefore reached
            self._queue += [*passed_on, *([(module.name, "")] if passed_on and place[1] else [])]
            return
        self.reached.add(place)
        self._queue.append((module.name, ""))
        if not place[1]:
            self._queue += [(module.name, name) for name in module.called_by_framework]
        for method in module.methods.get(place[1], ()):
            where = (module.name, f"{place[1]}.{method}")
            self._waiting.setdefault(method, set()).add(where)
            if method in self._used_attributes:
                self._queue.append(where)
        self._follow(module, module.code[place[1]])

    def _follow(self, module: Module, code: list[ast.AST]) -> None:
        references = References()
        for node in code:
            references.visit(node)
        for name in references.names:
            self._queue += [(module.name, name), *module.imported.get(name, ())]
        for name, attribute in references.dotted:
            for where, what in module.imported.get(name, ()):
                self._queue.append((f"{where}.{what}", attribute))
        self._queue += references.by_string
        for attribute in references.attributes - self._used_attributes:
            self._used_attributes.add(attribute)
            self._queue += self._waiting.get(attribute, ())

    @cached_property
    def unreached(self) -> list[str]:
        """Definitions that the walk did not come to, private ones too; a dead class without its methods."""
        return [f"{module}: {name}" for module, name in self._unreached()]

    def _unreached(self) -> Iterator[Place]:
        for module in self.modules.values():
            for name in module.code:
                holder = (module.name, name.partition(".")[0])
                known = not name or (module.name, name) in self.reached
                if not known and ("." not in name or holder in self.reached):
                    yield module.name, name


@pytest.fixture(scope="module")
def walk(sources: list[Source]) -> Walk:
    whole = Walk({source.name: source.tree for source in sources})
    migrations = [name for name in whole.modules if name.startswith(MIGRATIONS)]
    called = [(module, name) for module in migrations for name in ("", *MIGRATION_NAMES)]
    return whole.start([COMMAND_LINE, *called])


def test_every_definition_is_reached(walk: Walk) -> None:
    assert walk.unreached == []


def test_every_module_is_reached(walk: Walk) -> None:
    files = {name for name, module in walk.modules.items() if not module.is_folder}
    assert {name for name in files if (name, "") not in walk.reached} == set()


def test_the_walk_comes_to_the_pages_and_the_answers(walk: Walk) -> None:
    """Not reached by accident: the command line leads to the board, and the board to every answer."""
    pages = {("lineview.board.app", "create_app"), ("lineview.board.layout", "page_of")}
    answers = {(f"lineview.{q}.answer", f"answer_{q}") for q in ("rope", "weight", "shift", "wrap", "order")}
    assert pages | answers <= walk.reached


FIRST = """
from lineview.second import beside, helped, Kept
def main() -> None:
    shadow = 1
    Kept().used(shadow)
    helped()
def shadow() -> None: ...
def dead() -> None:
    beside()
"""
SECOND = """
from lineview.first import dead
LEFT = 3
def helped() -> None: _private()
def _private() -> None: ...
def beside() -> None: dead()
class Kept:
    def __init__(self) -> None: ...
    def used(self, x: int) -> None: ...
    def unused(self) -> None: ...
class Gone:
    def used(self) -> None: ...
"""


def test_the_walk_finds_what_is_dead() -> None:
    """Two definitions that call each other, a shadowed name, an unused method, class and constant."""
    trees = {"first.py": ast.parse(FIRST), "second.py": ast.parse(SECOND)}
    walked = Walk(trees).start([("lineview.first", "main")])
    assert sorted(walked.unreached) == [
        "lineview.first: dead",
        "lineview.first: shadow",
        "lineview.second: Gone",
        "lineview.second: Kept.unused",
        "lineview.second: LEFT",
        "lineview.second: beside",
    ]
