"""What counters' readings mean, carried from the layouts to each counter of the plant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lineview.core.errors import Fault
from lineview.core.language import tr
from lineview.plant.checks import PlacedFault
from lineview.plant.model import Counter, Counting, Layout, Machine, Plant


def counters_of(layout: Layout, machines: Sequence[Machine]) -> Iterator[tuple[str, str, str, Counting | None]]:
    """What a layout says of each counter that it fills.

    Parameters
    ----------
    layout : Layout
        Of readings; any other fills none.
    machines : sequence of Machine
        Those that its exports may be of.

    Yields
    ------
    tuple of str, str, str and Counting
        Header, machine id, counter id, and what the cells are; None where nothing says so.
    """
    for header, target in layout.columns.items() if layout.kind == "readings" else ():
        owner, _, channel = target.to.rpartition("/")
        for machine in machines:
            machine_id = owner or (layout.machine or "" if not layout.machine_column else "")
            if machine_id and machine.id != machine_id:
                continue
            if any(counter.id == channel for counter in machine.counters):
                yield header, machine.id, channel, target.counting


def contradicting(layout: Layout, others: Sequence[Layout], machines: Sequence[Machine]) -> Iterator[tuple[str, Fault]]:
    """Faults where two layouts read one counter differently.

    Parameters
    ----------
    layout : Layout
        The layout in question.
    others : sequence of Layout
        Further layouts of the plant.
    machines : sequence of Machine
        Of the plant, with what they declare of their counters themselves.

    Yields
    ------
    tuple of str and Fault
        The header of the layout, and the fault without a place.
    """
    declared = {(m.id, c.id): c.counting for m in machines for c in m.counters}
    for header, machine, channel, counting in counters_of(layout, machines):
        meaning = counting or declared[machine, channel]
        for other in others:
            for _, same_machine, same_channel, theirs in counters_of(other, machines):
                if (same_machine, same_channel) != (machine, channel):
                    continue
                if (theirs or declared[machine, channel]) != meaning:
                    what = tr(
                        "layout '{layout}' reads '{channel}' of {machine} as \"{meaning}\", "
                        "layout '{other}' as \"{other_meaning}\"",
                        layout=layout.id,
                        channel=channel,
                        machine=machine,
                        meaning=meaning,
                        other=other.id,
                        other_meaning=theirs or declared[machine, channel],
                    )
                    advice = tr("Give one of the exports a counter of its own, or correct one layout")
                    yield header, Fault(what, "", tr("one counting for each counter"), advice)


def with_counting(plant: Plant) -> tuple[Plant, list[PlacedFault]]:
    """Carry the layouts' meaning of readings over to the counters; a fault for each layout that contradicts another."""
    meanings = {
        (machine, channel): counting
        for layout in plant.layouts
        for _, machine, channel, counting in counters_of(layout, plant.machines)
        if counting is not None
    }
    if not meanings:
        return plant, []
    faults: list[PlacedFault] = []
    for i, layout in enumerate(plant.layouts):
        for header, fault in contradicting(layout, plant.layouts[:i], plant.machines):
            faults.append((("layouts", i, "columns", header), fault))

    def settled(machine: Machine, counter: Counter) -> Counter:
        counting = meanings.get((machine.id, counter.id), counter.counting)
        return counter.model_copy(update={"counting": counting})

    machines = tuple(
        machine.model_copy(update={"counters": tuple(settled(machine, c) for c in machine.counters)})
        for machine in plant.machines
    )
    return plant.model_copy(update={"machines": machines}), faults
