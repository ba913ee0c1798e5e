"""Each question from the command line, start of Python to printed answer, on the demo of 60 days."""

import pytest

from tests.bench.answers_of import QUESTIONS
from tests.bench.measured import PEAK, command, interleaved, python

pytestmark = [pytest.mark.bench, pytest.mark.long]

BAR_S = 1.5
#: What every answer needs at the least: Python with the frames' library.
BARE = ["-c", f"import polars\n{PEAK}"]


@pytest.mark.parametrize("question", QUESTIONS)
def test_an_answer_is_printed_within_the_bar(demo_60, capsys, question) -> None:
    runs = {"bare": lambda: python(BARE)}
    for name, (works, code) in demo_60.items():
        command("answer", question, "--works", works, code=code)  # what is computed once is computed now
        runs[name] = lambda works=works, code=code: command("answer", question, "--works", works, code=code)
    took = interleaved(runs)
    with capsys.disabled():
        told = ", ".join(f"{n} {m.cpu_s:.2f} s ({m.peak_mb:.0f} MB)" for n, m in took.items())
        print(f"\nanswer {question}, 60 days, processor: {told}; bar {BAR_S} s")
    assert took["now"].cpu_s < BAR_S
