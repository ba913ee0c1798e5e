"""How far lines that make the same products differ: the line as a level of the spread, and line by line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.plant import Plant
from lineview.report.answer import Table, columns_of
from lineview.stats.generalized_intervals import draw_components, percentiles
from lineview.stats.means import student_interval
from lineview.stats.variance_components import nested_layout, reml
from lineview.weight.account import PieceFacts, weighings
from lineview.weight.faults import sort_out, with_samples
from lineview.weight.giveaway import grouped_means
from lineview.weight.words import mass

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
    off_g: Estimate
    apart: Estimate | None


@dataclass(frozen=True)
class LineSpread:
    """The spread between lines [g], and each line's mean, over the products that several lines made."""

    between: Estimate
    lines: tuple[LineMean, ...]
    products: tuple[str, ...]
    weighings: int


def line_spread(
    line: str, usable: pl.DataFrame, others: Sequence[LineWeights], facts: Mapping[str, PieceFacts]
) -> LineSpread:
    """Compare lines over the products that were weighed on several of them.

    The levels are line, batch and piece: the spread between lines by restricted maximum likelihood, its
    limits by generalized pivots. Two lines leave it one degree of freedom, so its upper limit is far away;
    the difference of two lines' means is then the more telling number. Its limits are Student's, batch means
    having one variance over all lines.
    Source: searle-casella-mcculloch, weerahandi-1993
    """
    frames = [_on_line(usable, line)]
    for other in others:
        sorted_weighings = sort_out(
            weighings(other.weights, other.batches, facts).filter(pl.col("target_g").is_not_null())
        ).good
        if sorted_weighings.height:
            frames.append(_on_line(with_samples(sorted_weighings), other.line))
    return compare_lines(pl.concat(frames), line)


def _on_line(usable: pl.DataFrame, line: str) -> pl.DataFrame:
    return usable.with_columns(line=pl.lit(line))


def compare_lines(weighed: pl.DataFrame, line: str) -> LineSpread:
    """Compare lines by weighings that are made ready."""
    products_here = weighed.filter(pl.col("line") == line)["product"].unique(maintain_order=True)
    if weighed["line"].n_unique() < 2:
        return _none(tr("not known: one line was weighed"))
    both = weighed.filter(pl.col("product").is_in(products_here.implode())).filter(
        pl.col("line").n_unique().over("product") > 1
    )
    if both.is_empty():
        return _none(tr("not known: no product of this line was weighed on another"))
    both = both.with_columns(_unit=pl.coalesce("batch", "sample"))
    products = tuple(sorted(both["product"].unique(maintain_order=True).to_list()))
    spread, between, within = _components(both)
    return LineSpread(spread, _means(both, line, between, within), products, both.height)


def _none(why: str) -> LineSpread:
    return LineSpread(Estimate.unknown(why), (), (), 0)


def _components(both: pl.DataFrame) -> tuple[Estimate, float | None, float | None]:
    """The spread between lines with its limits, and those between and within batches [g]."""
    y = (both["net_g"] - both["target_g"]).to_numpy()
    k = both["pieces"].to_numpy().astype(np.float64)
    columns = [both[name].rank("dense").to_numpy() for name in ("line", "_unit")]
    layout = nested_layout(y, columns, k)
    if layout.df_within < 1 or not layout.ss_within > 0 or any(d < 1 for d in layout.df):
        return Estimate.unknown(tr("not known: too few batches or pieces on each line")), None, None
    low, high = percentiles(draw_components(y, columns, k, draws=DRAWS, layout=layout).variances[0])
    lines, between, within = reml(y, columns, k, layout=layout).sds
    return Estimate(lines, float(np.sqrt(low)), float(np.sqrt(high))), between, within


def _means(both: pl.DataFrame, line: str, between: float | None, within: float | None) -> tuple[LineMean, ...]:
    """Each line's mean, the one asked first; batch means share one variance over all lines."""
    means_of, variance, df = grouped_means(both, "line", between, within)
    pieces = dict(both.group_by("line", maintain_order=True).agg(pl.col("pieces").sum()).iter_rows())
    first = means_of[line]

    def estimate(value: float, relative: float) -> Estimate:
        interval = student_interval(value, float(np.sqrt(variance * relative)), df)
        return Estimate(value, interval.low, interval.high)

    rows = []
    for name in (line, *sorted(n for n in means_of if n != line)):
        of_line = means_of[name]
        difference = estimate(of_line.mean_g - first.mean_g, of_line.relative_variance + first.relative_variance)
        off, apart = estimate(of_line.mean_g, of_line.relative_variance), None if name == line else difference
        rows.append(LineMean(name, of_line.batches, int(pieces[name]), off, apart))
    return tuple(rows)


def line_table(across: LineSpread | None, plant: Plant) -> Table:
    """Each line's mean deviation from target, over the products that several lines made."""
    columns = columns_of(
        "line; batches; pieces; off_g: off target [g]; off_low: low [g]; "
        "off_high: high [g]; apart_g: difference from this line [g]; apart_low: low [g]; apart_high: high [g]"
    )
    rows = []
    for row in across.lines if across else ():
        off, apart = row.off_g, row.apart or Estimate.unknown("")
        limits = (off.value, off.low, off.high, apart.value, apart.low, apart.high)
        values = (line_name(plant, row.line), row.batches, row.pieces, *limits)
        rows.append({key: value for (key, _, _), value in zip(columns, values, strict=True)})
    of = f": {', '.join(across.products)}" if across and across.products else ""
    return Table("lines", tr("Lines that made the same products{of}", of=of), columns, rows)


def line_name(plant: Plant, line: str) -> str:
    """What a person calls a line."""
    return next((entry.label for entry in plant.lines if entry.id == line), line)


def line_notes(across: LineSpread | None, plant: Plant) -> tuple[str, ...]:
    """Say of each other line how much heavier or lighter its pieces of the same products are."""
    if across is None or not across.lines:
        return ()
    first = line_name(plant, across.lines[0].line)
    return tuple(_note(row, first, plant) for row in across.lines[1:])


def _note(row: LineMean, first: str, plant: Plant) -> str:
    name, difference = line_name(plant, row.line), row.apart
    if difference is None or difference.value is None or difference.low is None or difference.high is None:
        return tr(
            "How far {line} differs from {first} is not known: too few batches or pieces.", line=name, first=first
        )
    between = tr(
        "{low} to {high}, 95 %",
        low=mass(difference.low, plant, signed=True),
        high=mass(difference.high, plant, signed=True),
    )
    places = {"line": name, "first": first, "between": between, "mass": mass(abs(difference.value), plant)}
    if difference.low <= 0 <= difference.high:
        return tr(
            "Pieces of the same products on {line} and {first} show no measurable difference ({between}).", **places
        )
    if difference.value > 0:
        return tr("Pieces of the same products are {mass} heavier on {line} than on {first} ({between}).", **places)
    return tr("Pieces of the same products are {mass} lighter on {line} than on {first} ({between}).", **places)
