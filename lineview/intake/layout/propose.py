"""A layout proposed for a file that none fits, with a question for what the file does not show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import in_digits, mark, tr
from lineview.intake.cells.dateless import are_clocks, date_in, dated
from lineview.intake.cells.numbers import NumberSeparators, evidence_of_all, mark_by_mass
from lineview.intake.cells.quality import meanings
from lineview.intake.cells.timestamp_columns import joined_cells
from lineview.intake.cells.timestamps import plan_clock, read_clock
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import (
    FIELD_WORDS,
    QUALITY_HEADERS,
    Heading,
    bare_heading,
    guessed_place,
    heading_at,
    is_valueless,
    recognised,
    same,
)
from lineview.intake.detect.zones import against_clock, marked_otherwise, named_zone
from lineview.intake.exports import LeftOut, Proposal, Question
from lineview.intake.layout.channels import channels_named
from lineview.intake.layout.propose_columns import (
    ColumnDraft,
    find_channels,
    find_fields,
    id_for,
    is_text,
    kind_for,
    line_named,
    long_columns,
    machine_place,
    machines_named,
    machines_unknown,
    pattern_for,
)
from lineview.intake.layout.propose_counts import Counts, moments_of, recognise_counts
from lineview.intake.layout.propose_times import FoundClock, begin_clock, find_clock, must_be_stops, time_shares
from lineview.intake.layout.rivals import ADD, COLUMNS_OF, LEAVE_OUT, gross_question
from lineview.intake.tidy.events import take_events
from lineview.intake.tidy.rows import Rows, data_rows
from lineview.intake.tidy.take_readings import take_readings
from lineview.plant import ColumnTarget, Counter, ExportKind, Layout, Machine, Plant
from lineview.plant.fields import ESSENTIAL, TIME_FIELD

_ROWS = 20


def sample_of(
    records: Records, heading: Heading, layout: Layout, plant: Plant, name: str, *, has_questions: bool
) -> pl.DataFrame:
    """The first tidy rows, or the cells as they stand while questions are open."""
    top = Records(records.sheet, records.frame.head(heading.first + 200), records.separator)
    if not has_questions:
        try:
            if layout.kind == "readings":
                outcome = take_readings([top], heading, layout, plant, name, lambda _rows: None)
            else:
                outcome = take_events([top], heading, layout, plant, name)
            return outcome.tidy.sort("row", maintain_order=True).head(_ROWS)
        except IntakeError:
            pass  # the cells as they stand are still worth showing
    cells = records.top(heading.first + _ROWS)[heading.first :]
    width = heading.width
    rows = [[*row[:width], *[""] * (width - len(row))] for row in cells]
    names = [name or f"column {i + 1}" for i, name in enumerate(heading.names[:width])]
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row")


_BARE = mark("the file has no header row: its columns are called by their place, column 1, column 2, and so on")


@dataclass(frozen=True)
class LayoutProposal:
    """What is known of a table while a layout is proposed for it."""

    name: str
    records: Records
    heading: Heading
    rows: Rows
    clock: FoundClock
    kind: ExportKind
    long: tuple[int, int, int | None] | None
    machine_place: int | None
    marks: NumberSeparators
    plant: Plant
    sheet: str

    @property
    def texts(self) -> list[str]:
        """Where a machine or line could be named."""
        before = [cell for cells in self.records.top(self.heading.above) for cell in cells]
        return [self.name, self.records.sheet, *before]

    @property
    def places_in_use(self) -> set[int]:
        """Columns that are taken already."""
        special = [*self.clock.places, self.machine_place, *(self.long or ())]
        return {place for place in special if place is not None}


def propose(
    path: Path, name: str, tables: Sequence[Records], plant: Plant, notes: Sequence[str], now: datetime | None
) -> Proposal:
    """Propose a layout by header words and values."""
    placed = [(records, guessed_place(records)) for records in tables]
    headed = [(records, heading_at(records, place)) for records, place in placed if place >= 0]
    bare = [(records, bare_heading(records)) for records, place in placed if place < 0]
    for records, heading in headed + bare:
        rows = data_rows(records, heading, range(heading.width))
        clock = find_clock(rows, heading, time_shares(rows, heading), typed=records.is_sheet, now=now)
        if clock is not None and are_clocks(rows.column(clock.places[0])):  # the date stands elsewhere
            day_in_name, form = date_in([*heading.preamble, name, records.sheet]), clock.time_format
            layout = Layout(id="proposed", time_format=form)
            rows.columns[clock.places[0]] = dated(rows.column(clock.places[0]), day_in_name, layout, str(path))
        week = {"week": FIELD_WORDS["plan"]["week"]}
        if clock is not None or any(recognised(header, week) for header in heading.names if header):
            remarks = [*notes, *([] if heading.place >= 0 else [tr(_BARE)])]
            same_header = [other for other, its in headed if its.names == heading.names]
            return _proposal(path, name, records, (heading, rows, clock, len(same_header) > 1), plant, remarks)
    raise IntakeError(
        Fault(
            tr("no rows with times were found"),
            str(path),
            tr("a column of times, best under a row of headers"),
            tr("Leave this file out, or write a layout for it."),
        )
    )


def _proposal(
    path: Path,
    name: str,
    records: Records,
    found_so_far: tuple[Heading, Rows, FoundClock | None, bool],
    plant: Plant,
    notes: Sequence[str],
) -> Proposal:
    heading, rows, clock, in_each_sheet = found_so_far
    long = long_columns(heading, rows)
    kind = kind_for(name, records.sheet, heading, plant, long is not None)
    if clock and kind in ("reels", "stops", "batches"):
        clock = begin_clock(kind, clock, rows, heading, (path, records.is_sheet))
    if kind == "stops":
        must_be_stops(rows, heading, path)
    clock = clock or FoundClock((), "iso")
    numeric = [p for p in range(heading.width) if p not in clock.places and not is_text(rows.column(p))]
    questions = [clock.question] if clock.question else []
    mark, decimal = _decimal(records, [rows.column(p) for p in numeric] + _long_values(rows, long))
    machine = machine_place(heading, rows, plant)
    parts = (name, records, heading, rows, clock, kind, long, machine)
    draft = LayoutProposal(*parts, NumberSeparators(mark or "."), plant, "" if in_each_sheet else records.sheet)
    owners, whose = _machines(draft)
    columns = _values(draft, owners)
    mark_by_weight = _by_mass(draft, columns) if decimal and kind == "weights" else None
    if mark_by_weight:
        mark, decimal, draft = mark_by_weight, None, replace(draft, marks=NumberSeparators(mark_by_weight))
        notes = [
            *notes,
            tr("decimal '{sign}' taken: with it alone the weights are of pieces of this plant", sign=mark_by_weight),
        ]
    questions += [*([decimal] if decimal else []), *whose, *columns.questions]
    settings: dict[str, str] = {}
    if kind == "readings":
        counts = _counts(draft, owners, columns)
        columns.columns, settings = counts.columns, counts.settings
        questions, notes = [*questions, *counts.questions], [*notes, *counts.notes]
    zone, of_zone = _zone(draft) if clock.places else ({}, [])
    settings, questions = {**settings, **zone}, [*questions, *of_zone]
    layout = _layout(draft, owners, columns, mark if decimal is None else "", settings)
    questions += _line_question(layout, draft) + _quality_question(layout, draft) + gross_question(columns.columns)
    remarks = [*notes, *_left_out(columns)]
    if not columns.columns:
        remarks.append(tr("no column was recognised: say in the layout which column means what"))
        remarks.append(
            tr('such as "{header}" = {{ to = "pieces" }} under [layouts.columns]', header=_first_left(draft))
        )
        questions.append(Question("columns", tr("which column means what? Write the layout by hand"), ()))
    sample = sample_of(records, heading, layout, plant, name, has_questions=bool(questions))
    return Proposal(path, layout, sample, tuple(questions), tuple(remarks))


def _left_out(columns: ColumnDraft) -> Iterator[LeftOut]:
    if columns.unknown:
        yield LeftOut(tr("not recognised, left out: {headers}", headers=", ".join(columns.unknown)))
    for header, why in columns.left:
        yield LeftOut(tr("left out: '{header}' ({why})", header=header, why=why))


def _by_mass(draft: LayoutProposal, columns: ColumnDraft) -> str | None:
    """Settle the decimal mark of weights by what the plant's pieces weigh."""
    cells = {name: draft.rows.column(place) for place, name in enumerate(draft.heading.names) if name}
    return mark_by_mass(columns.columns, cells, [product.mass_g for product in draft.plant.products])


def _first_left(draft: LayoutProposal) -> str:
    """The first header that has no meaning yet, for an example."""
    unread = [name for place, name in enumerate(draft.heading.names) if name and place not in draft.places_in_use]
    return unread[0] if unread else "header"


def _long_values(rows: Rows, long: tuple[int, int, int | None] | None) -> list[pl.Series]:
    if long is None:
        return []
    cells = rows.column(long[1])
    return [cells.filter(cells.str.contains(r"^\s*[+\-−]?[\d.,'’\s]+\s*$"))]


def _decimal(records: Records, columns: list[pl.Series]) -> tuple[str, Question | None]:
    """Settle the decimal mark, or ask."""
    evidence = evidence_of_all(columns)
    if not (evidence.point or evidence.comma or evidence.both):
        return "", None
    if evidence.mark:
        return evidence.mark, None
    if records.separator == "," and not evidence.comma and not evidence.both_comma:
        return ".", None
    digits = evidence.example.replace(",", "").replace(".", "")
    small = evidence.example.replace(",", ".")
    point, comma = (digits, small) if "," in evidence.example else (small, digits)
    example = evidence.example or tr("a number")
    options = (
        (".", tr("{example} means {number}", example=example, number=in_digits(point))),
        (",", tr("{example} means {number}", example=example, number=in_digits(comma))),
    )
    return "", Question(
        "decimal", tr("which is the decimal mark? '{example}' can be read in two ways", example=example), options
    )


def _machines(draft: LayoutProposal) -> tuple[tuple[Machine, ...], list[Question]]:
    """The machines that the file could be from, and the question where that is open."""
    plant = draft.plant
    if draft.machine_place is not None:
        return plant.machines, []
    wrapping = tuple(m for m in plant.machines if m.kind == "cut-and-wrap machine")
    could = wrapping if draft.kind in ("weights", "reels") else plant.machines
    in_texts = tuple(m for m in machines_named(draft.texts, plant) if m in could)
    in_headers = machines_named([h for h in draft.heading.names if h], plant)
    if draft.kind == "readings" and len(in_headers) > 1 and not in_texts:
        return in_headers, []
    chosen = in_texts or could
    needs = draft.kind == "readings" or "machine" in ESSENTIAL[draft.kind]
    if len(chosen) > 1 and draft.kind == "readings":
        counts = {m.id: len(find_channels(_header_cells(draft), plant, (m,), draft.marks).columns) for m in chosen}
        most = max(counts.values())
        chosen = tuple(m for m in chosen if counts[m.id] == most)
    unknown, names = machines_unknown(draft.heading, draft.rows, plant)
    if (len(chosen) == 1 and not unknown) or not needs:
        return chosen, []
    if names > 1:
        listed = ", ".join(f"'{name}'" for name in unknown[:5])
        text = tr("plant.toml knows no machine {names}: write each as the name of the machine that it is", names=listed)
        return chosen[:1], [Question("machines", text, ())]
    options = tuple((machine.id, machine.label) for machine in chosen)
    return chosen[:1], [Question("machine", tr("which machine wrote this file?"), options)]


def _header_cells(draft: LayoutProposal) -> list[tuple[str, pl.Series, str]]:
    """Give headers (or the names of a long table) with their cells and units."""
    rows, heading = draft.rows, draft.heading
    if draft.long:
        names, values = rows.column(draft.long[0]), rows.column(draft.long[1])
        distinct = [n for n in names.unique(maintain_order=True).to_list() if n.strip()][:200]
        return [(name.strip(), values.filter(names == name), "") for name in distinct]
    places = [p for p in range(heading.width) if p not in draft.places_in_use and heading.names[p]]
    return [(heading.names[p], rows.column(p), heading.units.get(p, "")) for p in places]


def _values(draft: LayoutProposal, owners: tuple[Machine, ...]) -> ColumnDraft:
    if draft.kind == "readings":
        shared = owners[:1] if draft.machine_place is not None else owners
        return find_channels(_header_cells(draft), draft.plant, shared, draft.marks)
    columns = {p: draft.rows.column(p) for p in range(draft.heading.width) if p not in draft.places_in_use}
    result = find_fields(draft.kind, draft.heading, columns, draft.clock.places, draft.marks, draft.plant)
    if result.columns and TIME_FIELD[draft.kind] in {target.to for target in result.columns.values()}:
        first = TIME_FIELD[draft.kind]
        result.columns = {header: target for header, target in result.columns.items() if target.to != first}
    return result


def _zone(draft: LayoutProposal) -> tuple[dict[str, str], list[Question]]:
    """The zone that a table names for its times, or the question whether it is meant."""
    zone_of_file = named_zone(draft.heading, [draft.heading.names[place] for place in draft.clock.places])
    cells = joined_cells(draft.rows, draft.clock.places)
    clock = read_clock(cells, plan_clock(cells, "auto", typed=draft.records.is_sheet).formats)
    other_zone = marked_otherwise(cells, clock.moment, draft.plant.zone)[0]
    zone_of_file = other_zone or zone_of_file
    if zone_of_file is None or zone_of_file.zone in ("", draft.plant.zone):
        return {}, []
    relation = "open" if other_zone else against_clock(zone_of_file, draft.plant.zone, clock.naive)
    if relation == "open":
        options = (
            (draft.plant.zone, tr("the works' clock, with summer time")),
            (zone_of_file.zone, tr("{words} as it stands, all year", words=zone_of_file.words)),
        )
        return {}, [
            Question(
                "zone", tr("the times are marked '{words}': which clock is meant?", words=zone_of_file.words), options
            )
        ]
    return ({} if relation == "same" else {"zone": zone_of_file.zone}), []


def _counts(draft: LayoutProposal, owners: tuple[Machine, ...], columns: ColumnDraft) -> Counts:
    """What the counters of a draft count."""
    rows, heading = draft.rows, draft.heading
    cells = joined_cells(rows, draft.clock.places)
    plan = plan_clock(cells, "auto", typed=draft.records.is_sheet)
    at = moments_of(read_clock(cells, plan.formats), draft.plant.zone)
    whose = None if draft.machine_place is None else rows.column(draft.machine_place)
    first = next((cell.strip() for cell in whose if cell.strip()), "") if whose is not None else ""

    def part_of(to: str) -> Counter | None:
        columns = channels_named(draft.plant, tuple(machine.id for machine in owners), to)
        return next((part for _, part in columns if isinstance(part, Counter)), None)

    def cells_of(header: str) -> pl.Series | None:
        place = heading.find(header) if draft.long is None else draft.long[1]
        if place is None:
            return None
        column = rows.column(place)
        if draft.long is not None:
            column = column.set(rows.column(draft.long[0]).str.strip_chars() != header, None)
        return column if whose is None else column.set(whose.str.strip_chars() != first, None)

    return recognise_counts(columns.columns, part_of, cells_of, at, draft.marks, draft.plant)


def _layout(
    draft: LayoutProposal, owners: tuple[Machine, ...], columns: ColumnDraft, decimal: str, settings: Mapping[str, str]
) -> Layout:
    heading, long = draft.heading, draft.long
    times = tuple(heading.names[place] for place in draft.clock.places)
    by_column = draft.machine_place is not None
    single = len(owners) == 1 and not by_column and (draft.kind not in ("batches", "stock", "plan"))
    return Layout.model_validate(
        {
            "id": id_for(draft.name, draft.sheet, draft.plant),
            "kind": draft.kind,
            "files": pattern_for(draft.name),
            "sheet": draft.sheet,
            "machine": owners[0].id if single else None,
            "machine_column": heading.names[draft.machine_place] if draft.machine_place is not None else "",
            "line": line_named(draft.texts, draft.plant) if draft.kind in ("batches", "plan") else None,
            "shape": "long" if long else "wide",
            "time": times[0] if len(times) == 1 else times or "time",
            "time_format": draft.clock.time_format,
            "decimal": decimal,
            "name_column": heading.names[long[0]] if long else "",
            "value_column": heading.names[long[1]] if long else "",
            "quality_column": _quality_column(draft, columns),
            "columns": columns.columns,
            **settings,
        }
    )


def _quality_column(draft: LayoutProposal, columns: ColumnDraft) -> str:
    """The column that judges every value of a row: a long table's, or the only one of a wide one."""
    heading, long = draft.heading, draft.long
    if long or draft.kind != "readings":
        return heading.names[long[2]] if long and long[2] is not None else ""
    judging = [name for name in heading.names if same(name) in QUALITY_HEADERS and name not in columns.columns]
    if len(judging) != 1:
        return ""
    if judging[0] in columns.unknown:
        columns.unknown.remove(judging[0])
    return judging[0]


def _quality_question(layout: Layout, draft: LayoutProposal) -> list[Question]:
    """Ask whether numbers under "status" are of the machine, where as marks of readings they would call none good."""
    header = layout.quality_column
    place = draft.heading.find(header) if header and layout.shape == "wide" else None
    cells = [cell for cell in draft.rows.column(place).unique() if cell.strip()] if place is not None else []
    if not cells or "good" in meanings(cells).values() or any(map(is_valueless, cells)):
        return []
    options = (
        (LEAVE_OUT, tr("the state of the machine: they are left out")),
        (header, tr("whether the reading is good")),
    )
    return [Question("quality_column", tr("what do the numbers in '{header}' say?", header=header), options)]


def _line_question(layout: Layout, draft: LayoutProposal) -> list[Question]:
    by_header = any(target.to == "line" for target in layout.columns.values())
    if "line" not in ESSENTIAL.get(layout.kind, ()) or layout.line or by_header or draft.machine_place is not None:
        return []
    return [Question("line", tr("which line is this for?"), tuple((line.id, line.label) for line in draft.plant.lines))]


def settle(proposal: Proposal, answers: Mapping[str, str]) -> Layout:
    """Answer a proposal's questions.

    Parameters
    ----------
    proposal : Proposal
        As read_export gives it.
    answers : mapping of str to str
        By what each question is about: one of its options. Answers to other questions are passed over.

    Returns
    -------
    Layout
        With every question answered, ready to be kept.

    Raises
    ------
    IntakeError
        For every question that is left open and every answer that is no option.

    Examples
    --------
    >>> from pathlib import Path
    >>> import polars as pl
    >>> settle(Proposal(Path("a.csv"), Layout(id="a"), pl.DataFrame()), {}).id
    'a'
    """
    faults = []
    values: dict[str, object] = {}
    for question in proposal.questions:
        options = [option for option, _ in question.options]
        answer = answers.get(question.about)
        if answer is None or (options and answer not in options):
            places = {"about": question.about, "question": question.text}
            what = (
                tr("'{about}' is not answered: {question}", **places)
                if answer is None
                else tr("'{about}' cannot be answered by '{answer}': {question}", answer=answer, **places)
            )
            options_text = tr(" or ").join(f"'{option}' ({meaning})" for option, meaning in question.options)
            faults.append(Fault(what, str(proposal.path), options_text))
        else:
            values[question.about] = answer
    if faults:
        raise IntakeError(faults)
    return _with(proposal.layout, values)


def _with(layout: Layout, values: Mapping[str, object]) -> Layout:
    """Write answers into a layout: a setting by its name, or a column's target or unit."""
    columns = dict(layout.columns)
    settings: dict[str, object] = {}
    for about, answer in values.items():
        part, _, header = about.partition(" of ")
        if about.startswith(COLUMNS_OF):
            columns = _columns_chosen(columns, about.removeprefix(COLUMNS_OF), str(answer))
        elif part == "to" and answer == LEAVE_OUT:
            columns.pop(header, None)
        elif part in ("unit", "to", "counting"):
            if header in columns:  # else it was left out by another answer
                columns[header] = columns[header].model_copy(update={part: answer})
        else:
            settings[about] = "" if answer == LEAVE_OUT else answer
    return Layout.model_validate({**layout.model_dump(), **settings, "columns": columns})


def _columns_chosen(columns: Mapping[str, ColumnTarget], to: str, answer: str) -> dict[str, ColumnTarget]:
    """The columns with those of one target settled: one alone, all of them as lanes, or none."""
    adds = answer == ADD and to != "mass_g"
    chosen = {}
    for header, target in columns.items():
        if target.to != to:
            chosen[header] = target
        elif answer == ADD:
            chosen[header] = target.model_copy(update={"adds": adds})
        elif header == answer:
            chosen[header] = target
    return chosen
