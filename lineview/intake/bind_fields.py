"""A layout of weights, batches, stops, reels, stock or plan bound to a table."""

from __future__ import annotations

from dataclasses import dataclass

from lineview.errors import Fault, IntakeError
from lineview.intake.bind import machines_of, special_place, time_places
from lineview.intake.channels import cell_unit, machine_named
from lineview.intake.heading import Heading, unit_of
from lineview.plant import Layout, Plant
from lineview.plant.fields import ESSENTIAL, FIELDS, TIME_FIELD, Field

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

    def named(self, name: str) -> list[FieldColumn]:
        """Give the columns of a field; weights may have several."""
        return [column for column in self.columns if column.name == name]


def bind_fields(layout: Layout, heading: Heading, plant: Plant, where: str) -> BoundFields:
    """Bind a layout to a table's headers.

    Parameters
    ----------
    layout : Layout
        How the export is laid out.
    heading : Heading
        Of the table.
    plant : Plant
        The plant description.
    where : str
        The file, for messages.

    Raises
    ------
    IntakeError
        Unknown machines, lines and fields, units that do not fit, essential fields without a column.
    """
    faults: list[Fault] = []
    notes: list[str] = []
    columns = []
    known = FIELDS[layout.kind]
    for header, target in layout.columns.items():
        if target.to in OWNERS:
            continue
        place = heading.find(header)
        field = known.get(target.to)
        if field is None or place is None:
            fault = f"'{header}' points at '{target.to}', which is no field of {layout.kind}"
            faults.append(Fault(fault, where, ", ".join([*known, *OWNERS])))
            continue
        wanted = field.unit
        in_header = unit_of(header) or unit_of(heading.names[place])
        in_row = heading.units.get(place, "")
        unit, fault_, note = (
            cell_unit(header, target.unit, in_header, in_row, None, wanted) if wanted else ("", None, "")
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
        known = ", ".join(line.id for line in plant.lines) or "none is described"
        faults.append(Fault(f"layout '{layout.id}' names the unknown line '{layout.line}'", where, known))
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
    """Give the faults of essential fields that no column and no setting fills."""
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
            fault = f"layout '{layout.id}' has no column for {' or '.join(names)}"
            faults.append(Fault(fault, where, f'a header with to = "{names[0]}"', "Add it to the layout."))
    return faults
