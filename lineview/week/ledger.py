"""The ledger of losses: each lost minute, piece, gram and metre in one row, and the rows add up exactly."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.machine.counters import Floats
from lineview.week.losses import BARE, BLANKS, BREAKS, CHANGEOVERS, REJECTS, SLOW, UNEXPLAINED, UNSEEN, MachineLosses
from lineview.week.material import CandyLosses
from lineview.wrap.use import WebUse

#: What a row is counted in: minutes at the nominal rate, pieces, kilograms not made, kilograms of candy used
#: and not sold, metres of film and of wax paper, money in the plant's currency.
UNITS = ("minutes", "pieces", "kg", "candy_kg", "film_m", "paper_m", "money")
#: Stands beside the rows, in none of their sums: time outside every shift is not planned, so nothing is lost in it.
OUTSIDE = mark("made outside every shift, in no sum")
FREIGHT = mark("rush freight and shortage")
#: Rows that are no cause to work on, and so are never named as the largest.
NO_CAUSE = (BREAKS, UNEXPLAINED, FREIGHT)
NO_WORTH = mark("no worth_per_kg_sold in plant.toml")
_WEB = {"film": "film_m", "wax paper": "paper_m"}
#: What a cause of the web's account is called here.
_WEB_CAUSES = {
    "rejects": REJECTS,
    "blank wraps": BLANKS,
    "changeovers": CHANGEOVERS,
    "restarts": mark("web: restarts"),
    "reel ends": mark("web: reel ends and starts"),
    "splices": mark("web: splices"),
    "unexplained": UNEXPLAINED,
}


@dataclass(frozen=True)
class LedgerRow:
    """One cause. `amounts` holds what it costs, by unit; a unit that it cannot cost is not in it.

    An amount that is not known says why. `clock_min` are the minutes by the clock [min], `events` how often.
    """

    cause: str
    amounts: Mapping[str, Estimate]
    clock_min: float
    events: int

    def value(self, unit: str) -> float | None:
        """The amount in a unit; None where it is not known or does not apply."""
        amount = self.amounts.get(unit)
        return None if amount is None else amount.value

    def least(self, unit: str) -> float:
        """The amount in a unit as far as it is known; 0 where it does not apply."""
        amount = self.amounts.get(unit)
        return 0.0 if amount is None else amount.least


@dataclass(frozen=True)
class Balance:
    """What could have been and what was, in one unit; the rows add up to the difference.

    `was_low` and `was_high` are what the readings allow; None where only the rows say how sure they are.
    """

    possible: float
    was: float
    was_low: float | None = None
    was_high: float | None = None

    @property
    def loss(self) -> float:
        """The difference."""
        return self.possible - self.was


@dataclass(frozen=True)
class Ledger:
    """The rows by what they cost, and by unit what they add up to.

    `planned_min` are planned minutes [min], `worth` says whether the plant says what a kilogram sold is
    worth; `money_open` whether some money is not known; `notes` what the ledger could not take in.
    """

    rows: tuple[LedgerRow, ...]
    balances: Mapping[str, Balance]
    planned_min: float
    good: Estimate
    shifts: int
    worth: bool
    notes: tuple[str, ...] = ()

    @property
    def money_known(self) -> bool:
        """Whether every row's money is known."""
        return all(row.amounts["money"].value is not None for row in self.rows if "money" in row.amounts)

    @property
    def ranked_by(self) -> str:
        """The unit that the rows are ranked by."""
        return "money" if self.worth else "minutes"

    @property
    def largest(self) -> LedgerRow | None:
        """The row that costs most, among those that somebody can work on."""
        able = [row for row in self.rows if row.cause not in NO_CAUSE and row.least(self.ranked_by) > 0]
        return able[0] if able else None

    def total(self, unit: str) -> Estimate:
        """What all rows cost together; without a value where one of them is not known.

        What was not read may have been any of the causes but not all of them: of pieces and minutes the ends
        are those of the good pieces.
        """
        total = Estimate.sum([row.amounts[unit] for row in self.rows if unit in row.amounts])
        balance = self.balances.get(unit)
        if total.value is None or balance is None or balance.was_low is None:
            return total
        low = None if balance.was_high is None else balance.possible - balance.was_high
        return Estimate(total.value, low, balance.possible - balance.was_low, total.n)

    def known(self, unit: str) -> float:
        """The sum of the rows whose amount in a unit is known."""
        return math.fsum(row.value(unit) or 0.0 for row in self.rows)

    def unknown(self, unit: str) -> list[str]:
        """The rows whose amount in a unit is not known."""
        return [row.cause for row in self.rows if unit in row.amounts and row.amounts[unit].value is None]


@dataclass(frozen=True)
class MachinePeriod:
    """What one machine's period comes to.

    `losses`: shift by shift; `target_g`: target mass of a piece in each of its shifts [g]; nan where it is not
    known; `good`: good pieces of the whole period, outside shifts too; `outside`: those of them that were made
    outside every shift; `uses`: what its webs were used for.
    """

    losses: MachineLosses
    target_g: Floats
    good: Estimate
    outside: Estimate
    uses: tuple[WebUse, ...] = ()


@dataclass
class _Sums:
    """Amounts by cause and unit, added up as they come."""

    amounts: dict[str, dict[str, Estimate]] = field(default_factory=dict)
    clock_min: dict[str, float] = field(default_factory=dict)
    events: dict[str, int] = field(default_factory=dict)

    def add(self, cause: str, unit: str, amount: Estimate) -> None:
        """Add to a cause's amount."""
        row = self.amounts.setdefault(cause, {})
        row[unit] = row[unit] + amount if unit in row else amount


def make_ledger(machines: Sequence[MachinePeriod], candy: Sequence[CandyLosses], worth_per_kg: float | None) -> Ledger:
    """Draw up the ledger of machines, and of the candy of their lines, over one period.

    `worth_per_kg` is what a kilogram sold is worth beyond candy and web. The rows sum to the balance's difference in
    minutes, pieces, kilograms and metres.

    Source: derived-ledger
    """
    sums = _Sums()
    for machine in machines:
        _add_time(sums, machine, worth_per_kg)
        _add_web(sums, machine.uses)
    for line in candy:
        _add_candy(sums, line)
    sums.add(FREIGHT, "money", Estimate.unknown(tr("nothing records rush orders; see the order's risk")))
    rows = [
        LedgerRow(cause, amounts, sums.clock_min.get(cause, 0.0), sums.events.get(cause, 0))
        for cause, amounts in sums.amounts.items()
    ]
    planned = sum(float(m.losses.shifts["planned_min"].sum()) for m in machines)
    good = Estimate.sum([machine.good for machine in machines])
    worth = worth_per_kg is not None
    shifts = {row for m in machines for row in m.losses.shifts.select("date", "shift").rows()}
    return Ledger(_rank(rows, worth), _balances(machines, candy), planned, good, len(shifts), worth)


def _add_time(sums: _Sums, machine: MachinePeriod, worth: float | None) -> None:
    """Add what a machine lost in its shifts."""
    shifts, losses = machine.losses.shifts, machine.losses.losses
    rate = float(shifts["nominal_per_min"][0])
    with_mass = losses.join(
        shifts.select("start", target=pl.Series(machine.target_g)), on="start", maintain_order="left"
    )
    by_cause = with_mass.group_by("cause", maintain_order=True).agg(
        pl.col("clock_min", "pieces", "events").sum(), kg=(pl.col("pieces") * pl.col("target")).sum() / 1000
    )
    open_pieces, open_rejects = float(shifts["open_pieces"].sum()), float(shifts["open_rejects"].sum())
    doubt = (shifts["good"] - shifts["good_low"]).sum(), (shifts["good_high"] - shifts["good"]).sum()
    mean_g = _mean_target(machine)
    for cause, clock, pieces, events, kg in by_cause.iter_rows():
        below, above = _doubt(cause, open_pieces, (float(doubt[0]), float(doubt[1])))
        kind = mark("bounds: minutes without readings")
        if cause == REJECTS:
            below, kind = open_rejects, mark("bounds: rejects without readings")
        loss = _between(pieces, below, above, events, kind)
        mass = _between(kg, below * (mean_g or 0.0) / 1000, above * (mean_g or 0.0) / 1000, events, kind)
        _add_loss(sums, cause, loss, rate, None if mean_g is None else mass, worth)
        sums.clock_min[cause] = sums.clock_min.get(cause, 0.0) + clock
        sums.events[cause] = sums.events.get(cause, 0) + events


def _between(value: float, below: float, above: float, n: int, kind: str) -> Estimate:
    return Estimate(value, value - below, value + above, n, interval=kind if below + above > 0 else "")


def _doubt(cause: str, open_pieces: float, good: tuple[float, float]) -> tuple[float, float]:
    """How many pieces fewer or more a cause may have cost, for what was not read."""
    if cause == UNSEEN:
        return good[1], good[0]
    standing = cause in (CHANGEOVERS, SLOW, *BARE.values()) or cause.startswith("stops: ")
    return 0.0, open_pieces if standing else 0.0


def _mean_target(machine: MachinePeriod) -> float | None:
    if np.isnan(machine.target_g).any():
        return None
    planned = machine.losses.shifts["planned_min"].to_numpy()
    return float(np.average(machine.target_g, weights=planned))


def _add_loss(sums: _Sums, cause: str, loss: Estimate, rate: float, kg: Estimate | None, worth: float | None) -> None:
    """Add pieces that were not made: in minutes, pieces, kilograms and money."""
    sums.add(cause, "minutes", loss.scaled(1 / rate))
    sums.add(cause, "pieces", loss)
    mass = kg or Estimate.unknown(tr("which product was on is not known, and products differ in mass"))
    sums.add(cause, "kg", mass)
    sums.add(cause, "money", Estimate.unknown(tr(NO_WORTH)) if worth is None else mass.scaled(worth))


def _add_web(sums: _Sums, uses: Sequence[WebUse]) -> None:
    """Add the film and paper that were used beyond what good pieces need, by cause."""
    for use in uses:
        per_m = use.factors.get("money")
        for cause in use.causes:
            name = _WEB_CAUSES.get(cause.name)
            if name is None:
                continue
            metres = Estimate(cause.metres, cause.low, cause.high, interval=mark("bounds"))
            sums.add(name, _WEB[use.kind], metres)
            why = use.why_none.get("money", tr("the web's price is not known"))
            sums.add(name, "money", Estimate.unknown(why) if per_m is None else metres.scaled(per_m))


def _add_candy(sums: _Sums, line: CandyLosses) -> None:
    """Add the candy that a line used and did not sell, by cause."""
    price = line.price_per_kg
    for cause, kg in line.causes.items():
        sums.add(cause, "candy_kg", kg)
        money = Estimate.unknown(price.why_none) if price.value is None else kg.scaled(price.value)
        sums.add(cause, "money", money)


def _rank(rows: Iterable[LedgerRow], worth: bool) -> tuple[LedgerRow, ...]:
    """The dearest first; without money for lost time by minutes, then by what the rest costs."""

    def key(row: LedgerRow) -> tuple[bool, float, float, float]:
        last = row.cause in (UNEXPLAINED, FREIGHT)
        time = 0.0 if worth else -row.least("minutes")
        return last, time, -row.least("money"), -row.least("candy_kg")

    return tuple(sorted(rows, key=key))


def _balances(machines: Sequence[MachinePeriod], candy: Sequence[CandyLosses]) -> dict[str, Balance]:
    """By unit, what planned time at the nominal rate and target mass would have given, and what was made."""
    out: dict[str, Balance] = {}
    pieces, minutes, mass = [], [], []
    for machine in machines:
        shifts = machine.losses.shifts
        rate, planned = float(shifts["nominal_per_min"][0]), shifts["planned_min"].to_numpy()
        good_by_shift = shifts["good"].to_numpy()
        good = float(good_by_shift.sum())
        pieces.append((float(planned.sum()) * rate, good))
        minutes.append((float(planned.sum()), good / rate))
        g = machine.target_g
        if not np.isnan(g).any():
            mass.append((float(planned @ g) * rate / 1000, float(good_by_shift @ g) / 1000))
    piece_balance, time = _sum_balance(pieces), _sum_balance(minutes)
    out["minutes"], out["pieces"] = time, Balance(piece_balance.possible, piece_balance.was, *_ends_in_shifts(machines))
    if len(mass) == len(machines):
        out["kg"] = _sum_balance(mass)
    if candy:
        out["candy_kg"] = _sum_balance([(line.used_kg, line.sold_kg) for line in candy])
    for kind, unit in _WEB.items():
        uses = [use for m in machines for use in m.uses if use.kind == kind]
        if uses:
            out[unit] = _sum_balance([(use.metres, use.geometry_m) for use in uses])
    return out


def _ends_in_shifts(machines: Sequence[MachinePeriod]) -> tuple[float | None, float | None]:
    """The least and most good pieces in shifts: as of the whole period less those outside, or shift by shift."""
    inside = Estimate.sum([machine.good - machine.outside for machine in machines])
    shifts = [machine.losses.shifts.select(pl.col("good_low", "good_high").sum()).row(0) for machine in machines]
    least, most = (math.fsum(ends) for ends in zip(*shifts, strict=True))
    high = min(most, math.inf if inside.high is None else inside.high)
    return max(least, inside.low or 0.0), high if math.isfinite(high) else None


def _sum_balance(pairs: Sequence[tuple[float, float]]) -> Balance:
    return Balance(math.fsum(a for a, _ in pairs), math.fsum(b for _, b in pairs))
