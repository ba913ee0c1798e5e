"""Moments as a person types them on a page, in the plant's zone."""

from __future__ import annotations

from datetime import UTC, datetime

from lineview.errors import AskError, Fault
from lineview.plant import Plant


def typed_moment(text: str | None, plant: Plant, where: str) -> datetime:
    """Read a typed moment.

    Parameters
    ----------
    text : str or None
        "2026-06-09 14:05", or with a "T" between.
    plant : Plant
        Its zone; of an hour that the autumn repeats, the first is meant.
    where : str
        Name of the field, for the message.

    Returns
    -------
    datetime.datetime
        In UTC.

    Raises
    ------
    AskError
        Where it is none, or falls in the hour that the spring leaves out.

    Examples
    --------
    >>> typed_moment("2026-06-09 14:05", Plant(shop="Invented Sweets", zone="Europe/Berlin"), "when").hour
    12
    """
    try:
        wall = datetime.fromisoformat((text or "").strip())
    except ValueError:
        raise AskError(
            Fault(f"'{text or ''}' is no moment", where, "for instance 2026-06-09 14:05")
        ) from None
    at = (wall if wall.tzinfo else wall.replace(tzinfo=plant.tz)).astimezone(UTC)
    if wall.tzinfo is None and at.astimezone(plant.tz).replace(tzinfo=None) != wall:
        raise AskError(
            Fault(f"'{text}' does not exist", where, "a time that the spring change leaves in place")
        )
    return at
