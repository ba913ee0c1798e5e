"""Fixed waste of a web: metres lost at each restart, reel, splice and changeover, assumed until learned."""

from __future__ import annotations

from dataclasses import dataclass

from lineview.plant import Web


@dataclass(frozen=True)
class Allowance:
    """Metres lost each time [m] with a 95 % interval where learned; else the plant file's own figure."""

    metres: float
    low: float
    high: float
    learned: bool
    n: int = 0


@dataclass(frozen=True)
class Waste:
    """Allowances of one web. `restart` and `changeover` are None until learned: nobody wrote them down.

    `reel_start` and `splice` pass through the machine and its feed counter; `reel_end` stays on the core.
    """

    restart: Allowance | None
    reel_start: Allowance
    reel_end: Allowance
    splice: Allowance
    changeover: Allowance | None
    proportional: Allowance


def assumed_waste(web: Web) -> Waste:
    """Give the allowances that stand in plant.toml, marked as assumptions.

    Parameters
    ----------
    web : Web
        Of the plant description.

    Returns
    -------
    Waste
        None of it learned.
    """

    def stated(metres: float) -> Allowance:
        return Allowance(metres, metres, metres, learned=False)

    return Waste(
        restart=None,
        reel_start=stated(web.start_m),
        reel_end=stated(web.end_m),
        splice=stated(web.splice_m),
        changeover=None,
        proportional=stated(web.running_waste_percent / 100.0),
    )
