"""Exports made elsewhere, from file to answer against their truth: another simulator, headers, units, clocks.

One works is French (night of the October clock change, decimal comma, UTF-16, counters of four digits), one
American (inches, ounces, feet, month first, New York). Constructed; no source.
"""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import Answer
from tests.simulate.elsewhere import Line
from tests.simulate.exports_elsewhere import american, french


class Elsewhere:
    """A works with its line, its exports taken in by layouts that intake proposed."""

    def __init__(self, works: Works, line: Line) -> None:
        self.works, self.line = works, line

    def ask(self, question: str) -> Answer:
        return self.works.ask(read_question(question, period="all" if question != "shift" else "2026-10-24.all"))


@pytest.fixture(scope="module", params=[french, american], ids=["french", "american"])
def place(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Elsewhere]:
    folder = tmp_path_factory.mktemp(request.param.__name__)
    line = request.param(folder)
    with Works(folder) as works:
        files = sorted(p for p in folder.iterdir() if p.suffix in (".csv", ".txt", ".gz"))
        for one in works.take(files, accept=True, chosen={"decimal": ","}):
            assert one.receipt is not None, one.error or one.proposal
            assert one.receipt.kept == one.receipt.rows > 50
        yield Elsewhere(works, line)


def holds(answer: Answer, name: str, true: float) -> None:
    figure = answer.figure(name)
    assert figure is not None and figure.value is not None, name
    print(f"{name}: {figure.value:.5g} ({figure.low:.5g} to {figure.high:.5g}), truth {true:.5g}")
    assert figure.low <= true <= figure.high


def unseen(answer: Answer) -> float:
    return answer.figure("unseen_min").value


def test_good_pieces_are_exact_or_bounded_over_the_missing_hour(place: Elsewhere) -> None:
    line = place.line
    end = np.array([line.end_s])
    true = int((line.pieces(end) - line.rejects(end))[0])
    answer = place.ask("shift")
    good = answer.figure("good_pieces")
    if unseen(answer):
        # The counter turned twice or thrice in that hour: the pace around it says which is the likeliest.
        assert good.low <= good.value <= good.high
        assert good.low <= true <= good.high
        assert good.high - good.low == pytest.approx(20_000)
    else:
        assert good.value == true
    assert answer.figure("planned_min").value == pytest.approx(line.end_s / 60)


def test_running_minutes_are_within_half_a_percent(place: Elsewhere) -> None:
    line, answer = place.line, place.ask("shift")
    edges = line.run_s(np.array([0, 17990.0, 21600.0, line.end_s]))
    true = (edges[3] - edges[0] - (edges[2] - edges[1] if unseen(answer) else 0)) / 60
    runs = answer.figure("running_min").value + answer.figure("slow_min").value
    print(f"running {runs:.2f} min, truth {true:.2f}")
    assert abs(runs / true - 1) < 0.005


def test_stops_of_a_minute_are_found_and_none_invented(place: Elsewhere) -> None:
    line = place.line
    timeline = place.ask("shift").series["timeline"].filter(pl.col("state") != "running")
    spans = [(line.wall(a), line.wall(b)) for a, b in line.stops]
    for a, b in spans:
        if b - a >= timedelta(seconds=60):
            assert timeline.filter((pl.col("start") < b) & (pl.col("end") > a)).height, f"not found: {a}"
    stood = timeline.filter(pl.col("state").is_in(["stop", "short stop"]))
    for start, end in stood.filter(pl.col("end") - pl.col("start") >= timedelta(seconds=60))[["start", "end"]].rows():
        assert any(a < end and b > start for a, b in spans), f"invented: {start}"


def test_drift_and_spread_of_the_rope_lie_in_their_intervals(place: Elsewhere) -> None:
    answer, line = place.ask("rope"), place.line
    holds(answer, "drift_mm_per_h", line.drift_mm_h)
    holds(answer, "within_batch_sd_mm", line.within_mm)
    holds(answer, "batch_to_batch_sd_mm", line.between_mm)
    holds(answer, "level_mm", 12.2 + line.drift_mm_h * line.run_s(np.array([line.end_s]))[0] / 3600)


def test_spread_of_weights_lies_in_its_intervals(place: Elsewhere) -> None:
    answer, line = place.ask("weight"), place.line
    holds(answer, "mean_g", 6.6)
    holds(answer, "sd_within_g", line.within_g)
    holds(answer, "sd_between_g", line.between_g)


def test_film_a_thousand_good_pieces(place: Elsewhere) -> None:
    answer, line = place.ask("wrap"), place.line
    holds(answer, "film_m_per_thousand_fed", 1000 * line.film_m_a_piece / (1 - line.rejects_share))


def test_the_rows_of_the_week_add_up(place: Elsewhere) -> None:
    answer = place.ask("week")
    balance = next(table for table in answer.tables if table.name == "balance")
    assert len(balance.rows) >= 3
    for row in balance.rows:
        assert row["rows"] == pytest.approx(row["lost"], abs=1e-6 * row["possible"]), row["what"]
    assert len(answer.text.split()) <= 30
