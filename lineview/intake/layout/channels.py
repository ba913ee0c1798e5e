"""The counters and gauges that headers and names point at, and the units their cells are brought to."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import polars as pl

from lineview.core.errors import Fault
from lineview.core.language import mark, tr
from lineview.core.units import convert, dimension, factor_between, unit_named
from lineview.plant import Counter, Counting, Gauge, Machine, Plant

_TEXTS = ("state", "batch", "product")


@dataclass(frozen=True)
class Channel:
    """A counter or gauge of one machine, and the unit that the export's cells are in ("" as they are).

    `counting` is what the layout says of a counter's cells, None where it says nothing.
    """

    machine: str
    part: Counter | Gauge
    unit: str = ""
    counting: Counting | None = None

    @property
    def is_text(self) -> bool:
        """Whether its cells are names or codes, no numbers."""
        return isinstance(self.part, Gauge) and self.part.measures in _TEXTS

    @property
    def is_whole(self) -> bool:
        """Whether its cells are whole numbers: pieces counted one by one."""
        return isinstance(self.part, Counter) and own_unit(self.part) == "pieces" and self.part.unit_value == 1.0

    def scaled(self, values: pl.Series) -> pl.Series:
        """Bring values to the channel's own unit: millimetres, °C, or counts of the counter.

        Cells whose unit neither the file nor the layout names are in the gauge's of the plant description.
        """
        target_unit = own_unit(self.part)
        unit = self.unit or (self.part.unit if isinstance(self.part, Gauge) else "")
        if not unit or not target_unit or dimension(unit) != dimension(target_unit):
            return values
        if isinstance(self.part, Gauge):
            return values if unit == target_unit else convert(values, unit, target_unit)
        of_count = Fraction(str(self.part.unit_value)) if dimension(target_unit) == "length" else Fraction(1)
        ratio = factor_between(unit, target_unit) / of_count
        return values if ratio == 1 else values * ratio.numerator / ratio.denominator


def own_unit(part: Counter | Gauge) -> str:
    """The unit in which a counter or gauge is kept: metres stand behind the counts of a feed."""
    if isinstance(part, Gauge):
        return {"rope diameter": "mm", "rope temperature": "°C"}.get(part.measures, part.unit)
    return "m" if part.counts in ("film", "wax paper", "rope") else "pieces"


def machine_named(plant: Plant, name: str) -> Machine | None:
    """The machine whose id or name this is, case and blanks aside, or None."""
    key = "".join(name.casefold().split())
    for machine in plant.machines:
        if key in {"".join(text.casefold().split()) for text in (machine.id, machine.name) if text}:
            return machine
    return None


def parts_of(machine: Machine) -> tuple[Counter | Gauge, ...]:
    """A machine's counters and gauges."""
    return (*machine.counters, *machine.gauges)


def channels_named(plant: Plant, machines: tuple[str, ...], to: str) -> list[tuple[str, Counter | Gauge]]:
    """What a target points at: (machine id, counter or gauge), one for each machine that has it."""
    owner, _, channel = to.rpartition("/")
    if owner:
        owner_machine = machine_named(plant, owner)
        machines = (owner_machine.id,) if owner_machine else ()
    matches = []
    for machine_id in machines:
        machine = plant.machine(machine_id)
        for part in parts_of(machine) if machine else ():
            if part.id == channel:
                matches.append((machine_id, part))
    return matches


def cell_unit(
    header: str, declared: str, in_header: str, in_row: str, part: Counter | Gauge | None, target_unit: str = ""
) -> tuple[str, Fault | None, str]:
    """Settle the unit of a column's cells: the units row's before the layout's before the header's."""
    target_unit = own_unit(part) if part is not None else target_unit
    kind = dimension(target_unit)
    layout_unit = unit_named(declared) if declared else ""
    if declared and not layout_unit:
        what = tr("unknown unit '{unit}' for '{header}'", unit=declared, header=header)
        return "", Fault(what, "", tr("a unit such as mm, in, g, °C")), ""
    if layout_unit and target_unit and dimension(layout_unit) != kind:
        fault = Fault(
            tr("'{header}' cannot be in {unit}", header=header, unit=layout_unit),
            "",
            tr("a unit that becomes {unit}", unit=target_unit),
            tr("Correct the layout's unit."),
        )
        return "", fault, ""
    row_unit = unit_named(in_row)
    if row_unit and dimension(row_unit) == kind:
        text = mark("'{header}' is read in {row_unit}, as the file's units row says; the layout says {layout_unit}")
        note = tr(text, header=header, row_unit=row_unit, layout_unit=layout_unit)
        return row_unit, None, "" if layout_unit in ("", row_unit) else note
    if layout_unit:
        return layout_unit, None, ""
    return (in_header if dimension(in_header) == kind else ""), None, ""
