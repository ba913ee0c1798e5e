"""The demo week's webs: use and causes of each line's Monday hold what the machine was made to use."""

import json

import polars as pl
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import to_json
from tests.main_job.invented_week import truth

MONDAY = "2026-06-08"
EXACT = {"good pieces": "geometry", "rejects": "rejects", "blank wraps": "blank_wraps"}


def monday(table: str, machine: str) -> pl.DataFrame:
    return truth(table).filter((pl.col("machine") == machine) & (pl.col("date").cast(pl.String) == MONDAY))


@pytest.fixture(scope="module", params=["1", "2"])
def asked(request: pytest.FixtureRequest, week: Works) -> tuple[str, dict]:
    question = read_question("wrap", line=f"line{request.param}", period=MONDAY)
    return f"wrap{request.param}", json.loads(to_json(week.ask(question)))["figures"]


@pytest.mark.parametrize("kind", ["film", "wax paper"])
def test_use_and_its_causes_hold_the_truth(asked, kind: str) -> None:
    machine, figures = asked
    thousands = monday("shifts", machine)["good"].sum() / 1000
    used = monday("web_use", machine).filter(pl.col("kind") == kind)
    by_cause = {cause: metres / thousands for cause, metres in used.group_by("cause").agg(pl.sum("metres")).iter_rows()}
    name = f"{kind.replace(' ', '_')}_m_per_thousand"
    assert figures[name]["low"] <= sum(by_cause.values()) <= figures[name]["high"]
    for cause, figure in EXACT.items():
        assert figures[f"{name}_{figure}"]["value"] == pytest.approx(by_cause[cause], rel=1e-4), cause
    learned = figures[f"{name}_changeovers"]
    if learned["value"] is not None:
        assert learned["low"] <= by_cause.get("changeovers", 0.0) <= learned["high"]


def test_no_interval_is_wider_than_all_that_was_used(asked) -> None:
    _, figures = asked
    for kind in ("film", "wax_paper"):
        most = figures[f"{kind}_m_per_thousand"]["high"]
        ends = [f[end] for name, f in figures.items() if f"{kind}_m_per_thousand" in name for end in ("low", "high")]
        assert all(end is None or abs(end) <= most for end in ends)


def test_a_cause_that_one_stretch_alone_tells_of_is_not_learned(asked) -> None:
    machine, figures = asked
    film = figures["film_m_per_changeover"]
    if machine == "wrap2":  # one stretch alone has changeovers and no reel change, or the other way
        assert film["value"] is None
        assert "too few changeovers to learn from" in film["why_none"]
    else:
        assert film["n"] == 10
