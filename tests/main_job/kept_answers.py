"""Answers of invented works as they were last written down, a line for each figure, column and text.

    python -m tests.main_job.kept_answers [NAME ...]

writes `tests/main_job/kept/NAME.tsv` anew; what a change of the code does to any answer is then the change of
those files. They say what the program says, not what is true: that is what the other tests are for.
"""

from __future__ import annotations

import json
import math
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch
from zlib import crc32

from lineview.app.question import read_question
from lineview.app.setup import set_up
from lineview.app.setup_layouts import survey_folder
from lineview.app.take_in import IntakeResult
from lineview.app.trials import TrialText, close_trial, note_trial, trial_words
from lineview.app.works import Works
from lineview.demo.make import make_demo
from lineview.plant import Plant
from lineview.report.answer import Answer, file_name, to_json
from lineview.report.tables import figure_text, table_text
from tests.main_job import troubled_shifts
from tests.main_job.invented_week import DEMO
from tests.main_job.kept_exports import said_of_exports
from tests.main_job.kept_frames import answers_of_frames
from tests.main_job.kept_parts import said_of_parts
from tests.simulate import exports_elsewhere
from tests.simulate.undescribed import make_undescribed

KEPT = Path(__file__).parent / "kept"
#: Two numbers are alike that agree to so large a share: other processors and libraries round otherwise.
ALIKE = 1e-6
FINE_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z")
TEXTS = ("sentence", "needs_a_person", "soft", "points", "notes", "cautions", "scope")
FIGURE = ("value", "low", "high", "interval", "n", "unit", "sources", "working", "why_none")

#: How the plant description of "fortnight" differs from the demo's.
FORTNIGHT_HAS = (
    ('units = "metric"', 'units = "US"'),
    ("short_stop_min = 5.0", "short_stop_min = 3.0"),
    ("gap_s = 120.0", "gap_s = 60.0"),
    ("run_rules = []", "run_rules = [1, 2, 3, 4, 5, 6, 7, 8]"),
    ("worth_per_kg_sold = 2.80", "worth_per_kg_sold = 2.10"),
)

Question = dict[str, Any]


@dataclass(frozen=True)
class Case:
    """A works: writes its exports and description into a folder, gives what to take in; and what it is asked."""

    write: Callable[[Path], Sequence[Path]]
    asked: Sequence[Question]
    trials: Sequence[TrialText] = ()
    decided: Mapping[int, str] = field(default_factory=dict)  # by trial
    shown: bool = False  # the description too, since the program wrote it


def _of_line(line: str, periods: Sequence[str], questions: str = "rope weight shift wrap order week") -> list[Question]:
    return [{"question": q, "line": line, "period": p} for q in questions.split() for p in periods]


def _week(folder: Path) -> list[Path]:
    copytree(DEMO, folder, dirs_exist_ok=True)
    return [folder / "exports"]


def _counters_alone(folder: Path) -> list[Path]:
    """The same week without batches, weights, stops and reels."""
    copytree(DEMO, folder, dirs_exist_ok=True)
    return [p for kind in ("wrap2", "sizer2", "stock", "plan") for p in sorted((folder / "exports").glob(f"{kind}_*"))]


def _fortnight(folder: Path) -> list[Path]:
    """Other weeks over the change of clocks, in US units, with a finer eye for stops and every test of the charts."""
    make_demo(folder, days=14, seed=5, start=date(2026, 3, 23))
    text = (folder / "plant.toml").read_text(encoding="utf-8")
    for before, after in FORTNIGHT_HAS:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    (folder / "plant.toml").write_text(text, encoding="utf-8")
    return [folder / "exports"]


def _troubled(folder: Path) -> list[Path]:
    troubled_shifts.write_works(folder)
    return [folder / "exports"]


def _elsewhere(write: Callable[[Path], object]) -> Callable[[Path], Sequence[Path]]:
    def files(folder: Path) -> list[Path]:
        write(folder)
        return sorted(p for p in folder.iterdir() if p.suffix in (".csv", ".txt", ".gz"))

    return files


def _undescribed(number: int) -> Callable[[Path], Sequence[Path]]:
    def files(folder: Path) -> list[Path]:
        works = make_undescribed(number, folder / "exports")
        text = set_up(survey_folder([works.folder], "Invented works", works.zone), {}).text
        (folder / "plant.toml").write_text(text or "", encoding="utf-8")
        return [works.folder]

    return files


_FORTNIGHT = [
    {"question": "week", "line": "line1", "period": "2026-W14", "against": "previous"},
    {"question": "week", "line": "line1", "period": "2026-W14", "against": "line=line2"},
    {"question": "week", "line": "line1", "period": "2026-W14", "against": "shift=late"},
    {"question": "week", "line": "line1", "period": "2026-W14", "only": "shift=late"},
    {"question": "week", "trial": 1},
    {"question": "week", "trial": 2},
    {"question": "week", "trial": 3},
]
_WITHIN_SHIFTS = [
    {"question": question, "line": "line2", "start": "2026-06-09 08:17", "end": "2026-06-11 17:43"}
    for question in ("rope", "weight", "shift", "wrap", "order", "week")
]
#: The quickest first.
CASES: dict[str, Case] = {
    "french": Case(_elsewhere(exports_elsewhere.french), _of_line("A", ["all"])),
    "american": Case(_elsewhere(exports_elsewhere.american), _of_line("A", ["all"])),
    **{
        f"undescribed-{number}": Case(
            _undescribed(number), [{"question": q, "period": "all"} for q in ("shift", "wrap")], shown=True
        )
        for number in (1, 4, 9)
    },
    "troubled": Case(
        _troubled,
        _of_line("A", ["all"], "shift wrap week")
        + _of_line("B", ["all", "2026-06-09.early"], "shift wrap")
        + [{"question": "week", "line": "B", "period": "2026-W11", "against": a} for a in ("previous", "line=A")],
    ),
    "counters-alone": Case(_counters_alone, _of_line("line2", ["all"])),
    "week": Case(
        _week, _of_line("line1", ["all", "2026-06-09.late"]) + _of_line("line2", ["2026-06-10"]) + _WITHIN_SHIFTS
    ),
    "fortnight": Case(
        _fortnight,
        _of_line("line1", ["all"])
        + _of_line("line1", ["2026-03-25"], "rope weight shift")
        + _of_line("line2", ["2026-W14"])
        + _FORTNIGHT,
        trials=[
            TrialText("new knife", "2026-03-31", None, "line1", None, "line2", "rate", "8", "5"),
            TrialText("other film", "2026-03-30", "2026-04-02", "line2", None, "none", "film", "3", "8"),
            TrialText("cooler hall", "2026-03-31", None, "line1", None, "line2", "uptime", "9", None),
        ],
        decided={2: "the old film comes back"},
    ),
}


def answers_of(name: str, folder: Path) -> dict[str, Any]:
    """Everything that a case's works says, by where it stands, in a folder that is there and empty."""
    said = list(SAID[name](folder))
    by_place = dict(said)
    assert len(by_place) == len(said), "two things are said at one place"
    return by_place


def _said(case: Case, folder: Path) -> Iterator[tuple[str, Any]]:
    files = case.write(folder)
    if case.shown:
        yield "plant.toml", (folder / "plant.toml").read_text(encoding="utf-8").splitlines()
    with Works(folder) as works:
        for taken in works.take(files, accept=True, chosen={"decimal": ","}):
            yield f"intake {taken.path.name}", _intake(taken)
        with patch.dict(os.environ, LOGNAME="Ann Invented"):
            for trial in case.trials:
                yield f"trial {trial.what}", trial_words(works, note_trial(works, trial).number)
        for asked in case.asked:
            named = ("against", "only", "trial")
            where = " ".join(f"{key} {value}" if key in named else str(value) for key, value in asked.items())
            yield from _said_by(where, works.ask(read_question(**asked)), works.plant)
        for number, decision in case.decided.items():  # last, since its page tells the moment
            yield f"trial {number} closed", close_trial(works, number, decision)


def _said_of_frames() -> Iterator[tuple[str, Any]]:
    for name, answer, plant in answers_of_frames():
        yield from _said_by(name, answer, plant)


def _said_by(where: str, answer: Answer, plant: Plant) -> Iterator[tuple[str, Any]]:
    yield f"{where} file", file_name(answer, plant)
    yield from ((f"{where} {place}", value) for place, value in _flat(json.loads(to_json(answer))))
    yield from ((f"{where} {place}", value) for place, value in _written(answer, plant))


def _intake(taken: IntakeResult) -> list[Any]:
    receipt = taken.receipt
    assert receipt is not None, taken.error or taken.proposal
    return [receipt.rows, receipt.kept, receipt.duplicate, receipt.refused, receipt.uncertain, receipt.conflicts]


def _flat(answer: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    yield from ((key, answer[key]) for key in TEXTS)
    for name, figure in answer["figures"].items():
        yield f"figure {name}", [_to_the_second(figure[key]) for key in FIGURE]
    for kind in ("tables", "series"):
        for name, table in answer[kind].items():
            rows = table["rows"] if kind == "tables" else table
            yield from ((f"{kind} {name}.{column}", _column(values)) for column, values in _columns(rows))


def _written(answer: Answer, plant: Plant) -> Iterator[tuple[str, Any]]:
    """Figures and tables as board, terminal and sheets write them."""
    for figure in answer.figures:
        yield f"figure {figure.name} written", list(figure_text(figure, plant)[:3])
    for table in answer.tables:
        text = table_text(table, plant)
        yield f"table {table.name} written", [text.headings, len(text.rows), crc32(json.dumps(text.rows).encode())]


def _columns(rows: Any) -> Iterator[tuple[str, list[Any]]]:
    if isinstance(rows, dict):
        yield from rows.items()
    else:
        names = dict.fromkeys(name for row in rows for name in row)
        yield from ((name, [row.get(name) for row in rows]) for name in names)


def _column(values: list[Any]) -> list[Any]:
    """How many, how many are missing, sum, and sum by place of numbers; of texts what tells them from others."""
    there = [(place, value) for place, value in enumerate(values) if value is not None]
    size = [len(values), len(values) - len(there)]
    if all(isinstance(value, int | float) for _, value in there):
        return [*size, math.fsum(value for _, value in there), math.fsum(value * (place + 1) for place, value in there)]
    return [*size, crc32(json.dumps([_to_the_second(value) for value in values], ensure_ascii=False).encode())]


def _to_the_second(value: Any) -> Any:
    """A moment without what rounding elsewhere may change; all else as it is."""
    if isinstance(value, str) and FINE_MOMENT.fullmatch(value):
        return f"{datetime.fromisoformat(value) + timedelta(seconds=0.5):%Y-%m-%dT%H:%M:%SZ}"
    return value


def alike(kept: Any, now: Any) -> bool:
    """Whether two plain values are equal, numbers to a share of ALIKE."""
    if isinstance(kept, list) and isinstance(now, list):
        return len(kept) == len(now) and all(map(alike, kept, now))
    if isinstance(kept, dict) and isinstance(now, dict):
        return kept.keys() == now.keys() and all(alike(kept[key], now[key]) for key in kept)
    if isinstance(kept, float) or isinstance(now, float):
        return bool(kept is not None and now is not None and math.isclose(kept, now, rel_tol=ALIKE, abs_tol=1e-9))
    return bool(kept == now)


def read_kept(name: str) -> dict[str, Any]:
    """What was written down of a case."""
    lines = (KEPT / f"{name}.tsv").read_text(encoding="utf-8").splitlines()
    return {place: json.loads(value) for place, _, value in (line.partition("\t") for line in lines)}


def _write(name: str) -> None:
    with TemporaryDirectory() as folder:
        now = answers_of(name, Path(folder))
    lines = [f"{place}\t{json.dumps(_short(value), ensure_ascii=False)}\n" for place, value in now.items()]
    KEPT.mkdir(exist_ok=True)
    (KEPT / f"{name}.tsv").write_text("".join(lines), encoding="utf-8")


def _short(value: Any) -> Any:
    """The same with numbers to nine digits."""
    if isinstance(value, list):
        return [_short(one) for one in value]
    if isinstance(value, dict):
        return {key: _short(one) for key, one in value.items()}
    return float(f"{value:.9g}") if isinstance(value, float) else value


#: What is written down: the answers of each works, and what is said of small exports.
SAID: dict[str, Callable[[Path], Iterator[tuple[str, Any]]]] = {
    **{name: partial(_said, case) for name, case in CASES.items()},
    "exports": said_of_exports,
    "frames": lambda _: _said_of_frames(),
    "parts": said_of_parts,
}

if __name__ == "__main__":
    for said_name in sys.argv[1:] or SAID:
        _write(said_name)
