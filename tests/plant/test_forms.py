"""What a person writes in a field as TOML, and back; which numbers a page lacks."""

from __future__ import annotations

import tomllib

import pytest

from lineview.core.errors import AskError
from lineview.demo.spec import demo_plant
from lineview.plant.forms import FORMS, FormField, lacking, text_of, toml_of
from lineview.plant.model import Machine, Product, Shift, Web

MODELS = {"shifts": Shift, "machines": Machine, "products": Product, "webs": Web}


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("number", "34,5", 34.5),
        ("number", "007", 7),
        ("number", "0.50", 0.5),
        ("whole", "12", 12),
        ("text", 'Höfer "A"', 'Höfer "A"'),
        ("texts", "a; b, c", ["a", "b", "c"]),
        ("numbers", "250, 500", [250, 500]),
        ("numbers", "250;500,5", [250, 500.5]),
        ("band", "300 - 400", [300, 400]),
        ("days", "mon-wed sun", ["mon", "tue", "wed", "sun"]),
    ],
)
def test_what_is_written_becomes_a_value(kind: str, text: str, value: object) -> None:
    field = FormField("k", "field", kind)
    assert tomllib.loads(f"k = {toml_of(field, text, '')}")["k"] == value


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("number", "about 3"),
        ("number", "1.234,5"),
        ("whole", "2.5"),
        ("band", "300"),
        ("clock", "25:00"),
        ("breaks", "9"),
    ],
)
def test_what_no_value_is_is_said(kind: str, text: str) -> None:
    with pytest.raises(AskError):
        toml_of(FormField("k", "field", kind), text, "here")


def test_a_field_that_must_be_there_is_missed() -> None:
    with pytest.raises(AskError, match="mass of a piece is missing"):
        toml_of(FormField("mass_g", "mass of a piece", must=True), " ", "product")
    assert toml_of(FormField("price", "price"), " ", "product") == ""


def test_every_field_is_a_key_and_the_demo_comes_back_from_its_forms() -> None:
    plant = demo_plant()
    for table, model in MODELS.items():
        required = {name for name, entry in model.model_fields.items() if entry.is_required()}
        fields = FORMS[table]
        assert {f.key for f in fields} <= set(model.model_fields)
        if table in ("products", "webs", "shifts"):
            assert {f.key for f in fields if f.must} == required
        for part in getattr(plant, table):
            for field in fields:
                value = getattr(part, field.key)
                toml = toml_of(field, text_of(field, value), table)
                read = tomllib.loads(f"k = {toml}")["k"] if toml else None
                again = model.model_validate(
                    {**part.model_dump(exclude_unset=True), **({field.key: read} if toml else {})}
                )
                assert getattr(again, field.key) == value, (table, part.id, field.key)


def test_a_page_says_what_it_lacks() -> None:
    plant = demo_plant()
    cheap = plant.webs[0].model_copy(update={"price_per_reel": None})
    without = plant.model_copy(update={"webs": (cheap, *plant.webs[1:])})
    assert [(lack.table, lack.id, lack.field.key) for lack in lacking(without, "order")] == [
        ("webs", cheap.id, "price_per_reel")
    ]
    assert list(lacking(plant, "order")) == []
    assert {lack.field.key for lack in lacking(plant, "weight")} == {"bag_g"}
