"""A plan or a stock count given in two versions: neither is used, answers say so, undoing one settles it."""

import csv
import re
from datetime import date, timedelta
from pathlib import Path
from shutil import copy2

import pytest

from lineview.app.conflict_notes import conflict_groups
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import Answer
from tests.main_job.invented_week import DEMO

EXPORTS = DEMO / "exports"
#: What the plan of next week says of caramel, and what the corrected one does; the works' other rows stay.
NEXT_WEEK, CORRECTED = 214_000, 314_000


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("disputed")
    copy2(DEMO / "plant.toml", folder / "plant.toml")
    with Works(folder) as opened:
        names = ("wrap1_2026-06-11.csv", "wrap1_2026-06-12.csv", "plan_2026-W24.csv", "stock_2026-06-12.csv")
        opened.take([EXPORTS / name for name in names])
        yield opened


def taken(works: Works, path: Path, text: str) -> int:
    path.write_text(text, encoding="utf-8")
    return works.take([path])[0].receipt.intake


def ask(works: Works, question: str = "order", period: str = "") -> Answer:
    return works.ask(read_question(question, machine="wrap1", period=period))


def corrected_plan(day: str, old: int, new: int) -> str:
    text = (EXPORTS / "plan_2026-W24.csv").read_text(encoding="utf-8")
    changed = re.sub(rf'^(line1,caramel,{day},.*),"{old:,}"', rf'\1,"{new:,}"', text, flags=re.MULTILINE)
    assert changed != text
    return changed


def test_a_corrected_plan_is_told_with_its_open_pieces_and_comes_back_once_settled(works, tmp_path):
    before = ask(works)
    assert before.figure("plan_in_conflict_pieces") is None
    second = taken(works, tmp_path / "plan_again.csv", corrected_plan("2026-06-15", NEXT_WEEK, CORRECTED))
    answer = ask(works)
    figure = answer.figure("plan_in_conflict_pieces")
    assert (figure.value, figure.low, figure.high) == (None, NEXT_WEEK, CORRECTED)
    assert answer.soft.startswith(
        f"The plan from Mon 15 June to Sat 20 June is in conflict: {NEXT_WEEK:,} to {CORRECTED:,} pieces in 1 row "
        "stand differently in plan_2026-W24.csv and plan_again.csv."
    )
    works.undo(second)
    again = ask(works)
    assert again.soft == before.soft
    assert again.figure("reels_needed_film_vanilla").value == before.figure("reels_needed_film_vanilla").value


def test_with_one_product_in_conflict_the_others_do_not_pass_for_the_whole_plan(works, tmp_path):
    before = ask(works, "shift", "2026-06-12.early").soft
    planned = int(re.search(r"The plan for it was ([\d,]+)", before)[1].replace(",", ""))
    second = taken(works, tmp_path / "plan_this_week.csv", corrected_plan("2026-06-08", 207_000, 317_000))
    answer = ask(works, "shift", "2026-06-12.early")
    assert "The plan for it was" not in answer.soft
    assert "1 row of the plan is given in two versions, of which neither is used" in answer.soft
    first = int(works.store.intakes().filter(file="plan_2026-W24.csv")["id"][0])
    works.undo(first)
    settled = ask(works, "shift", "2026-06-12.early").soft
    now = int(re.search(r"The plan for it was ([\d,]+)", settled)[1].replace(",", ""))
    assert now == pytest.approx(planned + 110_000 / 11, abs=1)  # eleven shifts in the plan's days
    works.undo(second)
    works.take([EXPORTS / "plan_2026-W24.csv"])


def test_two_stock_counts_of_one_moment_are_told_with_both_and_what_to_do(works, tmp_path):
    text = (EXPORTS / "stock_2026-06-12.csv").read_text(encoding="utf-8")
    again = text.replace("film-caramel;9;;36;18.06.2026", "film-caramel;19;;36;18.06.2026")
    assert again != text
    before = ask(works)
    second = taken(works, tmp_path / "stock_again.csv", again)
    answer = ask(works)
    assert (
        "The stock counts of Film Salt caramel at Fri 12 June, 22:30 disagree: 9 whole reels, 36 on order, due "
        "Thu 18 June in stock_2026-06-12.csv and 19 whole reels, 36 on order, due Thu 18 June in stock_again.csv."
        " Neither is used: undo the export that is wrong on the page Intake, or count again."
    ) in answer.soft
    assert answer.figure("order_by_film_caramel").value is None
    works.undo(second)
    assert ask(works).soft == before.soft


def test_a_plan_in_conflict_is_one_group_with_what_each_export_says(works, tmp_path):
    second = taken(works, tmp_path / "plan_third.csv", corrected_plan("2026-06-15", NEXT_WEEK, CORRECTED))
    (group,) = conflict_groups(works.store.conflicts(), works.plant)
    assert group.what == "line1, row of the plan"
    assert group.examples == (
        f"Mon 15 June, 00:00 caramel: pieces {NEXT_WEEK:,} (intake {group.exports[0][0]}) or pieces {CORRECTED:,} "
        f"(intake {second})",
    )
    works.undo(second)


def a_week_later(text: str) -> str:
    """The plan as written a week later, a fifth more of everything in the weeks that both speak of."""
    begin = date(2026, 6, 8)
    rows = text.splitlines()
    later = [rows[0]]
    for row in csv.reader(rows[1:]):
        first, until = (date.fromisoformat(day) + timedelta(days=7) for day in row[2:4])
        assert first > begin
        later.append(f'{row[0]},{row[1]},{first},{until},"{int(row[4].replace(",", "")) * 6 // 5:,}"')
    return "\n".join(later) + "\n"


def test_a_plan_that_begins_a_week_later_replaces_the_earlier_one(works, tmp_path):
    before = ask(works)
    text = a_week_later((EXPORTS / "plan_2026-W24.csv").read_text(encoding="utf-8"))
    path = tmp_path / "plan_2026-W25.csv"
    path.write_text(text, encoding="utf-8")
    receipt = works.take([path])[0].receipt
    answer = ask(works)
    assert receipt.conflicts == 0
    assert answer.figure("plan_in_conflict_pieces") is None
    assert any("rows of earlier plans differ from a later plan" in note for note in answer.notes)
    need = "reels_needed_film_vanilla"
    assert answer.figure(need).value > before.figure(need).value
    # The same file a second time under another name changes nothing; a corrected one of the same weeks is a conflict.
    again = works.take([copy2(path, tmp_path / "plan_again_W25.csv")])[0]
    assert again.receipt is None or again.receipt.conflicts == 0
    more = re.sub(r'"(\d+),', lambda thousands: f'"{int(thousands[1]) + 50},', text, count=1)
    corrected = taken(works, tmp_path / "plan_W25_corrected.csv", more)
    assert ask(works).figure("plan_in_conflict_pieces") is not None
    works.undo(corrected)
    # An earlier plan that comes late does not take the place of the newer one.
    first = int(works.store.intakes().filter(file="plan_2026-W24.csv")["id"][-1])
    works.undo(first)
    late = works.take([EXPORTS / "plan_2026-W24.csv"])[0].receipt
    assert late.conflicts == 0
    assert ask(works).figure(need).value == answer.figure(need).value
