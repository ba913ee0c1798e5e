"""Units as a person reads them: metric as kept inside, or converted for a plant that works in US units."""

from __future__ import annotations

from typing import Literal

System = Literal["metric", "US"]

#: What a unit is called in US units, how many of it make one of those, and what to add afterwards. The
#: factors are those of NIST Special Publication 811 (2008), appendix B.8, and exact.
US: dict[str, tuple[str, float, float]] = {
    "mm": ("in", 25.4, 0.0),
    "µm": ("mil", 25.4, 0.0),
    "m": ("ft", 0.3048, 0.0),
    "m²": ("ft²", 0.3048**2, 0.0),
    "g": ("oz", 28.349523125, 0.0),
    "kg": ("lb", 0.45359237, 0.0),
    "°C": ("°F", 1 / 1.8, 32.0),
}


def in_units(value: float, unit: str, system: System) -> tuple[float, str]:
    """Give a value and its unit as the plant reads them.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        "mm", "mm/h", "m/1000 pieces", "EUR/kg", ...; a unit this module does not know stays as it is.
    system : str
        "metric" or "US".

    Returns
    -------
    (float, str)
        Converted value and unit.

    Notes
    -----
    Source: nist-sp-811

    Examples
    --------
    >>> in_units(25.4, "mm", "US")
    (1.0, 'in')
    >>> in_units(0.508, "mm/h", "US")
    (0.02, 'in/h')
    >>> in_units(35.0, "°C", "US")
    (95.0, '°F')
    >>> in_units(1.0, "EUR/kg", "US")
    (0.45359237, 'EUR/lb')
    """
    if system == "metric" or not unit:
        return value, unit
    top, *below = unit.split("/")
    if not below and top in US:
        name, factor, added = US[top]
        return value / factor + added, name
    name, factor, _ = US.get(top, (top, 1.0, 0.0))
    names = [name]
    for part in below:
        part_name, part_factor, _ = US.get(part, (part, 1.0, 0.0))
        names.append(part_name)
        factor /= part_factor
    return value / factor, "/".join(names)
