"""Metres used for each metre of geometry, pooled over machines: what waste does to an order."""

from __future__ import annotations

from collections.abc import Sequence

from lineview.measures.wrap_account import WrapAccount
from lineview.measures.wrap_pieces import WEBS


def waste_ratios(accounts: Sequence[WrapAccount]) -> dict[str, float]:
    """Give used over geometry for each kind of web that a feed counter measured.

    Parameters
    ----------
    accounts : sequence of WrapAccount
        One a machine.

    Returns
    -------
    dict
        From kind to ratio; sums of metres over sums of metres, at least 1. A kind without a feed counter is
        not in it.
    """
    out: dict[str, float] = {}
    for kind in WEBS:
        uses = [use for account in accounts if (use := account.use(kind)) is not None and use.measured]
        geometry = sum(use.geometry_m for use in uses)
        if geometry > 0:
            out[kind] = max(sum(use.metres for use in uses) / geometry, 1.0)
    return out
