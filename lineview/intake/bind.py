"""A layout bound to a table: which column holds what, with every fault at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from lineview.errors import Fault, IntakeError
from lineview.intake.channels import Channel, cell_unit, channels_named, machine_named, parts_of
from lineview.intake.heading import Heading, same, unit_of, without_unit
from lineview.intake.words import QUALITY_HEADERS
from lineview.plant import ColumnTarget, Layout, Plant


@dataclass(frozen=True)
class Column:
    """A column of values: where it is, what its header says, its channels by machine, its quality column."""

    place: int
    header: str
    channels: dict[str, Channel]
    quality: int | None = None


@dataclass(frozen=True)
class Bound:
    """Where a readings layout finds everything in a table.

    `columns` are a wide table's; `names` a long table's channels by machine, under the compared form of
    each name. `machine` is None where a column tells it.
    """

    layout: Layout
    times: tuple[int, ...]
    machine: str | None
    machine_place: int | None
    columns: tuple[Column, ...] = ()
    names: dict[str, dict[str, Channel]] = field(default_factory=dict)
    name_place: int = -1
    value_place: int = -1
    quality: int | None = None
    notes: tuple[str, ...] = ()


def bind(layout: Layout, heading: Heading, plant: Plant, where: str) -> Bound:
    """Bind a layout of readings to a table's headers.

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
        Unknown machines and channels, units that do not fit.
    """
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
            notes += _repeated(header, place, heading, targets)
    if not targets:
        faults.append(Fault(f"layout '{layout.id}' names no column", where, "[layouts.columns]"))
    if faults:
        raise IntakeError(faults)
    return Bound(
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


def _repeated(header: str, place: int, heading: Heading, targets: Iterable[str]) -> list[str]:
    """Say that further columns of the same header are not read, for only the first one is meant by it."""
    second = f"{heading.names[place]} (2)" if place >= 0 else ""
    if second not in heading.names or heading.find(second) in map(heading.find, targets):
        return []
    return [f"several columns are headed '{header}': the first is read; the next one is named '{second}'"]


def time_places(layout: Layout, heading: Heading) -> tuple[int, ...]:
    """Give the columns that hold the time: one, or date and clock.

    Parameters
    ----------
    layout : Layout
        How the export is laid out.
    heading : Heading
        Of the table.
    """
    own = next((header for header, target in layout.columns.items() if target.to == "at"), "")
    times = [own] if own else [layout.time] if isinstance(layout.time, str) else layout.time
    return tuple(place for header in times if (place := heading.find(header)) is not None)


def special_place(layout: Layout, heading: Heading, header: str, to: str) -> int | None:
    """Give the column that tells machine, line or quality, or None.

    Parameters
    ----------
    layout : Layout
        How the export is laid out.
    heading : Heading
        Of the table.
    header : str
        The layout's setting, "" where it has none.
    to : str
        The target that would name the same thing.
    """
    own = next((h for h, target in layout.columns.items() if target.to == to), "")
    return heading.find(header or own) if header or own else None


def _place(heading: Heading, header: str) -> int:
    place = heading.find(header)
    return -1 if place is None else place


def machines_of(layout: Layout, plant: Plant, where: str, faults: list[Fault]) -> tuple[str, ...]:
    """Give the ids of the machines that a layout's rows can belong to.

    Parameters
    ----------
    layout : Layout
        How the export is laid out.
    plant : Plant
        The plant description.
    where : str
        The file, for messages.
    faults : list of Fault
        Faults found are added to it.
    """
    known = ", ".join(machine.id for machine in plant.machines) or "none is described"
    by_column = layout.machine_column or any(t.to == "machine" for t in layout.columns.values())
    if layout.machine:
        if plant.machine(layout.machine) is None:
            fault = f"layout '{layout.id}' names the unknown machine '{layout.machine}'"
            faults.append(Fault(fault, where, f"one of {known}"))
        if not by_column:
            return (layout.machine,)
    if by_column or any("/" in target.to for target in layout.columns.values()):
        return tuple(machine.id for machine in plant.machines)
    if len(plant.machines) == 1:
        return (plant.machines[0].id,)
    faults.append(Fault(f"layout '{layout.id}' names no machine", where, f"machine = one of {known}"))
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
    """Give a target's channels by machine; faults and notes go into the sink."""
    faults, notes, where = sink
    found = channels_named(plant, machines, target.to)
    owner, _, channel = target.to.rpartition("/")
    if owner and machine_named(plant, owner) is None:
        known = ", ".join(machine.id for machine in plant.machines)
        faults.append(Fault(f"'{header}' points at the unknown machine '{owner}'", where, f"one of {known}"))
    elif not found and machines and all(plant.machine(m) for m in machines):
        parts = sorted({p.id for m in plant.machines if m.id in machines for p in parts_of(m)})
        faults.append(
            Fault(f"'{header}' points at '{channel}', which is no counter or gauge", where, ", ".join(parts))
        )
    channels = {}
    for machine, part in found:
        in_header, in_row = unit_of(header), heading.units.get(place, "")
        if not in_header and place >= 0 and not (heading.units or target.unit):
            in_header = unit_of(heading.names[place])
        unit, fault, note = cell_unit(header, target.unit, in_header, in_row, part)
        faults += [Fault(fault.what, where, fault.expected, fault.do)] if fault else []
        notes += [note] if note and note not in notes else []
        channels[machine] = Channel(machine, part, unit)
    return channels


def _quality_beside(place: int, heading: Heading, targets: Iterable[str]) -> int | None:
    """Give the quality column of a value column: one named for it, or a repeated one right behind it."""
    if place < 0:
        return None
    taken = {heading.find(header) for header in targets}
    base = same(without_unit(heading.names[place]))
    for i, name in enumerate(heading.names):
        rest = same(name).strip("._-:/()[]")
        if i in taken or not rest:
            continue
        for word in QUALITY_HEADERS:
            if rest.endswith(word) and rest[: -len(word)].strip("._-:/()[]") == base:
                return i
    behind = same(heading.names[place + 1]) if place + 1 < len(heading.names) else ""
    word = behind.split("(")[0]
    repeated = sum(same(name).split("(")[0] == word for name in heading.names) > 1
    return place + 1 if word in QUALITY_HEADERS and repeated and place + 1 not in taken else None
