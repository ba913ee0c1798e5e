"""Setting a folder up: what is recognised, asked and written, and that a hand-written file stays."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lineview.app.set_up_folder import SUGGESTED, SetUpDesk
from lineview.app.setup import set_up
from lineview.app.setup_layouts import Surveyed, survey_folder
from lineview.app.works import Works
from lineview.core.errors import AskError, PlantError
from lineview.plant.read import check_text, read_plant
from tests.simulate.undescribed import Undescribed, make_undescribed


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Undescribed:
    """Two lines' exports in Italian, three days."""
    return make_undescribed(4, tmp_path_factory.mktemp("works") / "exports")


@pytest.fixture(scope="module")
def surveyed(made: Undescribed) -> Surveyed:
    """The same, looked at once."""
    return survey_folder([made.folder], "Invented", made.zone)


def test_machines_columns_lines_and_shifts_are_suggested(made: Undescribed, surveyed: Surveyed) -> None:
    shown = set_up(surveyed, {})
    assert [m.id for m in shown.read.draft.machines] == [
        "Calibratrice1", "Calibratrice2", "Incartatrice1", "Incartatrice2"
    ]  # fmt: skip
    asked = {question.key.split()[0]: question for question in shown.questions}
    assert asked["zone"].suggested == "Europe/Rome"
    assert asked["shifts"].suggested == "day 07:00-15:30 mon-fri breaks 09:30-09:45, 12:00-12:30"
    assert asked["band"].suggested == "300-400"
    expected = "Line 1 = Calibratrice1, Incartatrice1; Line 2 = Calibratrice2, Incartatrice2"
    assert asked["lines"].suggested == expected
    holds = {(c.machine, c.holds): c for c in shown.learned}
    pieces = holds["Incartatrice1", "good pieces"].limits
    assert pieces is not None and pieces.modulus == 65_536
    assert holds["Incartatrice1", "film"].count_m == 0.1  # nothing in the header says so
    assert shown.by_day["pieces"].sum() == pytest.approx(sum(t.made for t in made.truth), rel=0.02)


def test_the_file_is_read_back_whole_and_says_where_values_come_from(surveyed: Surveyed, tmp_path: Path) -> None:
    shown = set_up(surveyed, {"shop": "Höfer & Söhne", "band": "310-390"})
    path = tmp_path / "plant.toml"
    path.write_text(shown.text, encoding="utf-8")
    plant = read_plant(path)
    assert (plant.shop, plant.zone, len(plant.machines), len(plant.layouts)) == ("Höfer & Söhne", "Europe/Rome", 4, 4)
    assert sorted(layout.id for layout in plant.layouts) == sorted(machine.id for machine in plant.machines)
    assert {m.nominal_per_min for m in plant.machines if m.kind != "sizer"} == {(310.0, 390.0)}
    assert "# Shifts: from 3 days of counting" in shown.text
    assert "seen to start again at 0" in shown.text


def test_where_the_computer_has_no_zone_it_is_asked(made: Undescribed, surveyed: Surveyed) -> None:
    nowhere = replace(surveyed, here="")
    shown = set_up(nowhere, {})
    assert [question.key for question in shown.open] == ["zone"]
    assert shown.text == ""
    assert set_up(nowhere, {"zone": made.zone}).text


def test_answers_that_do_not_fit_are_faults(surveyed: Surveyed) -> None:
    shown = set_up(surveyed, {"shifts": "all day long"})
    assert shown.text == ""
    assert "is not a shift" in shown.faults[0].what
    assert "overlap" in set_up(surveyed, {"shifts": "a 06:00-14:00 mon; b 13:00-20:00 mon"}).faults[0].what


def test_a_hand_written_description_stays_untouched(made: Undescribed, tmp_path: Path) -> None:
    by_hand = 'shop = "By hand"  # mine\n'
    (tmp_path / "plant.toml").write_text(by_hand, encoding="utf-8")
    desk = SetUpDesk(tmp_path, made.zone)
    desk.look([made.folder])
    shown = desk.show()
    assert shown is not None
    difference = desk.difference(shown.text)
    assert '-shop = "By hand"  # mine' in difference
    assert any(line.startswith("+[[machines]]") for line in difference)
    assert desk.write() == tmp_path / SUGGESTED
    assert (tmp_path / "plant.toml").read_text(encoding="utf-8") == by_hand


def test_files_of_two_machines_under_one_name_are_not_mixed(made: Undescribed, tmp_path: Path) -> None:
    for machine in ("Incartatrice1", "Incartatrice2"):
        folder = tmp_path / machine
        folder.mkdir()
        for path in made.folder.glob(f"{machine}_*"):
            (folder / path.name.replace(machine, "log")).write_bytes(path.read_bytes())
    shown = set_up(survey_folder([tmp_path], "Invented", made.zone), {})
    assert any("different values for the same moments" in fault.what for fault in shown.faults)
    assert shown.text == ""


def test_nothing_is_written_while_a_question_is_open(made: Undescribed, tmp_path: Path) -> None:
    desk = SetUpDesk(tmp_path, "")
    with pytest.raises(AskError, match="looked at"):
        desk.write()
    desk.look([made.folder])
    with pytest.raises(AskError, match="not answered: In which time zone"):
        desk.write()
    assert not (tmp_path / "plant.toml").exists()


def test_uploads_stay_within_the_folder_of_exports(tmp_path: Path) -> None:
    desk = SetUpDesk(tmp_path, "")

    def save(path: Path) -> None:
        path.write_bytes(b"a")

    kept = desk.keep_upload("log/../../wrap1.csv", save)
    assert kept == tmp_path / "exports" / "wrap1.csv"
    assert desk.keep_upload("..\\..\\x\\sub\\wrap2.csv", save) == tmp_path / "exports" / "sub" / "wrap2.csv"
    assert desk.keep_upload("notes.docx", save) is None
    assert desk.keep_upload(".hidden.csv", save) is None


def test_a_new_folder_opens_only_to_be_set_up(tmp_path: Path) -> None:
    with pytest.raises(PlantError, match="lineview setup"):
        Works(tmp_path)
    with Works(tmp_path, new=True) as works:
        assert not works.is_set_up


def test_the_check_of_a_text_names_lines() -> None:
    faults = check_text('shop = "A"\n[[lines]]\nid = "1"\nnmae = "x"\n')
    assert [(fault.where, fault.what) for fault in faults] == [("plant.toml line 4", "unknown key 'nmae' in [[lines]]")]
    assert "cannot be read as TOML" in check_text("shop = \n")[0].what
