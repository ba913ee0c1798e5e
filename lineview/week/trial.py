"""A trial: whether what was changed from a moment on has helped, beyond chance, looked at as often as one likes.

The shifts since are compared with those before, at the same mix of products; where another line ran beside without
the change, what is compared is the difference of the two (difference in differences). It is judged by one measure
that was chosen beforehand, over the number of shifts that was planned, by the falling limit of stats/early_looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.errors import AskError, Fault
from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.machine.counters import Floats
from lineview.machine.speed import Bools
from lineview.stats.multiple_tests import FALSE_ALARMS, effect_seen, information_share, looking_level, units_needed
from lineview.week.compare import MEASURES, RATIOS, Difference, ShiftUnits, Side, judged, shift_units
from lineview.week.losses import cause_words, rare_reasons, with_rare_together
from lineview.week.trend import BETTER, STEADY, WHOLE_SHIFT, WORSE, mix_shares, telling, tests_of, weighted_fits

#: Whole shifts that are needed before a trial, and since its beginning, to say anything.
LEAST_BEFORE, LEAST_SINCE = 10, 5
#: Shifts that a trial can be planned for, and the share of its shifts in which a line beside it must have run.
MOST_SHIFTS, BESIDE_SHARE = 400, 0.8
#: Looks that the picture shows at most.
SHOWN_LOOKS = 30
#: What the interval at a look is.
AT_ALL_LOOKS = mark("95 % over all looks together")
TOO_EARLY = mark("too early to judge")
#: A look is only worked out in full where independent shifts would pass this share of its limit.
NEAR = 0.8
NOTHING_YET = Estimate.unknown(TOO_EARLY)
TRIAL_SHIFTS = {
    "at": pl.Datetime("us", "UTC"),
    "value": pl.Float64(),
    "beside": pl.Float64(),
    "since": pl.Boolean(),
    "mean": pl.Float64(),
}


@dataclass(frozen=True)
class Trial:
    """A trial as it was noted: see lineview.core.frames.TRIALS."""

    number: int
    what: str
    begins_at: datetime
    ends_at: datetime | None
    line: str
    machine: str
    beside: str
    measure: str
    worth_percent: float
    shifts: int
    verdict: str
    decision: str
    who: str
    set_at: datetime
    noted_at: datetime


@dataclass(frozen=True)
class TrialInputs:
    """A trial with its line's shifts before and since, those of the line beside it, and other trials on the line."""

    trial: Trial
    side: Side
    beside: Side | None
    others: Sequence[Trial] = ()


@dataclass(frozen=True)
class Look:
    """What was known after so many shifts, the last of which ended at `at`."""

    shifts: int
    at: datetime
    effect: Estimate


@dataclass(frozen=True)
class TrialAccount:
    """What a trial showed.

    `before` and `since` are whole shifts, at most those planned; `level` are the means of the measure before and
    since, `level_beside` those of the line beside, and `by_beside` says that its own change is beyond chance and the
    trial's line's is not; `called_after` the shifts after which it was first beyond chance, 0
    where it is not; `seeable` the smallest effect that the planned shifts show with the stated power; `rows` the
    other measures and causes; `noted_after` the shifts that were over when it was noted; `known` what was measured
    where its own measure was not.
    """

    trial: Trial
    unit: str
    before: int
    since: int
    level: tuple[float, float] = (float("nan"), float("nan"))
    level_beside: tuple[float, float] | None = None
    by_beside: bool = False
    effect: Estimate = NOTHING_YET
    verdict: str = TOO_EARLY
    called_after: int = 0
    seeable: float | None = None
    looks: tuple[Look, ...] = ()
    rows: tuple[Difference, ...] = ()
    frame: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=TRIAL_SHIFTS))
    mix: tuple[str, ...] = ()
    noted_after: int = 0
    known: tuple[str, ...] = ()
    why_none: str = ""

    @property
    def is_over(self) -> bool:
        """Whether the planned shifts are over."""
        return self.since >= self.trial.shifts


@dataclass(frozen=True)
class _Shifts:
    """Whole shifts of a trial in order, those of the line beside in the same rows, and shares of products."""

    units: ShiftUnits
    other: ShiftUnits | None
    rows: pl.DataFrame
    share: Floats
    names: Sequence[str]

    @property
    def before(self) -> int:
        return int((~self.rows["since"]).sum())

    def side_rows(self, which: str) -> np.ndarray:
        return self.rows[which].cast(pl.Int64).to_numpy()


def trial_account(inputs: TrialInputs) -> TrialAccount:
    """Judge a trial by whole shifts alone.

    A verdict stands from the first look on that was beyond its limit; before the planned number of shifts there is
    no other.

    Source: obrien-fleming-1979, lan-demets-1983, restricted-likelihood
    """
    trial = inputs.trial
    unit = unit_of_measure(trial.measure)
    shifts = _shifts(inputs)
    before, since = shifts.before, shifts.rows.height - shifts.before
    known = () if before < LEAST_BEFORE else _known_instead(shifts.units, trial.measure)
    bare = TrialAccount(trial, unit, before, min(since, trial.shifts), known=known)
    why = why_unjudged(before, since, trial.measure, known)
    if why:
        return _with_means(bare, shifts, why)
    series = _Series.of(shifts, trial.measure)
    looks = range(LEAST_SINCE, bare.since + 1)
    called, verdict = _first_call(series, before, looks, trial)
    places = sorted({*looks[:: max(1, len(looks) // SHOWN_LOOKS)], bare.since})
    looks_at = tuple(_look(series, shifts, k, trial.shifts) for k in places)
    return replace(
        _with_means(bare, shifts, ""),
        effect=looks_at[-1].effect,
        verdict=verdict,
        by_beside=bool(called) and series.moved_by_beside(before, bare.since),
        called_after=called,
        seeable=effect_seen(series.unit_sd(before, bare.since), before, trial.shifts),
        looks=looks_at,
        rows=_others(shifts, trial, bare.since),
        mix=tuple(series.design(before + bare.since)[1]),
        noted_after=int((shifts.rows.filter("since")["end"] <= trial.noted_at).sum()),
    )


def _first_call(series: _Series, before: int, looks: range, trial: Trial) -> tuple[int, str]:
    """After how many shifts the measure was first beyond its limit, 0 where it is not, and the verdict."""
    for since in looks:
        level = looking_level(information_share(before, since, trial.shifts))
        p, change = series.judge(before, since, level)
        if p <= level:
            return since, _better(trial.measure, change)
    return 0, STEADY if looks[-1] >= trial.shifts else TOO_EARLY


def shifts_to_plan(inputs: TrialInputs) -> int:
    """How many shifts a trial needs to see the change that it is worth having, from the shifts before it.

    Parameters
    ----------
    inputs : TrialInputs
        Its trial's `shifts` is not looked at.

    Returns
    -------
    int
        At least LEAST_SINCE.

    Raises
    ------
    AskError
        Where the shifts before are too few, the measure is not known, or no number of shifts would do.
    """
    trial = inputs.trial
    shifts = _shifts(inputs)
    known = () if shifts.before < LEAST_BEFORE else _known_instead(shifts.units, trial.measure)
    why = why_unjudged(shifts.before, LEAST_SINCE, trial.measure, known)
    if why:
        raise AskError(
            Fault(tr("the number of shifts cannot be planned: {why}", why=why), "shifts", tr("a number of shifts"))
        )
    series, n = _Series.of(shifts, trial.measure), shifts.before
    level, sd = abs(series.level_before(n)), series.unit_sd(n, 0)
    effect = trial.worth_percent / 100 * level
    needed = units_needed(effect, sd, n) if effect > 0 and sd > 0 else None
    if needed is None or needed > MOST_SHIFTS:
        least = 100 * effect_seen(sd, n, MOST_SHIFTS) / max(level, 1e-12)
        what = tr(
            "{percent:g} % of {measure} is less than {shifts} shifts would show",
            percent=trial.worth_percent,
            measure=cause_words(trial.measure),
            shifts=MOST_SHIFTS,
        )
        raise AskError(Fault(what, "worth", tr("{percent:.1f} % or more, or another measure", percent=least)))
    return max(LEAST_SINCE, needed)


def unit_of_measure(measure: str) -> str:
    """The unit of a key figure, or of what a cause costs."""
    return MEASURES[measure][0] if measure in MEASURES else "pieces/min"


def _better(measure: str, change: float) -> str:
    up_is_good = MEASURES.get(measure, ("", False))[1]
    return BETTER if (change > 0) == up_is_good else WORSE


def _shifts(inputs: TrialInputs) -> _Shifts:
    """The whole shifts before and since, without the one in which it began, and with their partners beside."""
    trial, sides = inputs.trial, [inputs.side, *([inputs.beside] if inputs.beside else [])]
    rare = rare_reasons([part for side in sides for part in side.losses])
    joined = [
        Side(side.label, [with_rare_together(part, rare) for part in side.losses], side.mixes, side.weights)
        for side in sides
    ]
    units = [shift_units(side) for side in joined]
    if not units[0].frame.height:
        empty = pl.DataFrame(schema={"since": pl.Boolean(), "end": pl.Datetime("us", "UTC")})
        return _Shifts(units[0], None, empty, np.zeros((0, 0)), [])
    rows = _whole_shifts(units[0].frame, trial).select("date", "shift", "unit", "start", "end", "since")
    other = None
    if len(units) == 2 and units[1].frame.height:
        beside = _whole_shifts(units[1].frame, trial).select("date", "shift", other="unit")
        both = rows.join(beside, on=["date", "shift"], how="inner", maintain_order="left")
        enough = all(_count(both, since) >= BESIDE_SHARE * _count(rows, since) for since in (False, True))
        if enough and both.height:
            rows, other = both, units[1]
    keys = rows.drop("unit").with_row_index("unit")
    share, names = mix_shares(joined[0].losses, joined[0].mixes, keys, None)
    return _Shifts(units[0], other, rows, share, names)


def _whole_shifts(frame: pl.DataFrame, trial: Trial) -> pl.DataFrame:
    shifts = frame.filter(pl.col("seen") >= WHOLE_SHIFT * pl.col("planned").median())
    beginning = (pl.col("start") < trial.begins_at) & (pl.col("end") > trial.begins_at)
    shifts = shifts.filter(~beginning).with_columns(since=pl.col("start") >= trial.begins_at)
    if trial.ends_at is not None:
        shifts = shifts.filter(pl.col("end") <= trial.ends_at)
    return shifts


def _count(rows: pl.DataFrame, since: bool) -> int:
    return int((rows["since"] == since).sum())


def _known_instead(units: ShiftUnits, measure: str) -> tuple[str, ...]:
    """What was measured, where a trial's own measure was not."""
    known = (*(name for name in RATIOS if _values(units, name)), *sorted(units.losses))
    return known if _values(units, measure) is None else ()


def why_unjudged(before: int, since: int, measure: str, known: Sequence[str]) -> str:
    """Why so many shifts show nothing, where only `known` was measured; "" where they do."""
    if before < LEAST_BEFORE:
        return tr("too few shifts before it: needs {needs}, has {has}", needs=LEAST_BEFORE, has=before)
    if known:
        measures = ", ".join(cause_words(name) for name in known)
        return tr(
            "'{measure}' was not measured on it; known: {measures}", measure=cause_words(measure), measures=measures
        )
    if since < LEAST_SINCE:
        return tr("too few shifts since: needs {needs}, has {has}", needs=LEAST_SINCE, has=since)
    return ""


def _with_means(account: TrialAccount, shifts: _Shifts, why: str) -> TrialAccount:
    """The account with means and the frame of its picture, as far as there are any."""
    of_line = _values(shifts.units, account.trial.measure) if shifts.rows.height else None
    if of_line is None:
        return replace(account, why_none=why)
    n = account.before + account.since
    since = shifts.rows["since"].to_numpy()[:n]
    value, weight = (column[shifts.side_rows("unit")[:n]] for column in of_line)
    level = _means(value, weight, since)
    of_beside = None if shifts.other is None else _values(shifts.other, account.trial.measure)
    beside, level_beside = np.full(n, np.nan), None
    if of_beside is not None:
        beside, weight_beside = (column[shifts.side_rows("other")[:n]] for column in of_beside)
        level_beside = _means(beside, weight_beside, since)
    columns = {
        "at": shifts.rows["start"][:n],
        "value": value,
        "beside": beside,
        "since": since,
        "mean": np.where(since, level[1], level[0]),
    }
    frame = pl.DataFrame(columns, schema=TRIAL_SHIFTS).fill_nan(None)
    return replace(account, level=level, level_beside=level_beside, frame=frame, why_none=why)


def _means(value: Floats, weight: Floats, since: Bools) -> tuple[float, float]:
    """Before and since: sums over sums; a side without a shift is NaN."""
    parts = (~since, since)
    means = [float(np.average(value[part], weights=weight[part])) if part.any() else float("nan") for part in parts]
    return means[0], means[1]


def _values(units: ShiftUnits, measure: str) -> tuple[Floats, Floats] | None:
    """A measure by shift, and what it weighs: what it is a ratio to; None where it was not measured."""
    frame = units.frame
    if measure in RATIOS:
        top, below, factor = RATIOS[measure]
        if frame[top].null_count() or not float(frame[below].sum()) > 0:
            return None
        size = np.maximum(frame[below].to_numpy().astype(np.float64), 1e-9)
        return factor * frame[top].to_numpy().astype(np.float64) / size, size
    if measure not in units.losses:
        return None
    planned = frame["planned"].to_numpy().astype(np.float64)
    return units.losses[measure] / planned, planned


def _root(values: Floats) -> Floats:
    return np.sign(values) * np.sqrt(np.abs(values))


@dataclass(frozen=True)
class _Series:
    """A measure by shift as it is judged: less the line beside where there is one; its roots the same way."""

    line: Floats
    value: Floats
    root: Floats
    weight: Floats
    shifts: _Shifts

    @classmethod
    def of(cls, shifts: _Shifts, measure: str) -> _Series:
        """The series of a measure that was measured on the trial's line."""
        at = shifts.side_rows("unit")
        line, weight = (column[at] for column in _values(shifts.units, measure) or (np.zeros(0), np.zeros(0)))
        beside = None if shifts.other is None else _values(shifts.other, measure)
        if beside is None:
            return cls(line, line, _root(line), weight, shifts)
        of_beside, weight_beside = (column[shifts.side_rows("other")] for column in beside)
        return cls(line, line - of_beside, _root(line) - _root(of_beside), weight + weight_beside, shifts)

    def design(self, n: int) -> tuple[Floats, list[str]]:
        """Columns of the first shifts: the mean, since or not where some are, and the mix with its names."""
        mix, names = telling(self.shifts.share[:n], self.shifts.names)
        since = self.shifts.rows["since"].to_numpy()[:n].astype(np.float64)
        bare = np.column_stack([np.ones(n), since]) if since.any() else np.ones((n, 1))
        x = np.column_stack([bare, mix])
        if np.linalg.matrix_rank(x) < x.shape[1] or n < x.shape[1] + 4:
            return bare, []
        return x, names

    def judge(self, before: int, since: int, level: float) -> tuple[float, float]:
        """The chance of so much difference were nothing changed, and the difference; 1 where it is far above `level`.

        Minutes lost are skewed and their square roots less so: the greater of the two chances holds.
        """
        n = before + since
        x, _ = self.design(n)
        both = np.column_stack([self.value[:n], self.root[:n]])
        if not _may_pass(both[:, 0], x, self.weight[:n], level):
            return 1.0, 0.0
        contrast = np.eye(x.shape[1])[1]
        fits = weighted_fits(both, x, self.weight[:n])
        return max(fit.p_value(contrast) for fit in fits), fits[0].mean(contrast)

    def effect(self, before: int, since: int, level: float) -> Estimate:
        """The difference after so many shifts, with its interval at a level of chance."""
        n = before + since
        x, _ = self.design(n)
        contrast = np.eye(x.shape[1])[1]
        fit = weighted_fits(self.value[:n, None], x, self.weight[:n])[0]
        low, high = fit.interval(contrast, 1 - level)
        return Estimate(fit.mean(contrast), low, high, since, interval=AT_ALL_LOOKS)

    def unit_sd(self, before: int, since: int) -> float:
        """The spread of a shift, as uncertain as it makes a mean: correlation between shifts is in it."""
        n = before + since
        x, _ = self.design(n)
        fit = weighted_fits(self.value[:n, None], x, self.weight[:n])[0]
        place, share = (1, 1 / before + 1 / since) if since else (0, 1 / before)
        return float(np.sqrt(fit.weight @ fit.covariance[:, place, place] / share))

    def moved_by_beside(self, before: int, since: int) -> bool:
        """Whether the line beside changed by itself, beyond chance, and the trial's line did not."""
        n = before + since
        x, _ = self.design(n)
        both = np.column_stack([self.line, self.line - self.value])[:n]
        alone = tests_of(both, x, self.weight[:n], np.eye(x.shape[1])[1])
        return alone[0].p > FALSE_ALARMS >= alone[1].p

    def level_before(self, before: int) -> float:
        """The mean of the trial's line before, whatever ran beside it."""
        return float(np.average(self.line[:before], weights=self.weight[:before]))


def _may_pass(y: Floats, x: Floats, weight: Floats, level: float) -> bool:
    """Whether shifts taken as independent, which is less uncertain than they are, come near the limit."""
    from scipy.special import ndtri

    root = np.sqrt(weight / weight.mean())
    x, y = x * root[:, None], y * root
    inner = np.linalg.inv(x.T @ x)
    beta = inner @ x.T @ y
    residual = y - x @ beta
    se = float(np.sqrt(residual @ residual / (len(y) - x.shape[1]) * inner[1, 1]))
    return abs(float(beta[1])) >= NEAR * se * -float(ndtri(level / 2))


def _look(series: _Series, shifts: _Shifts, since: int, planned: int) -> Look:
    before = shifts.before
    level = looking_level(information_share(before, since, planned))
    return Look(since, shifts.rows["end"][before + since - 1], series.effect(before, since, level))


def _others(shifts: _Shifts, trial: Trial, since: int) -> tuple[Difference, ...]:
    """The other measures and causes since against before; judged together once the planned shifts are over."""
    measures: list[Difference] = []
    causes: list[Difference] = []
    for name in [*RATIOS, *sorted(shifts.units.losses)]:
        values = _values(shifts.units, name)
        if values is None or name == trial.measure or not values[0].any():
            continue
        series, n = _Series.of(shifts, name), shifts.before + since
        x, _ = series.design(n)
        test = tests_of(series.value[:n, None], x, series.weight[:n], np.eye(x.shape[1])[1])[0]
        line = series.line[:n]
        means = [float(np.average(line[part], weights=series.weight[:n][part])) for part in _parts(shifts, n)]
        row = Difference(name, unit_of_measure(name), means[1], means[0], test.amount, test.p)
        (measures if name in RATIOS else causes).append(row)
    measures, causes = judged(measures, causes)
    rows = (*measures, *sorted(causes, key=lambda row: -abs(row.value)))
    return rows if since >= trial.shifts else tuple(replace(row, verdict="") for row in rows)


def _parts(shifts: _Shifts, n: int) -> tuple[Bools, Bools]:
    since = shifts.rows["since"].to_numpy()[:n]
    return ~since, since
