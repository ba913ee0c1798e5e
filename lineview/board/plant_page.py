"""The page "Works": forms over plant.toml, and the numbers that other pages lack, taken where they are missed."""

from __future__ import annotations

from collections.abc import Mapping
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
from lineview.core.errors import Fault, LineviewError
from lineview.plant import WEEK, Plant
from lineview.plant.forms import FORMS, GROWING, NEEDED, PART_NAMES, Lack, lacking, text_of
from lineview.report import show

#: Fields of the form on another page at most; the page "Works" has all of them.
MOST_LACKING = 8
#: What the tables are called on the page.
TITLES = {
    "shifts": "Shifts",
    "lines": "Lines",
    "machines": "Machines",
    "webs": "Webs: film and wax paper",
    "products": "Products",
}
CHANGES_SHOWN = 40


def add_plant_routes(server: Flask, works: Works) -> None:
    """Add the page "Works" and what its forms send."""

    def page() -> str:
        return _page(works)

    def change() -> AnyResponse | str:
        form = request.form
        table, who = form.get("table", ""), _name()
        part = form.get("part") or form.get("id", "")
        texts = {
            field.key: _sent(field.key) for field in FORMS.get(table, ()) if field.key in form or field.key == "days"
        }
        return _done(works, lambda editor: editor.change(table, part, texts, who), texts)

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
        works.store.accounts.note_event("plant.toml changed", f"{edit.table} {edit.id}", edit.before, edit.after)
    return change


def _on_this_board(address: str) -> str:
    """A page's address without a host; what a browser would take for another host leads to the first page."""
    back = urlsplit(address)
    there = f"{back.path}?{back.query}" if back.query else back.path
    return there if there.startswith("/") and not there.startswith("//") and "\\" not in there else "/"


def _sent(key: str) -> str:
    """What a form sent for a field; several ticked days in one text."""
    return " ".join(request.form.getlist(key))


def _done(works: Works, act: Any, texts: Mapping[str, str] | None = None) -> AnyResponse | str:
    """Do what a form asks; where it cannot be done the page says why and keeps what was typed."""
    try:
        change = _note_change(works, act(PlantEditor(works.folder)))
    except LineviewError as error:
        return _page(works, list(error.faults), dict(request.form) | dict(texts or {}))
    return redirect(f"/works?done={change.number}" if change else "/works", 303)


def _page(works: Works, faults: list[Fault] | None = None, typed: Mapping[str, str] | None = None) -> str:
    faults, changes = list(faults or ()), []
    try:
        changes = PlantEditor(works.folder).changes()
    except LineviewError as error:  # the forms below say the same while it lasts; what plant.toml holds is shown
        faults += [fault for fault in error.faults if fault not in faults]
    context: dict[str, Any] = {
        "title": "Works",
        "pages": page_links("/works"),
        "faults": [str(fault) for fault in faults],
        "days": WEEK,
        "signed_in": person().session is not None,
        "may_change": person().may("administer"),
    }
    try:
        plant = works.plant
    except LineviewError as error:
        context |= {"shop": "", "sentence": "plant.toml cannot be used as it stands.", "soft": "", "tables": []}
        context["faults"] += [str(fault) for fault in error.faults]
        return plain_page("works.html", **context, changes=[], who="")
    done = next((c for c in changes if str(c.number) == request.args.get("done")), None)
    counts_of = {"machine": len(plant.machines), "web": len(plant.webs), "product": len(plant.products)}
    counts = ", ".join(f"{number} {name}{'s' * (number != 1)}" for name, number in counts_of.items())
    context |= {
        "shop": plant.shop,
        "sentence": f"{plant.shop} has {counts}.",
        "soft": "Everything here stands in plant.toml, which can be edited by hand as well. "
        "Each change is dated and can be undone.",
        "tables": [_table(name, plant, typed or {}) for name in TITLES],
        "changes": [_change(c, changes, plant) for c in reversed(changes[-CHANGES_SHOWN:])],
        "who": (typed or {}).get("who", changes[-1].who if changes else ""),
        "told": f"{done.words}." if done else "",
    }
    return plain_page("works.html", **context)


def _change(change: Any, changes: list[Any], plant: Plant) -> dict[str, Any]:
    undone = any(other.undoes == change.number for other in changes)
    words = f"undid change {change.undoes}: {change.words}" if change.undoes else change.words
    return {
        "number": change.number,
        "at": show.moment(change.at, plant),
        "who": change.who,
        "words": words,
        "undone": undone,
    }


def _table(table: str, plant: Plant, typed: Mapping[str, str]) -> dict[str, Any]:
    parts = []
    for part in getattr(plant, table):
        entered = typed if typed.get("table") == table and typed.get("part") == part.id else {}
        name = getattr(part, "name", "") or getattr(part, "flavour", "") or part.id
        fields = [_field(f, entered.get(f.key, text_of(f, getattr(part, f.key))), plant) for f in FORMS[table]]
        parts.append(
            {"id": part.id, "name": name, "fields": [f for f in fields if f["key"] != "id"], "open": bool(entered)}
        )
    new = typed if typed.get("table") == table and not typed.get("part") else {}
    default = {"days": "mon tue wed thu fri"}
    fields = [_field(f, new.get(f.key, default.get(f.key, "")), plant) for f in FORMS[table]]
    more = {"fields": fields, "open": bool(new), "none": not parts} if table in GROWING else None
    return {"name": table, "title": TITLES[table], "part": PART_NAMES[table], "parts": parts, "more": more}


def _field(field: Any, text: str, plant: Plant) -> dict[str, Any]:
    unit = plant.currency if field.unit == "money" else field.unit
    label = f"{field.label}{f' ({unit})' if unit else ''}"
    return {
        "key": field.key,
        "label": label,
        "kind": field.kind,
        "text": text,
        "must": field.must,
        "choices": field.choices,
        "numeric": field.kind in ("number", "whole"),
    }


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
    title = f"This page lacks {count} thing{'s' * (count > 1)}: {_lack_words(fields, needed)}"
    parts: list[Any] = [html.Summary(title)]
    for table in needed:
        words = f"Describe a {PART_NAMES[table]}"
        parts.append(html.P(html.A(words, href=f"/works#{table}"), className="acts"))
    if fields:
        inputs = [_input(lack, plant) for lack in fields[:MOST_LACKING]]
        name = dcc.Input(id="lack-who", name="who", type="text", required=True, autoComplete="name")
        name_field = [html.Label(["Your name", name])] if who.session is None else []
        back_to = dcc.Input(id="lack-back", name="back", type="hidden", value=back)
        save = html.Button("Save", type="submit")
        more = len(fields) - MOST_LACKING
        more_words = (
            [html.P([f"{more} more are on the page ", html.A("Works", href="/works"), "."])] if more > 0 else []
        )
        parts.append(html.Form([back_to, *inputs, *name_field, save, *more_words], action="/works/fill", method="POST"))
    return html.Details(parts, className="fold form", id="lacking")


def _lack_words(fields: list[Lack], needed: list[str]) -> str:
    labels = list(dict.fromkeys([*(f"a {PART_NAMES[table]}" for table in needed), *(f.field.label for f in fields)]))
    plain = [label.partition(",")[0] for label in labels]
    return ", ".join(plain[:3]) + (" and more" if len(plain) > 3 else "")


def _input(lack: Lack, plant: Plant) -> html.Label:
    unit = plant.currency if lack.field.unit == "money" else lack.field.unit
    name = f"{lack.table}/{lack.id}/{lack.field.key}"
    words = f"{lack.label}{f' ({unit})' if unit else ''}"
    return html.Label([words, dcc.Input(id=f"lack-{lack.table}-{lack.id}-{lack.field.key}", name=name, type="text")])
