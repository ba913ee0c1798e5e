"""`lineview setup` in the terminal, and what intake prints of an accepted layout."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from lineview.cli import main
from lineview.cli.setup import run_setup
from lineview.core.errors import AskError
from lineview.plant.read import read_plant
from tests.simulate.undescribed import Undescribed, make_undescribed


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Undescribed:
    return make_undescribed(8, tmp_path_factory.mktemp("works") / "exports")


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, works: Undescribed) -> None:
    monkeypatch.setenv("TZ", works.zone)


@pytest.mark.usefixtures("here")
def test_every_suggestion_taken_gives_a_first_answer(works: Undescribed, tmp_path: Path, capsys) -> None:
    run_setup(tmp_path, [works.folder], None, accept=True, answers=["shop=Mill Lane Sweets", "band=310-390"])
    printed = capsys.readouterr().out
    assert "3 files like Plieuse1_2026-06-08.csv.gz: Plieuse1" in printed
    assert "This shift made" in printed
    assert "310 to 390" in printed
    assert (tmp_path / "plant.toml").read_text(encoding="utf-8").splitlines()[1] == 'shop = "Mill Lane Sweets"'


@pytest.mark.usefixtures("here")
def test_a_works_is_set_up_in_german(works: Undescribed, tmp_path: Path, capsys) -> None:
    run_setup(tmp_path, [works.folder], None, accept=True, answers=["shop=Mill Lane Sweets"], language="de")
    printed = capsys.readouterr().out
    assert "3 Dateien wie Plieuse1_2026-06-08.csv.gz: Plieuse1" in printed
    assert "3 files" not in printed
    plant = read_plant(tmp_path / "plant.toml", tmp_path / "layouts.toml")
    assert (plant.language, plant.lines[0].name, plant.machines[0].kind) == ("de", "Linie 1", "sizer")


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize("accept", [False, True])
def test_what_holds_nothing_is_said_before_anything_is_asked(tmp_path, monkeypatch, accept) -> None:
    monkeypatch.setattr(typer, "prompt", lambda *_words, **_default: pytest.fail("it asked"))
    (tmp_path / "empty.csv").touch()
    with pytest.raises(AskError, match="the file is empty"):
        run_setup(tmp_path / "works", [tmp_path / "empty.csv"], None, accept=accept, answers=[])


@pytest.mark.usefixtures("here")
def test_each_question_is_asked_with_its_suggestion(
    works: Undescribed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    defaults: dict[str, object] = {}

    def prompt(text: str, default: object = None) -> object:
        defaults[text] = default
        return "320-380" if text == "band" else default

    monkeypatch.setattr(typer, "prompt", prompt)
    monkeypatch.setattr(typer, "confirm", lambda *_words, **_default: True)
    run_setup(tmp_path, [works.folder], None, accept=False, answers=[])
    assert defaults["zone"] == "Europe/Paris"
    assert defaults["shifts"] == "day 06:00-16:00 mon-fri breaks 09:00-09:15, 12:00-12:45"
    assert defaults["lines"] == "Line 1 = Calibreuse1, Plieuse1"
    assert "nominal_per_min = [320.0, 380.0]" in (tmp_path / "plant.toml").read_text(encoding="utf-8")
    assert "by the minutes in which both ran" in capsys.readouterr().out


def test_what_is_open_stops_it_and_nothing_is_written(
    works: Undescribed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lineview.cli.setup.computer_zone", lambda: "")
    with pytest.raises(AskError, match="In which time zone"):
        run_setup(tmp_path, [works.folder], None, accept=True, answers=[])
    with pytest.raises(AskError, match="not an answer"):
        run_setup(tmp_path, [works.folder], None, accept=True, answers=["band"])
    assert not list(tmp_path.iterdir())
    run_setup(tmp_path, [works.folder], None, accept=True, answers=["zone=Europe/Paris"])
    assert 'zone = "Europe/Paris"' in (tmp_path / "plant.toml").read_text(encoding="utf-8")


@pytest.mark.usefixtures("here")
def test_a_description_that_is_there_is_compared_and_kept(works: Undescribed, tmp_path: Path, capsys) -> None:
    (tmp_path / "plant.toml").write_text('shop = "By hand"\n', encoding="utf-8")
    run_setup(tmp_path, [works.folder], None, accept=True, answers=[])
    printed = capsys.readouterr().out
    assert '-shop = "By hand"' in printed
    assert "plant.toml stays as it is" in printed
    assert (tmp_path / "plant.toml").read_text(encoding="utf-8") == 'shop = "By hand"\n'
    assert (tmp_path / "plant.suggested.toml").is_file()


PLANT = """shop = "Invented"
zone = "Europe/Berlin"
[[lines]]
id = "1"
[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [{ id = "pieces", counts = "pieces", fastest_per_min = 450 }]
"""


def test_an_accepted_layout_is_printed_with_what_it_leaves_out(tmp_path: Path, capsys) -> None:
    from lineview.app.works import Works
    from lineview.cli import intake

    (tmp_path / "plant.toml").write_text(PLANT, encoding="utf-8")
    rows = "".join(f"2026-06-09 06:00:{s:02d},{s * 6},Ann\n" for s in range(0, 60, 10))
    (tmp_path / "log.csv").write_text("time,pieces,operator\n" + rows, encoding="utf-8")
    with Works(tmp_path) as works:
        intake.take(works, [tmp_path / "log.csv"], accept=True, settle=[])
        printed = capsys.readouterr().out
        assert "this layout was accepted and added to layouts.toml" in printed
        assert '"pieces" = { to = "pieces" }' in printed
        assert "left out: operator" in printed
        intake.listing(works, tmp_path / "list.csv")
    assert "log.csv" in (tmp_path / "list.csv").read_text(encoding="utf-8").splitlines()[1]


def test_the_bare_command_serves_a_works_or_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    served: list[str] = []
    monkeypatch.setattr(main, "board", lambda: served.append("board"))
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(main.app, []).exit_code == 0
    assert served == ["board"]
    (tmp_path / "letter.txt").write_text("x", encoding="utf-8")
    result = CliRunner().invoke(main.app, [])
    assert "intake" in result.output
    (tmp_path / "plant.toml").write_text(PLANT, encoding="utf-8")
    CliRunner().invoke(main.app, [])
    assert served == ["board", "board"]
