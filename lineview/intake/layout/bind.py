"""A layout bound to a table: which column holds what, with every fault at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import mark, tr
from lineview.intake.detect.header import QUALITY_HEADERS, Heading, same, unit_of, without_unit
from lineview.intake.layout.channels import Channel, cell_unit, channels_named, machine_named, parts_of
from lineview.plant import ColumnTarget, Layout, Plant
from lineview.plant.counting import contradicting
from lineview.plant.fields import ESSENTIAL, FIELDS, TIME_FIELD, Field


@dataclass(frozen=True)
class Column:
    """A column of values: where it is, what its header says, its channels by machine, its quality column.

    `lanes` are further columns that are added to it, row by row.
    """

    place: int
    header: str
    channels: dict[str, Channel]
    quality: int | None = None
    lanes: tuple[int, ...] = ()


@dataclass(frozen=True)
class BoundLayout:
    """Where a readings layout finds everything in a table.

    `columns` are a wide table's; `names` a long table's channels by machine, under the compared form of
    each name. `machine` is None where a column names it.
    """

    layout: Layout
    times: tuple[int, ...]
    machine: str | None
    machine_place: int | None
    columns: tuple[Column, ...]
    names: dict[str, dict[str, Channel]]
    name_place: int
    value_place: int
    quality: int | None
    notes: tuple[str, ...]

    @property
    def channels(self) -> list[Channel]:
        """All counters and gauges that are read."""
        owners = [*(column.channels for column in self.columns), *self.names.values()]
        return [channel for of_machine in owners for channel in of_machine.values()]

    @property
    def by_row(self) -> bool:
        """Whether each row can be read without those before it, and each column without others."""
        parts = [c.counting or getattr(c.part, "counting", "total") for c in self.channels]
        plain = set(parts) <= {"total", "down"} and not any(column.lanes for column in self.columns)
        return plain and self.layout.stamps == "end" and not self.layout.on_change


def bind(layout: Layout, heading: Heading, plant: Plant, where: str) -> BoundLayout:
    """Bind a layout of readings to a table's headers."""
    faults: list[Fault] = []
    notes: list[str] = []
    machines = machines_of(layout, plant, where, faults)
    targets = {h: t for h, t in layout.columns.items() if t.to not in ("machine", "at", "quality")}
    long = layout.shape == "long"
    value_place = heading.find(layout.value_column) if long else None
    columns, names = [], {}
    for header, target in targets.items():
        place = value_place if long else heading.find(header)
        place = -1 if place is None else place
        channels = _channels(header, target, place, heading, plant, machines, (faults, notes, where))
        if long:
            names[same(header)] = channels
        else:
            columns.append(Column(place, header, channels, _quality_beside(place, heading, targets)))
            notes += _repeat_notes(header, place, heading, targets)
    if not targets:
        faults.append(Fault(tr("layout '{id}' does not name a column", id=layout.id), where, "[layouts.columns]"))
    columns, twice = _join_lanes(columns, layout, where)
    faults += twice
    for header, fault in _contradictions(layout, plant):
        faults.append(replace(fault, where=tr("{file}, column '{header}'", file=where, header=header)))
    if faults:
        raise IntakeError(faults)
    return BoundLayout(
        layout,
        time_places(layout, heading),
        layout.machine,
        special_place(layout, heading, layout.machine_column, "machine"),
        tuple(columns),
        names,
        _place(heading, layout.name_column) if long else -1,
        -1 if value_place is None else value_place,
        special_place(layout, heading, layout.quality_column, "quality"),
        tuple(notes),
    )


def _join_lanes(columns: list[Column], layout: Layout, where: str) -> tuple[list[Column], list[Fault]]:
    """Columns with lanes put together, and a fault for each channel that two others are read into."""
    columns_of: dict[tuple[tuple[str, str], ...], Column] = {}
    faults = []
    for column in columns:
        key = tuple((machine, channel.part.id) for machine, channel in column.channels.items())
        first = columns_of.setdefault(key, column) if key else column
        if not key or first is column:
            columns_of[key or ((column.header, ""),)] = column
        elif layout.columns[first.header].adds and layout.columns[column.header].adds:
            columns_of[key] = replace(first, lanes=(*first.lanes, column.place))
        else:
            text = mark("columns '{header}' and '{other}' are both read as '{channel}'")
            what = tr(text, header=first.header, other=column.header, channel=key[0][1])
            advice = tr("Leave one out, or write adds = true in both where they are lanes that add.")
            faults.append(Fault(what, where, tr("one column for each counter or gauge"), advice))
    return list(columns_of.values()), faults


def _contradictions(layout: Layout, plant: Plant) -> Iterable[tuple[str, Fault]]:
    """What the plant's other layouts say otherwise of the counters of one that says what they count."""
    if all(target.counting is None for target in layout.columns.values()):
        return ()
    others = [other for other in plant.layouts if other.id != layout.id]
    return contradicting(layout, others, plant.machines)


def _repeat_notes(header: str, place: int, heading: Heading, targets: Iterable[str]) -> list[str]:
    """Say that further columns of the same header are not read, for only the first one is meant by it."""
    second = f"{heading.names[place]} (2)" if place >= 0 else ""
    if second not in heading.names or heading.find(second) in map(heading.find, targets):
        return []
    return [
        tr(
            "several columns are headed '{header}': the first is read; the next one is named '{second}'",
            header=header,
            second=second,
        )
    ]


def time_places(layout: Layout, heading: Heading) -> tuple[int, ...]:
    """The columns that hold the time: one, or date and clock."""
    time_header = next((header for header, target in layout.columns.items() if target.to == "at"), "")
    times = [time_header] if time_header else [layout.time] if isinstance(layout.time, str) else layout.time
    return tuple(place for header in times if (place := heading.find(header)) is not None)


def special_place(layout: Layout, heading: Heading, header: str, to: str) -> int | None:
    """The column that holds machine, line or quality, or None."""
    target_header = next((h for h, target in layout.columns.items() if target.to == to), "")
    return heading.find(header or target_header) if header or target_header else None


def _place(heading: Heading, header: str) -> int:
    place = heading.find(header)
    return -1 if place is None else place


def machines_of(layout: Layout, plant: Plant, where: str, faults: list[Fault]) -> tuple[str, ...]:
    """The ids of the machines that a layout's rows can belong to."""
    machine_ids = ", ".join(machine.id for machine in plant.machines) or tr("none is described")
    by_column = layout.machine_column or any(t.to == "machine" for t in layout.columns.values())
    if layout.machine:
        if plant.machine(layout.machine) is None:
            fault = tr("layout '{id}' names the unknown machine '{machine}'", id=layout.id, machine=layout.machine)
            faults.append(Fault(fault, where, tr("one of {names}", names=machine_ids)))
        if not by_column:
            return (layout.machine,)
    if by_column or any("/" in target.to for target in layout.columns.values()):
        return tuple(machine.id for machine in plant.machines)
    if len(plant.machines) == 1:
        return (plant.machines[0].id,)
    what = tr("layout '{id}' does not name a machine", id=layout.id)
    faults.append(Fault(what, where, tr("machine = one of {names}", names=machine_ids)))
    return ()


def _channels(
    header: str,
    target: ColumnTarget,
    place: int,
    heading: Heading,
    plant: Plant,
    machines: tuple[str, ...],
    sink: tuple[list[Fault], list[str], str],
) -> dict[str, Channel]:
    """A target's channels by machine; faults and notes go into the sink."""
    faults, notes, where = sink
    matches = channels_named(plant, machines, target.to)
    owner, _, channel = target.to.rpartition("/")
    if owner and machine_named(plant, owner) is None:
        machine_ids = ", ".join(machine.id for machine in plant.machines)
        faults.append(
            Fault(
                tr("'{header}' points at the unknown machine '{owner}'", header=header, owner=owner),
                where,
                tr("one of {names}", names=machine_ids),
            )
        )
    elif not matches and machines and all(plant.machine(m) for m in machines):
        parts = sorted({p.id for m in plant.machines if m.id in machines for p in parts_of(m)})
        faults.append(
            Fault(
                tr("'{header}' points at '{channel}', which is not a counter or gauge", header=header, channel=channel),
                where,
                ", ".join(parts),
            )
        )
    channels = {}
    for machine, part in matches:
        in_header, in_row = unit_of(header), heading.units.get(place, "")
        if not in_header and place >= 0 and not (heading.units or target.unit):
            in_header = unit_of(heading.names[place])
        unit, fault, note = cell_unit(header, target.unit, in_header, in_row, part)
        faults += [Fault(fault.what, where, fault.expected, fault.do)] if fault else []
        notes += [note] if note and note not in notes else []
        channels[machine] = Channel(machine, part, unit, target.counting)
    return channels


def _quality_beside(place: int, heading: Heading, targets: Iterable[str]) -> int | None:
    """The quality column of a value column: one named for it, or a repeated one right behind it."""
    if place < 0:
        return None
    value_places = {heading.find(header) for header in targets}
    base = same(without_unit(heading.names[place]))
    for i, name in enumerate(heading.names):
        suffix = same(name).strip("._-:/()[]")
        if i in value_places or not suffix:
            continue
        for word in QUALITY_HEADERS:
            if suffix.endswith(word) and suffix[: -len(word)].strip("._-:/()[]") == base:
                return i
    behind = same(heading.names[place + 1]) if place + 1 < len(heading.names) else ""
    word = behind.split("(")[0]
    repeated = sum(same(name).split("(")[0] == word for name in heading.names) > 1
    return place + 1 if word in QUALITY_HEADERS and repeated and place + 1 not in value_places else None


#: Fields that say whose a row is, beside those of its kind.
OWNERS = ("machine", "line", "at")


@dataclass(frozen=True)
class FieldColumn:
    """A column of a field: where it is, its header, what it holds and the unit of its cells."""

    place: int
    header: str
    name: str
    field: Field
    unit: str


@dataclass(frozen=True)
class BoundFields:
    """Where a layout finds the fields of its kind; `machine` and `line` are for rows that name none."""

    layout: Layout
    columns: tuple[FieldColumn, ...]
    times: tuple[int, ...]
    machine: str | None
    line: str | None
    machine_place: int | None
    line_place: int | None
    notes: tuple[str, ...] = ()

    def columns_of(self, name: str) -> list[FieldColumn]:
        """The columns of a field; weights may have several."""
        return [column for column in self.columns if column.name == name]


def bind_fields(layout: Layout, heading: Heading, plant: Plant, where: str) -> BoundFields:
    """Bind a layout to a table's headers."""
    faults: list[Fault] = []
    notes: list[str] = []
    columns = []
    fields_of_kind = FIELDS[layout.kind]
    for header, target in layout.columns.items():
        if target.to in OWNERS:
            continue
        place = heading.find(header)
        field = fields_of_kind.get(target.to)
        if field is None or place is None:
            text = mark("'{header}' points at '{to}', which is not a field of {kind}")
            fault = tr(text, header=header, to=target.to, kind=layout.kind)
            faults.append(Fault(fault, where, ", ".join([*fields_of_kind, *OWNERS])))
            continue
        unit_of_field = field.unit
        in_header = unit_of(header) or unit_of(heading.names[place])
        in_row = heading.units.get(place, "")
        unit, fault_, note = (
            cell_unit(header, target.unit, in_header, in_row, None, unit_of_field) if unit_of_field else ("", None, "")
        )
        faults += [Fault(fault_.what, where, fault_.expected, fault_.do)] if fault_ else []
        notes += [note] if note else []
        columns.append(FieldColumn(place, header, target.to, field, unit))
    machine, line = _owners(layout, plant, where, faults)
    bound = BoundFields(
        layout,
        tuple(columns),
        () if any(c.name in ("start", "week") for c in columns) else time_places(layout, heading),
        machine,
        line,
        special_place(layout, heading, layout.machine_column, "machine"),
        special_place(layout, heading, "", "line"),
        tuple(notes),
    )
    faults += _lacking(bound, plant, where)
    if faults:
        raise IntakeError(faults)
    return bound


def _owners(layout: Layout, plant: Plant, where: str, faults: list[Fault]) -> tuple[str | None, str | None]:
    """Settle machine and line for rows that name none."""
    if layout.line and layout.line not in {line.id for line in plant.lines}:
        line_ids = ", ".join(line.id for line in plant.lines) or tr("none is described")
        faults.append(
            Fault(tr("layout '{id}' names the unknown line '{line}'", id=layout.id, line=layout.line), where, line_ids)
        )
    machine = layout.machine
    if layout.machine:
        machines_of(layout, plant, where, faults)
    elif "machine" in ESSENTIAL[layout.kind]:
        wrapping = [m.id for m in plant.machines if m.kind == "cut-and-wrap machine"]
        machine = wrapping[0] if len(wrapping) == 1 else None
    owner = machine_named(plant, machine) if machine else None
    only = plant.lines[0].id if len(plant.lines) == 1 else None
    return machine, layout.line or (owner.line if owner else only)


def _lacking(bound: BoundFields, plant: Plant, where: str) -> list[Fault]:
    """The faults of essential fields that no column and no setting fills."""
    layout = bound.layout
    there = {column.name for column in bound.columns}
    if bound.times:
        there.add(TIME_FIELD[layout.kind])
    if "week" in there or (layout.kind == "plan" and "start" in there):
        there |= {"start", "end"}
    if bound.machine or bound.machine_place is not None:
        there.add("machine")
    if bound.line or bound.line_place is not None or bound.machine_place is not None:
        there.add("line")
    if len(plant.webs) == 1:
        there.add("web")
    faults = []
    for need in ESSENTIAL[layout.kind]:
        names = (need,) if isinstance(need, str) else need
        if not there & set(names):
            fault = tr("layout '{id}' has no column for {names}", id=layout.id, names=tr(" or ").join(names))
            faults.append(
                Fault(fault, where, tr('a header with to = "{name}"', name=names[0]), tr("Add it to the layout."))
            )
    return faults
