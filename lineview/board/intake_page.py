"""The intake page: give an export, see what became of it, list refusals and conflicts, take one back."""

from __future__ import annotations

import base64
import binascii
import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import polars as pl
from dash import dcc, html

from lineview.app.conflict_notes import ConflictGroup, conflict_groups
from lineview.app.take_in import IntakeResult
from lineview.app.watch import files_not_in
from lineview.app.works import Works
from lineview.board.address import Address
from lineview.board.components import aria
from lineview.board.tables import frame_table, heading_of, live, plain_table, preview
from lineview.core.errors import Fault, IntakeError, LineviewError
from lineview.core.language import tr, tr_count
from lineview.intake.exports import Proposal
from lineview.intake.refusal_reasons import with_reasons_shown
from lineview.plant import Layout, Plant
from lineview.plant.fields import TIME_FIELD
from lineview.report import show
from lineview.report.tables import cell, frame_words

#: A browser holds a file twice as text while it is given this way; larger ones go the plain way.
DROP_LIMIT_BYTES = 10_000_000
REFUSALS_A_PAGE = 100
#: So many of the newest intakes, and of groups of conflicts, stand open; the others are folded.
OPEN_INTAKES = 12
#: Of an uploaded file's name.
MOST_NAME_BYTES = 200


def give_form() -> list[Any]:
    """The form that takes an export in."""
    words = [tr(" — drop a file here, or press to choose one."), tr("CSV, XLSX or ODS, gzipped or not, up to 10 MB.")]
    label = tr("Upload an export: choose a file")
    return [
        upload_field("export", tr("Upload an export"), words, label, DROP_LIMIT_BYTES),
        html.P([html.A(tr("Upload a larger file"), href="/large"), tr(" on a plain page.")], className="soft"),
    ]


def upload_field(name: str, lead: str, words: Sequence[str], label: str, most_bytes: int) -> dcc.Upload:
    """A place to drop a file of up to so many bytes on; the first of the words follows the lead in its line."""
    lines = [part for text in words for part in (html.Br(), html.Span(text, className="soft"))][1:]
    place = html.Div([html.Strong(lead), *lines], role="button", tabIndex=0, **aria(label=label))
    over = "give over"
    return dcc.Upload(
        place, name, className="give", className_active=over, className_reject="give", max_size=most_bytes
    )


def intake_sentence(intakes: pl.DataFrame) -> str:
    """The page's sentence."""
    intakes = intakes.remove(undone=True) if "undone" in intakes.columns else intakes
    if not intakes.height:
        return tr("No export has been taken in yet; upload one below.")
    start = tr_count("{count} export has been taken in", "{count:,} exports have been taken in", intakes.height)
    refused = int(intakes["refused"].sum()) if "refused" in intakes.columns else 0
    if not refused:
        return f"{start}."
    return tr_count(
        "{taken_in}; {count} row was refused, each with its reason.",
        "{taken_in}; {count:,} rows were refused, each with its reason.",
        refused,
        taken_in=start,
    )


def intake_page(works: Works, plant: Plant, address: Address, undoes: bool = True) -> list[Any]:
    """The lists of the intake page; `undoes` says whether the person may undo an intake."""
    intakes = works.store.intakes().reverse()
    page: list[Any] = [_refusals(works, plant, address)] if address.intake is not None else []
    page += _not_in(works, plant)
    groups = conflict_groups(works.store.conflicts(), plant)
    if groups:  # before the long list: these need a person
        title = tr("Exports disagree; neither value is used until one of them is undone")
        page.append(_conflicts(title, groups[:OPEN_INTAKES], plant, undoes))
        if groups[OPEN_INTAKES:]:
            words = tr("Further disagreements ({count})", count=len(groups) - OPEN_INTAKES)
            further = _conflicts(words, groups[OPEN_INTAKES:], plant, undoes, OPEN_INTAKES)
            page.append(html.Details([html.Summary(words), further], className="fold", id="further"))
    newest, earlier = intakes.head(OPEN_INTAKES), intakes.slice(OPEN_INTAKES)
    page.append(_intakes(tr("Exports taken in, newest first"), newest, plant, address, undoes))
    if earlier.height:
        words = tr("Exports taken in earlier ({count})", count=earlier.height)
        folded = _intakes(words, earlier, plant, address, undoes)
        page.append(html.Details([html.Summary(words), folded], className="fold", id="earlier"))
    return page


def _not_in(works: Works, plant: Plant) -> list[Any]:
    """What a watched folder holds that could not be taken in, and whether it is tried again."""
    rows: list[Any] = []
    for entry in files_not_in(works.folder)[:OPEN_INTAKES]:
        again = tr("by itself") if entry["again_s"] else tr("once the file or a layout changes")
        at = show.moment(datetime.fromisoformat(entry["at"]), plant)
        rows.append([at, entry["file"], "; ".join(map(tr, entry.get("why", [entry["outcome"]]))), again])
    title = tr("Watched files that are not taken in")
    headings = [tr("tried last"), tr("file"), tr("why"), tr("tried again")]
    return [plain_table(title, headings, rows, [False] * 4)] if rows else []


def _intakes(title: str, intakes: pl.DataFrame, plant: Plant, address: Address, undoes: bool) -> html.Div:
    key = "intake" if "intake" in intakes.columns else "id"
    names = [name for name in intakes.columns if name not in (key, "sha256", "undone")]
    rows = []
    for row in intakes.iter_rows(named=True):
        cells: list[Any] = [cell(row[n], "", plant) for n in names]
        number = row.get(key)
        undone = bool(row.get("undone"))
        links: list[Any] = []
        if number is not None and row.get("refused", 1):
            listed = Address("intake", address.line, None, None, int(number)).href
            links.append(dcc.Link(tr("refusals"), href=listed, id={"kind": "refusals", "intake": int(number)}))
        if undone or undoes:
            links.append(html.Span(tr("undone"), className="soft") if undone else _undo(number, ""))
        rows.append([str(number), *cells, html.Div(links, className="acts")])
    right = [True, *(intakes.schema[n].is_numeric() for n in names), False]
    headings = [tr("no."), *map(frame_words, names), tr("action")]
    return html.Div(plain_table(title, headings, rows, right, make=live), className="intakes")


def _conflicts(title: str, groups: Sequence[ConflictGroup], plant: Plant, undoes: bool, start: int = 0) -> html.Div:
    """What exports give differently, a row for each column and the exports that disagree on it."""
    rows = []
    for number, group in enumerate(groups, start):
        files = html.Ul(
            [html.Li(tr("{file} (intake {intake})", file=file, intake=intake)) for intake, file in group.exports]
        )
        more = group.count - len(group.examples)
        items: list[Any] = [html.Li(example) for example in group.examples]
        items += [html.Li(tr("and {more} more", more=show.number(more)), className="soft")] if more else []
        acts = [
            _undo(intake, f"conflict {number}", tr("undo intake {intake}", intake=intake))
            for intake, _ in group.exports
            if undoes
        ]
        counted, acts_part = show.number(group.count), html.Div(acts, className="acts")
        rows.append([group.what, files, counted, group.span(plant), html.Ul(items), acts_part])
    headings = [tr("what"), tr("exports that disagree"), tr("moments"), tr("from and to")]
    headings += [tr("what each says"), tr("action")]
    right = [heading == headings[2] for heading in headings]
    return html.Div(plain_table(title, headings, rows, right, make=live), className="intakes")


def _undo(number: Any, of: str, words: str = "") -> html.Details:
    """The two steps that take an intake back; `of` differs between the places of a page that offer the same one."""
    button = {"kind": "undo", "intake": int(number), "of": of}
    return html.Details(
        [
            html.Summary(words or tr("undo this intake")),
            html.Div(
                [
                    html.P(tr("Its readings are removed from every answer; the file itself is kept.")),
                    html.Button(tr("Undo intake {number}", number=number), id=button, type="button"),
                ]
            ),
        ],
        className="undo",
        id=f"undo-{number}-{of}".replace(" ", "-"),  # by which the page knows which one was open
    )


def _refusals(works: Works, plant: Plant, address: Address) -> html.Section:
    number = address.intake or 0
    refused = with_reasons_shown(works.store.refusals(number))
    first = min(address.first, max(0, refused.height - 1))
    part = refused.slice(first, REFUSALS_A_PAGE).drop("intake", strict=False)
    last = first + part.height
    turns: list[Any] = [html.A(tr("Download all as CSV"), href=f"/refusals/{number}.csv", className="download")]
    for words, start, there in (
        (tr("earlier rows"), max(0, first - REFUSALS_A_PAGE), first > 0),
        (tr("later rows"), last, last < refused.height),
    ):
        if there:
            turns.append(dcc.Link(words, href=Address("intake", address.line, None, None, number, start).href))
    title = tr("Refused by intake {number}", number=number)
    if refused.height:
        title = tr(
            "{title}: {first:,} to {last:,} of {all:,}", title=title, first=first + 1, last=last, all=refused.height
        )
    return html.Section(
        [frame_table(title, part, plant, most=REFUSALS_A_PAGE), html.P(turns, className="acts")], id="refusals"
    )


@dataclass(frozen=True)
class TakeOutcome:
    """What became of one uploaded export: taken in, proposed or faulty.

    `receipt` says in whole sentences what happened ("" where nothing was taken in), `counts` are words and counts of
    rows to show beside it, in order; `intake` is the id for its refusals; `chosen` answers a proposal.
    """

    file_name: str
    receipt: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    intake: int | None = None
    proposal: Proposal | None = None
    faults: Sequence[Fault] = ()
    chosen: Mapping[str, str] = field(default_factory=dict)


def decoded(contents: str, name: str) -> bytes:
    """The bytes of a dropped file."""
    try:
        return base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise IntakeError(Fault(tr("the file did not arrive whole"), name, do=tr("Upload it again."))) from None


def plain_name(path: str) -> str:
    """The name of an uploaded file, without folders and signs that nobody sees, and no longer than a disk holds."""
    last = PureWindowsPath(PurePosixPath(path).name).name
    printable = "".join(sign for sign in last if sign.isprintable()).strip(". ")
    return printable.encode()[-MOST_NAME_BYTES:].decode(errors="ignore") or "export"


def take_upload(
    works: Works,
    file_name: str,
    save: Callable[[Path], object],
    accept: bool = False,
    chosen: Mapping[str, str] | None = None,
) -> TakeOutcome:
    """Take an uploaded export in, which `save` writes to a path."""
    name = plain_name(file_name)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        try:
            save(path)
            result = outcome_of(name, works.take([path], accept=accept, chosen=chosen)[0])
            if not accept or not result.faults:
                return result
            offered = outcome_of(name, works.take([path])[0])  # again, with what is still open and what was chosen
            return replace(offered, faults=result.faults, chosen=chosen or {}) if offered.proposal else result
        except LineviewError as error:
            return TakeOutcome(name, faults=error.faults)
        except OSError as error:  # a name that this disk does not take, or a full one
            return TakeOutcome(name, faults=(Fault(tr("the file cannot be kept: {why}", why=error.strerror), name),))


def outcome_of(name: str, result: IntakeResult) -> TakeOutcome:
    """What became of one export in words."""
    if result.error is not None:
        folder = f"{result.path.parent}{os.sep}"  # in which the server holds it meanwhile: nobody's concern
        faults = (replace(fault, where=fault.where.removeprefix(folder)) for fault in result.error.faults)
        return TakeOutcome(name, faults=tuple(faults))
    if result.receipt is None:
        return TakeOutcome(name, proposal=result.proposal)
    r = result.receipt
    words = tr("{file} was taken in before; nothing changed.", file=name)
    if not r.already:
        rows, new_rows, refused = (show.number(count) for count in (r.rows, r.kept, r.refused))
        words = tr(
            "{file} was taken in as intake {intake}: {rows} rows, {kept} kept, {refused} refused.",
            file=name,
            intake=r.intake,
            rows=rows,
            kept=new_rows,
            refused=refused,
        )
    counts = {
        tr("rows"): r.rows,
        tr("kept"): r.kept,
        tr("duplicate"): r.duplicate,
        tr("refused"): r.refused,
        tr("unclear"): r.uncertain,
        tr("in conflict"): r.conflicts,
    }
    return TakeOutcome(name, " ".join((words, *result.notes)), counts, r.intake)


def outcome(result: TakeOutcome, plant: Plant) -> list[Any]:
    """An outcome as a part of the intake page."""
    if result.proposal is not None:
        return _proposal(result, result.proposal, plant)
    if result.faults:
        return faulty(result)
    rows = [[words, show.number(count)] for words, count in result.counts.items()]
    parts: list[Any] = [html.P(result.receipt or tr("{file} was taken in.", file=result.file_name), className="told")]
    if rows:
        parts.append(
            plain_table(tr("Rows of {file}", file=result.file_name), [tr("rows"), tr("count")], rows, [False, True])
        )
    if result.intake is not None:
        parts.append(dcc.Link(tr("refused rows"), href=Address("intake", intake=result.intake).href))
    return parts


def faulty(result: TakeOutcome) -> list[Any]:
    """Why an export was not taken in."""
    return [
        html.P(tr("{file} was not taken in; nothing of it was kept.", file=result.file_name), className="told"),
        html.Ul([html.Li(str(fault)) for fault in result.faults], className="faults", role="alert"),
    ]


def _proposal(result: TakeOutcome, proposal: Proposal, plant: Plant) -> list[Any]:
    layout = proposal.layout
    questions = [
        html.Fieldset(
            [
                html.Legend(question.text),
                dcc.RadioItems(
                    options=[{"label": f"{value} — {meaning}", "value": value} for value, meaning in question.options],
                    value=result.chosen.get(question.about),
                    id={"kind": "settle", "about": question.about},
                ),
            ]
        )
        for question in proposal.questions
    ]
    faults = html.Ul([html.Li(str(f)) for f in result.faults], className="faults", role="alert")
    button = html.Button(
        tr("Accept this layout and take the file in"), id={"kind": "accept", "file": "given"}, type="button"
    )
    return [
        html.P(
            tr("No layout in the plant description fits {file}. It looks like this one:", file=result.file_name),
            className="told",
        ),
        *([faults] if result.faults else []),
        plain_table(
            tr("Proposed layout “{layout}”, an export of {kind}", layout=layout.id, kind=tr(layout.kind)),
            [tr("header in the file"), tr("means"), tr("unit")],
            _columns_read(layout),
            [False] * 3,
        ),
        frame_table(tr("Preview: first rows"), preview(proposal.sample.head(8), plant), plant),
        *[html.P(note, className="soft") for note in proposal.notes],
        *questions,
        *([button] if all(question.options for question in proposal.questions) else []),
    ]


def _columns_read(layout: Layout) -> list[list[str]]:
    """What each column that a layout reads means, also whose it is and when."""
    times = [layout.time] if isinstance(layout.time, str) else layout.time
    read = [(header, TIME_FIELD.get(layout.kind, "at")) for header in times] + [(layout.machine_column, "machine")]
    read += [(layout.name_column, "channel"), (layout.value_column, "value"), (layout.quality_column, "quality")]
    rows = [[header, frame_words(name), ""] for header, name in read if header]
    plain = layout.kind == "readings"  # counters and gauges, as plant.toml has them
    return rows + [[h, t.to if plain else heading_of(t.to, {})[0], t.unit or ""] for h, t in layout.columns.items()]
