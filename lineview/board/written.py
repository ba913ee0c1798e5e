"""What people write of a machine: the form, the list of what was written, and the address both are sent to."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from dash import dcc, html
from flask import Flask, Response, jsonify, request

from lineview.app.access import Person, become_person
from lineview.app.works import Works
from lineview.board.components import aria
from lineview.board.guard import person
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.language import mark, tr, tr_count
from lineview.plant import Plant
from lineview.plant.periods import moment
from lineview.report import show
from lineview.report.answer import Answer

#: Characters of a reason or of what was done, and of a note; the server refuses longer ones too.
REASON_LENGTH, NOTE_LENGTH = 80, 200
#: What stands directly above the form that a person fills in with a hand on the machine.
BEFORE_ADJUSTING = mark(
    "Stop and lock out first, by your site's procedure. Guards back on before it runs. Hot "
    "rope and syrup burn. Local codes and licensed practice come first."
)
#: Readings older than this are not current: what is written is then likelier to be of the time that is shown.
FRESH = timedelta(hours=24)
#: So much may the clock of a phone be behind.
CLOCKS_DIFFER = timedelta(minutes=2)
#: Entries listed at most; all stand in the table of what was written.
MOST_ENTRIES = 40


def moment_shown(answer: Answer, now: datetime) -> datetime:
    """The moment a form starts at: now, or the end of what the page shows where that is long over."""
    end = min(answer.scope.period.end, answer.scope.now)
    return now if now - end < FRESH else end


def typed(at: datetime, plant: Plant) -> str:
    """A moment as forms hold it and as it is typed: day first in German, as ISO 8601 has it else."""
    return f"{at.astimezone(plant.tz):{'%d.%m.%Y' if plant.language == 'de' else '%Y-%m-%d'} %H:%M}"


def write_form(kind: str, answer: Answer, plant: Plant) -> html.Details:
    """The form that notes an adjustment ("adjustment") or anything else ("note") of the answer's machine."""
    now = datetime.now(UTC)
    at = moment_shown(answer, now).astimezone(plant.tz)
    # Who saves without looking would date it months back.
    is_now = at >= now
    when = tr("When ({zone}), as 10:30 or 12.06.2026 10:30", zone=plant.zone)
    older = tr("When ({zone}), with the day, as 12.06.2026 10:30. Not now: the end of what is shown", zone=plant.zone)
    adjusts = kind == "adjustment"
    what = dcc.Input(id=f"{kind}-what", type="text", maxLength=REASON_LENGTH if adjusts else NOTE_LENGTH)
    fields = [
        html.Label([_what_label(kind), what]),
        html.Label(
            [when if is_now else older, dcc.Input(id=f"{kind}-at", type="text", value=typed(at, plant), maxLength=25)]
        ),
    ]
    if adjusts:
        note = dcc.Input(id=f"{kind}-note", type="text", maxLength=NOTE_LENGTH)
        fields.append(html.Label([tr("Anything else (may stay empty)"), note]))
    caution = [html.P(tr(BEFORE_ADJUSTING), className="caution")] if adjusts else []
    save = html.Button(
        tr("Save"), id=f"{kind}-save", type="button", className="main big", **data(act="write", kind=kind)
    )
    return html.Details(
        [
            html.Summary(tr("I adjusted it") if adjusts else tr("Write a note"), className="big" if adjusts else ""),
            *caution,
            *fields,
            save,
            html.P("", id=f"{kind}-told", role="status", className="told-of"),
        ],
        className="fold form write",
        id=kind,
        # a form that starts at the present moment goes on doing so while it stays open
        **data(machine=answer.scope.machine, **({"now": plant.zone} if is_now else {})),
    )


def _what_label(kind: str) -> str:
    return tr("What was done") if kind == "adjustment" else tr("Note")


def data(**texts: str) -> Any:
    """Data attributes as keyword arguments for a Dash component."""
    return {f"data-{name}": text for name, text in texts.items()}


def written_list(works: Works, answer: Answer, who: Person) -> list[Any]:
    """What was written of the machines that the page shows: who, when, and changing or undoing it."""
    plant, machine = works.plant, plant_machines(works.plant, answer)
    kinds = ("adjustment", "note") if answer.question == "rope" else ("note",)
    rows = pl.concat([works.manual_entries(machine, kind) for kind in kinds])
    if answer.question == "shift":
        period = answer.scope.period
        rows = rows.filter(pl.col("at").is_between(period.start, max(period.end, answer.scope.now)))
    rows = rows.sort("at", descending=True).head(MOST_ENTRIES)
    if rows.is_empty():
        return []
    standing = int((~rows["withdrawn"]).sum())
    title = tr("What was written ({count})", count=standing)
    listed = [_entry(row, plant, who.may("note")) for row in rows.iter_rows(named=True)]
    return [html.Details([html.Summary(title), html.Ul(listed, className="entries")], className="fold", id="written")]


def plant_machines(plant: Plant, answer: Answer) -> list[str]:
    """The machines whose entries a page lists: the sizer, or the machine of the shift."""
    return [answer.scope.machine] if plant.machine(answer.scope.machine) is not None else []


def _when(at: datetime, plant: Plant) -> str:
    """A moment with its year where that is not this one: entries may be of any."""
    return show.moment(at, plant, year=at.astimezone(plant.tz).year != datetime.now(plant.tz).year)


def _entry(row: dict[str, Any], plant: Plant, may_write: bool) -> html.Li:
    """One entry: its words, who wrote it when, and the buttons."""
    entry, kind, withdrawn = str(row["entry"]), str(row["kind"]), bool(row["withdrawn"])
    words: list[Any] = [html.Span(_when(row["at"], plant), className="when"), " ", row["what"]]
    if row["note"]:
        words.append(html.Span(f" ({row['note']})"))
    by = row["who"] or tr("not known who")
    if row["set_at"].year > 1970:  # what was written before this was kept has no moment
        by += f", {_when(row['set_at'], plant)}"
    if withdrawn:
        history = tr("removed by {who}", who=by)
    elif row["revisions"] > 1:
        history = tr("changed by {who}", who=by)
    else:
        history = tr("written by {who}", who=by)
    parts: list[Any] = [html.P(html.Del(words) if withdrawn else words), html.P(history, className="soft")]
    if may_write:
        parts.append(_acts(row, entry, kind, withdrawn))
    if may_write and not withdrawn:
        label = _what_label(kind)
        length = REASON_LENGTH if kind == "adjustment" else NOTE_LENGTH
        what = dcc.Input(id=f"what-{entry}", type="text", value=row["what"], maxLength=length)
        at = dcc.Input(id=f"at-{entry}", type="text", value=typed(row["at"], plant), maxLength=25)
        inputs = [html.Label([label, what]), html.Label([tr("When"), at])]
        if kind == "adjustment":
            note = dcc.Input(id=f"note-{entry}", type="text", value=row["note"], maxLength=NOTE_LENGTH)
            inputs.append(html.Label([tr("Anything else"), note]))
        save = html.Button(tr("Save the change"), type="button", **data(act="change", kind=kind))
        parts.append(html.Details([html.Summary(tr("Change")), *inputs, save], className="form", id=f"change-{entry}"))
    parts.append(html.P("", role="status", className="told-of"))
    return html.Li(parts, id=f"entry-{entry}", **data(entry=entry, machine=row["machine"]))


def _acts(row: dict[str, Any], entry: str, kind: str, withdrawn: bool) -> html.Span:
    label = aria(label=f"{row['what']}")
    buttons = []
    if not withdrawn:
        buttons.append(html.Button(tr("Remove"), type="button", className="small", **data(act="withdraw", kind=kind)))
    if withdrawn or row["revisions"] > 1:
        buttons.append(html.Button(tr("Undo"), type="button", className="small", **data(act="undo", kind=kind)))
    return html.Span(buttons, role="group", className="acts-of", **label)


def reasons_list(works: Works, answer: Answer, who: Person) -> list[Any]:
    """The reasons that people set for stops of the period: who, when, and undoing them."""
    plant, machine = works.plant, answer.scope.machine
    if not machine:
        return []
    rows = works.stop_reasons(machine, answer.scope.period).with_columns(mark=pl.col("set_at").dt.epoch("us"))
    if rows.is_empty():
        return []
    first = [pl.col("start", "end", "reason", "who", "set_at").first(), pl.len().alias("stops")]
    together = rows.sort("start").group_by("mark", maintain_order=True).agg(first).sort("mark", descending=True)
    listed = []
    for row in together.head(MOST_ENTRIES).iter_rows(named=True):
        mark = str(row["mark"])
        stop = show.stretch(row["start"], row["end"], plant)
        if row["stops"] > 1:
            stop = tr("{stop} and {count} more", stop=stop, count=row["stops"] - 1)
        set_by = tr("set by {who}, {when}", who=row["who"] or tr("not known who"), when=_when(row["set_at"], plant))
        parts: list[Any] = [html.P([html.Span(stop, className="when"), " ", row["reason"]])]
        parts.append(html.P(set_by, className="soft"))
        if who.may("note"):
            sends = data(act="undo-reason", mark=mark)
            parts.append(html.Button(tr("Undo"), type="button", className="small", **sends))
        listed.append(html.Li([*parts, html.P("", role="status", className="told-of")]))
    title = html.Summary(tr("Reasons set by hand ({count})", count=rows.height))
    return [html.Details([title, html.Ul(listed, className="entries")], className="fold", id="reasons-set")]


# -- what is sent ----------------------------------------------------------------------------------


def add_writing_routes(server: Flask, works: Works) -> None:
    """Add the address that entries are sent to, one at a time, by the page or by what a phone kept meanwhile."""

    def write_entry() -> Any:
        try:
            outcome = _carried_out(works, {name: text[:600] for name, text in request.form.items()})
        except LineviewError as error:
            return Response(str(error), status=400, mimetype="text/plain")
        return jsonify(said=outcome, version=works.version())

    server.add_url_rule("/written", "written", write_entry, methods=["POST"])


def _carried_out(works: Works, fields: dict[str, str]) -> str:
    """Do what was sent, and say what was done."""
    act, kind, entry = fields.get("act", ""), fields.get("kind", ""), fields.get("entry", "")
    if act == "undo-reason":
        mark = fields.get("mark", "")
        n = works.undo_stop_reasons(int(mark) if mark.isdecimal() and len(mark) < 19 else -1)
        return tr_count("Undone for {count} stop.", "Undone for {count} stops.", n)
    if kind not in ("adjustment", "note"):
        raise AskError(Fault(tr("this is no form of this board"), "kind", tr("an adjustment or a note")))
    if act == "withdraw":
        works.withdraw(kind, entry)
        return tr("Removed; Undo brings it back.")
    if act == "undo":
        works.undo_change(kind, entry)
        return tr("Undone.")
    what, note = fields.get("what", "").strip(), fields.get("note", "").strip()
    if not what:
        raise AskError(Fault(tr("nothing was entered"), "what", tr("some words"), tr("Enter what was done.")))
    if len(what) > (NOTE_LENGTH if kind == "note" else REASON_LENGTH) or len(note) > NOTE_LENGTH:
        most = tr("up to {count} characters, and {of_note} of a note", count=REASON_LENGTH, of_note=NOTE_LENGTH)
        raise AskError(Fault(tr("too long"), "what", most))
    pressed = _pressed_at(fields.get("pressed", ""))
    at = moment(fields.get("at", ""), works.plant.tz, "when", pressed, timed=True)
    if act == "change":
        works.change(kind, entry, at, what, note)
        return tr("Changed; Undo brings the former words back.")
    session = person().session
    if session is not None and pressed < session.begun_at - CLOCKS_DIFFER:  # kept by a phone that several use
        become_person(f"someone, sent by {person().name}", request.remote_addr or "")
    is_new = works.write(kind, fields.get("machine", ""), at, what, note, entry)
    return tr("Saved.") if is_new else tr("It was saved already; nothing was written twice.")


def _pressed_at(text: str) -> datetime:
    """When a person pressed Save: a phone may have kept it since, and "10:30" is of the day it was pressed on."""
    now = datetime.now(UTC)
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return now
    return min(at, now) if at.tzinfo is not None else now


def forms_above(answer: Answer, plant: Plant, who: Person) -> list[Any]:
    """The forms that stand directly below the sentence."""
    return [write_form("adjustment", answer, plant)] if answer.question == "rope" and who.may("note") else []
