"""The page of weighed bags: the same verdict as the command line, plain faults, nothing lost, nothing run."""

from __future__ import annotations

import base64
from pathlib import Path

import pytest

from lineview.app.bags import CAUTION, lot_words
from lineview.board.address import Address
from lineview.board.bags_page import RULES, checked, fault_parts, file_text, lot_parts
from lineview.board.layout import forms_of, page_of
from lineview.cli.answers import print_lot
from lineview.core.errors import LineviewError
from tests.board.invented_works import InventedWorks
from tests.board.test_board_pages import DAY, words_in

MASSES = "\n".join(f"{250 + d}" for d in (-2, -1, 0, 1, 2) * 10)


def sent(data: bytes) -> str:
    """Give a file as the browser sends it."""
    return "data:text/csv;base64," + base64.b64encode(data).decode()


@pytest.mark.parametrize("rules", [key for key, _ in RULES])
def test_board_and_command_line_say_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str], rules: str) -> None:
    told = lot_parts(lot_words(checked(MASSES, "250", "400", "", rules)))
    file = tmp_path / "bags.csv"
    file.write_text(MASSES, encoding="utf-8")
    print_lot(file, 250.0, 400, rules, 0.0)
    printed = " ".join(capsys.readouterr().out.split())
    for words in (words_in(part) for part in told):
        assert " ".join(words.split()) in printed


@pytest.mark.parametrize("rules", [key for key, _ in RULES])
def test_a_few_bags_get_no_verdict(rules: str) -> None:
    heading = words_in(lot_parts(lot_words(checked("251\n252\n253\n252", "250", "400", "", rules)))[0])
    missing = {"eu": 46, "hb133": 20, "r87": 46}[rules]
    assert heading == f"No verdict yet: weigh {missing} more bags of this lot."


def test_too_many_short_bags_are_said_before_all_are_weighed() -> None:
    heading = words_in(lot_parts(lot_words(checked("200\n" * 9, "250", "400", "", "eu")))[0])
    assert heading.endswith("Too many of those weighed are short already.")


def test_the_page_has_form_caution_and_a_link_from_weight() -> None:
    works = InventedWorks()
    page = page_of(works, Address("bags"), DAY)
    assert CAUTION in words_in(page.foot)
    form = words_in(forms_of(works, Address("bags"))[0])
    assert all(name in form for name in ("Net mass on the label", "Bags in the lot", "Rules", "Check the lot"))
    below = forms_of(works, Address("weight", "1", period="all"))[1]
    assert below[0].children.href == "/bags?line=1&period=all"


def test_all_that_is_wrong_in_the_fields_is_told_at_once() -> None:
    with pytest.raises(LineviewError) as told:
        checked("250\nheavy", "", "4.5", "-1", "eu")
    words = words_in(fault_parts(told.value))
    for part in ("Net mass on the label", "not a whole number", "Empty bag", "masses line 2: 'heavy' is not a mass"):
        assert part in words


@pytest.mark.parametrize(("field", "text"), [("label", "1e999"), ("lot", "nan"), ("lot", "0"), ("tare", "x")])
def test_odd_numbers_in_fields_are_faults(field: str, text: str) -> None:
    given = {"label": "250", "lot": "400", "tare": "0"} | {field: text}
    with pytest.raises(LineviewError, match="is not allowed here"):
        checked(MASSES, given["label"], given["lot"], given["tare"], "eu")


def test_unknown_rules_from_a_forged_request_are_refused() -> None:
    with pytest.raises(LineviewError, match="unknown rules"):
        checked(MASSES, "250", "400", "0", "../mine")


def test_a_file_is_text_of_a_sensible_size_and_never_more_than_that() -> None:
    assert file_text(sent(b"\xef\xbb\xbf454\n455\n"), "bags.csv") == "454\n455\n"
    for data, words in (
        (bytes(range(256)), "is not text"),
        (b"454\n" * 60_000, "too large"),
        ("454\n".encode("utf-16"), "is not text"),
    ):
        with pytest.raises(LineviewError, match=words):
            file_text(sent(data), "bags.csv")
    with pytest.raises(LineviewError, match="did not arrive whole"):
        file_text("data:text/csv;base64,%%%", "bags.csv")
