"""What one wrap takes by geometry: metres, square metres, kilograms and money of a web."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError
from lineview.plant import Web

MICROMETRES_A_MIL = 25.4
SQUARE_INCHES_A_POUND_MIL = 27_680.0


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


def yield_m2_per_kg(thickness_um: float, density_g_cm3: float) -> float:
    """Give the area of a kilogram of film [m²/kg].

    Parameters
    ----------
    thickness_um, density_g_cm3 : float
        Thickness [µm] and density [g/cm³].

    Returns
    -------
    float
        1000 ÷ (thickness × density) [m²/kg].

    Notes
    -----
    Source: flexo-yield

    Examples
    --------
    >>> round(yield_m2_per_kg(25.4, 0.906), 1)
    43.5
    """
    return 1000.0 / grammage_g_m2(thickness_um, density_g_cm3)


def yield_in2_per_lb(thickness_mil: float, density_g_cm3: float) -> float:
    """Give the area of a pound of film [in²/lb], 27,680 ÷ (mil × density).

    Parameters
    ----------
    thickness_mil, density_g_cm3 : float
        Thickness [mil, a thousandth of an inch] and density [g/cm³].

    Returns
    -------
    float
        Area [in²/lb].

    Notes
    -----
    Source: flexo-yield
    """
    _positive(thickness_mil=thickness_mil, density_g_cm3=density_g_cm3)
    return SQUARE_INCHES_A_POUND_MIL / (thickness_mil * density_g_cm3)


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


def metres(wraps: float, cut_length_mm: float) -> float:
    """Give the metres that so many wraps take, before waste.

    Parameters
    ----------
    wraps : float
        Number of wraps.
    cut_length_mm : float
        Length of web a wrap [mm].

    Returns
    -------
    float
        Metres [m].

    Examples
    --------
    >>> metres(1000, 56)
    56.0
    """
    _positive(cut_length_mm=cut_length_mm)
    return wraps * cut_length_mm / 1000.0


def area_m2(length_m: float, width_mm: float) -> float:
    """Give the area [m²] of a length [m] of web of this width [mm].

    Parameters
    ----------
    length_m : float
        Length of web [m].
    width_mm : float
        Width of the web [mm].
    """
    _positive(width_mm=width_mm)
    return length_m * width_mm / 1000.0


def mass_kg(length_m: float, width_mm: float, grammage: float) -> float:
    """Give the mass [kg] of a length [m] of web of this width [mm] and grammage [g/m²].

    Parameters
    ----------
    length_m : float
        Length of web [m].
    width_mm : float
        Width of the web [mm].
    grammage : float
        Grammage, in g/m².

    Examples
    --------
    >>> round(mass_kg(56, 76, 23 * 1.35), 6)
    0.132149
    """
    _positive(grammage=grammage)
    return area_m2(length_m, width_mm) * grammage / 1000.0


def cut_length_round_mm(diameter_mm: float, overlap_mm: float) -> float:
    """Give the cut length around a round piece: girth and overlap [mm].

    Parameters
    ----------
    diameter_mm, overlap_mm : float
        The piece's diameter and the web's overlap [mm].

    Returns
    -------
    float
        π d + overlap [mm].

    Examples
    --------
    >>> round(cut_length_round_mm(14, 12), 2)
    55.98
    """
    _positive(diameter_mm=diameter_mm)
    return math.pi * diameter_mm + overlap_mm


def least_width_mm(piece_length_mm: float, piece_diameter_mm: float) -> float:
    """Give the least web width that can be twisted shut at both ends [mm].

    Parameters
    ----------
    piece_length_mm, piece_diameter_mm : float
        The piece [mm].

    Returns
    -------
    float
        Length + 2 × diameter [mm]: a limit for an entered width, not a rule for design.

    Notes
    -----
    A sleeve of diameter D with straight inextensible generators closes its neck only where each tail is
    at least D long.

    Source: twist-closure

    Examples
    --------
    >>> round(least_width_mm(35.6, 14), 1)
    63.6
    """
    _positive(piece_length_mm=piece_length_mm, piece_diameter_mm=piece_diameter_mm)
    return piece_length_mm + 2.0 * piece_diameter_mm


def twisted_height_mm(sleeve_height_mm: float, sleeve_diameter_mm: float, twist_deg: float) -> float:
    """Give the height that a tail keeps once it is twisted [mm].

    Parameters
    ----------
    sleeve_height_mm, sleeve_diameter_mm : float
        The tail before the twist [mm].
    twist_deg : float
        The twist [degrees], up to 180.

    Returns
    -------
    float
        √(h² − (D sin(φ/2))²) [mm].

    Raises
    ------
    MeasureError
        Where the tail is too short to be twisted so far.

    Notes
    -----
    Source: twist-closure
    """
    _positive(sleeve_height_mm=sleeve_height_mm, sleeve_diameter_mm=sleeve_diameter_mm)
    taken = sleeve_diameter_mm * math.sin(math.radians(twist_deg) / 2.0)
    if taken > sleeve_height_mm:
        raise MeasureError(
            Fault(
                f"a tail of {sleeve_height_mm:g} mm cannot be twisted {twist_deg:g}°",
                "sleeve_height_mm",
                f"at least {taken:.1f} mm",
                "Check the web's width.",
            )
        )
    return math.sqrt(sleeve_height_mm**2 - taken**2)


def _positive(**values: float) -> None:
    """Raise for every value that is not a positive number."""
    faults = [
        Fault(f"{name} is {value:g}", name, "a number above 0")
        for name, value in values.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        raise MeasureError(faults)
