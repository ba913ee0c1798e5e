"""The page "Set up": exports in, what they show, what has to be asked; plain forms that need no script."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

import polars as pl
from flask import Flask, redirect, request
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from lineview.app.set_up_folder import SetUpDesk, computer_zone
from lineview.app.setup import SetUp
from lineview.app.setup_machines import SetUpQuestion
from lineview.app.works import Works
from lineview.board.plain import plain_page
from lineview.board.tables import framed, preview
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.language import (
    ENGLISH,
    in_digits,
    language_name,
    languages,
    mark,
    month_name,
    speak,
    tr,
    tr_count,
    weekday_name,
)
from lineview.plant import WEEK, Shift
from lineview.plant.answers import days_text, read_lines, read_shifts
from lineview.report import show
from lineview.report.tables import table_text

#: Pages that lead to "Set up" while there is no plant description.
LEAD_HERE = ("/", "/rope", "/weight", "/shift", "/wrap", "/order", "/bags", "/week", "/intake", "/works")
#: Parts that a form with a folder of exports may have.
MOST_PARTS = 20_000
#: Sample rows and days shown.
SAMPLE_ROWS, DAYS_SHOWN = 4, 14
#: Shifts that one form may hold.
MOST_SHIFTS = 100


def add_setup_routes(server: Flask, works: Works) -> None:
    """Add the pages that set a works up; while it has no plant description the others lead there."""
    desks: dict[Path, SetUpDesk] = {}

    def desk() -> SetUpDesk:
        if works.folder not in desks:
            desks[works.folder] = SetUpDesk(works.folder, computer_zone())
        return desks[works.folder]

    def before() -> AnyResponse | None:
        if request.path.startswith("/setup"):
            request.max_form_parts = MOST_PARTS
        leads_to_setup = request.method == "GET" and request.path in LEAD_HERE and not works.is_set_up
        return redirect("/setup") if leads_to_setup else None

    def page() -> AnyResponse | str:
        _speak(works, desk())
        if request.method == "GET":
            return _page(desk())
        try:
            if request.form.get("language") and not desk().described:
                desk().speak(request.form["language"])
                desk().language = request.form["language"]
            shown = desk().show()
            desk().answer(answers_in(request.form, shown))
            if request.form.get("do") != "finish":
                return _page(desk())
            now = desk().show()
            if now and "shifts" not in desk().answers and _shifts_of(shown) != _shifts_of(now):
                what = tr("days and shifts are worked out anew by the clocks of {zone}", zone=now.read.draft.zone)
                return _page(desk(), (Fault(what, do=tr("Check them, then finish.")),))
            described = desk().described
            works.store.accounts.note_event(mark("set up"), desk().write().name)
            if described:
                return _page(desk(), done=tr("The suggestion is in plant.suggested.toml; plant.toml stays as it is."))
            desk().take_in(works)
        except LineviewError as error:
            return _page(desk(), error.faults)
        return redirect("/shift")

    def look() -> AnyResponse | str:
        _speak(works, desk())
        try:
            paths = _chosen(desk())
            if not paths:
                raise AskError(Fault(tr("no exports were chosen"), do=tr("Choose a folder, or single files.")))
            desk().look(paths)
        except LineviewError as error:
            return _page(desk(), error.faults)
        return redirect("/setup")

    server.before_request(before)
    server.add_url_rule("/setup", "setup", page, methods=["GET", "POST"])
    server.add_url_rule("/setup/look", "setup-look", look, methods=["POST"])


def _speak(works: Works, desk: SetUpDesk) -> None:
    """Speak the works' language: as plant.toml says, as was chosen, or as the browser asks for."""
    if desk.described:
        with suppress(LineviewError):  # the board says what is wrong with plant.toml
            speak(works.plant.language)
    else:
        desk.speak(desk.language or request.accept_languages.best_match(languages()) or ENGLISH)


def day_names() -> dict[str, str]:
    """Short names of the days of the week by their keys."""
    return {day: weekday_name(number, short=True) for number, day in enumerate(WEEK)}


def zones() -> list[str]:
    """Time zones as area and city, and UTC."""
    places = (zone for zone in available_timezones() if "/" in zone)
    return [*sorted(zone for zone in places if not zone.startswith(("Etc/", "posix", "right"))), "UTC"]


def _chosen(desk: SetUpDesk) -> list[Path]:
    """The exports that a form brings, kept in the works folder, and the path that it names."""
    files = [file for file in request.files.getlist("exports") if file.filename]
    path_text = request.form.get("path", "").strip()
    try:
        uploads = [desk.keep_upload(file.filename or "", file.save) for file in files]
        paths = [Path(path_text).expanduser()] if path_text else []
        for path in paths:
            path.stat()
    except (OSError, ValueError, RuntimeError) as error:  # names that no disk takes, folders of nobody
        why = getattr(error, "strerror", None) or str(error)
        raise AskError(Fault(tr("these exports cannot be opened: {why}", why=why)[:200])) from None
    return [path for path in uploads if path is not None] + paths


# The page


def _page(desk: SetUpDesk, faults: tuple[Fault, ...] = (), done: str = "") -> str:
    state = desk.show()
    context: dict[str, Any] = {
        "shop": desk.answers.get("shop", "" if state is None else desk.shop),
        "title": tr("Set up"),
        "pages": [(tr("Set up"), "/setup", True)] if not desk.described else [(tr("Back to the board"), "/", False)],
        "faults": [
            str(replace(fault, where=fault.where.removeprefix(f"{desk.folder}{os.sep}")))
            for fault in (*faults, *(state.faults if state else ()))
        ],
        "languages": [] if desk.described else [(code, language_name(code)) for code in languages()],
    }
    if state is None:
        context |= {
            "sentence": tr("Set this works up: choose the folder that the machines' exports are in."),
            "soft": tr("They are looked at, and you check what they say: the first answer comes right after."),
        }
        return plain_page("setup.html", **context)
    context |= _setup_context(desk, state)
    context |= {"sentence": done or _sentence(state), "soft": _soft(desk, state)}
    return plain_page("setup.html", **context)


def _sentence(state: SetUp) -> str:
    """What was counted: a first answer."""
    if not state.by_day.height:
        return tr("These exports were read, but nothing in them counts pieces.")
    pieces = show.number(float(state.by_day["pieces"].sum()))
    days, machines = state.by_day["day"].n_unique(), state.by_day["machine"].n_unique()
    on = tr_count("On {count} day", "On {count:,} days", days)
    return tr_count(
        "{on_days} {count} machine counted {pieces} pieces.",
        "{on_days} {count:,} machines counted {pieces} pieces.",
        machines,
        on_days=on,
        pieces=pieces,
    )


def _soft(desk: SetUpDesk, state: SetUp) -> str:
    count, still = len(state.questions), len(state.open)
    words = tr("{count} things the exports cannot say for sure are filled in below; check them.", count=count)
    if still:
        words = tr_count(
            "{things} things are to be checked below; {count} of them has no sure answer.",
            "{things} things are to be checked below; {count} of them have no sure answer.",
            still,
            things=count,
        )
    if desk.described:
        words += " " + tr("There is a plant.toml: it stays as it is, and the suggestion is written beside it.")
    return words


def _shifts_of(state: SetUp | None) -> list[str]:
    """The shifts as the readings suggest them, in the zone that is taken so far."""
    asked = [q for q in (state.questions if state else ()) if q.key == "shifts"]
    return [text for q in asked for text in (q.suggested, *(option for option, _ in q.options)) if text]


def _setup_context(desk: SetUpDesk, state: SetUp) -> dict[str, Any]:
    text = "\n".join(desk.difference(state.text)) if desk.described and state.text else state.text
    titled, finish = tr("plant.toml as it will be written"), tr("Finish: write plant.toml and take the exports in")
    if desk.described:
        titled, finish = tr("How the suggestion differs from plant.toml"), tr("Write plant.suggested.toml")
    return {
        "name": desk.answers.get("shop", desk.shop),
        "questions": [_form_of(question, state, desk.answers) for question in state.questions],
        "zones": zones(),
        "days": WEEK,
        "day_names": day_names(),
        "by_day": _by_day(state.by_day),
        "machines": [_machine(machine.id, machine.label, state) for machine in state.read.draft.machines],
        "aside": [f"{len(g.surveys)} × {g.first.path.name}: {g.aside}" for g in state.read.groups if g.aside],
        "text": text,
        "text_title": titled,
        "finish": finish,
    }


def _form_of(question: SetUpQuestion, state: SetUp, answers: Mapping[str, str]) -> dict[str, Any]:
    """A question as the form needs it."""
    likely = question.options[0][0] if question.options else ""
    value = answers.get(question.key) or question.suggested or ""
    kind = question.key if question.key in ("zone", "shifts", "band", "lines") else "choice"
    is_open = question.suggested is None and question.key not in answers
    words = tr("Not clear from the exports") if is_open else tr("Suggested") if value else ""
    why = ": ".join(filter(None, (words, question.why)))
    form: dict[str, Any] = {"key": question.key, "text": question.text, "why": why}
    form |= {"kind": kind, "open": is_open, "value": value, "options": question.options}
    if kind == "shifts":
        form["rows"] = _rows(value) or _rows(likely)
        form["more"] = {"id": "", "start": "", "end": "", "days": WEEK[:5], "breaks": ""}
    if kind == "band":
        form["low"], _, form["high"] = value.partition("-")
    if kind == "lines":
        machines = [machine.id for machine in state.read.draft.machines]
        lines = _lines(value, machines) or _lines(likely, machines)
        home = {machine: k for k, (_, listed) in enumerate(lines) for machine in listed}
        wrappers = sum(machine.kind != "sizer" for machine in state.read.draft.machines)
        names = [name for name, _ in lines] + [_line_name(k) for k in range(len(lines), max(wrappers, 1))]
        form["names"], form["machines"] = names, [(machine, home.get(machine, 0)) for machine in machines]
    return form


def _line_name(k: int) -> str:
    return tr("Line {number}", number=k + 1)


def _rows(text: str) -> list[dict[str, Any]]:
    """The shifts that a text says; none where it is none: its fault stands on the page."""
    try:
        return [_row(shift) for shift in read_shifts(text)] if text else []
    except AskError:
        return []


def _lines(text: str, machines: list[str]) -> list[tuple[str, list[str]]]:
    """The lines that a text says, likewise."""
    try:
        return [(name, list(listed)) for name, listed in read_lines(text, machines)] if text else []
    except AskError:
        return []


def _row(shift: Shift) -> dict[str, Any]:
    breaks = ", ".join(f"{b.start:%H:%M}-{b.end:%H:%M}" for b in shift.breaks)
    times = {"start": f"{shift.start:%H:%M}", "end": f"{shift.end:%H:%M}"}
    return {"id": shift.id, **times, "days": shift.days, "breaks": breaks}


def _by_day(frame: pl.DataFrame) -> dict[str, Any]:
    machines = frame["machine"].unique(maintain_order=True).to_list()
    rows = []
    for key, part in frame.sort("day").partition_by("day", as_dict=True, maintain_order=True).items():
        pieces_of = dict(part.select("machine", "pieces").iter_rows())
        cells = [show.number(pieces_of[m]) if m in pieces_of else "" for m in machines]
        weekday, month = weekday_name(key[0].weekday(), short=True), month_name(key[0].month)
        rows.append([tr("{weekday} {day} {month}", weekday=weekday, day=key[0].day, month=month), *cells])
    return {"heads": [tr("day"), *machines], "rows": rows[-DAYS_SHOWN:]}


def _machine(machine: str, name: str, state: SetUp) -> dict[str, Any]:
    rows = []
    headers = _headers_of(machine, state)
    for c in state.learned:
        if c.machine != machine:
            continue
        limits = c.limits
        turns = "" if limits is None else tr("at {count:,}", count=limits.modulus) if limits.modulus else tr("not seen")
        rows.append([headers.get(c.channel, ""), tr(c.holds), in_digits(f"{c.readings:,}"), c.example, turns])
    groups = [g for g in state.read.groups if machine in g.machines]
    files = sum(len(group.surveys) for group in groups)
    exports = tr_count("{count} export", "{count} exports", files)
    columns = tr_count("{count} column recognised", "{count} columns recognised", len(rows))
    title = f"{name}: {exports}, {columns}"
    heads = [tr("column"), tr("holds"), tr("readings"), tr("for example"), tr("starts again at 0")]
    return {"title": title, "heads": heads, "rows": rows, "samples": [s for g in groups for s in _samples(g.id, state)]}


def _headers_of(machine: str, state: SetUp) -> dict[str, str]:
    """The header of each channel of a machine."""
    headers = {}
    for group in state.read.groups:
        layout = state.read.layouts.get(group.id)
        if layout is None or machine not in group.machines:
            continue
        for header, target in layout.columns.items():
            owner, _, channel = target.to.rpartition("/")
            if owner in ("", machine):
                headers[channel] = header
    return headers


def _samples(group: str, state: SetUp) -> list[dict[str, Any]]:
    proposal = state.read.proposals.get(group)
    if proposal is None:
        return []
    times = next(g.first.times for g in state.read.groups if g.id == group)
    said = tr("{file}: time in {columns}.", file=proposal.path.name, columns=show.sentence_list(times))
    words = " ".join((said, *(f"{note}." for note in proposal.notes)))
    frame = preview(proposal.sample.head(SAMPLE_ROWS), state.read.draft)
    text = table_text(framed("", frame), state.read.draft)
    return [{"words": words, "heads": text.headings, "rows": text.rows}]


# What a form says


def answers_in(form: MultiDict[str, str], state: SetUp | None) -> dict[str, str]:
    """The answers that the form gives, as `set_up` reads them."""
    answers = {"shop": form.get("shop", ""), "zone": form.get("zone", "")}
    if form.get("band-low") and form.get("band-high"):
        answers["band"] = f"{form['band-low']}-{form['band-high']}"
    rows = form.get("shift-rows", "")
    count = min(int(rows), MOST_SHIFTS) if rows.isdecimal() and len(rows) < 9 else 0
    shifts = [_shift_in(form, n) for n in range(count)]
    shifts_text = "; ".join(filter(None, shifts))
    unsure = [q.options[0][0] for q in (state.open if state else ()) if q.key == "shifts" and q.options]
    if state and form.get("zone") != state.read.draft.zone and shifts_text in _shifts_of(state):
        answers["shifts"] = ""  # worked out by other clocks
    elif shifts_text and ("checked" in form or shifts_text not in unsure):  # as it was shown, it has to be ticked
        answers["shifts"] = shifts_text
    names = form.getlist("line-name")
    if names:
        listed: list[list[str]] = [[] for _ in names]
        for machine in state.read.draft.machines if state else ():
            place = form.get(f"of-{machine.id}", "")
            if place.isdigit() and int(place) < len(names):
                listed[int(place)].append(machine.id)
        pairs = [(name or _line_name(k), ids) for k, (name, ids) in enumerate(zip(names, listed, strict=True)) if ids]
        answers["lines"] = "; ".join(
            f"{name.replace(';', ' ').replace('=', ' ')} = {', '.join(ids)}" for name, ids in pairs
        )
    for question in state.questions if state else ():
        if question.key in form:
            answers[question.key] = form[question.key]
    return answers


def _shift_in(form: MultiDict[str, str], n: int) -> str:
    """One shift's fields in a line, "" where it has no time."""
    start, end = form.get(f"s{n}-start", ""), form.get(f"s{n}-end", "")
    if not start or not end:
        return ""
    days = days_text([day for day in WEEK if day in form.getlist(f"s{n}-days")])
    breaks = form.get(f"s{n}-breaks", "").strip()
    name = form.get(f"s{n}-id", "").replace(";", " ").strip()
    return f"{name} {start}-{end} {days}" + (f" breaks {breaks}" if breaks else "")
