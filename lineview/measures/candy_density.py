"""Density of cooked candy without air, and what pulled-in air makes of it."""

from __future__ import annotations

from lineview.errors import Fault, MeasureError

#: Density of a component [kg/m³] as a polynomial in the temperature [°C].
COMPONENTS: dict[str, tuple[float, ...]] = {
    "water": (997.18, 0.0031439, -0.0037574),
    "carbohydrate": (1599.1, -0.31046),
    "fat": (925.59, -0.41757),
}


def unaerated_kg_m3(shares: dict[str, float], temperature_c: float) -> float:
    """Give the density of candy without air [kg/m³].

    Parameters
    ----------
    shares : dict of str to float
        Mass shares of water, carbohydrate and fat; they add up to 1.
    temperature_c : float
        Temperature [°C].

    Returns
    -------
    float
        1 / Σ share / density [kg/m³].

    Raises
    ------
    MeasureError
        Where a component is unknown or the shares do not add up.

    Notes
    -----
    Ten degrees move the diameter by less than a thousandth: a warmer rope is not thicker because it expands.
    Source: choi-okos-1986

    Examples
    --------
    >>> round(unaerated_kg_m3({"water": 0.08, "carbohydrate": 0.85, "fat": 0.07}, 35.0), 1)
    1443.8
    """
    unknown = set(shares) - set(COMPONENTS)
    if unknown or abs(sum(shares.values()) - 1) > 1e-6:
        raise MeasureError(
            Fault("unknown components, or shares that do not add up to 1", "shares", ", ".join(COMPONENTS))
        )
    volume = 0.0
    for name, share in shares.items():
        volume += share / sum(c * temperature_c**i for i, c in enumerate(COMPONENTS[name]))
    return 1 / volume


def aerated_kg_m3(unaerated: float, air_share: float) -> float:
    """Give the density with air [kg/m³].

    Parameters
    ----------
    unaerated : float
        Density without air [kg/m³].
    air_share : float
        Share of the volume that is air, from 0 to below 1.

    Returns
    -------
    float
        Density [kg/m³]; the air's own mass is left out.

    Examples
    --------
    >>> round(aerated_kg_m3(1443.8, 0.15), 1)
    1227.2
    """
    return unaerated * (1 - air_share)


def overrun(unaerated: float, aerated: float) -> float:
    """Give the overrun: volume gained over volume before.

    Parameters
    ----------
    unaerated, aerated : float
        Densities before and after pulling, in one unit.

    Returns
    -------
    float
        before / after - 1.

    Examples
    --------
    >>> round(overrun(1.0, 0.75), 4)
    0.3333
    """
    return unaerated / aerated - 1
