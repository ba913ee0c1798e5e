"""What to call a proposed layout, which files it is for, and whose they are."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import polars as pl

from lineview.core.language import mark, tr
from lineview.core.units import convert, dimension, unit_named
from lineview.intake.cells.numbers import NumberSeparators, parse_numbers, units_behind
from lineview.intake.detect.header import (
    CHANNELS,
    FIELD_WORDS,
    KIND_WORDS,
    NAME,
    OF_BEFORE,
    QUALITY_NAMES,
    VALUE,
    Heading,
    recognised,
    same,
    tokens,
    unit_of,
    without_repeat,
    word_set,
)
from lineview.intake.exports import Question
from lineview.intake.layout.channels import machine_named, own_unit, parts_of
from lineview.intake.layout.rivals import (
    LEAVE_OUT,
    NO_LENGTH,
    Choice,
    choose,
    choose_mass,
    exactness,
    is_target,
    lot_of,
    not_a_count,
    not_a_measurement,
    stray_unit,
)
from lineview.intake.tidy.rows import SHORT_CLOCK, Rows
from lineview.plant import ColumnTarget, Counter, ExportKind, Gauge, Machine, Plant
from lineview.plant.fields import CHANNEL_NAMES, FIELDS


def pattern_for(name: str) -> str:
    """The pattern of files like this one: runs of digits that look like dates and numbers stand open."""
    stem, dot, ending = name.rpartition(".")
    stem = re.sub(r"(?<![^\W\d_])\d{2,}(?:[-_. T]?\d+)*|\d{4,}(?:[-_. T]?\d+)*", "*", stem or ending)
    stem = re.sub(r"\[|\]|\?", "?", stem)
    return re.sub(r"\*(?:[-_. ]?\*)+", "*", stem) + (dot + ending if dot else "")


def id_for(name: str, sheet: str, plant: Plant) -> str:
    """An id that the plant's layouts do not have yet."""
    stem = re.sub(r"\*", "", pattern_for(name).rpartition(".")[0]) + (f" {sheet}" if sheet else "")
    plain = unicodedata.normalize("NFKD", stem.replace("ß", "ss")).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^A-Za-z0-9]+", " ", plain).strip()[:50] or "export"
    ids = {layout.id for layout in plant.layouts}
    return next(free_id for n in range(1, len(ids) + 2) if (free_id := plain if n == 1 else f"{plain} {n}") not in ids)


def kind_for(name: str, sheet: str, heading: Heading, plant: Plant, long: bool) -> ExportKind:
    """The kind of an export by the words of its name and headers."""
    if long:
        return "readings"
    name_words = tokens(name) | tokens(sheet)
    headers = [header for header in heading.names if header]
    words = set().union(*(tokens(header) for header in headers)) if headers else set()
    scores = {
        kind: 3 * len(name_words & set(known))
        + len(words & set(known))
        + len({meaning for header in headers if (meaning := recognised(header, FIELD_WORDS[kind]))})
        for kind, known in KIND_WORDS.items()
    }
    if any(
        dimension(stray_unit(header, heading.units.get(place, ""), "pieces")) == "mass"
        for place, header in enumerate(heading.names)
        if header and not is_target(header)
    ):
        scores["weights"] += 2
        words |= {"gram"}
    hits = {kind: len((name_words | words) & set(known)) for kind, known in KIND_WORDS.items()}
    fit = [kind for kind in KIND_WORDS if hits[kind] and scores[kind] >= 3]
    batchy = {recognised(header, FIELD_WORDS["batches"]) for header in headers}
    if {"batch", "product"} <= batchy and ("mass_in_kg" in batchy or "start" in batchy):
        scores["batches"] += 3
        fit = [*fit, "batches"]
    return max(fit, key=lambda kind: scores[kind]) if fit else "readings"


#: Headers of a column that names machines.
MACHINE = word_set(
    "machine machines maschine maschinen anlage máquina maquina macchina macchinario equipo équipement "
    "equipement equipment impianto"
)
_BESIDE_MACHINE = word_set("id no nr name number nummer code numéro numero número naam nom nome")


def _is_of_machines(header: str) -> bool:
    words = tokens(header)
    return bool(words & MACHINE) and words <= MACHINE | _BESIDE_MACHINE


def machines_unknown(heading: Heading, rows: Rows, plant: Plant) -> tuple[list[str], int]:
    """Names in a column headed as one of machines that the plant does not know, and how many names are in it."""
    place = next((place for place in range(heading.width) if _is_of_machines(heading.names[place])), None)
    cells = set() if place is None else {*rows.column(place).str.strip_chars().to_list()} - {""}
    return [name for name in sorted(cells) if not machine_named(plant, name)], len(cells)


def long_columns(heading: Heading, rows: Rows) -> tuple[int, int, int | None] | None:
    """The columns of name, value and quality of a long table, or None for a wide one."""
    by_words = {place: tokens(header) for place, header in enumerate(heading.names) if header}
    names = [p for p, words in by_words.items() if words & set(NAME)]
    values = [p for p, words in by_words.items() if words & set(VALUE)]
    qualities = [p for p, words in by_words.items() if words & QUALITY_NAMES]
    for place in names:
        cells = rows.column(place)
        left = [value for value in values if value != place]
        repeats = cells.n_unique() <= max(2, len(cells) // 2) or len(cells) < 4
        if left and repeats and not cells.str.contains(r"^\s*[\d.,]+\s*$").all():
            return place, left[0], next((p for p in qualities if p not in (place, left[0])), None)
    return None


def machine_place(heading: Heading, rows: Rows, plant: Plant) -> int | None:
    """The column whose cells name machines, or None."""
    for place in range(heading.width):
        distinct = [c for c in rows.column(place).head(5000).unique().to_list() if c.strip()]
        known = [machine_named(plant, cell) for cell in distinct[:50]]
        least = 0 if _is_of_machines(heading.names[place]) else len(known) / 2
        if distinct and len(distinct) <= 50 and sum(map(bool, known)) > least:
            return place
    return None


def machines_named(texts: Sequence[str], plant: Plant) -> tuple[Machine, ...]:
    """The machines whose id or name stands in a text: a file's name, a sheet's, a preamble."""
    return tuple(m for m in plant.machines if any(_stands(key, texts) for key in (m.id, m.name)))


def line_named(texts: Sequence[str], plant: Plant) -> str | None:
    """The line that texts name, or the only one."""
    ids = [line.id for line in plant.lines if any(_stands(key, texts) for key in (line.id, line.name))]
    return ids[0] if ids else plant.lines[0].id if len(plant.lines) == 1 else None


def _stands(key: str, texts: Sequence[str]) -> bool:
    """Whether a key stands in a text as a word of its own, however its parts are put together."""
    letters = [re.escape(letter) for letter in same(key) if letter.isalnum()]
    if not letters:
        return False
    word = re.compile(r"(?<![^\W_])" + r"[\s_\-.]*".join(letters) + r"(?![^\W_])")
    return any(word.search(text.casefold()) for text in texts)


def is_text(cells: pl.Series) -> bool:
    """Whether most filled cells are no numbers."""
    bare = cells.head(2000).str.strip_chars()
    filled = bare.filter(bare != "")
    return int(filled.str.contains(r"^[+\-−]?[\d.,'’\s]*\d(E0)?(\s?[^\d\s.,][^\d\s]{0,7})?$").sum()) * 2 < len(filled)


@dataclass
class ColumnDraft:
    """Targets by header, what has to be asked, and headers that nobody knows or that are left out."""

    columns: dict[str, ColumnTarget] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    left: list[tuple[str, str]] = field(default_factory=list)

    def choose(self, choice: Choice) -> tuple[str, ...]:
        """Note what a choice leaves out and asks, and give what it keeps."""
        self.left += choice.left
        self.questions += [choice.question] if choice.question else []
        return choice.headers


@dataclass(frozen=True)
class _Candidate:
    """A header that could be channels, the likeliest first, and how exactly it names that one."""

    header: str
    cells: pl.Series
    in_row: str
    options: list[tuple[str, Counter | Gauge]]
    rank: int


def find_channels(
    headers: Iterable[tuple[str, pl.Series, str]], plant: Plant, machines: tuple[Machine, ...], marks: NumberSeparators
) -> ColumnDraft:
    """Find the counters and gauges that headers, or names of a long table, mean."""
    draft = ColumnDraft()
    groups: dict[str, list[_Candidate]] = {}
    for header, cells, row_unit in headers:
        in_row = row_unit or unit_in(cells)
        options = _options(header, machines, len(machines) > 1)
        if not options:
            draft.unknown.append(header)
            continue
        part = options[0][1]
        why = _no_reading_of(header, cells, in_row, part, marks)
        if why:
            draft.left.append((header, why))
            continue
        by_id = same(part.id) == same(without_repeat(header))
        rank = 0 if by_id else exactness(header, CHANNELS[piece_of(part)])
        groups.setdefault(options[0][0], []).append(_Candidate(header, cells, in_row, options, rank))
    for to, group in groups.items():
        counter = isinstance(group[0].options[0][1], Counter)
        choice = choose(to, [(candidate.header, candidate.rank) for candidate in group], adds=counter)
        if choice.question and to.endswith(("rejects", "blanks")) and _rise_alike(group, marks):
            more = tr("They rise alike: both may hold the same ones, which adding them would count twice.")
            choice = replace(choice, question=replace(choice.question, text=f"{choice.question.text} {more}"))
        in_use = draft.choose(choice)
        for candidate in group:
            if candidate.header in in_use:
                _keep(candidate, set(groups), plant, marks, draft)
    return draft


def _rise_alike(group: list[_Candidate], marks: NumberSeparators) -> bool:
    """Whether totals in several columns rise by the same over the file, to a fiftieth."""
    totals = [parse_numbers(candidate.cells, marks)[0].drop_nulls() for candidate in group]
    rises = [float(total[-1] - total[0]) for total in totals if len(total)]
    return len(rises) == len(group) and max(rises) >= 20 and max(rises) - min(rises) <= 0.02 * max(rises)


def _keep(candidate: _Candidate, targets: set[str], plant: Plant, marks: NumberSeparators, draft: ColumnDraft) -> None:
    """Take a header as its likeliest channel, and ask where it could be another as well."""
    header, (to, part) = candidate.header, candidate.options[0]
    free = [option for option in candidate.options if option[0] == to or option[0] not in targets]
    if len({option[0] for option in free}) > 1:
        options = tuple(
            (name, tr("{counted} of the machine", counted=tr(CHANNEL_NAMES[piece_of(other)]))) for name, other in free
        )
        text = tr("what does '{header}' hold?", header=header)
        draft.questions.append(Question(f"to of {header}", text, (*options, (LEAVE_OUT, tr("nothing of use")))))
    unit = _unit_from(header, candidate.in_row, own_unit(part))
    draft.columns[header] = ColumnTarget(to=to, unit=unit)
    if not unit and isinstance(part, Gauge) and part.unit:
        _settle_unit(header, candidate.cells, part, plant, marks, draft)


def _unit_from(header: str, in_row: str, target_unit: str) -> str:
    """The unit that a units row, a header's bracket or its last word gives, where it becomes the target's."""
    last = header.rsplit(maxsplit=1)[-1].rsplit("_", maxsplit=1)[-1]
    unit = unit_named(in_row) or unit_of(header) or unit_named(last).replace("pieces", "")  # which names a counter too
    return unit if dimension(unit) == dimension(target_unit) else ""


def _no_reading_of(header: str, cells: pl.Series, in_row: str, part: Counter | Gauge, marks: NumberSeparators) -> str:
    """Why a column is no reading of what its header names, "" where it may be one."""
    if isinstance(part, Gauge):
        return not_a_measurement(header)
    why = not_a_count(header, in_row)
    unit = stray_unit(header, in_row, own_unit(part))
    if why or unit:
        return why or tr("in {unit}", unit=unit)
    if own_unit(part) == "m" and part.unit_value in (1.0, 0.1, 0.01, 0.001) and tokens(header) & NO_LENGTH:
        return tr("no length: write how many metres one count is as unit_value of '{id}' in plant.toml", id=part.id)
    lot = lot_of(header) if own_unit(part) == "pieces" else 1
    if lot not in (1, part.unit_value):
        text = mark("in lots of {lot:,}, and one count of '{id}' is {unit_value:g} in plant.toml")
        return tr(text, lot=lot, id=part.id, unit_value=part.unit_value)
    if own_unit(part) == "pieces" and part.unit_value == 1.0:
        values = parse_numbers(cells.head(2000), marks)[0].drop_nulls()
        if int((values != values.round()).sum()) * 2 > len(values):
            return tr("not whole numbers")
    return ""


def unit_in(cells: pl.Series) -> str:
    """The one unit that stands behind the numbers of a column, "" where there is none."""
    units = units_behind(cells.head(500).drop_nulls())
    return next(iter(units)) if len(units) == 1 else ""


def piece_of(part: Counter | Gauge) -> str:
    """Say what a counter counts or a gauge measures."""
    return part.counts if isinstance(part, Counter) else part.measures


def _options(header: str, machines: tuple[Machine, ...], several: bool) -> list[tuple[str, Counter | Gauge]]:
    """The channels that a header could mean: by id, then by words, then by words near to them."""
    key = same(header)
    by_name = [m for m in machines if same(m.id) in key or (m.name and same(m.name) in key)]
    pool = [
        (f"{machine.id}/{part.id}" if several else part.id, part)
        for machine in (by_name or machines)
        for part in parts_of(machine)
    ]
    end = same(header.replace(". ", " "))  # what follows an abbreviation is no id
    by_id = [option for option in pool if re.search(rf"(^|[._]){re.escape(same(option[1].id))}\Z", end)]
    if by_id:
        return by_id[:1]
    meaning = recognised(header, CHANNELS)
    fit = [option for option in pool if piece_of(option[1]) == meaning]
    digits = [c for c in key if c.isdigit()]
    if len(fit) > 1 and digits:
        paired = [option for option in fit if isinstance(option[1], Gauge) and str(option[1].pair) == digits[-1]]
        fit = paired or fit
    if fit:
        return fit
    near = {"good pieces": "pieces", "pieces": "good pieces", "rope": "rope diameter"}.get(meaning)
    close = [option for option in pool if piece_of(option[1]) == near]
    return close * 2 if not close else [*close, *[o for o in pool if isinstance(o[1], Counter) and o not in close]]


def _settle_unit(
    header: str, cells: pl.Series, part: Gauge, plant: Plant, marks: NumberSeparators, draft: ColumnDraft
) -> None:
    """A gauge's unit by the products' diameters, or ask."""
    choices = {
        "length": ("mm", "in"),
        "temperature": ("°C", "°F"),
        "speed": ("m/min", "mm/s", "ft/min"),
        "turning": ("rpm",),
    }.get(dimension(part.unit), ())
    median = parse_numbers(cells, marks)[0].median()
    if dimension(part.unit) == "length" and isinstance(median, float):
        sizes = [product.diameter_mm for product in plant.products]
        near = [u for u in choices if any(0.7 < convert(median, u, "mm") / size < 1.4 for size in sizes)]
        choices = tuple(near) if len(near) == 1 else choices
    _choose_unit(header, choices, median, draft)


def find_fields(
    kind: ExportKind,
    heading: Heading,
    columns: dict[int, pl.Series],
    times: tuple[int, ...],
    marks: NumberSeparators,
    plant: Plant,
) -> ColumnDraft:
    """Find the fields that the headers of a table of weights, batches, stops, ... mean."""
    draft = ColumnDraft()
    words = FIELD_WORDS[kind]
    groups: dict[str, list[tuple[str, pl.Series, str]]] = {}
    for place, cells in columns.items():
        header, in_row = heading.names[place], heading.units.get(place, "") or unit_in(cells)
        if place in times or not header:
            continue
        to = _field_of(header, in_row, kind)
        if not to:
            draft.unknown.append(header)
        elif kind != "plan" and to != "expected_on" and is_target(header):
            draft.left.append((header, tr("a target")))
        elif kind == "reels" and tokens(header) & OF_BEFORE:
            draft.left.append((header, tr("of the reel before")))
        elif to == "mass_g" and (why := not_a_measurement(header)):
            draft.left.append((header, why))
        else:
            groups.setdefault(to, []).append((header, cells, in_row))
    for to, group in groups.items():
        names = [header for header, _, _ in group]
        ranked = [(header, exactness(header, words[to])) for header in names]
        choice = choose_mass(names) if to == "mass_g" else choose(to, ranked, adds=False)
        in_use = draft.choose(choice)
        for header, cells, in_row in group:
            if header in in_use:
                _keep_field(header, cells, in_row, kind, to, marks, plant, draft)
    of = {heading.names[place]: cells for place, cells in columns.items()}
    masses = [header for header, target in draft.columns.items() if target.to == "mass_g"]
    for header in [*draft.unknown] if len(masses) == 1 and "pieces" not in groups else ():
        if why := _weights_by(of[header], parse_numbers(of[masses[0]], marks)[0]):
            draft.unknown.remove(header)
            draft.left.append((header, why))
    return draft


def _weights_by(cells: pl.Series, masses: pl.Series) -> str:
    """How weights differ by what another column says, such as which scale; "" where they do not."""
    by = pl.DataFrame({"of": cells.str.strip_chars(), "g": masses}).drop_nulls().group_by("of", maintain_order=True)
    each = by.agg(mean=pl.col("g").mean(), u=pl.col("g").std() / pl.len().sqrt(), n=pl.len()).sort("mean")
    if not 2 <= each.height <= 6 or cast(int, each["n"].min()) < 10:
        return ""
    (low, less, u_low), (high, more, u_high) = each.select("of", "mean", "u").rows()[:: each.height - 1]
    if more - less <= 4.0 * (u_low**2 + u_high**2) ** 0.5:
        return ""
    text = mark("weights differ by it: {less:.3g} with '{low}' and {more:.3g} with '{high}' on average")
    return tr(text, less=less, low=low, more=more, high=high)


def _field_of(header: str, in_row: str, kind: ExportKind) -> str:
    """The field that a header means, "" where it means none; one in grams or metres is no count of pieces or reels."""
    to = recognised(header, FIELD_WORDS[kind])
    if not to or FIELDS[kind][to].holds not in ("number", "whole") or FIELDS[kind][to].unit not in ("", "pieces"):
        return to
    stray = dimension(stray_unit(header, in_row, "pieces"))
    return to if not stray else "mass_g" if kind == "weights" and stray == "mass" else ""


def _keep_field(
    header: str,
    cells: pl.Series,
    in_row: str,
    kind: ExportKind,
    to: str,
    marks: NumberSeparators,
    plant: Plant,
    draft: ColumnDraft,
) -> None:
    """Take a header as a field, with its unit or the question for it."""
    field_unit = FIELDS[kind][to].unit
    field_unit = "" if field_unit == "pieces" else field_unit
    unit = _unit_from(header, in_row, field_unit)
    draft.columns[header] = ColumnTarget(to=to, unit=unit)
    if field_unit and not unit:
        _ask_unit(header, to, cells, marks, plant, draft)


def _ask_unit(
    header: str, to: str, cells: pl.Series, marks: NumberSeparators, plant: Plant, draft: ColumnDraft
) -> None:
    choices: tuple[str, ...] = {
        "mass_g": ("g", "oz", "kg"),
        "mass_in_kg": ("kg", "lb"),
        "length_m": ("m", "ft"),
        "left_m": ("m", "ft"),
        "part_reel_outer_mm": ("mm", "in", "cm"),
        "duration": ("min", "s", "h"),
    }[to]
    median = parse_numbers(cells, marks)[0].median()
    if to == "duration" and not isinstance(median, float):
        short = cells.filter(cells.str.contains(SHORT_CLOCK))
        if len(short):  # else h:mm:ss, or with its units
            text = tr("'{example}' in '{header}': what is it?", example=short[0].strip(), header=header)
            clocks = (("min", tr("minutes and seconds")), ("h", tr("hours and minutes")))
            draft.questions.append(Question(f"unit of {header}", text, clocks))
        return
    if to == "mass_g" and isinstance(median, float):
        masses = [product.mass_g for product in plant.products]
        near = [u for u in choices if any(0.6 < convert(median, u, "g") / mass < 1.6 for mass in masses)]
        choices = tuple(near) if len(near) == 1 else choices
    _choose_unit(header, choices, median, draft)


def _choose_unit(header: str, choices: tuple[str, ...], median: object, draft: ColumnDraft) -> None:
    """Take the only unit that can be, or ask which of several it is."""
    if len(choices) == 1:
        draft.columns[header] = draft.columns[header].model_copy(update={"unit": choices[0]})
    elif choices:
        known = isinstance(median, float)
        options = [(u, tr("{median:g} {unit} in the middle", median=median, unit=u) if known else u) for u in choices]
        text = tr("in which unit is '{header}'?", header=header)
        draft.questions.append(Question(f"unit of {header}", text, tuple(options)))
