"""How far lines that make the same products differ: the line as a level of the spread, and line by line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.measures.sample_times import with_samples
from lineview.measures.weighing_faults import sort_out
from lineview.measures.weighings import PieceFacts, weighings
from lineview.measures.weight_giveaway import grouped_means
from lineview.measures.weight_spread import Spread
from lineview.stats.generalized_intervals import draw_components, percentiles
from lineview.stats.means import student_interval
from lineview.stats.variance_components import nested_layout, reml

DRAWS = 1000


@dataclass(frozen=True)
class LineWeights:
    """What was weighed on one line: its id, the weights of its machines and its batch sheet."""

    line: str
    weights: pl.DataFrame
    batches: pl.DataFrame


@dataclass(frozen=True)
class LineMean:
    """One line's mean deviation from target over the shared products [g], and how far from the asked line's.

    `apart` is this line less the line asked; None for that line itself.
    """

    line: str
    batches: int
    pieces: int
    off_g: Spread
    apart: Spread | None


@dataclass(frozen=True)
class LineSpread:
    """The spread between lines [g], and each line's mean, over the products that several lines made."""

    between: Spread
    lines: tuple[LineMean, ...]
    products: tuple[str, ...]
    weighings: int


def line_spread(
    line: str,
    kept: pl.DataFrame,
    others: Sequence[LineWeights],
    facts: Mapping[str, PieceFacts],
) -> LineSpread:
    """Compare lines over the products that were weighed on several of them.

    Parameters
    ----------
    line : str
        The line asked.
    kept : polars.DataFrame
        Its WEIGHINGS that are kept, samples named.
    others : sequence of LineWeights
        Every other line of the works.
    facts : mapping of str to PieceFacts
        By the product's name as batch sheets write it.

    Returns
    -------
    LineSpread
        Without lines, and with the reason, where only one line was weighed or no product on two.

    Notes
    -----
    The levels are line, batch and piece: the spread between lines by restricted maximum likelihood, its
    limits by generalized pivots. Two lines leave it one degree of freedom, so its upper limit is far away;
    the difference of two lines' means is then the more telling number. Its limits are Student's, batch means
    having one variance over all lines.
    Source: searle-casella-mcculloch, weerahandi-1993
    """
    frames = [_placed(kept, line)]
    for other in others:
        own = sort_out(
            weighings(other.weights, other.batches, facts).filter(pl.col("target_g").is_not_null())
        ).kept
        if own.height:
            frames.append(_placed(with_samples(own), other.line))
    return compare_lines(pl.concat(frames), line)


def _placed(kept: pl.DataFrame, line: str) -> pl.DataFrame:
    return kept.with_columns(line=pl.lit(line))


def compare_lines(weighed: pl.DataFrame, line: str) -> LineSpread:
    """Compare lines by weighings that are made ready.

    Parameters
    ----------
    weighed : polars.DataFrame
        WEIGHINGS with samples named, and `line`.
    line : str
        The line asked.

    Returns
    -------
    LineSpread
        Over the products that several lines made; lines without one of the asked line's are left out.
    """
    own = weighed.filter(pl.col("line") == line)["product"].unique()
    if weighed["line"].n_unique() < 2:
        return _none("cannot be told: one line was weighed")
    both = weighed.filter(pl.col("product").is_in(own.implode())).filter(
        pl.col("line").n_unique().over("product") > 1
    )
    if both.is_empty():
        return _none("cannot be told: no product of this line was weighed on another")
    both = both.with_columns(_unit=pl.coalesce("batch", "sample"))
    products = tuple(sorted(both["product"].unique().to_list()))
    spread, between, within = _components(both)
    return LineSpread(spread, _means(both, line, between, within), products, both.height)


def _none(why: str) -> LineSpread:
    return LineSpread(Spread(None, why_none=why), (), (), 0)


def _components(both: pl.DataFrame) -> tuple[Spread, float | None, float | None]:
    """Give the spread between lines with its limits, and those between and within batches [g]."""
    y = (both["net_g"] - both["target_g"]).to_numpy()
    k = both["pieces"].to_numpy().astype(np.float64)
    columns = [both[name].rank("dense").to_numpy() for name in ("line", "_unit")]
    layout = nested_layout(y, columns, k)
    if layout.df_within < 1 or not layout.ss_within > 0 or any(d < 1 for d in layout.df):
        return Spread(None, why_none="cannot be told: too few batches or pieces on each line"), None, None
    low, high = percentiles(draw_components(y, columns, k, draws=DRAWS).variances[0])
    lines, between, within = reml(y, columns, k).sds
    return Spread.of(lines, (float(np.sqrt(low)), float(np.sqrt(high)))), between, within


def _means(
    both: pl.DataFrame, line: str, between: float | None, within: float | None
) -> tuple[LineMean, ...]:
    """Give each line's mean, the one asked first; batch means share one variance over all lines."""
    found, variance, df = grouped_means(both, "line", between, within)
    pieces = dict(both.group_by("line").agg(pl.col("pieces").sum()).iter_rows())
    asked = found[line]

    def told(value: float, relative: float) -> Spread:
        interval = student_interval(value, float(np.sqrt(variance * relative)), df)
        return Spread.of(value, (interval.low, interval.high))

    rows = []
    for name in (line, *sorted(n for n in found if n != line)):
        one = found[name]
        apart = told(one.mean_g - asked.mean_g, one.relative_variance + asked.relative_variance)
        rows.append(
            LineMean(
                name, one.batches, int(pieces[name]), told(one.mean_g, one.relative_variance),
                None if name == line else apart,
            )
        )  # fmt: skip
    return tuple(rows)
