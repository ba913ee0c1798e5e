"""Where the files that ship with the package are: beside it in a checkout, inside it in a wheel."""

from __future__ import annotations

from gettext import GNUTranslations
from io import BytesIO
from pathlib import Path
from typing import Literal


def shipped(what: Literal["data", "assets"]) -> Path:
    """Folder of the shipped data or assets.

    Examples
    --------
    >>> shipped("data").name
    'data'
    """
    package = Path(__file__).resolve().parent.parent
    inside = package / "_shipped" / what
    return inside if inside.is_dir() else package.parent / what


def catalogues() -> tuple[str, ...]:
    """Codes of the languages whose messages ship with the package."""
    return tuple(sorted(path.stem for path in (shipped("data") / "languages").glob("*.mo")))


def catalogue(code: str) -> GNUTranslations:
    """The messages of one of `catalogues()`."""
    return GNUTranslations(BytesIO((shipped("data") / "languages" / f"{code}.mo").read_bytes()))
