"""Whether the layouts of exports point at machines, lines, channels and fields that there are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from lineview.core.errors import Fault
from lineview.plant import fields
from lineview.plant.messages import did_you_mean
from lineview.plant.tables import Found, Table, ids, tables

#: The fields that a header of each kind of export can mean, besides counters and gauges.
FIELDS: dict[str, tuple[str, ...]] = {
    "readings": ("machine", "at", "quality"),
    **{kind: (*told, "machine", "line", "at") for kind, told in fields.FIELDS.items()},
}


def layout_faults(data: Table) -> Iterator[Found]:
    """Give the faults of layouts that name what is not there."""
    channels: dict[str, list[str]] = {}
    for _, one in tables(data, "machines"):  # two of one id have their own fault: either may be meant
        own = channels.setdefault(str(one.get("id")), [])
        own += ids(one, "counters") + ids(one, "gauges")
    lines = ids(data, "lines")
    for i, layout in tables(data, "layouts"):
        machine, line = layout.get("machine"), layout.get("line")
        if isinstance(machine, str) and machine not in channels:
            advice = did_you_mean(machine, list(channels))
            fault = Fault(f"unknown machine '{machine}'", "", "the id of a [[machines]]", advice)
            yield ("layouts", i, "machine"), fault
        if isinstance(line, str) and line not in lines:
            fault = Fault(f"unknown line '{line}'", "", "the id of a [[lines]]", did_you_mean(line, lines))
            yield ("layouts", i, "line"), fault
        yield from _targets(i, layout, channels)


def _targets(i: int, layout: Table, channels: Mapping[str, list[str]]) -> Iterator[Found]:
    """Give the columns whose target is neither a channel of the machine nor a field of the kind."""
    headers, kind = layout.get("columns"), layout.get("kind", "readings")
    machine = layout.get("machine")
    if not isinstance(headers, Mapping) or kind not in FIELDS:
        return
    if machine is not None and machine not in channels:
        return  # the machine is the fault
    for header, target in headers.items():
        to = target.get("to") if isinstance(target, Mapping) else None
        if not isinstance(to, str):
            continue
        known = list(FIELDS[kind])
        if kind == "readings":
            own = channels[machine] if machine is not None else [c for m in channels.values() for c in m]
            known += [*own, *(f"{m}/{channel}" for m, all_ in channels.items() for channel in all_)]
        if to not in known:
            thing = "counter or gauge" if kind == "readings" else "field"
            owner = f" of machine '{machine}'" if machine and kind == "readings" else f" of {kind} exports"
            fault = Fault(
                f"column '{header}' points at '{to}', which is no {thing}{owner}",
                "",
                f"the id of a {thing}",
                did_you_mean(to, [name for name in known if name not in FIELDS["readings"]] or known),
            )
            yield ("layouts", i, "columns", header, "to"), fault
