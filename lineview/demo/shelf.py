"""The shelf of webs: what was there, what was mounted, what came in, what is on order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lineview.demo.reels import Mount
from lineview.plant import Plant, Web


@dataclass(frozen=True)
class Counted:
    """One line of a stock count."""

    at_s: float
    web: str
    whole_reels: int
    part_left_m: float | None
    part_outer_mm: float | None
    on_order: int
    expected_s: float | None


def outer_mm(web: Web, left_m: float) -> float:
    """Give a reel's outer diameter [mm] from what is left on it: L = pi (D2 - d2) / 4t turned round.

    Parameters
    ----------
    web : Web
        For its thickness and its reel's core; without a thickness the core's diameter comes back.
    left_m : float
        Length left on the reel [m].

    Returns
    -------
    float
        Outer diameter of the reel [mm].

    Examples
    --------
    >>> from lineview.demo.scenario import demo_plant
    >>> round(outer_mm(demo_plant().web("wax"), 1470.0))
    300
    """
    return math.sqrt(
        web.reel_core_mm**2 + 4.0 * left_m * 1000.0 * (web.thickness_um or 0.0) / 1000.0 / math.pi
    )


def count_stock(plant: Plant, mounts: Sequence[Mount], start_s: float, at_s: float) -> list[Counted]:
    """Count the shelf at a moment, from the reel changes before it and the deliveries of the scenario.

    Parameters
    ----------
    plant : Plant
        With its webs.
    mounts : sequence of Mount
        Every reel change of every machine.
    start_s, at_s : float
        The scenario's first moment and that of the count [s since 1970].

    Returns
    -------
    list of Counted
        A row a web, and one more for each further part reel.
    """
    rows = []
    for k, web in enumerate(plant.webs):
        used = sum(m.new for m in mounts if m.web == web.id and m.at_s <= at_s)
        first, every, reels = _deliveries(k, web)
        due = start_s + first * 86400.0
        came = 0
        while due <= at_s:
            came += reels
            due += every * 86400.0
        whole = (72 if web.kind == "wax paper" else 14) + came - used
        parts = _parts(web, mounts, at_s) or [None]
        for i, left in enumerate(parts):
            outer = round(outer_mm(web, left)) if left else None
            rows.append(Counted(at_s, web.id, whole if i == 0 else 0, left, outer,
                                reels if i == 0 else 0, due if i == 0 else None))  # fmt: skip
    return rows


def _deliveries(k: int, web: Web) -> tuple[float, float, int]:
    """Give days to the first delivery, days between deliveries, reels each."""
    if web.kind == "wax paper":
        return 3.2, 7.0, 144
    return 9.2 + k, 21.0, 36


def _parts(web: Web, mounts: Sequence[Mount], at_s: float) -> list[float | None]:
    waiting: list[tuple[str, float]] = []
    for mount in sorted(mounts, key=lambda m: m.at_s):
        if mount.at_s > at_s:
            break
        if mount.web == web.id and not mount.new:
            waiting.remove(next(w for w in waiting if w[0] == mount.machine))
        previous = mount.old_left_m
        if mount.old_web == web.id and previous is not None and previous > web.end_m + 1.0:
            waiting.append((mount.machine, previous))
    return [left for _, left in waiting]
