"""Two scopes side by side: what differs beyond chance, and the losses that make the difference."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr, tr_count
from lineview.machine.counters import Floats
from lineview.stats.dispersed_rates import dispersed_rates
from lineview.stats.multiple_tests import adjusted_p
from lineview.week.losses import CHANGEOVERS, MachineLosses, rare_reasons, with_rare_together
from lineview.week.trend import (
    BETTER,
    CONFIDENCE,
    CORRELATED_FROM,
    FALSE_DISCOVERIES,
    LEAST_SHIFTS,
    WORSE,
    Test,
    mix_columns,
    tests_of,
)

#: Pairs of shifts that are needed to compare shift by shift, and the share of the planned time they must cover.
LEAST_PAIRS, PAIRED_SHARE = 6, 0.8
RATE = mark("effective rate")
UPTIME, STOPS = mark("uptime"), mark("stops per running hour")
CHANGES = mark("changeover minutes an hour planned")
FILM, PAPER = mark("film per thousand good pieces"), mark("wax paper per thousand good pieces")
SPREAD = mark("spread of piece weight")
NO_DIFFERENCE = mark("no difference beyond chance")
#: Unit of each measure; whether more of it is better.
MEASURES: dict[str, tuple[str, bool]] = {
    RATE: ("pieces/min", True),
    UPTIME: ("%", True),
    STOPS: ("1/h", False),
    CHANGES: ("min/h", False),
    FILM: ("m", False),
    PAPER: ("m", False),
    SPREAD: ("g", False),
}


@dataclass(frozen=True)
class Side:
    """One of two scopes: its machines' losses with their mixes, and what was weighed.

    `label` is how a person names it; `weights` has the columns batch and off_g, the deviation of a weighing from its
    product's target [g].
    """

    label: str
    losses: Sequence[MachineLosses]
    mixes: Sequence[pl.DataFrame]
    weights: pl.DataFrame


@dataclass(frozen=True)
class Difference:
    """A measure or a cause on both sides; `value` is first less second as it stands, `same_mix` at one mix.

    `verdict` says whether the difference is beyond chance at the rate of false discoveries over all rows.
    """

    name: str
    unit: str
    first: float
    second: float
    same_mix: Estimate
    q: float | None = None
    verdict: str = ""

    @property
    def value(self) -> float:
        """First less second."""
        return self.first - self.second


@dataclass(frozen=True)
class Comparison:
    """Two scopes compared.

    `measures` are the key figures; `causes` are pieces a planned minute that each cause costs, first less second:
    the nominal rates' difference less their sum is the difference of the effective rates, exactly.
    """

    first: str
    second: str
    measures: tuple[Difference, ...]
    causes: tuple[Difference, ...]
    nominal: tuple[float, float]
    shifts: tuple[int, int]
    paired: int
    mix: tuple[str, ...] = ()
    why_none: str = ""

    def measure(self, name: str) -> Difference | None:
        """The measure of this name, or None."""
        return next((row for row in self.measures if row.name == name), None)


@dataclass(frozen=True)
class ShiftUnits:
    """Shifts of one side over its machines, in order: the key that pairs them, and sums [min, pieces, m]."""

    frame: pl.DataFrame
    losses: Mapping[str, Floats]


def compare(first: Side, second: Side, history: Sequence[Side] = ()) -> Comparison:
    """Compare two scopes, shifts as units; differences are first less second.

    `history` holds one side more where the two are periods of it: it shows how much shifts vary and go together. No
    intervals where either side has fewer than three shifts, or a shift is on both.
    Source: benjamini-hochberg-1995, restricted-likelihood, negative-binomial-rates
    """
    sides = [first, second, *history]
    rare = rare_reasons([part for side in sides for part in side.losses])
    sides = [replace(side, losses=[with_rare_together(part, rare) for part in side.losses]) for side in sides]
    units = [shift_units(side) for side in sides]
    a, b = units[0].frame, units[1].frame
    if not a.height or not b.height:
        empty = first.label if not a.height else second.label
        why = tr("no planned minute of {scope} was counted", scope=empty)
        return Comparison(first.label, second.label, (), (), (0.0, 0.0), (a.height, b.height), 0, why_none=why)
    shared = _shared_shifts(first, second)
    if shared:
        sides, units = sides[:2], units[:2]
    design = _design(sides, units)
    measures, causes = judged(_measures(sides, units, design), _causes(units, design))
    nominal = tuple(_sum(part, "possible") / _sum(part, "planned") for part in (a, b))
    has = {"needs": LEAST_SHIFTS, "first": a.height, "second": b.height}
    why = "" if _enough(units) else tr("too few shifts: needs {needs} a side, has {first} and {second}", **has)
    if shared:
        why = tr_count(
            "not judged: {count} shift is on both sides", "not judged: {count:,} shifts are on both sides", shared
        )
        no = Estimate.unknown(why)
        measures, causes = ([replace(r, same_mix=no, q=None, verdict="") for r in rows] for rows in (measures, causes))
    return Comparison(
        first.label,
        second.label,
        tuple(measures),
        tuple(sorted(causes, key=lambda row: -abs(row.value))),
        (nominal[0], nominal[1]),
        (a.height, b.height),
        design.pairs,
        tuple(design.mix_names),
        why,
    )


def shift_units(side: Side) -> ShiftUnits:
    """Sum a side's shifts over its machines."""
    parts = [part.shifts for part in side.losses]
    if not parts:
        return ShiftUnits(pl.DataFrame(schema={"planned": pl.Float64(), "date": pl.Date()}), {})
    shifts = pl.concat(parts)
    frame = (
        shifts.group_by("date", "shift", maintain_order=True)
        .agg(
            pl.col("start").min(),
            pl.col("end").max(),
            planned=pl.col("planned_min").sum(),
            possible=(pl.col("planned_min") * pl.col("nominal_per_min")).sum(),
            run=pl.col("run_min").sum(),
            seen=pl.col("seen_min").sum(),
            stops=pl.col("stops").sum(),
            good=pl.col("good").sum(),
            **{
                name: pl.when(pl.col(name).is_not_null().all()).then(pl.col(name).sum())
                for name in ("film_m", "paper_m")
            },
        )
        .sort("start")
        .with_row_index("unit")
    )
    keys = shifts.select("machine", "start", "date", "shift").join(
        frame.select("date", "shift", "unit"), on=["date", "shift"], maintain_order="left"
    )
    rows = pl.concat([part.losses for part in side.losses]).join(
        keys.select("machine", "start", "unit"), on=["machine", "start"], maintain_order="left"
    )
    summed = rows.group_by("cause", "unit", maintain_order=True).agg(pl.col("pieces").sum(), pl.col("clock_min").sum())
    by_cause = {}
    for (cause,), part in summed.sort("cause").group_by(["cause"], maintain_order=True):
        values = np.zeros(frame.height)
        values[part["unit"].to_numpy()] = part["pieces"].to_numpy()
        by_cause[str(cause)] = values
    changes = np.zeros(frame.height)
    of_changes = summed.filter(pl.col("cause") == CHANGEOVERS)
    changes[of_changes["unit"].to_numpy()] = of_changes["clock_min"].to_numpy()
    return ShiftUnits(frame.with_columns(changes=pl.Series(changes)), by_cause)


@dataclass(frozen=True)
class _Design:
    """How shifts of both sides are compared.

    `columns` and `contrast` belong to all shifts one after the other, of which `first` and `second` are the
    rows; with `pairs` they belong to differences of paired shifts, whose rows are `first` and `second`.
    """

    columns: Floats
    contrast: Floats
    first: np.ndarray
    second: np.ndarray
    pairs: int = 0
    mix_names: tuple[str, ...] = ()
    history: int | None = None


def _design(sides: Sequence[Side], units: Sequence[ShiftUnits]) -> _Design:
    a, b = units[0].frame, units[1].frame
    if len(sides) == 3:
        return _among(sides, units)
    pairs = paired_shifts(a, b)
    if pairs is not None:
        column = np.ones((len(pairs[0]), 1))
        return _Design(column, np.ones(1), pairs[0], pairs[1], len(pairs[0]))
    stacked = [part for side in sides for part in side.losses], [mix for side in sides for mix in side.mixes]
    n = a.height + b.height
    side = np.repeat([1.0, 0.0], [a.height, b.height])
    keys = (
        pl.concat([a.with_columns(side=pl.lit(0)), b.with_columns(side=pl.lit(1))]).drop("unit").with_row_index("unit")
    )
    sizes = len(sides[0].losses), len(sides[1].losses)
    mix, names = mix_columns(*stacked, keys, [0] * sizes[0] + [1] * sizes[1])
    x = np.column_stack([np.ones(n), side, mix])
    if np.linalg.matrix_rank(x) < x.shape[1] or n < x.shape[1] + 4:
        x, names = x[:, :2], []
    rows = np.arange(n)
    return _Design(x, np.eye(x.shape[1])[1], rows[: a.height], rows[a.height :], mix_names=tuple(names))


def _among(sides: Sequence[Side], units: Sequence[ShiftUnits]) -> _Design:
    """Both periods within one history of the same machines."""
    keys = units[2].frame
    places = {row: k for k, row in enumerate(keys.select("date", "shift").iter_rows())}
    at = [np.array([places[row] for row in part.frame.select("date", "shift").iter_rows()]) for part in units[:2]]
    n = keys.height
    x = np.ones((n, 1))
    for rows in at:
        column = np.zeros(n)
        column[rows] = 1.0
        x = np.column_stack([x, column])
    if x[:, 1:].sum() == n:  # nothing but the two: one column says it all
        x = x[:, [0, 1]]
    contrast = np.array([0.0, 1.0]) if x.shape[1] == 2 else np.array([0.0, 1.0, -1.0])
    mix, names = mix_columns(sides[2].losses, sides[2].mixes, keys, None)
    wide = np.column_stack([x, mix])
    if np.linalg.matrix_rank(wide) < wide.shape[1] or n < wide.shape[1] + 4:
        wide, names = x, []
    full = np.concatenate([contrast, np.zeros(wide.shape[1] - len(contrast))])
    return _Design(wide, full, at[0], at[1], mix_names=tuple(names), history=2)


def paired_shifts(a: pl.DataFrame, b: pl.DataFrame) -> tuple[np.ndarray, np.ndarray] | None:
    """Shifts of both sides that belong together: the same shift, or else the same day."""
    for key in (["date", "shift"], ["date"]):
        if a.select(key).is_duplicated().any() or b.select(key).is_duplicated().any():
            continue
        both = a.select(*key, first="unit", pa="planned").join(
            b.select(*key, second="unit", pb="planned"), on=key, maintain_order="left"
        )
        covered = min(_sum(both, "pa") / _sum(a, "planned"), _sum(both, "pb") / _sum(b, "planned"))
        if both.height >= LEAST_PAIRS and covered >= PAIRED_SHARE:
            both = both.sort("first")
            return both["first"].to_numpy().astype(np.int64), both["second"].to_numpy().astype(np.int64)
    return None


def _sum(frame: pl.DataFrame, name: str) -> float:
    return float(frame[name].sum())


def _test_ratios(
    design: _Design, units: Sequence[ShiftUnits], y: Sequence[Floats], weight: Sequence[Floats]
) -> list[Test]:
    """Test differences of ratios, each side's shifts in columns, weighing by what they are ratios of."""
    if design.pairs:
        change = y[0][design.first] - y[1][design.second]
        both = weight[0][design.first] + weight[1][design.second]
        return tests_of(change, design.columns, both, design.contrast)
    if design.history is not None:
        return tests_of(y[2], design.columns, weight[2], design.contrast)
    return tests_of(np.vstack(y[:2]), design.columns, np.concatenate(weight[:2]), design.contrast)


#: Numerator, denominator and factor of each measure that is a ratio of sums.
RATIOS = {
    RATE: ("good", "planned", 1.0),
    UPTIME: ("run", "seen", 100.0),
    STOPS: ("stops", "run", 60.0),
    CHANGES: ("changes", "planned", 60.0),
    FILM: ("film_m", "good", 1000.0),
    PAPER: ("paper_m", "good", 1000.0),
}


def _measures(sides: Sequence[Side], units: Sequence[ShiftUnits], design: _Design) -> list[Difference]:
    out = []
    for name, (top, below, factor) in RATIOS.items():
        frames = [part.frame for part in units]
        if any(frame[top].null_count() or not _sum(frame, below) > 0 for frame in frames[:2]):
            continue
        ratios = [factor * _sum(frame, top) / _sum(frame, below) for frame in frames[:2]]
        y, weight = [], []
        for frame in frames:
            size = np.maximum(frame[below].to_numpy().astype(np.float64), 1e-9)
            y.append((factor * frame[top].fill_null(0.0).to_numpy() / size)[:, None])
            weight.append(size)
        counted = _stops_tested(frames, design) if name == STOPS else None
        test = counted or (_test_ratios(design, units, y, weight)[0] if _enough(units) else None)
        out.append(_difference(name, MEASURES[name][0], ratios, test))
    spread = _spread(sides)
    return out if spread is None else [*out, spread]


def _stops_tested(frames: Sequence[pl.DataFrame], design: _Design) -> Test | None:
    """Test the rates of stops as counts: few shifts, taken as independent at one mix, show their own scatter."""
    few = frames[0].height + frames[1].height < CORRELATED_FROM
    if design.pairs or design.history is not None or design.mix_names or not few:
        return None
    ran = [frame.filter(pl.col("run") > 0) for frame in frames[:2]]
    if min(frame.height for frame in ran) < LEAST_SHIFTS or not all(_sum(frame, "stops") for frame in ran):
        return None
    fit = dispersed_rates([tuple(frame.select("stops", "run").cast(pl.Float64).to_numpy().T) for frame in ran])
    ratio, second = fit.ratio(0, 1), 60 * fit.rates[1]
    value, low, high = (second * (times - 1) for times in (ratio.ratio, ratio.low, ratio.high))
    return Test(Estimate(value, low, high, fit.df + 2, interval=CONFIDENCE), ratio.p)


def _shared_shifts(first: Side, second: Side) -> int:
    """How many shifts of a machine are on both sides, or share time with one of the other side."""
    columns = ("machine", "start", "end")
    a, b = (pl.concat([part.shifts.select(columns) for part in side.losses]) for side in (first, second))
    both = a.join(b, on="machine", suffix="_of_b", maintain_order="left")
    both = both.filter((pl.col("start") < pl.col("end_of_b")) & (pl.col("start_of_b") < pl.col("end")))
    return both.select("machine", "start").n_unique()


def _enough(units: Sequence[ShiftUnits]) -> bool:
    return min(part.frame.height for part in units[:2]) >= LEAST_SHIFTS


def _difference(name: str, unit: str, values: Sequence[float], test: Test | None) -> Difference:
    if test is None:
        return Difference(name, unit, values[0], values[1], Estimate.unknown(tr("too few shifts")))
    return Difference(name, unit, values[0], values[1], test.amount, test.p)


def _causes(units: Sequence[ShiftUnits], design: _Design) -> list[Difference]:
    """What each cause costs, in pieces a planned minute."""
    names = sorted({name for part in units[:2] for name in part.losses})
    planned = [part.frame["planned"].to_numpy() for part in units]
    rates = [
        np.column_stack([part.losses.get(name, np.zeros(part.frame.height)) for name in names]) / size[:, None]
        for part, size in zip(units, planned, strict=True)
    ]
    tests = _test_ratios(design, units, rates, planned) if _enough(units) else [None] * len(names)
    out = []
    for k, (name, test) in enumerate(zip(names, tests, strict=True)):
        means = [float(np.average(part[:, k], weights=size)) for part, size in zip(rates[:2], planned[:2], strict=True)]
        out.append(_difference(name, "pieces/min", means, test))
    return out


def _spread(sides: Sequence[Side]) -> Difference | None:
    """The standard deviation of pieces off their targets, its difference by leaving out batches in turn."""
    logs, errors, values, groups = [], [], [], []
    for side in sides[:2]:
        off = side.weights["off_g"].to_numpy()
        batch = side.weights["batch"].fill_null("").to_numpy()
        names = np.unique(batch)
        if len(names) < LEAST_SHIFTS or len(off) < 2 * len(names):
            return None
        spread = float(np.std(off, ddof=1))
        leave_out = np.array([np.log(np.std(off[batch != name], ddof=1)) for name in names])
        n = len(names)
        logs.append(np.log(spread))
        errors.append((n - 1) / n * float(np.sum((leave_out - leave_out.mean()) ** 2)))
        values.append(spread)
        groups.append(n)
    from scipy.special import stdtr, stdtrit

    df = min(groups) - 1
    ratio, se = logs[0] - logs[1], float(np.sqrt(sum(errors)))
    if not se > 0:
        return None
    half = float(stdtrit(df, 0.975)) * se
    # The interval of the ratio of the two, as a difference from the second.
    ends = [values[1] * (float(np.exp(end)) - 1) for end in (ratio - half, ratio, ratio + half)]
    amount = Estimate(ends[1], ends[0], ends[2], sum(groups), interval=CONFIDENCE)
    p = 2 * float(stdtr(df, -abs(ratio) / se))
    return Difference(SPREAD, MEASURES[SPREAD][0], values[0], values[1], amount, p)


def judged(measures: Sequence[Difference], causes: Sequence[Difference]) -> tuple[list[Difference], list[Difference]]:
    """Say which differences are beyond chance, the rate of false discoveries held over all rows together."""
    rows = [*measures, *causes]
    tested = [row for row in rows if row.q is not None]
    adjusted = dict(zip([row.name for row in tested], adjusted_p([row.q or 0.0 for row in tested]), strict=True))
    out = []
    for row in rows:
        q = adjusted.get(row.name)
        out.append(replace(row, q=q, verdict="" if q is None else _verdict(row, q)))
    return out[: len(measures)], out[len(measures) :]


def _verdict(row: Difference, q: float) -> str:
    if q > FALSE_DISCOVERIES:
        return NO_DIFFERENCE
    up_is_good = MEASURES.get(row.name, ("", False))[1]
    return BETTER if (row.same_mix.number > 0) == up_is_good else WORSE
