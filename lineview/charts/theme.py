"""The colours of the look, by day and by night; assets/style.css carries the same values."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Tokens:
    """One set of colours as "#RRGGBB".

    `call` means "needs a person" and nothing else; `note` is what people did, and links. Everything normal
    is ink and greys. `band` lies behind the data: tolerance, nominal band, targets.
    """

    paper: str
    card: str
    ink: str
    soft: str
    hairline: str
    band: str
    grey: str
    call: str
    note: str


DAY = Tokens(
    paper="#FAF8F3",
    card="#FFFFFF",
    ink="#1C2B33",
    soft="#5A6972",
    hairline="#DDD8CC",
    band="#ECE8DF",
    grey="#8A949A",
    call="#B84600",
    note="#0B66A8",
)

NIGHT = Tokens(
    paper="#11171B",
    card="#182026",
    ink="#EDE8DC",
    soft="#A3AFB6",
    hairline="#2E3A41",
    band="#222C33",
    grey="#7D8A92",
    call="#FF9A5C",
    note="#6CB8EE",
)


def see_through(colour: str, share: float) -> str:
    """Give a colour that lets what lies behind it through.

    Parameters
    ----------
    colour : str
        "#RRGGBB".
    share : float
        How much of it is left, 0 to 1.

    Returns
    -------
    str
        For plotly.

    Examples
    --------
    >>> see_through("#FF9A5C", 0.25)
    'rgba(255,154,92,0.25)'
    """
    red, green, blue = channels(colour)
    return f"rgba({red},{green},{blue},{share:g})"


def channels(colour: str) -> tuple[int, int, int]:
    """Give red, green and blue of a colour, 0 to 255.

    Parameters
    ----------
    colour : str
        "#RRGGBB".

    Returns
    -------
    tuple of int
        Red, green, blue.
    """
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
