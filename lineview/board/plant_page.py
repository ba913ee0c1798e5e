"""The page "Works": forms over plant.toml, and the numbers that other pages lack, taken where they are missed."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from typing import Any
from urllib.parse import urlsplit

from dash import dcc, html
from flask import Flask, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from lineview.app.access import Person
from lineview.app.plant_changes import PlantChange, PlantEditor
from lineview.app.works import Works
from lineview.board.guard import person
from lineview.board.plain import page_links, plain_page
from lineview.board.setup_page import day_names, zones
from lineview.core.errors import Fault, LineviewError
from lineview.core.language import language_name, languages, mark, speak, tr, tr_count
from lineview.plant import WEEK, Plant
from lineview.plant.edit import WORKS
from lineview.plant.forms import FORMS, GROWING, NEEDED, FormField, Lack, lacking, text_of
from lineview.report import show

#: Fields of the form on another page at most; the page "Works" has all of them.
MOST_LACKING = 8
#: What the tables are called on the page.
TITLES = {
    WORKS: mark("The works itself"),
    "shifts": mark("Shifts"),
    "lines": mark("Lines"),
    "machines": mark("Machines"),
    "webs": mark("Webs: film and wax paper"),
    "products": mark("Products"),
}
CHANGES_SHOWN = 40
#: What adding to a table is called: the fold that opens its form, and the button; the part that a page lacks.
ADD = {"shifts": mark("Add a shift"), "products": mark("Add a product"), "webs": mark("Add a web")}
ADD_THIS = {"shifts": mark("Add this shift"), "products": mark("Add this product"), "webs": mark("Add this web")}
DESCRIBE = {"products": mark("Describe a product"), "webs": mark("Describe a web")}
LACKS = {"products": mark("a product"), "webs": mark("a web")}


def add_plant_routes(server: Flask, works: Works) -> None:
    """Add the page "Works" and what its forms send."""

    def page() -> str:
        return _page(works)

    def change() -> AnyResponse | str:
        form = request.form
        table, who = form.get("table", ""), _name()
        part = form.get("part") or form.get("id", "")
        texts = {
            field.key: _text(field.key) for field in FORMS.get(table, ()) if field.key in form or field.key == "days"
        }
        adds = table in GROWING and not form.get("part")
        return _done(works, lambda editor: editor.change(table, part, texts, who, adds), texts)

    def remove() -> AnyResponse | str:
        form = request.form
        table, part, who = form.get("table", ""), form.get("part", ""), _name()
        return _done(works, lambda editor: editor.remove(table, part, who))

    def undo() -> AnyResponse | str:
        number, who = request.form.get("number", ""), _name()
        change_number = int(number) if number.isdecimal() and len(number) < 16 else 0
        return _done(works, lambda editor: editor.undo(change_number, who))

    def fill() -> AnyResponse | str:
        faults: list[Fault] = []
        for name, text in request.form.items():
            table, _, part_and_key = name.partition("/")
            part, _, key = part_and_key.rpartition("/")
            if table in FORMS and text.strip():
                try:
                    _note_change(works, PlantEditor(works.folder).change(table, part, {key: text}, _name()))
                except LineviewError as error:
                    faults += error.faults
        return _page(works, faults) if faults else redirect(_on_this_board(request.form.get("back", "/")), 303)

    server.add_url_rule("/works", "works", page)
    for name, view in (("change", change), ("remove", remove), ("undo", undo), ("fill", fill)):
        server.add_url_rule(f"/works/{name}", f"works-{name}", view, methods=["POST"])


def _name() -> str:
    """Who changes something: the person signed in, or on this machine the name that was entered."""
    who = person()
    return request.form.get("who", "") if who.session is None else who.name


def _note_change(works: Works, change: PlantChange | None) -> PlantChange | None:
    """Write a change of plant.toml also where everything written stands."""
    if change is not None:
        edit = change.edit
        works.store.accounts.note_event(mark("plant.toml changed"), f"{edit.table} {edit.id}", edit.before, edit.after)
    return change


def _on_this_board(address: str) -> str:
    """A page's address without a host; what a browser would take for another host leads to the first page."""
    back = urlsplit(address)
    there = f"{back.path}?{back.query}" if back.query else back.path
    return there if there.startswith("/") and not there.startswith("//") and "\\" not in there else "/"


def _text(key: str) -> str:
    """What a form sent for a field; several ticked days in one text."""
    return " ".join(request.form.getlist(key))


def _done(works: Works, act: Any, texts: Mapping[str, str] | None = None) -> AnyResponse | str:
    """Do what a form asks; where it cannot be done the page says why and keeps what was typed."""
    try:
        change = _note_change(works, act(PlantEditor(works.folder)))
    except LineviewError as error:
        return _page(works, list(error.faults), dict(request.form) | dict(texts or {}))
    return redirect(f"/works?done={change.number if change else 0}", 303)


def _page(works: Works, faults: list[Fault] | None = None, typed: Mapping[str, str] | None = None) -> str:
    faults, changes = list(faults or ()), []
    with suppress(LineviewError):  # said below
        speak(works.plant.language)
    try:
        changes = PlantEditor(works.folder).changes()
    except LineviewError as error:  # the forms below say the same while it lasts; what plant.toml holds is shown
        faults += [fault for fault in error.faults if fault not in faults]
    context: dict[str, Any] = {
        "title": tr("Works"),
        "pages": page_links("/works"),
        "faults": [str(fault) for fault in faults],
        "days": WEEK,
        "day_names": day_names(),
        "signed_in": person().session is not None,
        "may_change": person().may("administer"),
    }
    try:
        plant = works.plant
    except LineviewError as error:
        context |= {"shop": "", "sentence": tr("plant.toml cannot be used as it stands."), "soft": "", "tables": []}
        context["faults"] += [str(fault) for fault in error.faults]
        return plain_page("works.html", **context, changes=[], who="")
    done = next((c for c in changes if str(c.number) == request.args.get("done")), None)
    counts = (
        tr_count("{count} machine", "{count:,} machines", len(plant.machines)),
        tr_count("{count} web", "{count:,} webs", len(plant.webs)),
        tr_count("{count} product", "{count:,} products", len(plant.products)),
    )
    context |= {
        "shop": plant.shop,
        "sentence": tr("{shop} has {counts}.", shop=plant.shop, counts=", ".join(counts)),
        "soft": tr(
            "Everything here stands in plant.toml, which can be edited by hand as well. Each change "
            "is dated and can be undone."
        ),
        "tables": [_table(name, plant, typed or {}) for name in TITLES],
        "changes": [_change(c, changes, plant) for c in reversed(changes[-CHANGES_SHOWN:])],
        "who": (typed or {}).get("who", changes[-1].who if changes else ""),
        "told": f"{done.words}." if done else tr("Nothing was changed.") if request.args.get("done") == "0" else "",
    }
    return plain_page("works.html", **context)


def _change(change: Any, changes: list[Any], plant: Plant) -> dict[str, Any]:
    undone = any(other.undoes == change.number for other in changes)
    words = (
        tr("undid change {number}: {what}", number=change.undoes, what=change.words) if change.undoes else change.words
    )
    return {
        "number": change.number,
        "at": show.moment(change.at, plant),
        "who": change.who,
        "words": words,
        "undone": undone,
    }


def _table(table: str, plant: Plant, typed: Mapping[str, str]) -> dict[str, Any]:
    parts = []
    for part in (plant,) if table == WORKS else getattr(plant, table):
        part_id = getattr(part, "id", "")
        entered = typed if typed.get("table") == table and typed.get("part") == part_id else {}
        name = getattr(part, "name", "") or getattr(part, "flavour", "") or part_id or plant.shop
        fields = [_field(f, entered.get(f.key, text_of(f, getattr(part, f.key))), plant) for f in FORMS[table]]
        parts.append(
            {"id": part_id, "name": name, "fields": [f for f in fields if f["key"] != "id"], "open": bool(entered)}
        )
    new = typed if typed.get("table") == table and not typed.get("part") else {}
    default = {"days": "mon tue wed thu fri"}
    fields = [_field(f, new.get(f.key, default.get(f.key, "")), plant) for f in FORMS[table]]
    more = {"fields": fields, "open": bool(new), "none": not parts} if table in GROWING else None
    context = {"name": table, "title": tr(TITLES[table]), "parts": parts, "more": more}
    return context | {"add": tr(ADD.get(table, "")), "add_this": tr(ADD_THIS.get(table, ""))}


def _field(field: Any, text: str, plant: Plant) -> dict[str, Any]:
    unit = plant.currency if field.unit == "money" else field.unit
    choices = _choices(field, text)
    return {
        "key": field.key,
        "label": _labelled(tr(field.label), unit, plant),
        "kind": "choice" if choices else field.kind,
        "text": text,
        "shown": dict(choices).get(text, text),
        "must": field.must,
        "choices": choices,
        "numeric": field.kind in ("number", "whole"),
    }


def _labelled(label: str, unit: str, plant: Plant) -> str:
    return f"{label} ({show.unit_words(unit, plant.units)})" if unit else label


def _choices(field: FormField, text: str) -> list[tuple[str, str]]:
    """What may be chosen in a field, as it stands in the file and as it is shown."""
    if field.kind == "language":
        return [(code, language_name(code)) for code in languages()]
    if field.kind == "zone":
        return [(zone, zone) for zone in dict.fromkeys((*zones(), text))]
    return [(choice, tr(choice)) for choice in field.choices]


# On other pages


def lacking_form(plant: Plant, question: str, back: str, who: Person) -> html.Details | None:
    """The numbers that a page lacks, as a form that takes them in place; None where it lacks none."""
    if not who.may("administer"):
        return None
    needed = [table for table in NEEDED.get(question, ()) if not getattr(plant, table)]
    fields = list(lacking(plant, question))
    if not fields and not needed:
        return None
    count = len(fields) + len(needed)
    title = tr_count(
        "This page lacks {count} thing: {things}",
        "This page lacks {count} things: {things}",
        count,
        things=_lack_words(fields, needed),
    )
    parts: list[Any] = [html.Summary(title)]
    for table in needed:
        parts.append(html.P(html.A(tr(DESCRIBE[table]), href=f"/works#{table}"), className="acts"))
    if fields:
        inputs = [_input(lack, plant) for lack in fields[:MOST_LACKING]]
        name = dcc.Input(id="lack-who", name="who", type="text", required=True, autoComplete="name")
        name_field = [html.Label([tr("Your name"), name])] if who.session is None else []
        back_to = dcc.Input(id="lack-back", name="back", type="hidden", value=back)
        save = html.Button(tr("Save"), type="submit")
        more = len(fields) - MOST_LACKING
        there = html.P([tr("{count} more are on the page", count=more), " ", html.A(tr("Works"), href="/works"), "."])
        more_words = [there] if more > 0 else []
        parts.append(html.Form([back_to, *inputs, *name_field, save, *more_words], action="/works/fill", method="POST"))
    return html.Details(parts, className="fold form", id="lacking")


def _lack_words(fields: list[Lack], needed: list[str]) -> str:
    labels = list(dict.fromkeys([*(tr(LACKS[table]) for table in needed), *(tr(f.field.label) for f in fields)]))
    plain = [label.partition(",")[0] for label in labels]
    words = ", ".join(plain[:3])
    return tr("{things} and more", things=words) if len(plain) > 3 else words


def _input(lack: Lack, plant: Plant) -> html.Label:
    unit = plant.currency if lack.field.unit == "money" else lack.field.unit
    name = f"{lack.table}/{lack.id}/{lack.field.key}"
    words = _labelled(lack.label, unit, plant)
    return html.Label([words, dcc.Input(id=f"lack-{lack.table}-{lack.id}-{lack.field.key}", name=name, type="text")])
