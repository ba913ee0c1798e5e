"""Writing a plant description, or a layout of it, as TOML that is read back equal."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import time
from typing import Any

from lineview.core.language import ENGLISH, tr
from lineview.plant.model import Counter, Gauge, Layout, Machine, Part, Plant


def layout_toml(layout: Layout) -> str:
    """A layout as a [[layouts]] block ending in a newline; values that are the default are left out.

    Examples
    --------
    >>> print(layout_toml(Layout(id="daily", machine="wrap1", columns={"Good": {"to": "pieces"}})), end="")
    [[layouts]]
    id = "daily"
    machine = "wrap1"
    [layouts.columns]
    "Good" = { to = "pieces" }
    """
    rows = ["[[layouts]]"]
    for name, field in Layout.model_fields.items():
        value = getattr(layout, name)
        if name != "columns" and (field.is_required() or value != field.default):
            rows.append(f"{name} = {_value(value)}")
    if layout.columns:
        rows.append("[layouts.columns]")
    for header, target in layout.columns.items():
        keys = ("unit", "adds", "counting")
        more = "".join(f", {key} = {_value(getattr(target, key))}" for key in keys if getattr(target, key))
        rows.append(f"{_value(header)} = {{ to = {_value(target.to)}{more} }}")
    return "\n".join(rows) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, time):
        return value.isoformat()
    if isinstance(value, Part):
        return f"{{ {', '.join(_pairs(value))} }}"
    # JSON's escapes are TOML's; only the delete character must be escaped as well
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _pairs(part: Part) -> list[str]:
    """The keys of a part that are not left at their default, as TOML."""
    fields = type(part).model_fields
    values = {name: getattr(part, name) for name in fields}
    return [f"{n} = {_value(v)}" for n, v in values.items() if fields[n].is_required() or v != fields[n].default]


def plant_text(plant: Plant, remarks: Mapping[tuple[str, str], str], reasons: Mapping[str, str]) -> str:
    """A new plant description as a commented TOML file.

    Parameters
    ----------
    plant : Plant
        Without webs and products.
    remarks : mapping of (str, str) to str
        By machine and counter, what was seen of it.
    reasons : mapping of str to str
        By "zone", "shifts", "band" and "lines", what the values come from.

    Returns
    -------
    str
        Read back equal by `lineview.plant.read`.
    """
    rows = [
        _head(tr("The plant description, set up from exports. Edit it by hand or on the board: this file counts."), ""),
        f"shop = {_value(plant.shop)}",
        *([] if plant.language == ENGLISH else [f"language = {_value(plant.language)}"]),
        _with_comment(
            f"zone = {_value(plant.zone)}",
            tr("the machines' clocks; {reason}", reason=reasons["zone"]) if "zone" in reasons else "",
        ),
        f"units = {_value(plant.units)}",
        f"currency = {_value(plant.currency)}",
        _with_comment(
            f"gap_s = {_value(plant.gap_s)}", tr("seconds without a reading after which a machine counts as unseen")
        ),
    ]
    rows += ["", _head(tr("Shifts"), reasons.get("shifts", ""))]
    for shift in plant.shifts:
        rows += ["", "[[shifts]]", *_pairs(shift)]
    rows += ["", _head(tr("Lines"), reasons.get("lines", ""))]
    for line in plant.lines:
        rows += ["", "[[lines]]", *_pairs(line)]
    rows += ["", _head(tr("Machines"), "")]
    for machine in plant.machines:
        rows += ["", *_machine_rows(machine, remarks, reasons.get("band", ""))]
    rows += ["", _head(tr("Layouts of the exports"), tr("what each header means")), ""]
    return "\n".join(rows) + "\n" + "\n".join(layout_toml(layout) for layout in plant.layouts)


def _head(title: str, reason: str) -> str:
    return f"# {title}" + (f": {reason}" if reason else "")


def _with_comment(pair: str, comment: str) -> str:
    return f"{pair}  # {comment}" if comment else pair


def _machine_rows(machine: Machine, remarks: Mapping[tuple[str, str], str], band: str) -> list[str]:
    rows = ["[[machines]]", f"id = {_value(machine.id)}", f"kind = {_value(machine.kind)}"]
    if machine.name:
        rows.append(f"name = {_value(machine.name)}")
    rows.append(f"line = {_value(machine.line)}")
    if machine.kind == "cut-and-wrap machine":
        rows.append(
            _with_comment(
                f"nominal_per_min = {_value(machine.nominal_per_min)}",
                tr("pieces a minute; {reason}", reason=band) if band else tr("pieces a minute"),
            )
        )
    rows += _list_rows("counters", [(c, remarks.get((machine.id, c.id), "")) for c in machine.counters])
    rows += _list_rows("gauges", [(gauge, "") for gauge in machine.gauges])
    return rows


def _list_rows(name: str, parts: list[tuple[Counter, str]] | list[tuple[Gauge, str]]) -> list[str]:
    if not parts:
        return []
    return [f"{name} = [", *(f"  {_with_comment(_value(part) + ',', remark)}" for part, remark in parts), "]"]
