"""Messages of the package and their catalogues: ``python -m tests.catalogue`` brings data/languages up to date.

New messages come without a translation, those that the code no longer has go. `tests/structure/test_catalogue.py`
holds the catalogues to the code.
"""

from __future__ import annotations

import ast
import io
import re
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import jinja2
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from jinja2.ext import extract_from_ast

from lineview.report.answer import columns_of
from lineview.report.figure_table import FIGURES

ROOT = Path(__file__).resolve().parent.parent
LANGUAGES = ROOT / "data" / "languages"
#: By function: where its context, its text and its plural stand among its arguments.
_ARGUMENTS = {"tr": (None, 0, None), "mark": (None, 0, None), "tr_in": (0, 1, None), "tr_count": (None, 0, 1)}
#: Calls that give a command, an option or an argument its help.
_HELPED = ("Option", "Argument", "Typer")


_HEADER = """\
msgid ""
msgstr ""
"Language: {}\\n"
"Plural-Forms: {}\\n"
"Content-Type: text/plain; charset=utf-8\\n"

"""


_PLACE = re.compile(r"\{[^{}]*\}")
_LETTERS = re.compile(r"[^\W\d_]")


class Message(NamedTuple):
    """A text to translate."""

    text: str
    plural: str = ""
    context: str = ""

    @property
    def id(self) -> str | tuple[str, str]:
        """As Babel keys it."""
        return (self.text, self.plural) if self.plural else self.text


def messages(package: Path = ROOT / "lineview") -> list[Message]:
    """Every message of the package, in the order of its files."""
    found = dict.fromkeys(message for path in sorted(package.rglob("*.py")) for message in _of(path))
    found |= dict.fromkeys(message for path in sorted(package.rglob("*.html")) for message in _of_template(path))
    found |= dict.fromkeys(Message(text) for text in _of_sources())
    rows = (text for row in FIGURES.values() for text in (row.label, row.interval))
    found |= dict.fromkeys(Message(text) for text in rows if _LETTERS.search(_PLACE.sub("", text)))
    return list(found)


def _of(path: Path) -> Iterator[Message]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.FunctionDef) and path.parent.name == "cli" and _is_command(node):
            yield Message(ast.get_docstring(node) or node.name)
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        texts = [a.value if isinstance(a, ast.Constant) and isinstance(a.value, str) else None for a in node.args]
        if name == "columns_of" and texts and texts[0]:
            yield from (Message(heading) for _, heading, _ in columns_of(texts[0]) if _LETTERS.search(heading))
        if name in _HELPED:
            helps = (keyword.value for keyword in node.keywords if keyword.arg == "help")
            yield from (Message(value.value) for value in helps if isinstance(value, ast.Constant))
        if name not in _ARGUMENTS:
            continue
        context, text, plural = (None if at is None else texts[at] for at in _ARGUMENTS[name])
        if text:
            yield Message(text, plural or "", context or "")


def _is_command(function: ast.FunctionDef) -> bool:
    """Whether a function's docstring is the help of a command."""
    calls = (call.func for call in function.decorator_list if isinstance(call, ast.Call))
    return any(isinstance(call, ast.Attribute) and call.attr in ("command", "callback") for call in calls)


def _of_sources() -> Iterator[str]:
    """What the pages of methods say of the sources; titles stay as they are."""
    for source in tomllib.loads((ROOT / "data" / "sources.toml").read_text("utf-8")).values():
        yield from (source[key] for key in ("method", "formula", "caution") if key in source)
        if "method" in source:
            yield source["obtained"]


def _of_template(path: Path) -> Iterator[Message]:
    page = jinja2.Environment().parse(path.read_text("utf-8"))
    for _, function, text in extract_from_ast(page, tuple(_ARGUMENTS), babel_style=False):
        yield Message(*text[:2]) if function == "tr_count" else Message(text if isinstance(text, str) else text[0])


def read(code: str) -> Catalog:
    """A language's catalogue as it stands."""
    path = LANGUAGES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code)
    with path.open("rb") as file:
        return read_po(file, locale=code)


def brought_up_to_date(code: str) -> Catalog:
    """A language's catalogue with the messages that the code has now."""
    old = read(code)
    new = Catalog(locale=code)
    for message in messages():
        known = old.get(message.text, message.context or None)
        is_same = known is not None and known.pluralizable == bool(message.plural)
        new.add(message.id, known.string if known and is_same else "", context=message.context or None)
    return new


def written(catalogue: Catalog) -> bytes:
    """A catalogue as the text file that people edit."""
    file = io.BytesIO()
    write_po(file, catalogue, omit_header=True, width=0)
    return _HEADER.format(catalogue.locale, catalogue.plural_forms).encode() + file.getvalue()


def compiled(catalogue: Catalog) -> bytes:
    """A catalogue as the program reads it."""
    file, as_written = io.BytesIO(), read_po(io.BytesIO(written(catalogue)), locale=catalogue.locale)
    as_written.creation_date = as_written.revision_date = datetime(2000, 1, 1, tzinfo=UTC)  # the same bytes every time
    write_mo(file, as_written)
    return file.getvalue()


def update(code: str) -> int:
    """Write a language's two files; how many of its messages have no translation."""
    catalogue = brought_up_to_date(code)
    (LANGUAGES / f"{code}.po").write_bytes(written(catalogue))
    (LANGUAGES / f"{code}.mo").write_bytes(compiled(catalogue))
    return sum(1 for message in catalogue if message.id and not is_translated(message.string))


def is_translated(string: str | tuple[str, ...] | list[str]) -> bool:
    """Whether every form of a translation is there."""
    return all(string) if isinstance(string, tuple | list) else bool(string)


if __name__ == "__main__":
    for path in sorted(LANGUAGES.glob("*.po")):
        print(f"{path.stem}: {update(path.stem)} of {len(messages())} messages have no translation")
