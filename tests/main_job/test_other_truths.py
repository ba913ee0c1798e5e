"""Rope, weight and wrap of the invented week against what really happened."""

import json

import pytest

from lineview.app.question import read_question
from lineview.app.take_in import IntakeResult
from lineview.app.works import Works
from lineview.report.answer import Answer, to_json
from tests.main_job.invented_week import DEMO, truth

TRUTH = json.loads((DEMO / "truth" / "truth.json").read_text(encoding="utf-8"))["lines"]


def covers(answer: Answer, name: str, true: float) -> None:
    figure = answer.figure(name)
    assert figure is not None and figure.value is not None, f"{name}: {figure and figure.why_none}"
    print(f"{name}: {figure.value:.5g}, {figure.low:.5g} to {figure.high:.5g}, truth {true:.5g}")
    assert figure.low <= true <= figure.high


def test_every_export_is_in_and_its_rows_add_up(taken: list[IntakeResult]) -> None:
    assert [one.path.name for one in taken if one.receipt is None] == []
    for one in taken:
        r = one.receipt
        assert r is not None
        assert r.kept + r.duplicate + r.refused == r.rows


def test_the_same_exports_again_change_nothing(week: Works) -> None:
    before = week.version()
    again = week.take([week.folder / "exports"])
    assert all(one.receipt is not None and one.receipt.already for one in again)
    assert week.version() == before


@pytest.mark.parametrize("line", ["line1", "line2"])
def test_drift_covers_the_truth(week: Works, line: str) -> None:
    answer = week.ask(read_question("rope", machine=TRUTH[line]["sizer"]))
    covers(answer, "drift_mm_per_h", TRUTH[line]["drift_mm_per_running_h"])


@pytest.mark.parametrize("line", ["line1", "line2"])
@pytest.mark.parametrize("what", ["within", "between"])
def test_spread_covers_the_truth(week: Works, line: str, what: str) -> None:
    answer = week.ask(read_question("weight", machine=TRUTH[line]["wrap"]))
    covers(answer, f"sd_{what}_g", TRUTH[line][f"sd_{what}_g"])


@pytest.mark.parametrize("line", ["line1", "line2"])
@pytest.mark.parametrize("web", ["film", "wax paper"])
def test_metres_of_web_are_those_used(week: Works, line: str, web: str) -> None:
    machine = TRUTH[line]["wrap"]
    answer = week.ask(read_question("wrap", machine=machine))
    used = truth("web_use")
    metres = used.filter((used["machine"] == machine) & (used["kind"] == web))["metres"].sum()
    good = truth("shifts")
    pieces = good.filter(good["machine"] == machine)["good"].sum()
    fed = answer.figure(f"{web.replace(' ', '_')}_m_per_thousand_fed")
    whole = answer.figure(f"{web.replace(' ', '_')}_m_per_thousand")
    assert fed is not None and isinstance(fed.value, float)
    assert whole is not None and isinstance(whole.value, float)
    true = 1000 * metres / pieces
    print(f"{machine} {web}: fed {fed.value:.4f} m a thousand, truth {true:.4f}; whole {whole.value:.4f}")
    assert fed.value == pytest.approx(true, rel=2e-4)
    assert true <= whole.value <= 1.01 * true  # what is left on reels taken off for good comes on top


@pytest.mark.parametrize("question", ["rope", "weight", "shift", "wrap", "order", "week"])
def test_each_figure_can_be_asked(week: Works, question: str) -> None:
    answer = week.ask(read_question(question))
    assert answer.figures and answer.text.endswith(".")
    for figure in answer.figures:
        assert figure.label, figure.name
        if figure.value is None:
            assert figure.why_none, figure.name
        else:
            assert figure.interval_kind, figure.name
            assert figure.working or isinstance(figure.value, str), figure.name
    json.loads(to_json(answer))
