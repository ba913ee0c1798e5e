"""ISO 22400-2's key figures from times and counts, and how our states map to its time elements."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.core.language import mark, tr
from lineview.machine.stops import OUTSIDE_KINDS, with_kinds
from lineview.shift.account import ShiftAccount

#: Where each state's minutes go, by the edition and by the view of total productive maintenance. Change
#: the edition when the map changes: figures of two editions cannot be compared.
EDITION = "2026-11"
STATE_TO_TIME = {
    "running": (mark("APT, actual production time"), mark("production")),
    "slow": ("APT, actual production time", mark("production (reduced speed)")),
    "changeover": (mark("AUST, actual unit setup time"), mark("availability: set-up and adjustment")),
    "short stop": (mark("ADET, actual unit delay time"), mark("performance: idling and minor stoppage")),
    "stop": ("ADET, actual unit delay time", mark("availability: breakdown")),
    "unseen": (mark("in none: not known"), "in none: not known"),
    "break": (mark("outside PBT, planned busy time"), mark("outside planned time")),
}


#: What the other letters in the formulas stand for, in the standard's words and in the floor's (from memory).
LETTERS = {
    "PRI": mark("planned run time per item: of one piece at the set rate"),
    "PQ": mark("produced quantity: pieces made"),
    "GQ": mark("good quantity: good pieces"),
    "SQ": mark("scrap quantity: rejects"),
    "RQ": mark("rework quantity: pieces run again"),
    "AUPT": mark("actual unit processing time: set-up and production"),
    "AUBT": mark("actual unit busy time: processing and delay"),
}

#: The key figures that need rejects counted apart from good pieces.
NEED_REJECTS = ("quality_ratio", "oee_index", "nee_index", "scrap_ratio")


@dataclass(frozen=True)
class TimeElements:
    """What ISO 22400-2's figures are made of: PBT without what is unseen, APT, AUST, ADET, PRI, then PQ, GQ, SQ, RQ.

    `uncounted_min` is production time whose pieces no counter shows: the effectiveness leaves it out.
    """

    planned_busy_min: float
    production_min: float
    setup_min: float
    delay_min: float
    run_time_per_item_min: float
    produced: float
    good: float
    scrap: float = 0.0
    rework: float = 0.0
    uncounted_min: float = 0.0

    @property
    def counted_min(self) -> float:
        """Production time whose pieces were counted [min]."""
        return max(0.0, self.production_min - self.uncounted_min)

    @property
    def processing_min(self) -> float:
        """AUPT, actual unit processing time: set-up and production [min]."""
        return self.production_min + self.setup_min

    @property
    def busy_min(self) -> float:
        """AUBT, actual unit busy time: processing and delay [min]."""
        return self.processing_min + self.delay_min


def time_elements(account: ShiftAccount) -> TimeElements:
    """Give ISO 22400-2's times and counts of a shift's planned minutes that were seen."""
    pieces = sum(account.state_pieces[state] for state in account.state_pieces if state not in ("break", "unseen"))
    share = account.good_used / account.pieces_used if account.pieces_used > 0 else 0.0
    return TimeElements(
        account.planned_min - account.unseen_min,
        account.run_min,
        account.minutes["changeover"],
        account.minutes["stop"] + account.minutes["short stop"],
        1.0 / account.nominal_per_min,
        pieces,
        pieces * share,
        max(0.0, pieces - pieces * share),
        uncounted_min=account.uncounted_min,
    )


def why_unknown(account: ShiftAccount) -> dict[str, str]:
    """Why key figures of a shift whose counters leave them open are not known, by the figure's name."""
    reasons = {"rework_ratio": tr("nothing counts rework")}
    if not account.counts_rejects:
        reasons |= dict.fromkeys(NEED_REJECTS, tr("nothing counts rejects"))
    elif account.has_open_rejects:
        reasons |= dict.fromkeys(NEED_REJECTS, tr("good pieces are not known"))
    return reasons


@dataclass(frozen=True)
class KeyFigure:
    """One ratio with its formula; `value` is None where the divisor is 0."""

    name: str
    formula: str
    top: float
    bottom: float

    @property
    def figure(self) -> str:
        """The name of its row in the table of figures."""
        return f"{self.name}_percent" if self.name.startswith("tpm") else f"iso_{self.name}_percent"

    @property
    def value(self) -> float | None:
        """Top over bottom, never capped."""
        return self.top / self.bottom if self.bottom > 0 else None


def iso_key_figures(elements: TimeElements) -> tuple[KeyFigure, ...]:
    """Give ISO 22400-2's key figures, by its names.

    The formulas are those of the 2014 edition as OPC UA for Machine Tools repeats them.
    Source: iso-22400-2
    """
    e = elements
    ideal = e.run_time_per_item_min * e.produced
    ideal_good = e.run_time_per_item_min * e.good
    counted_share = e.counted_min / e.production_min if e.production_min > 0 else 1.0
    nee_bottom = e.planned_busy_min * e.counted_min / e.processing_min if e.counted_min * e.produced > 0 else 0.0
    return (
        KeyFigure("availability", "APT / PBT", e.production_min, e.planned_busy_min),
        KeyFigure("effectiveness", "PRI × PQ / APT", ideal, e.counted_min),
        KeyFigure("quality_ratio", "GQ / PQ", e.good, e.produced),
        KeyFigure(
            "oee_index",
            tr("Availability × Effectiveness × Quality ratio"),
            ideal_good,
            e.planned_busy_min * counted_share,
        ),
        KeyFigure("nee_index", tr("AUPT / PBT × Effectiveness × Quality ratio"), ideal_good, nee_bottom),
        KeyFigure("allocation_efficiency", "AUBT / PBT", e.busy_min, e.planned_busy_min),
        KeyFigure("utilization_efficiency", "APT / AUBT", e.production_min, e.busy_min),
        KeyFigure("technical_efficiency", "APT / (APT + ADET)", e.production_min, e.production_min + e.delay_min),
        KeyFigure("setup_ratio", "AUST / AUPT", e.setup_min, e.processing_min),
        KeyFigure("scrap_ratio", "SQ / PQ", e.scrap, e.produced),
        KeyFigure("rework_ratio", "RQ / PQ", e.rework, e.produced),
    )


def productive_maintenance_figures(elements: TimeElements, short_stop_min: float) -> tuple[KeyFigure, ...]:
    """Give availability and performance with short stops placed as total productive maintenance places them.

    Source: willmott-mccarthy
    """
    e = elements
    open_min = e.production_min + short_stop_min
    counted_share = e.counted_min / e.production_min if e.production_min > 0 else 1.0
    return (
        KeyFigure("tpm_availability", tr("(APT + short stops) / PBT"), open_min, e.planned_busy_min),
        KeyFigure(
            "tpm_performance",
            tr("PRI × PQ / (APT + short stops)"),
            e.run_time_per_item_min * e.produced,
            open_min * counted_share,
        ),
    )


@dataclass(frozen=True)
class Efficiency:
    """Good pieces over what the operating minutes would give at the nominal rate.

    `operating_min` leaves out breaks, changeovers and unseen minutes [min]; `outside_min` of it stood by a
    cause outside the machine [min]. Both shares are None where their divisor is 0, or `good` is not known.
    """

    good: float | None
    nominal_per_min: float
    operating_min: float
    outside_min: float

    @property
    def all_causes(self) -> float | None:
        """Efficiency with losses counted whatever their cause."""
        return _over(self.good, self.nominal_per_min * self.operating_min)

    @property
    def machine_only(self) -> float | None:
        """Efficiency without the losses whose cause lies outside the machine."""
        return _over(self.good, self.nominal_per_min * (self.operating_min - self.outside_min))


def _over(top: float | None, bottom: float) -> float | None:
    return top / bottom if top is not None and bottom > 1e-9 else None


def outside_minutes(timeline: pl.DataFrame) -> float:
    """The minutes of stops whose reason says that the cause lies outside the machine [min].

    Source: din-en-415-11
    """
    outside = with_kinds(timeline).filter(pl.col("kind").is_in(OUTSIDE_KINDS))
    return float((outside["end"] - outside["start"]).dt.total_microseconds().sum()) / 6e7
