"""The parts of a plant description as forms: their fields, what a person writes in them, and what is lacking."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from lineview.core.errors import AskError, Fault
from lineview.core.language import in_digits, mark, tr, two_ways, weekday_name
from lineview.plant.answers import read_band, read_shifts
from lineview.plant.checks import WEEK
from lineview.plant.edit import WORKS
from lineview.plant.model import Break, Plant

Kind = Literal[
    "text", "number", "whole", "clock", "days", "breaks", "choice", "texts", "numbers", "band", "language", "zone"
]


@dataclass(frozen=True)
class FormField:
    """A field: its key in the file, what a person reads, what it holds, its unit, whether it must be there."""

    key: str
    label: str
    kind: Kind = "number"
    unit: str = ""
    must: bool = False
    choices: tuple[str, ...] = ()


def _texts(key: str, label: str) -> FormField:
    return FormField(key, label, "texts")


_ID = FormField("id", mark("short name"), "text", must=True)
#: The forms by table of the file; machines and lines are changed, not added.
FORMS: dict[str, tuple[FormField, ...]] = {
    WORKS: (
        FormField("shop", mark("name"), "text", must=True),
        FormField("language", mark("language"), "language"),
        FormField("zone", mark("time zone of the machines' clocks"), "zone"),
        FormField("units", mark("units"), "choice", choices=(mark("metric"), "US")),
        FormField("currency", mark("currency, such as EUR"), "text"),
    ),
    "shifts": (
        _ID,
        FormField("start", mark("from"), "clock", must=True),
        FormField("end", mark("to"), "clock", must=True),
        FormField("days", mark("days it starts on"), "days"),
        FormField("breaks", mark("breaks, such as 09:00-09:15"), "breaks"),
    ),
    "lines": (FormField("name", mark("name"), "text"),),
    "machines": (
        FormField("name", mark("name"), "text"),
        FormField("nominal_per_min", mark("nominal band, such as 300-400"), "band", mark("pieces/min")),
        FormField("set_per_min", mark("set rate"), unit=mark("pieces/min")),
        FormField("design_per_min", mark("design rate"), unit=mark("pieces/min")),
    ),
    "products": (
        _ID,
        FormField("flavour", mark("flavour"), "text", must=True),
        FormField("base", mark("base"), "text"),
        FormField("mass_g", mark("mass of a piece"), unit="g", must=True),
        FormField("mass_tolerance_g", mark("tolerance of the mass, either way"), unit="g", must=True),
        FormField("diameter_mm", mark("rope diameter"), unit="mm", must=True),
        FormField("diameter_tolerance_mm", mark("tolerance of the diameter, either way"), unit="mm", must=True),
        FormField("cut_length_mm", mark("cut length"), unit="mm", must=True),
        FormField("density_g_cm3", mark("density"), unit="g/cm³"),
        FormField("price_per_kg", mark("cost of a kilogram"), unit=mark("money")),
        FormField("bag_g", mark("bag sizes, such as 250, 500"), "numbers", "g"),
        _texts("webs", mark("webs, by short name")),
        _texts("allergens", mark("allergens")),
        _texts("also_called", mark("also called")),
    ),
    "webs": (
        _ID,
        FormField("kind", mark("kind"), "choice", must=True, choices=(mark("film"), mark("wax paper"))),
        FormField("name", mark("name"), "text"),
        FormField("cut_length_mm", mark("cut length a piece"), unit="mm", must=True),
        FormField("width_mm", mark("width"), unit="mm", must=True),
        FormField("grammage_g_m2", mark("grammage"), unit="g/m²"),
        FormField("thickness_um", mark("thickness"), unit="µm"),
        FormField("density_g_cm3", mark("density"), unit="g/cm³"),
        FormField("reel_outer_mm", mark("outer diameter of a full reel"), unit="mm", must=True),
        FormField("reel_core_mm", mark("diameter of its core"), unit="mm", must=True),
        FormField("reel_length_m", mark("length of a reel, by its label"), unit="m"),
        FormField("price_per_reel", mark("price of a reel"), unit=mark("money")),
        FormField("supplier", mark("supplier"), "text"),
        FormField("lead_time_days", mark("days from order to delivery"), unit=mark("days")),
        FormField("lead_time_sd_days", mark("standard deviation of these days"), unit=mark("days")),
        FormField("minimum_reels", mark("least reels an order"), "whole"),
        FormField("multiple_reels", mark("reels in steps of"), "whole"),
        FormField("shelf_life_days", mark("shelf life"), unit=mark("days")),
    ),
}
#: What a part of each table is called.
PART_NAMES = {
    WORKS: mark("works"),
    "shifts": mark("shift"),
    "lines": mark("line"),
    "machines": mark("machine"),
    "products": mark("product"),
    "webs": mark("web"),
}
#: Tables whose parts are added and removed in a form.
GROWING = ("shifts", "products", "webs")


def toml_of(field: FormField, text: str, where: str) -> str:
    """What a person wrote in a field, as TOML.

    Parameters
    ----------
    field : FormField
        Of `FORMS`.
    text : str
        As written.
    where : str
        For the message.

    Returns
    -------
    str
        A TOML value, "" for an empty field.

    Raises
    ------
    AskError
        Where the text is not what the field holds.

    Examples
    --------
    >>> toml_of(FormField("bag_g", "bag sizes", "numbers"), "250; 500,5", "bag")
    '[250, 500.5]'
    """
    bare = text.strip()
    if not bare:
        if field.must or field.kind == "days":
            raise AskError(Fault(tr("{label} is missing", label=tr(field.label)), where, tr("a value")))
        return ""
    if len(bare) > MOST_LETTERS or not bare.isprintable():
        expected = tr("up to {most} letters, digits and signs in one line", most=MOST_LETTERS)
        what = tr("{label} has {signs:,} signs, or some that nobody sees", label=tr(field.label), signs=len(bare))
        raise AskError(Fault(what, where, expected))
    return _WRITERS[field.kind](field, bare, where)


#: Signs of a text that a person enters; the fields of the board take as many.
MOST_LETTERS = 200
#: Signs of a number that a person enters.
MOST_DIGITS = 15


def _numbers(field: FormField, text: str, where: str) -> str:
    parts = [part for part in re.split(r"[;\s]+|,\s+", text) if part]
    return f"[{', '.join(_number(field, part, where) for part in parts)}]"


def _text_list(_field: FormField, text: str, _where: str) -> str:
    return json.dumps([part.strip() for part in re.split(r"[;,]", text) if part.strip()], ensure_ascii=False)


def _breaks(_field: FormField, text: str, where: str) -> str:
    breaks = read_shifts(f"x 06:00-14:00 mon breaks {text}", where)[0].breaks
    if not breaks:
        raise AskError(Fault(tr("'{text}' is not a break", text=text), where, tr("such as 09:00-09:15")))
    return "[" + ", ".join(f"{{ start = {pause.start}, end = {pause.end} }}" for pause in breaks) + "]"


def _band(_field: FormField, text: str, where: str) -> str:
    low, high = read_band(text, where)
    return f"[{low:g}, {high:g}]"


def _number(field: FormField, text: str, where: str) -> str:
    """A number with a point or a comma, as TOML."""
    bare = text.strip().replace(",", ".")
    pattern = r"\d+" if field.kind == "whole" else r"\d+(\.\d+)?"
    if two_ways(text) or not re.fullmatch(pattern, bare, re.ASCII) or len(bare) > MOST_DIGITS:
        expected = tr("a number in {unit}", unit=tr(field.unit)) if field.unit else tr("a number")
        expected = two_ways(text) or (tr("a whole number") if field.kind == "whole" else expected)
        raise AskError(
            Fault(tr("{label}: '{text}' is not a number", label=tr(field.label), text=text), where, expected)
        )
    return bare.lstrip("0") or "0" if re.fullmatch(r"\d+", bare) else re.sub(r"^0+(?=\d)", "", bare)


def _text(_field: FormField, text: str, _where: str) -> str:
    return json.dumps(text, ensure_ascii=False)


#: By what a field holds, how its text is written as TOML.
_WRITERS: Mapping[Kind, Callable[[FormField, str, str], str]] = {
    "text": _text,
    "choice": _text,
    "language": _text,
    "zone": _text,
    "texts": _text_list,
    "number": _number,
    "whole": _number,
    "numbers": _numbers,
    "band": _band,
    "breaks": _breaks,
    "days": lambda _f, text, where: json.dumps(list(read_shifts(f"x 06:00-14:00 {text}", where)[0].days)),
    "clock": lambda _f, text, where: str(read_shifts(f"x {text}-00:00", where)[0].start),
}
#: The same the other way round, where it is not plainly the value.
_READERS: Mapping[Kind, Callable[[Any], str]] = {
    "clock": lambda value: f"{value:%H:%M}",
    "breaks": lambda value: ", ".join(f"{pause.start:%H:%M}-{pause.end:%H:%M}" for pause in value),
    "days": lambda value: " ".join(day for day in WEEK if day in value),
    "band": lambda value: f"{value[0]:g}-{value[1]:g}",
    "number": lambda value: in_digits(f"{value:.12g}"),
    "numbers": lambda value: ", ".join(in_digits(f"{number:g}") for number in value),
    "texts": ", ".join,
}


def text_of(field: FormField, value: Any) -> str:
    """A value of the plant description as a person would write it in a field.

    Parameters
    ----------
    field : FormField
        Of `FORMS`.
    value : object
        Of the part, None where it is not set.

    Returns
    -------
    str
        "" for what is not set.
    """
    if value is None or value == ():
        return ""
    return _READERS[field.kind](value) if field.kind in _READERS else str(value)


def words_of(field: FormField | None, toml: str) -> str:
    """A value of the file in the words of its field; numbers as they stand there, "not set" for none.

    Parameters
    ----------
    field : FormField or None
        None for a key that no form has.
    toml : str
        Its TOML value, "" where it is not set.
    """
    if not toml or field is None or field.kind in ("number", "whole", "numbers"):
        return toml or tr("not set")
    value = tomllib.loads(f"value = {toml}")["value"]
    if field.kind == "days":
        return ", ".join(weekday_name(WEEK.index(day), short=True) for day in value)
    return text_of(field, [Break(**pause) for pause in value] if field.kind == "breaks" else value)


@dataclass(frozen=True)
class Lack:
    """A number that a page lacks: its place in the file, and what it would show."""

    table: str
    id: str
    field: FormField
    label: str


#: By question: table, key and the words that follow the part's name.
_FIELDS_OF: Mapping[str, tuple[tuple[str, str], ...]] = {
    "shift": (("machines", "set_per_min"),),
    "weight": (("products", "bag_g"), ("products", "price_per_kg")),
    "wrap": (("webs", "price_per_reel"), ("webs", "reel_length_m")),
    "order": (("webs", "price_per_reel"), ("webs", "lead_time_days")),
}
#: By question: tables that it needs for most of its figures.
NEEDED: Mapping[str, tuple[str, ...]] = {
    "rope": ("products",),
    "weight": ("products",),
    "wrap": ("webs", "products"),
    "order": ("webs", "products"),
}


def lacking(plant: Plant, question: str) -> Iterator[Lack]:
    """The numbers that a question's page lacks.

    Parameters
    ----------
    plant : Plant
        The plant description.
    question : str
        One of the five.

    Yields
    ------
    Lack
        One a number, each with its field.
    """
    for table, key in _FIELDS_OF.get(question, ()):
        field = next(f for f in FORMS[table] if f.key == key)
        for part in getattr(plant, table):
            if table == "machines" and part.kind == "sizer":
                continue
            if getattr(part, key) in (None, ()):
                name = getattr(part, "name", "") or getattr(part, "flavour", "") or part.id
                yield Lack(table, part.id, field, f"{name}: {tr(field.label)}")
