"""What the types of a plant description cannot tell: ids that fit together and values that fit each other.

The checks look at the raw tables, so that they also run where some types are wrong; what is wrong there
already has its fault, and is passed over here.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from zoneinfo import available_timezones

from lineview.core.errors import Fault
from lineview.plant.messages import did_you_mean
from lineview.plant.positions import Path
from lineview.plant.shifts import shift_faults
from lineview.plant.tables import Found, Table, ids, is_list, number, tables
from lineview.plant.targets import layout_faults


def cross_faults(data: Table) -> list[Found]:
    """Give every fault between the tables of a plant description.

    Parameters
    ----------
    data : mapping
        The description as TOML gave it, lists as tuples and times as times.

    Returns
    -------
    list of (path, Fault)
        In no particular order, each with an empty `where`.
    """
    found: list[Found] = []
    for check in (_zones, _ids, _machines, _webs, _products, shift_faults, layout_faults):
        found += check(data)
    return found


@cache
def _known_zones() -> list[str]:
    return sorted(available_timezones())  # read from the disk each time


def _zones(data: Table) -> Iterator[Found]:
    places: list[tuple[Path, object]] = [(("zone",), data.get("zone"))]
    places += [(("layouts", i, "zone"), row.get("zone")) for i, row in tables(data, "layouts")]
    for path, zone in places:
        if isinstance(zone, str) and zone and zone not in _known_zones():
            advice = did_you_mean(zone, _known_zones())
            advice = advice if advice.startswith("Did") else "Write it as area and city"
            yield path, Fault(f"unknown time zone '{zone}'", "", "a zone such as 'Europe/Paris'", advice)


def _ids(data: Table) -> Iterator[Found]:
    for name in ("shifts", "lines", "machines", "webs", "products", "layouts"):
        yield from _twice((name,), [((name, i), row) for i, row in tables(data, name)])
    for m, machine in tables(data, "machines"):
        rows: list[tuple[Path, Table]] = []
        for name in ("counters", "gauges"):
            rows += [(("machines", m, name, i), row) for i, row in tables(machine, name)]
        yield from _twice(("counters or gauges",), rows)


def _twice(what: Path, rows: list[tuple[Path, Table]]) -> Iterator[Found]:
    seen: set[str] = set()
    for path, row in rows:
        name = row.get("id")
        if isinstance(name, str) and name in seen:
            yield (
                (*path, "id"),
                Fault(f"two {what[0]} have the id '{name}'", "", "ids that differ", "Rename one"),
            )
        seen.add(str(name))


def _machines(data: Table) -> Iterator[Found]:
    lines = ids(data, "lines")
    for i, machine in tables(data, "machines"):
        line = machine.get("line")
        if isinstance(line, str) and line not in lines:
            fault = Fault(f"unknown line '{line}'", "", "the id of a [[lines]]", did_you_mean(line, lines))
            yield ("machines", i, "line"), fault
        band = machine.get("nominal_per_min", (300.0, 400.0))
        if not (is_list(band) and len(band) == 2 and all(isinstance(end, (int, float)) for end in band)):
            continue
        if band[0] > band[1]:
            fault = Fault(
                f"the nominal band runs from {band[0]:g} down to {band[1]:g}",
                "",
                "the low end first",
                f"Write nominal_per_min = [{band[1]:g}, {band[0]:g}]",
            )
            yield ("machines", i, "nominal_per_min"), fault
        yield from _counters(i, machine, max(band))
        yield from _codes(i, machine)


def _counters(m: int, machine: Table, nominal_high: float) -> Iterator[Found]:
    seen: set[str] = set()
    for i, counter in tables(machine, "counters"):
        counts, path = counter.get("counts"), ("machines", m, "counters", i)
        if isinstance(counts, str) and counts in seen:
            what = f"machine '{machine.get('id')}' has two counters of {counts}"
            yield (*path, "counts"), Fault(what, "", "one counter of each count", "Leave one out")
        seen.add(str(counts))
        fastest, unit = number(counter, "fastest_per_min"), number(counter, "unit_value")
        if fastest is None or counts not in ("pieces", "good pieces"):
            continue
        pieces = fastest * (1.0 if unit is None else unit)
        if 0 < pieces < nominal_high:
            fault = Fault(
                f"the fastest possible rate is {pieces:g} pieces a minute",
                "",
                f"at least the nominal band's high end, {nominal_high:g}",
                "Give the rate that the machine cannot exceed, or correct the band",
            )
            yield (*path, "fastest_per_min"), fault


def _codes(m: int, machine: Table) -> Iterator[Found]:
    """Find codes of a gauge that tells no state, and one code with two meanings."""
    for i, gauge in tables(machine, "gauges"):
        codes, path = gauge.get("codes"), ("machines", m, "gauges", i, "codes")
        if not isinstance(codes, dict) or not codes:
            continue
        if gauge.get("measures") != "state":
            what = f"gauge '{gauge.get('id')}' measures {gauge.get('measures')} and has codes of states"
            yield path, Fault(what, "", 'codes only where measures = "state"', "Take the codes out")
        seen: dict[str, object] = {}
        for code, means in codes.items():
            before = seen.setdefault(str(code).strip().casefold(), means)
            if before != means:
                what = f"the code '{code}' means both {before} and {means}"
                yield path, Fault(what, "", "one meaning a code, whatever its capitals", "Leave one out")


def _webs(data: Table) -> Iterator[Found]:
    for i, web in tables(data, "webs"):
        if "grammage_g_m2" not in web and not {"thickness_um", "density_g_cm3"} <= set(web):
            fault = Fault(
                f"web '{web.get('id')}' has no mass",
                "",
                "grammage_g_m2, or both thickness_um and density_g_cm3",
                "Add for example: grammage_g_m2 = 40.0",
            )
            yield ("webs", i), fault
        outer, core = number(web, "reel_outer_mm"), number(web, "reel_core_mm")
        if outer is not None and core is not None and core >= outer > 0:
            fault = Fault(
                f"the core of {core:g} mm is not smaller than the reel of {outer:g} mm",
                "",
                "reel_core_mm below reel_outer_mm",
                "Check whether the two are swapped",
            )
            yield ("webs", i, "reel_core_mm"), fault


def _products(data: Table) -> Iterator[Found]:
    webs = ids(data, "webs")
    for i, product in tables(data, "products"):
        named = product.get("webs", ())
        for j, web in enumerate(named if is_list(named) else ()):
            if isinstance(web, str) and web not in webs:
                fault = Fault(f"unknown web '{web}'", "", "the id of a [[webs]]", did_you_mean(web, webs))
                yield ("products", i, "webs", j), fault
