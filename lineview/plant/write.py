"""Writing a layout as a TOML block that is read back equal."""

from __future__ import annotations

import json
from typing import Any

from lineview.plant.model import Layout


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
    # JSON's escapes are TOML's; only the delete character must be escaped as well
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
