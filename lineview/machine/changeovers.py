"""Changeovers: standing between two batches of different products."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from lineview.core.frames import UTC_US, empty
from lineview.machine.activity import STANDING, Activity
from lineview.machine.speed import Bools, Floats, Ints
from lineview.plant import Machine

#: A changeover: from the last piece of one product to the first of the next.
CHANGEOVERS: dict[str, pl.DataType] = {"start": UTC_US, "end": UTC_US, "before": pl.String(), "after": pl.String()}

#: Moments at which the product changed, as somebody or some machine wrote them down.
CHANGES: dict[str, pl.DataType] = {"at": UTC_US, "before": pl.String(), "after": pl.String()}

#: Batch sheets are written by hand: a batch's start may be off by so much [min].
OFF_MIN = 3.0


def mark_changes(machine: Machine, names: pl.DataFrame, batches: pl.DataFrame) -> pl.DataFrame:
    """The moments at which the machine's line went from one product to another."""
    line_batches = batches.filter((pl.col("line") == machine.line) & pl.col("start").is_not_null())
    for measures in ("product", "batch"):
        marks = names.filter(pl.col("gauge") == measures).sort("at").select("at", name="text")
        if measures == "batch":
            sheet = line_batches.drop_nulls(["batch", "product"]).unique("batch", keep="first", maintain_order=True)
            marks = marks.join(
                sheet.select(name="batch", product="product"), on="name", how="left", maintain_order="left"
            ).select("at", name="product")
        if marks["name"].drop_nulls().len():
            return _turns(marks)
    return _turns(line_batches.sort("start").select(at="start", name="product"))


def has_marks(machine: Machine, names: pl.DataFrame, batches: pl.DataFrame) -> bool:
    """Whether anything marks the products of a machine's line."""
    sheet = batches.filter((pl.col("line") == machine.line) & pl.col("start").is_not_null())
    if sheet["product"].drop_nulls().len():
        return True
    return names.filter(pl.col("gauge") == "product").height > 0


def _turns(marks: pl.DataFrame) -> pl.DataFrame:
    if marks.height < 2:
        return empty(CHANGES)
    names = marks.drop_nulls("name").with_columns(pl.col("name").str.strip_chars())
    same = pl.col("name").str.to_lowercase()
    return (
        names.with_columns(before=pl.col("name").shift(1))
        .filter(same != same.shift(1))
        .select("at", "before", after="name")
        .cast(dict(CHANGES))  # type: ignore[arg-type]  # polars' stub wants its own mapping type
    )


def find_changeovers(activity: Activity, changes: pl.DataFrame, *, off_min: float = OFF_MIN) -> pl.DataFrame:
    """Find the standing stretch that belongs to each change of product.

    A mark is the first piece of the new product, so a longer stop or a break close by is not the changeover.
    A change without standing near it took no time, or is not on the sheet. Where a jog of a few pieces
    parts a stop from the changeover, and comes earlier than the mark by more than the mark may be off, those
    were the last pieces of the old product, and the changeover begins after them.
    Source: derived-timeline
    """
    standing = activity.code == STANDING
    begins, ends = activity.edge[:-1][standing], activity.edge[1:][standing]
    off_us = round(off_min * 6e7)
    at_us = changes["at"].dt.epoch("us").to_numpy()
    first = np.searchsorted(ends, at_us - off_us)
    last = np.searchsorted(begins, at_us + off_us, side="right")
    change_of: dict[int, int] = {}
    for change, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        if b > a:
            at = at_us[change]
            inside = (begins[a:b] <= at) & (at <= ends[a:b])
            off = np.where(inside, 0, np.abs(ends[a:b] - at))
            change_of.setdefault(a + int(np.argmin(off)), change)
    stretches, rows = sorted(change_of), [change_of[k] for k in sorted(change_of)]
    starts = _after_jogs(activity, begins[stretches], np.minimum(at_us[rows] - off_us, ends[stretches]))
    return pl.DataFrame(
        {
            "start": pl.Series(starts, dtype=pl.Int64),
            "end": pl.Series(ends[stretches], dtype=pl.Int64),
            "before": changes["before"].gather(rows),
            "after": changes["after"].gather(rows),
        }
    ).with_columns(pl.col("start", "end").cast(pl.Datetime("us")).dt.replace_time_zone("UTC"))


def _after_jogs(activity: Activity, begins: Ints, latest: Ints) -> Ints:
    """Move the starts of standing stretches behind the last pieces made in them before the latest moment."""
    rises = np.flatnonzero(np.diff(activity.pieces) > 0)
    # Where in its interval a jog ran not known: the middle.
    jogs = (activity.at[rises] + activity.at[rises + 1]) // 2
    place = np.searchsorted(jogs, latest, side="right") - 1
    last = np.where(place >= 0, jogs[np.maximum(place, 0)] if len(jogs) else begins, begins)
    return np.maximum(last, begins)


def cut_clock(activity: Activity, moments: pl.Series) -> Activity:
    """Cut the standing stretches of a clock at moments that lie within them."""
    at = np.unique(moments.dt.epoch("us").to_numpy()) if len(moments) else np.empty(0, dtype=np.int64)
    if not len(at) or not len(activity.code):
        return activity
    place = np.searchsorted(activity.edge, at, side="right") - 1
    inside = (place >= 0) & (place < len(activity.code))
    inside &= activity.code[np.clip(place, 0, len(activity.code) - 1)] == STANDING
    edge = np.union1d(activity.edge, at[inside])
    code = activity.code[np.searchsorted(activity.edge, edge[:-1], side="right") - 1]
    return replace(activity, edge=edge, code=code)


#: CHANGEOVERS that were found, not recorded: `before` and `after` null, `sure` how sure it is (0 to 1).
LIKELY: dict[str, pl.DataType] = {**CHANGEOVERS, "sure": pl.Float64()}
#: A changeover stands at least so long; shorter standing between batches is the pause for the next one
#: [min]. An assumption.
LEAST_MIN = 3.0
#: At least so sure that the rope began anew.
LEAST_SURE = 0.8
#: The rope is compared over so long before and after the standing [s], the moments beside it left out [s].
_BESIDE_S, _LEFT_OUT_S = 75.0, 12.0
#: Places in running legs at which the same comparison finds no new batch, to learn its usual size.
_LEAST_PLACES = 8
#: A new batch moves the rope by at least so many times the usual size, on the whole.
_LEAST_SPREAD = 4.0


def rope_changeovers(
    activity: Activity, gauges: Sequence[pl.DataFrame], cal: pl.DataFrame, *, least_min: float = LEAST_MIN
) -> pl.DataFrame:
    """Find changeovers from the wrapper's clock and the rope's gauges.

    Within a batch the rope goes on after a stop where it was before it; a new batch begins at its own
    temperature and diameter. The step across each long standing is set against the steps across running
    time of the same length. A pause between two batches of one flavour that lasts as long cannot be separated
    from a changeover.
    Source: derived-timeline
    """
    standing = activity.code == STANDING
    begins, ends = activity.edge[:-1][standing], activity.edge[1:][standing]
    planned, inside = _planned_us(begins, ends, cal)
    long = inside & (planned >= least_min * 6e7)
    begins, ends = begins[long], ends[long]
    odds = np.zeros(len(begins))
    has_evidence = np.zeros(len(begins), dtype=bool)
    for gauge in gauges:
        more, with_evidence = _log_odds(gauge, begins, ends, activity)
        odds, has_evidence = odds + more, has_evidence | with_evidence
    sure = np.where(has_evidence, 1.0 / (1.0 + np.exp(-np.clip(odds, -50, 50))), 0.0)
    keep = sure >= LEAST_SURE
    moments = {"start": pl.Series(begins[keep]), "end": pl.Series(ends[keep])}
    frame = pl.DataFrame(moments).cast(dict.fromkeys(moments, CHANGEOVERS["start"]))
    nobody = pl.lit(None, pl.String)
    return frame.with_columns(before=nobody, after=nobody, sure=pl.Series(sure[keep], dtype=pl.Float64))


def _planned_us(begins: Ints, ends: Ints, cal: pl.DataFrame) -> tuple[Ints, Bools]:
    """The planned time of each standing [µs], and whether it lies within one shift of one day."""
    ordered = cal.filter(pl.col("part") == "planned").sort("start")
    opens, closes = (ordered[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    if not len(opens):
        return np.zeros(len(begins), dtype=np.int64), np.zeros(len(begins), dtype=bool)
    edges = np.stack((opens, closes), axis=1).ravel()
    long = np.stack((np.zeros(len(opens), dtype=np.int64), closes - opens), axis=1).ravel()
    until = np.cumsum(long)
    planned = np.interp(ends, edges, until) - np.interp(begins, edges, until)
    first_of = ordered.select(pl.struct("shift", "date").rle_id().diff().fill_null(1) > 0).to_series().to_numpy()
    shift_edges = np.unique(np.concatenate((opens[first_of], closes[np.append(first_of[1:], True)])))
    first, last = (np.searchsorted(shift_edges, side, side="left") for side in (begins, ends + 1))
    return planned.astype(np.int64), np.asarray(first == last)


def _log_odds(gauge: pl.DataFrame, begins: Ints, ends: Ints, activity: Activity) -> tuple[Floats, Bools]:
    """How much likelier than not one gauge makes a new batch, as a logarithm, and where it says so."""
    values = gauge.drop_nulls().sort("at")
    at, value = values["at"].dt.epoch("us").to_numpy(), values["value"].to_numpy()
    none = np.zeros(len(begins)), np.zeros(len(begins), dtype=bool)
    if len(at) < 2 * _LEAST_PLACES:
        return none
    usual = _steps(at, value, *_places(activity))
    usual = usual[np.isfinite(usual)]
    if len(usual) < _LEAST_PLACES:
        return none
    size = max(1.4826 * float(np.median(np.abs(usual - np.median(usual)))), 1e-9)
    step = (_steps(at, value, begins, ends) - np.median(usual)) / size
    finite = np.isfinite(step)
    square = np.where(finite, step, 0.0) ** 2
    spread = max(_LEAST_SPREAD**2, float(np.median(square[finite])) if finite.any() else 0.0)
    odds = 0.5 * square * spread / (1.0 + spread) - 0.5 * np.log1p(spread)
    return np.where(finite, odds, 0.0), finite


def _places(activity: Activity) -> tuple[Ints, Ints]:
    """Give moments within running legs, as a standing of no length, each some minutes from the next."""
    runs = (activity.code != STANDING) & (np.diff(activity.edge) > 4 * _BESIDE_S * 1e6)
    spacing_us = round(2 * _BESIDE_S * 1e6)
    places = [
        np.arange(a + spacing_us, b - spacing_us, spacing_us)
        for a, b in zip(activity.edge[:-1][runs].tolist(), activity.edge[1:][runs].tolist(), strict=True)
    ]
    moments = np.concatenate(places).astype(np.int64) if places else np.empty(0, dtype=np.int64)
    return moments, moments


def _steps(at: Ints, value: Floats, begins: Ints, ends: Ints) -> Floats:
    """The change of the median value across each standing; nan where either side lacks readings."""
    beside, left_out = round(_BESIDE_S * 1e6), round(_LEFT_OUT_S * 1e6)
    sides = ((begins - beside, begins - left_out), (ends + left_out, ends + beside))
    medians = []
    for opens, closes in sides:
        first, last = np.searchsorted(at, opens), np.searchsorted(at, closes, side="right")
        pairs = zip(first.tolist(), last.tolist(), strict=True)
        medians.append(np.array([np.median(value[a:b]) if b - a >= 2 else np.nan for a, b in pairs]))
    return np.asarray(medians[1] - medians[0])


def changeover_matrix(changeovers: pl.DataFrame, name_of: Callable[[str], str]) -> pl.DataFrame:
    """Count changeovers from each name to each other.

    Parameters
    ----------
    changeovers : polars.DataFrame
        CHANGEOVERS: start, end, before, after; where there is a column minutes [min] that is taken.
    name_of : callable
        Gives what stands for a product: its flavour, or its base.

    Returns
    -------
    polars.DataFrame
        Columns before, after, count, median_min, shortest_min, longest_min [min], the most frequent first.

    Examples
    --------
    >>> from datetime import datetime
    >>> two = {"start": [datetime(2026, 6, 9, 6)] * 2, "before": ["a", "a"], "after": ["b", "b"]}
    >>> frame = pl.DataFrame({**two, "end": [datetime(2026, 6, 9, 6, 4), datetime(2026, 6, 9, 6, 8)]})
    >>> changeover_matrix(frame, str)["median_min"].to_list()
    [6.0]
    """
    length_min = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    minutes = pl.col("minutes") if "minutes" in changeovers.columns else length_min
    named_both = changeovers.drop_nulls(["before", "after"])
    sides = {side: named_both[side].to_list() for side in ("before", "after")}
    name = {product: name_of(product) for product in {*sides["before"], *sides["after"]}}
    named = {side: pl.Series([name[n] for n in products], dtype=pl.String) for side, products in sides.items()}
    each = named_both.with_columns(minutes=minutes, **named).group_by("before", "after", maintain_order=True)
    of = pl.col("minutes")
    counted = each.agg(count=pl.len(), median_min=of.median(), shortest_min=of.min(), longest_min=of.max())
    return counted.sort("count", "before", "after", descending=[True, False, False])


def with_planned_minutes(changeovers: pl.DataFrame, timeline: pl.DataFrame) -> pl.DataFrame:
    """Each changeover its minutes, breaks and the time between shifts left out.

    Parameters
    ----------
    changeovers : polars.DataFrame
        CHANGEOVERS.
    timeline : polars.DataFrame
        STATE_TIMELINE, whose rows are planned time and breaks.

    Returns
    -------
    polars.DataFrame
        With a column minutes [min].
    """
    start, end = (changeovers[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    rows = timeline.sort("start").select("start", "end", "state")
    between_shifts = rows.select(start="end", end=pl.col("start").shift(-1)).filter(pl.col("end") > pl.col("start"))
    breaks = rows.filter(pl.col("state") == "break").drop("state")
    pauses = pl.concat([breaks, between_shifts]).sort("start")
    long = (end - start) / 6e7
    if pauses.height and len(start):
        opens, closes = (pauses[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
        edges = np.stack((opens, closes), axis=1).ravel()
        until = np.cumsum(np.stack((np.zeros(len(opens)), (closes - opens) / 6e7), axis=1).ravel())
        long = long - (np.interp(end, edges, until) - np.interp(start, edges, until))
    return changeovers.with_columns(minutes=pl.Series(long, dtype=pl.Float64))
