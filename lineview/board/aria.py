"""Attributes for those who hear a page."""

from __future__ import annotations

from typing import Any


def aria(**said: str) -> Any:
    """Give aria attributes as keyword arguments for a Dash component.

    Parameters
    ----------
    **said : str
        Without their prefix.

    Returns
    -------
    dict
        Not typed further, since Dash's stubs name no attribute with a hyphen.

    Examples
    --------
    >>> aria(label="pages")
    {'aria-label': 'pages'}
    """
    return {f"aria-{name}": text for name, text in said.items()}
