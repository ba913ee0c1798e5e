"""The invented week in German: every text of the six answers differs from the English, every number is the same."""

import re
from collections.abc import Iterator
from shutil import copytree
from typing import Any

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import to_object
from lineview.report.tables import figure_text, table_text
from tests import catalogue

QUESTIONS = ("rope", "weight", "shift", "wrap", "order", "week")
#: What stays as it is: names, formulas and symbols of norms.
NAMES = re.compile(r"plant\.toml|\b[a-z0-9]+_[a-z_0-9]+\b|ISO [\d-]+|[A-Za-z] ?[×÷√Σ=]|VDI|GUM|NIST Handbook \d+")
ROW = re.compile(r"\.tables\.\d+\.2\.")
WORD = re.compile(r"[^\W\d_]{3,}")


@pytest.fixture(scope="module")
def german(week: Works, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Works]:
    folder = copytree(week.folder, tmp_path_factory.mktemp("german") / "works")
    description = folder / "plant.toml"
    english = description.read_text(encoding="utf-8")
    description.write_text(english.replace('language = "en"', 'language = "de"'), encoding="utf-8")
    with Works(folder) as works:
        yield works


@pytest.fixture(scope="module")
def messages() -> set[str]:
    """Every text that the package has translated."""
    return {message.text for message in catalogue.messages()}


def texts(of: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every text of an answer as plain lists and dictionaries, with where it stands."""
    if isinstance(of, dict):
        for key, value in of.items():
            yield from texts(value, f"{path}.{key}")
    elif isinstance(of, list | tuple):
        for at, value in enumerate(of):
            yield from texts(value, f"{path}.{at}")
    elif isinstance(of, str):
        yield path, of


def shown(works: Works, question: str, period: str) -> dict[str, Any]:
    """What a reader sees of an answer."""
    answer = works.ask(read_question(question, period=period))
    plant = works.plant
    whole = to_object(answer)
    for key in ("version", "question", "series", "tables", "scope"):
        del whole[key]
    for figure in whole["figures"].values():
        figure.pop("sources"), figure.pop("period"), figure.pop("unit")
    tables = [[t.title, table_text(t, plant).headings, table_text(t, plant).rows] for t in answer.tables]
    return {**whole, "tables": tables, "written": [figure_text(figure, plant) for figure in answer.figures]}


@pytest.mark.parametrize("period", ["last-shift", "last-7-days"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_every_text_is_translated(week: Works, german: Works, messages: set[str], question: str, period: str) -> None:
    plant = week.plant
    ours = {w for m in (*plant.machines, *plant.lines) for w in (m.id, m.name or "")}
    ours |= {w for p in plant.products for w in (p.id, p.flavour)} | {w.id for w in plant.webs} | {plant.shop}
    before, after = (dict(texts(shown(works, question, period))) for works in (week, german))
    assert before.keys() == after.keys()
    same = {path: text for path, text in before.items() if after[path] == text}
    for name in sorted(filter(None, ours), key=len, reverse=True):
        same = {path: text.replace(name, "") for path, text in same.items()}
    left = {path: text for path, text in same.items() if len(WORD.findall(NAMES.sub("", text))) >= 2}
    left = {
        path: text for path, text in left.items() if not ROW.match(path) or text in messages
    }  # else an export's words
    assert not left


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_numbers_are_the_same(week: Works, german: Works, question: str) -> None:
    before, after = (
        {f.name: (f.value, f.low, f.high, f.n, f.unit) for f in works.ask(read_question(question)).figures}
        for works in (week, german)
    )
    assert before == after


@pytest.mark.parametrize("question", QUESTIONS)
def test_headings_of_every_answer_begin_with_a_small_letter(week: Works, question: str) -> None:
    tables = week.ask(read_question(question)).tables
    large = [(table.name, heading) for table in tables for _, heading, _ in table.columns if heading[:1].isupper()]
    assert [found for found in large if not found[1].startswith("ISO")] == []
