"""Every answer of a works folder as one JSON file, asked through the command line.

    PYTHONPATH=. python tests/bench/answers_of.py WORKS OUT.json [PERIOD ...]

For each question, each machine it can be asked of and each period (the question's default first, then those
named: "all", a shift such as "2026-06-09.late"), OUT holds the answer as `lineview answer … --json` prints
it, under the key "question machine period"; where the command refuses, OUT holds its message under "error".
tests/bench/compare_answers.py lists what differs between two such files.
"""

import contextlib
import io
import json
import sys
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

QUESTIONS = {
    "rope": "sizer",
    "weight": "cut-and-wrap machine",
    "shift": "cut-and-wrap machine",
    "wrap": "cut-and-wrap machine",
    "order": "cut-and-wrap machine",
}
DEFAULT = "default"


def machines_of(works: Path, kind: str) -> list[str]:
    """Ids of the machines of a kind, in the order of plant.toml."""
    plant = tomllib.loads((works / "plant.toml").read_text(encoding="utf-8"))
    return [one["id"] for one in plant["machines"] if one["kind"] == kind]


def run(words: Sequence[str]) -> tuple[int, str, str]:
    """Run the command line in this process: exit status, what it printed, what it complained of."""
    from lineview.cli.main import main

    printed, complaint = io.StringIO(), io.StringIO()
    before, status = sys.argv, 0
    sys.argv = ["lineview", *words]
    try:
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(complaint):
            main()
    except SystemExit as end:
        status = int(end.code or 0)
    finally:
        sys.argv = before
    return status, printed.getvalue(), complaint.getvalue()


def answer(works: Path, question: str, machine: str, *words: str) -> dict[str, Any]:
    """One answer, whole; or {"error": …} where the command refuses."""
    asked = ["answer", question, "--works", str(works), "--machine", machine, "--json", *words]
    status, printed, complaint = run(asked)
    if status:
        return {"error": f"exit status {status}: {(complaint or printed).strip()}"}
    given: dict[str, Any] = json.loads(printed)
    return given


def answers(works: Path, periods: Sequence[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every answer by its key."""
    for question, kind in QUESTIONS.items():
        for machine in machines_of(works, kind):
            for period in (DEFAULT, *periods):
                words = () if period == DEFAULT else ("--period", period)
                yield f"{question} {machine} {period}", answer(works, question, machine, *words)


def main() -> None:
    works, out, *periods = sys.argv[1:]
    given = {}
    for key, one in answers(Path(works), periods):
        given[key] = one
        print(key, one.get("sentence") or one.get("error"), flush=True)
    Path(out).write_text(json.dumps(given, ensure_ascii=False, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
