"""Figures of whose stop it was: the machine's own, blocked, starved; and of what its states alone tell."""

from __future__ import annotations

from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.shift_measures import ShiftMeasures

_KINDS = (
    ("own_stop_min", "stops of its own", "own", "stops that nothing puts down to another cause"),
    ("blocked_min", "blocked", "blocked", "stops in which the next machine could not take product"),
    ("starved_min", "starved", "starved", "stops in which the one before could not send product"),
    ("outside_min", "other causes outside", "outside", "stops by a cause outside the machine"),
    ("cleaning_min", "cleaning", "cleaning", "stops in which its state or a reason says cleaning"),
    (
        "maintenance_min",
        "maintenance",
        "maintenance",
        "stops in which its state or a reason says maintenance",
    ),
)
_UNTOLD = "neither a state channel nor a reason tells whose stops they were"


def kind_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """Give the minutes of stops and short stops by whose they were.

    Parameters
    ----------
    measured : ShiftMeasures
        Of the period.
    period : Period
        As asked.
    n : int
        Readings behind it.

    Returns
    -------
    tuple of Figure
        Adding up to the minutes of stops and short stops (cleaning and maintenance only where there was
        any); then, where the machine tells its states, the minutes that they alone tell.
    """
    account = measured.so_far
    stood = account.minutes["stop"] + account.minutes["short stop"]
    stops = measured.tape.filter(measured.tape["state"].is_in(["stop", "short stop"]))
    untold = stood > 0 and not measured.counts.spells.any and stops["reason"].null_count() == stops.height
    figures = []
    for name, label, kind, said in _KINDS:
        if untold:
            figures.append(cannot_tell(name, label, "min", _UNTOLD, period))
            continue
        minutes = account.stop_minutes(kind)
        if kind in ("cleaning", "maintenance") and minutes <= 0:
            continue
        working = f"{said}, of {stood:,.1f} min of stops"
        sources = ("isa-tr88", "derived-tape")
        figures.append(
            Figure(name, label, minutes, "min", n=n, period=period, sources=sources, working=working)
        )
    if not measured.counts.spells.any:
        return tuple(figures)
    told = account.coded_run_min + account.coded_stand_min
    working = f"{account.coded_run_min:,.1f} running + {account.coded_stand_min:,.1f} standing"
    label = "told by the machine's states alone"
    coded = Figure(
        "coded_min", label, told, "min", n=n, period=period, sources=("derived-tape",), working=working
    )
    return (*figures, coded)
