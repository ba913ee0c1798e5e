"""Grammage of a web: from the plant description, or from thickness and density."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError
from lineview.plant import Web


def grammage_g_m2(thickness_um: float, density_g_cm3: float) -> float:
    """Give the mass of a square metre of film [g/m²].

    Parameters
    ----------
    thickness_um : float
        Thickness [µm].
    density_g_cm3 : float
        Density [g/cm³].

    Returns
    -------
    float
        Thickness × density [g/m²].

    Notes
    -----
    Not for coated papers, whose thickness does not follow from grammage and density.

    Source: flexo-yield

    Examples
    --------
    >>> round(grammage_g_m2(25.4, 1.39), 1)
    35.3
    """
    _positive(thickness_um=thickness_um, density_g_cm3=density_g_cm3)
    return thickness_um * density_g_cm3


def web_grammage_g_m2(web: Web) -> float | None:
    """Give a web's grammage [g/m²], or None where neither it nor thickness and density are known.

    Parameters
    ----------
    web : Web
        Of the plant description.

    Returns
    -------
    float or None
        Grammage [g/m²].
    """
    if web.grammage_g_m2 is not None:
        return web.grammage_g_m2
    if web.thickness_um is not None and web.density_g_cm3 is not None:
        return grammage_g_m2(web.thickness_um, web.density_g_cm3)
    return None


def _positive(**values: float) -> None:
    """Raise for every value that is not a positive number."""
    faults = [
        Fault(f"{name} is {value:g}", name, "a number above 0")
        for name, value in values.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        raise MeasureError(faults)
