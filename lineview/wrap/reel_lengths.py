"""How much is on a reel: its length from diameters and thickness, and the thickness from a known length."""

from __future__ import annotations

import math

from lineview.core.errors import Fault, MeasureError
from lineview.plant import Web


def reel_length_m(outer_mm: float, core_mm: float, thickness_um: float) -> float:
    """The length wound on a reel [m]: L = π(D² − d²) ÷ 4t.

    Takes `thickness_um` [µm].

    Layers times mean circumference. An error of 5 % in thickness is 4.8 % in length: learn the thickness
    from a reel of known length (`wound_thickness_um`) rather than from a micrometer.

    Source: reel-formula
    """
    ring_mm2 = _ring_mm2(outer_mm, core_mm)
    if not thickness_um > 0:
        raise MeasureError(Fault(f"thickness is {thickness_um:g} µm", "thickness_um", "above 0"))
    return ring_mm2 / thickness_um


def wound_thickness_um(outer_mm: float, core_mm: float, length_m: float) -> float:
    """The thickness as wound [µm] of a reel of known length: t = π(D² − d²) ÷ 4L.

    Source: reel-formula
    """
    ring_mm2 = _ring_mm2(outer_mm, core_mm)
    if not length_m > 0:
        raise MeasureError(Fault(f"length is {length_m:g} m", "length_m", "above 0"))
    return ring_mm2 / length_m


def web_thickness_um(web: Web) -> float | None:
    """Thickness as wound of a web [µm]: from its labelled reel where there is one, else as stated."""
    if web.reel_length_m is not None and web.reel_outer_mm > web.reel_core_mm:
        return wound_thickness_um(web.reel_outer_mm, web.reel_core_mm, web.reel_length_m)
    return web.thickness_um


def full_reel_m(web: Web) -> float | None:
    """The length of a new reel of a web [m]: its label's, else from diameters and thickness.

    Parameters
    ----------
    web : Web
        Of the plant description.

    Returns
    -------
    float or None
        Length [m]; None where it cannot be told.
    """
    if web.reel_length_m is not None:
        return web.reel_length_m
    if web.thickness_um is None or web.reel_outer_mm <= web.reel_core_mm:
        return None
    return reel_length_m(web.reel_outer_mm, web.reel_core_mm, web.thickness_um)


def part_reel_m(web: Web, outer_mm: float, *, tolerance_mm: float = 2.0) -> float | None:
    """What is left on a part reel by its measured outer diameter [m].

    Parameters
    ----------
    web : Web
        Of the plant description.
    outer_mm : float
        Measured outer diameter [mm].
    tolerance_mm : float
        How much thicker than new a reel may measure before it is refused [mm].

    Returns
    -------
    float or None
        Length left [m]; None where the thickness is not known.

    Raises
    ------
    MeasureError
        Where the reel is thicker than new or thinner than its core.

    Notes
    -----
    Source: reel-formula
    """
    if outer_mm > web.reel_outer_mm + tolerance_mm:
        raise MeasureError(
            Fault(
                f"a part reel of {web.id} measures {outer_mm:g} mm, thicker than new",
                "part_reel_outer_mm",
                f"at most {web.reel_outer_mm:g} mm",
                "Measure again, or correct reel_outer_mm in plant.toml.",
            )
        )
    thickness = web_thickness_um(web)
    if thickness is None:
        return None
    _reel(outer_mm, web.reel_core_mm)
    return reel_length_m(min(outer_mm, web.reel_outer_mm), web.reel_core_mm, thickness)


def _ring_mm2(outer_mm: float, core_mm: float) -> float:
    """The area of a reel's side [mm²]: its web's length in metres times its thickness in µm."""
    _reel(outer_mm, core_mm)
    return math.pi * (outer_mm**2 - core_mm**2) / 4.0


def _reel(outer_mm: float, core_mm: float) -> None:
    faults = []
    if not core_mm > 0:
        faults.append(Fault(f"the core is {core_mm:g} mm", "core_mm", "above 0"))
    if not outer_mm >= core_mm:
        faults.append(
            Fault(
                f"the reel is {outer_mm:g} mm on a core of {core_mm:g} mm",
                "outer_mm",
                "a reel no thinner than its core",
                "Measure again.",
            )
        )
    if faults:
        raise MeasureError(faults)
