"""The invented works that hand-written answers are of."""

from __future__ import annotations

from datetime import UTC, datetime

from lineview.core.figure import Period
from lineview.plant import Line, Machine, Plant, Product, Shift, Web
from lineview.report.answer import Scope

EARLY = Period(datetime(2026, 6, 9, 4, tzinfo=UTC), datetime(2026, 6, 9, 12, tzinfo=UTC))
WEEK = Period(datetime(2026, 6, 1, 22, tzinfo=UTC), datetime(2026, 6, 9, 12, tzinfo=UTC))
LOCK_OUT = (
    "Before reaching past a guard, clearing a jam or adjusting rollers and knives: stop and lock out by your site's "
    "procedure. Figures come from counters and may be late; no interlock may depend on them."
)


def plant(units: str = "metric", currency: str = "EUR") -> Plant:
    """Give the invented works."""
    film = {"cut_length_mm": 56, "width_mm": 70, "reel_outer_mm": 300, "reel_core_mm": 76}
    return Plant(
        shop="Gorse Lane Sweets",
        zone="Europe/Berlin",
        units=units,
        currency=currency,
        shifts=(Shift(id="early", start="06:00", end="14:00"), Shift(id="late", start="14:00", end="22:00")),
        lines=(Line(id="1", name="line 1"), Line(id="2", name="line 2")),
        machines=(
            Machine(id="sizer2", kind="sizer", name="sizer 2", line="1"),
            Machine(id="wrap1", kind="cut-and-wrap machine", name="cut-and-wrap 1", line="1"),
            Machine(id="wrap3", kind="cut-and-wrap machine", name="cut-and-wrap 3", line="1"),
            Machine(id="sizer4", kind="sizer", name="sizer 4", line="2"),
            Machine(id="wrap2", kind="cut-and-wrap machine", name="cut-and-wrap 2", line="2"),
        ),
        webs=(
            Web(id="clear", kind="film", name="clear film", **film),
            Web(id="wax", kind="wax paper", name="wax paper", **{**film, "cut_length_mm": 58}),
        ),
        products=(
            Product(
                id="honey",
                flavour="honey",
                mass_g=6.8,
                mass_tolerance_g=0.3,
                diameter_mm=15,
                diameter_tolerance_mm=0.3,
                cut_length_mm=27,
            ),
        ),
    )


def scope(machine: str, period: Period, label: str, line: str = "1") -> Scope:
    """Give a scope whose now is its period's end."""
    return Scope(line, machine, period, period.end, label)
