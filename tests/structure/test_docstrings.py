"""Docstrings are held to signatures, units and known sources, and their examples run."""

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
import tomllib
import warnings
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from numpydoc.docscrape import NumpyDocString

import lineview
from lineview.core.resources import shipped
from tests.structure.conftest import Source

SOURCES = tomllib.loads((shipped("data") / "sources.toml").read_text(encoding="utf-8"))
NAMES = sorted(
    m.name
    for m in pkgutil.walk_packages(lineview.__path__, "lineview.")
    if ".migrations" not in m.name and "._shipped" not in m.name
)
#: A unit that ends a name, and the bracket its documentation may carry.
UNITS = {
    "_mm": {"mm"}, "_m": {"m"}, "_g": {"g"}, "_kg": {"kg"}, "_um": {"µm", "um"}, "_min": {"min"}, "_s": {"s"},
    "_h": {"h"}, "_mm_per_h": {"mm/h"}, "_per_min": {"pieces/min", "1/min", "/min", "counts/min"},
    "_g_cm3": {"g/cm³", "g/cm3"}, "_g_m2": {"g/m²", "g/m2"}, "_c": {"°C"},
    "_percent": {"%"}, "_days": {"d", "days"},
}  # fmt: skip


def public(module: ModuleType) -> Iterator[tuple[str, object]]:
    for name, thing in vars(module).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(thing) or inspect.isclass(thing):
            yield f"{module.__name__}.{name}", thing


@pytest.fixture(scope="module")
def elsewhere(sources: list[Source]) -> set[str]:
    """Public names that a module of another folder imports, by themselves or with their module."""
    wanted: set[str] = set()
    for source in sources:
        folder = f"lineview.{source.stage}"
        for node in source.nodes:
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("lineview"):
                modules = {f"{node.module}.{alias.name}" for alias in node.names} & set(NAMES)
                if not f"{node.module}.".startswith(f"{folder}."):
                    wanted |= {f"{node.module}.{alias.name}" for alias in node.names}
                for module in modules:
                    if not module.startswith(f"{folder}."):
                        wanted |= {name for name, _ in public(importlib.import_module(module))}
    return wanted


def parsed(text: str) -> NumpyDocString:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return NumpyDocString(inspect.cleandoc(text))


def faults_of_parameters(name: str, thing: object, doc: NumpyDocString, *, is_elsewhere: bool) -> Iterator[str]:
    """Others read one line and the signature of what no other folder imports."""
    if not "".join(doc["Summary"]):
        yield f"{name} has no summary"
    if not inspect.isfunction(thing) or thing.__module__ == "lineview.cli.main":
        return  # a command's options carry their own help, which is what a person reads
    listed = [n.strip("* ") for p in doc["Parameters"] for n in p.name.split(",")]
    signature = [p for p in inspect.signature(thing).parameters if p != "self"]
    if (listed or (len(signature) > 1 and is_elsewhere)) and listed != signature:
        yield f"{name}: documents {listed}, takes {signature}"


def faults_of_units(name: str, doc: NumpyDocString) -> Iterator[str]:
    for parameter in doc["Parameters"]:
        names = [n.strip() for n in parameter.name.split(",")]
        ending = max((u for u in UNITS if names[0].endswith(u)), key=len, default="")
        said = set(re.findall(r"\[([^\]\[]+)\]", " ".join(parameter.desc)))
        if ending and said and len(names) == 1 and not said & UNITS[ending]:
            yield f"{name}: {names[0]} is documented as {said}"


@pytest.mark.parametrize("name", NAMES)
def test_docstrings_say_what_and_list_the_parameters_in_their_units(name: str, elsewhere: set[str]) -> None:
    faults = []
    for full, thing in public(importlib.import_module(name)):
        text = inspect.getdoc(thing)
        if not text:
            faults.append(f"{full} has no docstring")
            continue
        doc = parsed(text)
        faults += faults_of_parameters(full, thing, doc, is_elsewhere=full in elsewhere)
        faults += faults_of_units(full, doc) if inspect.isfunction(thing) else []
    assert not faults, "\n".join(faults)


def test_cited_sources_are_known(sources: list[Source]) -> None:
    unknown = []
    for source in sources:
        cited = [i.strip(" .`") for line in re.findall(r"Sources?: (.+)", source.text) for i in line.split(",")]
        for node in source.nodes:
            if isinstance(node, ast.keyword) and node.arg == "sources":
                cited += [c.value for c in ast.walk(node.value) if isinstance(c, ast.Constant)]
        unknown += [f"{source.name}: {i}" for i in cited if isinstance(i, str) and i not in SOURCES]
    assert not unknown


def test_every_source_is_cited() -> None:
    root = Path(__file__).parents[2]
    files = [root / "DEVELOPERS.md", *(p for folder in ("lineview", "tests") for p in (root / folder).rglob("*.py"))]
    text = "\n".join(file.read_text(encoding="utf-8") for file in files)
    text += "".join(
        file.read_text(encoding="utf-8") for file in (root / "data").glob("*.toml") if file.stem != "sources"
    )
    words = {word.strip(".") for word in re.findall(r"[\w.-]+", text)}
    assert not SOURCES.keys() - words


def test_each_source_says_how_far_it_was_read() -> None:
    allowed = {"read", "read in a public package", "partly read", "partly from memory", "from memory"}
    allowed |= {"partly read, partly from memory", "read in a public package or repository"}
    allowed |= {"derived here", "constructed", "common practice, no source", "invented"}
    for key, source in SOURCES.items():
        assert source["title"], key
        assert source["obtained"] in allowed, f"{key}: {source['obtained']}"


@pytest.mark.parametrize("name", NAMES)
def test_examples_run(name: str) -> None:
    failed, _ = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
    assert failed == 0
