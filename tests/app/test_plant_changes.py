"""Changes of plant.toml through forms: checked before anything is written, dated, and undoable."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import copy2

import pytest

from lineview.app.plant_changes import PlantEditor
from lineview.core.errors import AskError, PlantError
from lineview.plant.read import read_plant
from tests.main_job.invented_week import DEMO


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    return tmp_path


def test_a_change_is_dated_named_and_can_be_undone(folder: Path) -> None:
    editor, path = PlantEditor(folder), folder / "plant.toml"
    before = path.read_text(encoding="utf-8")
    made = editor.change("webs", "wax", {"price_per_reel": "9,80", "supplier": "Paper supplier (invented)"}, "Ann")
    assert made is not None and made.words == "web wax: price of a reel 9.40 → 9.80"
    assert read_plant(path).web("wax").price_per_reel == 9.8
    assert before.replace("9.40", "9.80", 1) == path.read_text(encoding="utf-8")
    again = PlantEditor(folder)
    assert [(c.number, c.who) for c in again.changes()] == [(1, "Ann")]
    assert datetime.now(UTC) - again.changes()[0].at < timedelta(minutes=1)
    undone = again.undo(1, "Bo")
    assert undone is not None and (undone.undoes, undone.who) == (1, "Bo")
    assert path.read_text(encoding="utf-8") == before
    with pytest.raises(AskError, match="no change 1"):
        again.undo(1, "Bo")


def test_nothing_wrong_is_written(folder: Path) -> None:
    editor, path = PlantEditor(folder), folder / "plant.toml"
    before = path.read_text(encoding="utf-8")
    with pytest.raises(PlantError, match="core of 400 mm"):
        editor.change("webs", "wax", {"reel_core_mm": "400"}, "Ann")
    with pytest.raises(AskError) as error:
        editor.change("products", "new", {"mass_g": "six", "flavour": ""}, "Ann")
    assert [fault.what for fault in error.value.faults] == [
        "flavour is missing",
        "mass of a piece: 'six' is not a number",
    ]
    with pytest.raises(AskError, match="is a web of Vanilla"):
        editor.remove("webs", "wax", "Ann")
    with pytest.raises(AskError, match="your name is missing"):
        editor.change("webs", "wax", {"price_per_reel": "1"}, " ")
    with pytest.raises(AskError, match="by hand"):
        editor.remove("machines", "wrap1", "Ann")
    assert editor.change("webs", "wax", {"price_per_reel": "9.4"}, "Ann") is None
    assert path.read_text(encoding="utf-8") == before
    assert editor.changes() == []


def test_a_web_in_use_is_not_removed_and_its_products_are_named_once(folder: Path) -> None:
    before = (folder / "plant.toml").read_text(encoding="utf-8")
    with pytest.raises(AskError) as error:
        PlantEditor(folder).remove("webs", "wax", "Ann")
    (fault,) = error.value.faults
    assert fault.what.startswith("'wax' is a web of Vanilla, Salt caramel, Hazelnut, ")
    assert fault.what.endswith(" and Liquorice")
    assert (folder / "plant.toml").read_text(encoding="utf-8") == before
    PlantEditor(folder).change("products", "pear", {"webs": "wax"}, "Ann")
    assert PlantEditor(folder).remove("webs", "film-pear", "Ann") is not None


def test_a_product_is_added_and_removed(folder: Path) -> None:
    editor = PlantEditor(folder)
    texts = {
        "id": "mint", "flavour": "Mint", "mass_g": "6.5", "mass_tolerance_g": "0.4", "diameter_mm": "15",
        "diameter_tolerance_mm": "0.3", "cut_length_mm": "31", "webs": "film-lemon, wax", "bag_g": "250",
    }  # fmt: skip
    editor.change("products", "mint", texts, "Ann")
    product = read_plant(folder / "plant.toml").product("Mint")
    assert product is not None and product.webs == ("film-lemon", "wax")
    editor.remove("products", "mint", "Ann")
    assert read_plant(folder / "plant.toml").product("Mint") is None
    editor.undo(2, "Ann")
    assert read_plant(folder / "plant.toml").product("Mint") == product


@pytest.mark.parametrize("line", ["{", "3", '{"number": 1}', '{"at": 1, "number": 1}', "\udcff"])
def test_a_damaged_log_of_changes_is_told_plainly_and_left_as_it_is(folder: Path, line: str) -> None:
    log = folder / "plant-changes.jsonl"
    log.write_bytes(line.encode("utf-8", "surrogateescape") + b"\n")
    before = log.read_bytes()
    with pytest.raises(PlantError, match="line 1"):
        PlantEditor(folder).changes()
    assert log.read_bytes() == before
