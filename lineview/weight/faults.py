"""Weights that must not be used in silence: what is wrong with each, in words, and what is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.language import mark, tr
from lineview.core.units import GRAMS

#: A mean piece this far off its target [share of the target] is no piece of that product.
IMPLAUSIBLE = (0.5, 1.6)
GRAINY_RUN = 8
#: So many different masses, each there more than once, are no chance.
LEAST_DOUBLED = 5


OUTLIER = mark("an outlier: far from all others of its batch")
#: An outlier lies so many robust standard deviations from its batch, where all others lie within `_CALM`.
_FAR, _CALM = 4.8, 4.4
#: At most this share is set aside so; more are the process's own tails, and count.
_MOST_OUTLIERS = 0.005
#: Nor are any where the excess kurtosis of the others is beyond so many standard errors; what distances from
#: medians add to it comes on top.
_TAILED, _BY_MEDIANS = 3.5, 0.15
#: Fewer weighings than this do not show what is usual.
_LEAST_USUAL = 50


@dataclass(frozen=True)
class Sorting:
    """Weighings that can be used, and those set aside with the reason in a column `reason`."""

    good: pl.DataFrame
    aside: pl.DataFrame

    @property
    def reasons(self) -> dict[str, int]:
        """How many were set aside for each reason, most first."""
        frequency = (
            self.aside.group_by("reason", maintain_order=True).len().sort(["len", "reason"], descending=[True, False])
        )
        return {tr(reason): count for reason, count in frequency.iter_rows()}


def sort_out(weighings: pl.DataFrame) -> Sorting:
    """Set aside weighings that cannot be of single pieces of their product, each with its reason."""
    rows = weighings.with_columns(reason=_plain_reason())
    rows = _mark(rows, _repeats(rows), mark("given twice"))
    rows = _mark_implausible(rows)
    rows = _mark(rows, _standing_still(rows), mark("the scale was stuck"))
    rows = _mark(rows, _outliers(rows), OUTLIER)
    return Sorting(rows.filter(pl.col("reason").is_null()).drop("reason"), rows.filter(pl.col("reason").is_not_null()))


def _plain_reason() -> pl.Expr:
    mass, pieces = pl.col("mass_g"), pl.col("pieces")
    return (
        pl.when(mass.is_null() | ~mass.is_finite())
        .then(pl.lit(mark("no weight")))
        .when(mass <= 0)
        .then(pl.lit(mark("zero or negative")))
        .when(pieces.is_null() | (pieces < 1))
        .then(pl.lit(mark("no number of pieces")))
        .when(pl.col("gross").fill_null(False) & pl.col("wrap_g").is_null())
        .then(pl.lit(mark("weighed with the wrap, and the wrap's mass is not known")))
        .when(pl.col("net_g") <= 0)
        .then(pl.lit(mark("less than its wrap")))
    )


def _mark(frame: pl.DataFrame, matches: pl.Series, reason: str) -> pl.DataFrame:
    """Give rows that are hit, and have no reason yet, this one."""
    new_reason = pl.when(pl.col("reason").is_null() & matches.fill_null(False)).then(pl.lit(reason))
    return frame.with_columns(reason=pl.coalesce("reason", new_reason))


def _repeats(frame: pl.DataFrame) -> pl.Series:
    """Which weighings another one repeats.

    Pieces of one sample share their moment and may weigh the same, so equal rows alone prove nothing. A
    row is given twice where another export holds it too, where the moments of that export are otherwise
    all different, or where not one row of that export stands alone.
    """
    key = ["at", "batch", "sample", "pieces", "mass_g"]
    if not frame.select(key).is_duplicated().any():
        return pl.Series(np.zeros(frame.height, dtype=bool))
    nth = frame.select(nth=pl.int_range(pl.len()).over([*key, "intake"]))["nth"]
    across = frame.with_columns(nth=nth).select(again=pl.int_range(pl.len()).over([*key, "nth"]) > 0)["again"]
    alone = frame.select(share=(pl.len().over("at", "intake") == 1).mean().over("intake"))["share"]
    doubled = frame.select(
        all=(pl.len().over([*key, "intake"]).min().over("intake") > 1)
        & (pl.col("mass_g").n_unique().over("intake") >= LEAST_DOUBLED)
    )["all"]
    return across | ((nth > 0) & ((alone > 0.9) | doubled))


def _mark_implausible(frame: pl.DataFrame) -> pl.DataFrame:
    """Say what each weighing far off its target looks like."""
    ratio = (frame["net_g"] / frame["target_g"]).to_numpy()
    low, high = IMPLAUSIBLE
    usable = frame["reason"].is_null().to_numpy() & np.isfinite(ratio)
    odd = usable & ((ratio < low) | (ratio > high))
    if not odd.any():
        return frame
    reasons: list[str | None] = [None] * frame.height
    typical = float(np.median(ratio[odd]))
    steady = float(np.std(frame["mass_g"].to_numpy()[odd] / frame["target_g"].to_numpy()[odd]))
    for i in np.flatnonzero(odd).tolist():
        reasons[i] = _looks_like(float(ratio[i]), typical, steady, int(odd.sum()), int(usable.sum()))
    mark = pl.Series("mark", reasons, dtype=pl.String)
    return frame.with_columns(reason=pl.coalesce("reason", mark))


def _looks_like(ratio: float, typical: float, steady: float, odd: int, usable: int) -> str:
    low, high = 0.8, 1.25
    for unit, grams in GRAMS.items():
        if low <= ratio * grams <= high:
            return tr("looks like {unit}, not grams", unit=unit)
    if 2 * odd > usable and typical > IMPLAUSIBLE[1]:
        # A tare adds one amount to every weighing; several pieces weighed as one spread more.
        count = round(typical)
        if abs(typical / count - 1) < 0.02 and steady > 0.03:
            return tr("looks like {count} pieces weighed as one", count=count)
        return mark("far above one piece: a bag or tray on the scale, or several pieces weighed as one")
    return mark("far below one piece") if ratio < 1 else mark("far above one piece")


def _standing_still(frame: pl.DataFrame) -> pl.Series:
    """Which weighings repeat one value for longer than chance allows, all but the first of the run.

    The chance that one weighing equals the next follows from how often each value comes outside the run.
    """
    usable = frame["reason"].is_null().to_numpy()
    value = np.round(frame["mass_g"].to_numpy() / np.maximum(frame["pieces"].fill_null(1).to_numpy(), 1), 9)
    hit = np.zeros(frame.height, dtype=bool)
    index = np.flatnonzero(usable)
    if index.size < GRAINY_RUN:
        return pl.Series(hit)
    v = value[index]
    edges = np.flatnonzero(np.concatenate([[True], v[1:] != v[:-1]]))
    lengths = np.diff(np.concatenate([edges, [v.size]]))
    typical = v[np.repeat(lengths, lengths) < GRAINY_RUN]
    if typical.size < 2:
        return pl.Series(hit)
    _, counts = np.unique(typical, return_counts=True)
    same = max(float(np.sum((counts / typical.size) ** 2)), 1.0 / typical.size)
    long = lengths >= GRAINY_RUN
    for start, length in zip(edges[long], lengths[long], strict=True):
        if v.size * same ** (length - 1) < 1e-4:
            hit[index[start + 1 : start + length]] = True
    return pl.Series(hit)


def _outliers(frame: pl.DataFrame) -> pl.Series:
    """Which weighings lie alone, far from their batch, in a process whose other pieces have no heavy tails."""
    usable = frame.with_row_index("_row").filter(pl.col("reason").is_null() & pl.col("batch").is_not_null())
    off = (pl.col("net_g") - pl.col("net_g").median().over("batch", "product")) * pl.col("pieces").sqrt()
    scaled = usable.select("_row", off=off).filter(pl.len().over(usable["batch"]) > 2)
    hit = np.zeros(frame.height, dtype=bool)
    if scaled.height < _LEAST_USUAL:
        return pl.Series(hit)
    away = np.abs(scaled["off"].to_numpy())
    # Seven tenths of a normal standard deviation hold half the values; about a batch's median a little less.
    usual = float(np.median(away[away > 0])) / 0.6745 if bool((away > 0).any()) else 0.0
    far = away > _FAR * usual
    alone = not bool((away[~far] > _CALM * usual).any())
    if usual > 0 and alone and 0 < far.sum() <= max(1.0, _MOST_OUTLIERS * away.size):
        others = away[~far]
        excess = float(np.mean(others**4) / np.mean(others**2) ** 2) - 3.0
        if excess <= _BY_MEDIANS + _TAILED * float(np.sqrt(24.0 / others.size)):
            hit[scaled["_row"].to_numpy()[far]] = True
    return pl.Series(hit)


#: Weighings further apart than this are two samples, where the gaps show samples at all [s].
GAP_S = 60.0


def with_samples(weighings: pl.DataFrame) -> pl.DataFrame:
    """Name each weighing's sample where none is given."""
    gap_s = pl.col("at").diff().dt.total_microseconds().cast(pl.Float64) / 1e6
    fresh = (gap_s > GAP_S).fill_null(True) | (pl.col("batch") != pl.col("batch").shift(1)).fill_null(False)
    sample_name = pl.col("sample").str.strip_chars().replace("", None)
    ordered = weighings.sort("at", maintain_order=True).with_columns(_run=fresh.cum_sum())
    return ordered.with_columns(sample=pl.coalesce(sample_name, pl.format("at {}", "_run"))).drop("_run")
