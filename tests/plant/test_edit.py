"""Changes to the text of plant.toml: comments and order stay, and each change can be taken back."""

from __future__ import annotations

import pytest
import tomlkit

from lineview.core.errors import AskError
from lineview.plant.edit import apply_edit, edit_for, removal_of

TEXT = """# Our works
shop = "Mill Lane"   # as on the gate

[[webs]]
id = "film-a"
price_per_reel = 34.00   # since May
supplier = "one"

# the second one
[[webs]]
id = "wax"
width_mm = 40

# ---- layouts
[[layouts]]
id = "log"
[layouts.columns]
"Stück" = { to = "pieces" }
"""


def changed(values: dict[str, str], part: str = "film-a", table: str = "webs") -> str:
    return apply_edit(TEXT, edit_for(TEXT, table, part, values))


def test_a_value_changes_and_its_comment_stays() -> None:
    assert changed({"price_per_reel": "41.5"}) == TEXT.replace("34.00 ", "41.5 ")


def test_a_value_that_is_the_same_changes_nothing() -> None:
    edit = edit_for(TEXT, "webs", "film-a", {"price_per_reel": "34", "supplier": '"one"'})
    assert edit.before == edit.after == {}


def test_a_new_value_stands_with_its_part_and_an_empty_one_goes() -> None:
    text = changed({"supplier": "", "lead_time_days": "21"})
    assert tomlkit.parse(text).unwrap()["webs"][0] == {"id": "film-a", "price_per_reel": 34.0, "lead_time_days": 21}
    assert text.replace("lead_time_days = 21\n", "").replace('supplier = "one"\n', "") == TEXT.replace(
        'supplier = "one"\n', ""
    )


def test_a_new_part_follows_its_kind_before_the_heading_of_the_next() -> None:
    text = changed({"id": '"foil"', "width_mm": "60"}, "foil")
    assert text == TEXT.replace("# ---- layouts", '[[webs]]\nid = "foil"\nwidth_mm = 60\n\n# ---- layouts')


def test_the_first_part_of_a_kind_comes_last() -> None:
    text = changed({"id": '"mint"', "mass_g": "6.5"}, "mint", "products")
    assert text == TEXT + '\n[[products]]\nid = "mint"\nmass_g = 6.5\n'


@pytest.mark.parametrize(
    "edit",
    [
        edit_for(TEXT, "webs", "film-a", {"price_per_reel": "41.5"}),
        edit_for(TEXT, "webs", "wax", {"name": '"Wachs"', "width_mm": ""}),
        edit_for(TEXT, "webs", "foil", {"id": '"foil"'}),
        edit_for(TEXT, "products", "mint", {"id": '"mint"'}),
        removal_of(TEXT, "webs", "wax"),
    ],
)
def test_every_change_can_be_taken_back(edit) -> None:
    back = apply_edit(apply_edit(TEXT, edit), edit.undone)
    assert tomlkit.parse(back).unwrap() == tomlkit.parse(TEXT).unwrap()
    assert [line for line in back.splitlines() if line.startswith("#")] == [
        line for line in TEXT.splitlines() if line.startswith("#")
    ]


def test_what_was_changed_since_is_not_overwritten() -> None:
    edit = edit_for(TEXT, "webs", "film-a", {"price_per_reel": "41.5"})
    by_hand = apply_edit(TEXT, edit).replace("41.5", "50")
    with pytest.raises(AskError, match="changed since"):
        apply_edit(by_hand, edit.undone)
    with pytest.raises(AskError, match="no 'foil'"):
        removal_of(TEXT, "webs", "foil")
