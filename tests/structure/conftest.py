"""Every file of the package, read and parsed once for all tests that look at the code itself."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "lineview"


@dataclass(frozen=True)
class Source:
    """One file of the package: its text, its tree, and what it imports."""

    path: Path
    text: str
    tree: ast.Module

    @property
    def name(self) -> str:
        return str(self.path.relative_to(PACKAGE))

    @property
    def stage(self) -> str:
        return self.path.relative_to(PACKAGE).with_suffix("").parts[0]

    @cached_property
    def nodes(self) -> tuple[ast.AST, ...]:
        return tuple(ast.walk(self.tree))

    @cached_property
    def imported(self) -> set[str]:
        """Names of the modules that the file imports."""
        names: set[str] = set()
        for node in self.nodes:
            if isinstance(node, ast.Import):
                names |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                names.add(node.module)
                names |= {f"{node.module}.{alias.name}" for alias in node.names if node.module == "lineview"}
        return names

    @cached_property
    def of_package(self) -> set[str]:
        """Stages and base modules of the package that the file imports."""
        return {n.split(".")[1] for n in self.imported if n.startswith("lineview.")}


@pytest.fixture(scope="session")
def sources() -> list[Source]:
    """Every file of the package, in the order of its path."""
    texts = {path: path.read_text(encoding="utf-8") for path in sorted(PACKAGE.rglob("*.py"))}
    return [Source(path, text, ast.parse(text)) for path, text in texts.items()]
