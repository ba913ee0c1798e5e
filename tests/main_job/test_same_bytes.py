"""The same question gets the same bytes in every run: processes of their own, each with its own order of hashes."""

import os
import subprocess
import sys

import pytest

from lineview.app.works import Works

ASK = """
import sys
from pathlib import Path
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import to_json

with Works(Path(sys.argv[1])) as works:
    for question in ("rope", "weight", "shift", "wrap", "order", "week"):
        print(to_json(works.ask(read_question(question, line="line1", period="all"))))
"""


def answers(works: Works, seed: int) -> bytes:
    words = [sys.executable, "-W", "ignore", "-c", ASK, str(works.folder)]
    environment = {**os.environ, "PYTHONHASHSEED": str(seed)}
    return subprocess.run(words, env=environment, capture_output=True, check=True).stdout


@pytest.mark.parametrize("runs", [2, pytest.param(5, marks=pytest.mark.long)])
def test_every_answer_is_the_same_in_every_run(week: Works, runs: int) -> None:
    first, *others = (answers(week, seed) for seed in range(runs))
    assert len(first) > 100_000
    assert all(other == first for other in others)
