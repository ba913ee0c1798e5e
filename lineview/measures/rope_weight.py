"""What the rope's diameter does to the weight of a piece."""

from __future__ import annotations


def mass_ratio(diameter_mm: float, target_mm: float) -> float:
    """Give a piece's mass over its mass at target diameter, length and density as they are.

    Parameters
    ----------
    diameter_mm, target_mm : float
        Rope diameter and its target [mm].

    Returns
    -------
    float
        The square of their ratio.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> round(100 * (mass_ratio(14.14, 14.0) - 1), 2)
    2.01
    """
    return (diameter_mm / target_mm) ** 2


def mass_change_g(mass_g: float, target_mm: float, deviation_mm: float) -> float:
    """Give what a deviation of the diameter adds to a piece.

    Parameters
    ----------
    mass_g : float
        Mass at target diameter [g].
    target_mm, deviation_mm : float
        Target diameter and deviation from it [mm].

    Returns
    -------
    float
        Change of mass [g].

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> round(mass_change_g(6.8, 14.0, 0.14), 3)
    0.137
    """
    return mass_g * (mass_ratio(target_mm + deviation_mm, target_mm) - 1)
