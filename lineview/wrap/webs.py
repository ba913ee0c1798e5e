"""Grammage of a web: from the plant description, or from thickness and density."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lineview.core.errors import check_positive
from lineview.plant import Web
from lineview.wrap.reconcile import FEED_COMMON_SD, LABEL_SD
from lineview.wrap.reels import ReelSpan


def grammage_g_m2(thickness_um: float, density_g_cm3: float) -> float:
    """The mass of a square metre of film [g/m²].

    Takes `thickness_um` [µm], `density_g_cm3` [g/cm³].

    Not for coated papers, whose thickness does not follow from grammage and density.

    Source: flexo-yield
    """
    check_positive(thickness_um=thickness_um, density_g_cm3=density_g_cm3)
    return thickness_um * density_g_cm3


def web_grammage_g_m2(web: Web) -> float | None:
    """A web's grammage [g/m²], or None where neither it nor thickness and density are known."""
    if web.grammage_g_m2 is not None:
        return web.grammage_g_m2
    if web.thickness_um is not None and web.density_g_cm3 is not None:
        return grammage_g_m2(web.thickness_um, web.density_g_cm3)
    return None


def wrap_mass_g(webs: Sequence[Web]) -> float | None:
    """The mass of the webs around one piece [g].

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


@dataclass(frozen=True)
class ReelLeft:
    """Metres left on a mounted reel [m] with bounds (k = 2), wraps they make, and minutes they last."""

    reel: str
    metres: float
    low_m: float
    high_m: float
    wraps: int
    minutes: float | None


def reel_left(span: ReelSpan, end_m: float, wraps_per_min: float | None) -> ReelLeft | None:
    """What is left on the reel that is on."""
    if span.taken_off is not None or span.held_m is None or span.fed is None or span.cut_length_mm is None:
        return None
    left = max(span.held_m - span.fed.number - end_m, 0.0)
    doubt = 2.0 * math.hypot(LABEL_SD * (span.label_m or span.held_m), FEED_COMMON_SD * span.fed.number)
    wraps = math.floor(left * 1000.0 / span.cut_length_mm)
    minutes = wraps / wraps_per_min if wraps_per_min else None
    return ReelLeft(span.reel, left, max(left - doubt, 0.0), left + doubt, wraps, minutes)
