"""Better, worse or only different: each cause's history shift by shift, against what chance does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.machine.counters import Floats, Ints
from lineview.machine.speed import Bools
from lineview.stats.change_points import find_steps
from lineview.stats.correlated_regression import COARSE, CorrelatedFit, Noise, correlated_regression
from lineview.stats.least_squares import least_squares_fits
from lineview.stats.multiple_tests import adjusted_p
from lineview.week.ledger import NO_CAUSE
from lineview.week.losses import REJECTS, MachineLosses

#: Weeks over which level and slope are shown.
WEEKS = (4, 8, 13)
#: Share of what is called better or worse that may be chance, over all rows together.
FALSE_DISCOVERIES = 0.05
#: Shifts that are needed on either side to say anything, and from which their correlation can be estimated.
LEAST_SHIFTS, CORRELATED_FROM = 3, 20
#: A shift of less than this share of a usual one's planned minutes says nothing of its rate.
WHOLE_SHIFT = 0.25
#: Columns of the mix: shifts needed for each, and the share a product needs to have one.
SHIFTS_PER_PRODUCT, LEAST_SHARE = 10, 0.02
#: Rejects of a shift that are not read outweigh those that are from so large a share of its pieces on.
OPEN_REJECTS = 0.05
WHITE = (Noise(0.0, 0.0),)
#: Independent shifts are as likely beforehand as all ways together in which they may go together.
WHITE_ODDS = float(len(COARSE) - 1)


@dataclass(frozen=True)
class History:
    """Shifts in order of time, over all machines asked about.

    `start_us`: when each began [µs since 1970, UTC]; `dates`, `names`: its day and its id; `planned_min`: of all
    machines; `losses`: by cause, minutes lost at the nominal rate an hour planned [min/h]; `mix`: shares of the time by
    product, and by machine where it changes, less their means, which `mix_names` names.
    """

    start_us: Ints
    dates: Sequence[date]
    names: Sequence[str]
    planned_min: Floats
    losses: Mapping[str, Floats]
    mix: Floats
    mix_names: Sequence[str]

    @property
    def n(self) -> int:
        """Number of shifts."""
        return len(self.start_us)

    def between(self, first: datetime, end: datetime) -> Bools:
        """Which shifts began from one moment up to another."""
        at = self.start_us.astype("datetime64[us]")
        a, b = (np.datetime64(m.replace(tzinfo=None), "us") for m in (first, end))
        return np.asarray((at >= a) & (at < b))


def history_of(losses: Sequence[MachineLosses], mixes: Sequence[pl.DataFrame]) -> History:
    """Join the shifts of several machines, and their MIX, to one history.

    Without the shifts that were planned or read for a small part only.
    """
    shifts = pl.concat([part.shifts for part in losses])
    shifts = shifts.filter(pl.col("seen_min") >= WHOLE_SHIFT * pl.col("planned_min").median())
    keys = shifts.group_by("date", "shift", maintain_order=True).agg(
        pl.col("start").min().alias("began"), planned=pl.col("planned_min").sum()
    )
    keys = keys.sort("began").with_row_index("unit")
    of_unit = shifts.join(keys, on=["date", "shift"], maintain_order="left").select(
        "machine", "start", "unit", "nominal_per_min"
    )
    minutes = (
        pl.concat([part.losses for part in losses])
        .join(of_unit, on=["machine", "start"], maintain_order="left")
        .with_columns(minutes=pl.col("pieces") / pl.col("nominal_per_min"))
        .group_by("cause", "unit", maintain_order=True)
        .agg(pl.col("minutes").sum())
    )
    planned = keys["planned"].to_numpy()
    by_cause = {}
    for (cause,), rows in minutes.sort("cause").group_by(["cause"], maintain_order=True):
        values = np.zeros(keys.height)
        values[rows["unit"].to_numpy()] = rows["minutes"].to_numpy()
        by_cause[str(cause)] = 60 * values / planned
    if (shifts["open_rejects"] > OPEN_REJECTS * (shifts["good"] + shifts["open_rejects"])).any():
        by_cause.pop(REJECTS, None)  # pieces of which nobody read whether they were good are no worse shift
    mix, names = mix_columns(losses, mixes, keys, None)
    return History(
        keys["began"].dt.epoch("us").to_numpy(),
        keys["date"].to_list(),
        keys["shift"].to_list(),
        planned,
        by_cause,
        mix,
        names,
    )


def mix_columns(
    losses: Sequence[MachineLosses], mixes: Sequence[pl.DataFrame], keys: pl.DataFrame, side: Sequence[int] | None
) -> tuple[Floats, list[str]]:
    """Shares of each shift's planned time by product and by machine, as columns that differ.

    `keys` has date, shift and unit; with `side`, the place of each machine's losses, it has a column side too.
    """
    return telling(*mix_shares(losses, mixes, keys, side))


def mix_shares(
    losses: Sequence[MachineLosses], mixes: Sequence[pl.DataFrame], keys: pl.DataFrame, side: Sequence[int] | None
) -> tuple[Floats, list[str]]:
    """All shares of `mix_columns`, those too that say nothing."""
    parts = []
    for k, (machine, mix) in enumerate(zip(losses, mixes, strict=True)):
        shifts = machine.shifts.with_row_index("place").with_columns(pl.col("place").cast(pl.Int64))
        cells = shifts.select("place", "machine", "date", "shift", "planned_min", side=pl.lit(side[k] if side else 0))
        parts.append(
            cells.join(mix, on="place", how="left", maintain_order="left").with_columns(pl.col("product").fill_null(""))
        )
    rows = pl.concat(parts).with_columns(minutes=pl.col("planned_min") * pl.col("share").fill_null(1.0))
    on = ["date", "shift", "side"] if side else ["date", "shift"]
    rows = rows.join(keys.select(*on, "unit"), on=on, maintain_order="left")
    columns, names = [], []
    # Where two sides are machines, their machines are what is compared and no part of the mix.
    for key in ("product",) if side else ("product", "machine"):
        levels = rows[key].unique(maintain_order=True).to_list()
        sums = rows.group_by("unit", key, maintain_order=True).agg(pl.col("minutes").sum())
        table = np.zeros((keys.height, len(levels)))
        place = {name: k for k, name in enumerate(levels)}
        # without a shift there is nothing to say of what type its columns are
        column = sums[key].cast(pl.String).replace_strict(place, return_dtype=pl.Int64).to_numpy().astype(np.int64)
        table[sums["unit"].cast(pl.Int64).to_numpy().astype(np.int64), column] = sums["minutes"].to_numpy()
        columns.append(table / np.maximum(table.sum(axis=1, keepdims=True), 1e-9))
        names += [f"{key} {name}" for name in levels]
    return np.column_stack(columns), names


def telling(share: Floats, names: Sequence[str]) -> tuple[Floats, list[str]]:
    """Keep the shares that vary most, as many as the shifts can bear, and none that the others give."""
    n = len(share)
    if not n:
        return share, []
    spread = share.std(axis=0)
    able = [k for k in np.argsort(-spread) if spread[k] > 1e-3 and share[:, k].mean() >= LEAST_SHARE]
    columns: list[int] = []
    centred = share - share.mean(axis=0)
    for k in able:
        if len(columns) >= n // SHIFTS_PER_PRODUCT:
            break
        candidate = centred[:, [*columns, k]]
        if np.linalg.matrix_rank(candidate, tol=1e-6 * np.sqrt(n)) == len(columns) + 1:
            columns.append(int(k))
    return centred[:, columns], [names[k] for k in columns]


@dataclass(frozen=True)
class Step:
    """A lasting change of a cause: when, by how much [min/h planned], and the notes of people around that day."""

    at: datetime
    change: Estimate
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Window:
    """Mean level over some weeks [min/h planned] and slope [min/h planned a week]."""

    weeks: int
    level: Estimate
    slope: Estimate


@dataclass(frozen=True)
class CauseTrend:
    """One cause against its own history.

    `now` and `before` are its means [min/h planned], `change` the difference at the same mix of products,
    `slope` the change a week [min/h planned] over `slope_weeks`, the longest span there is; `p` the chances of
    so much difference and of so much slope in steady works, `q` the same held over all rows together.
    `verdict` is BETTER, WORSE or STEADY, `basis` says what of.
    """

    cause: str
    now: float
    before: float
    change: Estimate
    slope: Estimate
    slope_weeks: int
    p: tuple[float, float]
    q: tuple[float, float]
    verdict: str = "no change beyond chance"
    basis: str = ""
    windows: tuple[Window, ...] = ()
    steps: tuple[Step, ...] = ()

    @property
    def words(self) -> str:
        """The verdict and what of, as people read it."""
        if self.verdict == STEADY:
            return tr(self.verdict)
        is_better, weeks = self.verdict == BETTER, self.slope_weeks
        if self.basis == THAN_BEFORE:
            return tr("better than before") if is_better else tr("worse than before")
        longer = tr("better over {weeks} weeks", weeks=weeks), tr("worse over {weeks} weeks", weeks=weeks)
        return longer[0 if is_better else 1]


BETTER, WORSE, STEADY = mark("better"), mark("worse"), mark("no change beyond chance")
THAN_BEFORE = "than before"


@dataclass(frozen=True)
class Trends:
    """All causes against their histories; `mix` says what was adjusted for, `shifts` how many there were."""

    causes: tuple[CauseTrend, ...]
    shifts_now: int
    shifts_before: int
    mix: tuple[str, ...] = ()
    why_none: str = ""

    def of(self, cause: str) -> CauseTrend | None:
        """The trend of a cause, or None."""
        return next((trend for trend in self.causes if trend.cause == cause), None)


def cause_trends(
    history: History | None,
    period: tuple[datetime, datetime],
    causes: Sequence[str],
    notes: Sequence[tuple[datetime, str]] = (),
) -> Trends:
    """Compare each of some causes' period [UTC] with the weeks before it, in up to 13 weeks with people's notes.

    A cause is called better or worse where the false discovery rate over all causes, each tested for a change against
    the weeks before and for a slope, stays below 5 %.

    Source: benjamini-hochberg-1995, restricted-likelihood
    """
    now = np.zeros(0, dtype=bool) if history is None else history.between(*period)
    before = 0 if history is None else int((~now).sum())
    if history is None or now.sum() < LEAST_SHIFTS or before < LEAST_SHIFTS:
        why = tr(
            "too few shifts: needs {needs} in the period and {needs} before it, has {now} and {before}",
            needs=LEAST_SHIFTS,
            now=int(now.sum()),
            before=before,
        )
        return Trends((), int(now.sum()), before, why_none=why)
    names = [name for name in causes if name in history.losses and name not in NO_CAUSE]
    if not names:
        return Trends((), int(now.sum()), before, why_none=tr("nothing was lost"))
    losses = np.column_stack([history.losses[name] for name in names])
    changes = _changes(history, losses, now)
    windows = [_window(history, losses, period[1], weeks) for weeks in WEEKS]
    in_all = _overall_slope(history, losses, period[1])
    both = [p for change, slope in zip(changes, in_all.slopes, strict=True) for p in (change.p, slope.p)]
    q = adjusted_p(both)
    rows = []
    for k, name in enumerate(names):
        change, slope, own_q = changes[k], in_all.slopes[k], (q[2 * k], q[2 * k + 1])
        verdict, basis = _verdict(change, slope, own_q, in_all.weeks)
        steps = _steps(history, history.losses[name], notes, len(names))
        row = CauseTrend(
            name, change.now, change.before, change.amount, slope.amount, in_all.weeks, (change.p, slope.p), own_q
        )
        mine = tuple(window[k] for window in windows)
        rows.append(replace(row, verdict=verdict, basis=basis, windows=mine, steps=steps))
    return Trends(tuple(rows), int(now.sum()), before, tuple(history.mix_names))


@dataclass(frozen=True)
class Test:
    """A difference with its interval and the chance of one so far from 0 in steady works."""

    amount: Estimate
    p: float
    now: float = 0.0
    before: float = 0.0


@dataclass(frozen=True)
class _Slopes:
    slopes: list[Test]
    weeks: int


def _verdict(change: Test, slope: Test, q: tuple[float, float], weeks: int) -> tuple[str, str]:
    """Better, worse or neither, and what of: the period against the weeks before, or the slope."""
    if q[0] <= FALSE_DISCOVERIES:
        return (WORSE if change.amount.number > 0 else BETTER), THAN_BEFORE
    if q[1] <= FALSE_DISCOVERIES:
        return (WORSE if slope.amount.number > 0 else BETTER), f"over {weeks} weeks"
    return STEADY, ""


def weighted_fits(y: Floats, x: Floats, planned_min: Floats) -> list[CorrelatedFit]:
    """Fit series by shifts as units, each weighing by its planned minutes [min].

    Fewer than 20 shifts are taken as independent: too few to show how they go together.
    Source: restricted-likelihood
    """
    weight = np.sqrt(planned_min / planned_min.mean())
    noises = COARSE if len(y) >= CORRELATED_FROM else WHITE
    steps = np.ones(len(y) - 1)
    return least_squares_fits(y * weight[:, None], x * weight[:, None], steps, noises, WHITE_ODDS)


def tests_of(y: Floats, x: Floats, planned_min: Floats, contrast: Floats) -> list[Test]:
    """A combination of coefficients of each series, and the chance of one so far from 0.

    Minutes lost are skewed and their square roots less so: where the two chances differ the greater holds.
    """
    roots = np.sign(y) * np.sqrt(np.abs(y))
    fits = weighted_fits(np.column_stack([y, roots]), x, planned_min)
    out = []
    for fit, of_root in zip(fits[: y.shape[1]], fits[y.shape[1] :], strict=True):
        low, high = fit.interval(contrast)
        amount = Estimate(fit.mean(contrast), low, high, len(y), interval=CONFIDENCE)
        out.append(Test(amount, max(fit.p_value(contrast), of_root.p_value(contrast))))
    return out


CONFIDENCE = mark("95 % confidence")


def _changes(history: History, losses: Floats, now: Bools) -> list[Test]:
    """Test the period's shifts against those before, at the same mix."""
    x = np.column_stack([np.ones(history.n), now.astype(np.float64), history.mix])
    if np.linalg.matrix_rank(x) < x.shape[1]:
        x = x[:, :2]
    tests = tests_of(losses, x, history.planned_min, np.eye(x.shape[1])[1])
    means = [np.average(losses[part], axis=0, weights=history.planned_min[part]) for part in (now, ~now)]
    return [replace(test, now=float(means[0][k]), before=float(means[1][k])) for k, test in enumerate(tests)]


def _on_time(history: History, inside: Bools, end: datetime) -> tuple[Floats, Floats]:
    """Weeks before the end, and the columns of a line through them at the mean mix."""
    t = (history.start_us[inside].astype(np.float64) - end.timestamp() * 1e6) / 6.048e11
    mix = history.mix[inside]
    x = np.column_stack([np.ones(len(t)), t, mix - mix.mean(axis=0)])
    full = np.linalg.matrix_rank(x) == x.shape[1] and len(t) >= x.shape[1] + 4
    return t, x if full else x[:, :2]


def _overall_slope(history: History, losses: Floats, end: datetime) -> _Slopes:
    """The slope over all weeks there are."""
    inside = np.ones(history.n, dtype=bool)
    t, x = _on_time(history, inside, end)
    return _Slopes(tests_of(losses, x, history.planned_min, np.eye(x.shape[1])[1]), max(1, round(-float(t.min()))))


def _window(history: History, losses: Floats, end: datetime, weeks: int) -> list[Window]:
    """Level at the middle and slope over some weeks, of each cause."""
    first = end - timedelta(weeks=weeks)
    inside = history.between(first, end)
    began = datetime.fromtimestamp(float(history.start_us[0]) / 1e6, UTC)
    if inside.sum() < 2 * LEAST_SHIFTS or began > first + timedelta(days=3):
        few = Estimate.unknown(tr("too few weeks: needs {weeks}", weeks=weeks))
        return [Window(weeks, few, few)] * losses.shape[1]
    t, x = _on_time(history, inside, end)
    level, slope = np.eye(x.shape[1])[:2]
    middle = level + slope * float(t.mean())
    out = []
    for fit in weighted_fits(losses[inside], x, history.planned_min[inside]):
        levels, slopes = (
            Estimate(fit.mean(part), *fit.interval(part), len(t), interval=CONFIDENCE) for part in (middle, slope)
        )
        out.append(Window(weeks, levels, slopes))
    return out


#: Chance that steady works show a lasting change in any of their rows.
STEP_CHANCE = 0.05
#: How far from a step a note may bear on it.
NOTES_WITHIN = timedelta(days=1, hours=12)


#: A step of less than so many standard errors of independent shifts passes no search: it is not begun.
NO_STEP = 3.0


def _largest_step(y: Floats, x: Floats) -> float:
    """The largest step in standard errors, shifts taken as independent: more than it is where they go together."""
    residual = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    n = len(y)
    before = np.arange(1, n)
    contrast = np.abs(np.cumsum(residual)[:-1]) * np.sqrt(n / (before * (n - before)))
    spread = float(np.sqrt(residual @ residual / max(n - x.shape[1], 1)))
    return float(contrast[2:-2].max()) / spread if spread > 0 else 0.0


def _steps(history: History, y: Floats, notes: Sequence[tuple[datetime, str]], rows: int) -> tuple[Step, ...]:
    """Lasting changes of a cause, dated by the first shift after them."""
    n = history.n
    if n < CORRELATED_FROM or float(np.std(y)) <= 1e-9:
        return ()
    weight = np.sqrt(history.planned_min / history.planned_min.mean())
    x = np.column_stack([np.ones(n), history.mix]) * weight[:, None]
    if _largest_step(y * weight, x) < NO_STEP:
        return ()
    search = find_steps(y * weight, x, np.ones(n - 1), false_share=STEP_CHANCE / max(rows, 1), most=4)
    if not search.steps:
        return ()
    columns = [np.where(np.arange(n) >= at, 1.0, 0.0) for at in search.steps]
    fit = correlated_regression(
        y * weight, np.column_stack([x, *(c * weight for c in columns)]), np.ones(n - 1), COARSE
    )
    out = []
    for k, at in enumerate(search.steps):
        contrast = np.eye(x.shape[1] + len(columns))[x.shape[1] + k]
        moment = datetime.fromtimestamp(float(history.start_us[at]) / 1e6, UTC)
        near = tuple(text for when, text in notes if abs(when - moment) <= NOTES_WITHIN)
        change = Estimate(fit.mean(contrast), *fit.interval(contrast), n, interval=CONFIDENCE)
        out.append(Step(moment, change, near))
    return tuple(out)
