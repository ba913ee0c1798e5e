"""The demo's works: its plant description and the physics of its two lines. All invented."""

from __future__ import annotations

import tomllib
from importlib.resources import files

from lineview.demo.spec import STOP_CAUSES, Adjustment, LineSpec, StopCause
from lineview.plant import Plant, Product

LINE_1_PRODUCTS = ("vanilla", "caramel", "hazelnut", "peppermint", "liquorice")
LINE_2_PRODUCTS = ("raspberry", "lemon", "pear", "vanilla", "peppermint")


def demo_plant_text() -> str:
    """Give the demo's plant.toml as text."""
    return files("lineview.demo").joinpath("plant.toml").read_text(encoding="utf-8")


def demo_plant() -> Plant:
    """Give the demo's plant description.

    Examples
    --------
    >>> [m.id for m in demo_plant().machines]
    ['sizer1', 'wrap1', 'sizer2', 'wrap2']
    """
    return Plant.model_validate(tomllib.loads(demo_plant_text()))


def line_specs(plant: Plant) -> tuple[LineSpec, LineSpec]:
    """Give the two lines: the first sizer wears and is adjusted, the second is steady but once touched.

    The first line's ninth wax-paper reel holds 5.5 % less than its label says. On the second line the
    knife jams more and more often.
    """
    growing = tuple(
        StopCause(c.reason, c.per_hour, c.median_s, c.sigma, 0.015 if c.reason == "jam at knife" else 0.0)
        for c in STOP_CAUSES
    )
    later = tuple(Adjustment(75.0 + 45.0 * i, -0.28 if i == 0 else -0.25) for i in range(40))
    first = LineSpec(
        "line1", "sizer1", "wrap1", _products(plant, LINE_1_PRODUCTS), plant.webs,
        wear_mm_per_h=0.0055, level_mm=-0.04, mislabelled=(("wax paper", 9, -0.055),),
        adjustments=(Adjustment(24.0, -0.13), *later),
    )  # fmt: skip
    second = LineSpec(
        "line2", "sizer2", "wrap2", _products(plant, LINE_2_PRODUCTS), plant.webs,
        wear_mm_per_h=0.0, level_mm=0.01, temperature_c=36.0, stop_causes=growing,
        adjustments=(Adjustment(31.0, 0.16, recorded=False, what="turned roller pair 4, not written down"),),
    )  # fmt: skip
    return first, second


def _products(plant: Plant, ids: tuple[str, ...]) -> tuple[Product, ...]:
    return tuple(p for p in plant.products if p.id in ids)
