"""The mass of the wrap on one piece, to be taken off a gross weight."""

from __future__ import annotations

from collections.abc import Sequence

from lineview.measures.web_geometry import web_grammage_g_m2
from lineview.plant import Web


def wrap_mass_g(webs: Sequence[Web]) -> float | None:
    """Give the mass of the webs around one piece [g].

    Parameters
    ----------
    webs : sequence of Web
        All that wrap the product.

    Returns
    -------
    float or None
        Sum of grammage × width × cut length [g]; None where there is no web, or one has no grammage.

    Examples
    --------
    >>> film = Web(id="film", kind="film", cut_length_mm=60, width_mm=80, grammage_g_m2=32.5,
    ...            reel_outer_mm=300, reel_core_mm=76)
    >>> round(wrap_mass_g([film]), 4)
    0.156
    >>> wrap_mass_g([]) is None
    True
    """
    masses = []
    for web in webs:
        grammage = web_grammage_g_m2(web)
        if grammage is None:
            return None
        masses.append(grammage * web.cut_length_mm * web.width_mm / 1e6)
    return sum(masses) if masses else None
