"""The times of a table's rows: cells to moments in UTC, and why a row has none."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.core.language import mark, tr
from lineview.intake import refusal_reasons
from lineview.intake.cells.dateless import carried_down
from lineview.intake.cells.far_times import FarTimes
from lineview.intake.cells.timestamps import Clock, plan_clock, read_clock
from lineview.intake.detect.zones import marked_otherwise, open_fault
from lineview.intake.tidy.rows import Rows
from lineview.plant import Layout


@dataclass(frozen=True)
class Localised:
    """Moments in UTC, which wall-clock times do not exist, and how many had to be read by their gaps.

    `missing` is None where every time exists.
    """

    at: pl.Series
    missing: pl.Series | None = None
    by_gap: int = 0


def localise(naive: pl.Series, zone: str, series: pl.Series | None = None) -> Localised:
    """Turn wall-clock times of a zone into UTC.

    Within a log the clock goes back once in the repeated hour: times before that step are the first pass,
    those after it the second. A log written newest first is read backwards. Where there is no step, the
    pass is the one that leaves the smaller gap to the neighbouring rows.
    Source: iana-time-zones
    """
    if zone in ("UTC", "Etc/UTC"):
        return Localised(naive.dt.cast_time_unit("us").dt.replace_time_zone("UTC"))
    local = pl.col("t").dt.replace_time_zone(zone, ambiguous="null", non_existent="null")
    in_utc = local.dt.convert_time_zone("UTC").cast(UTC_US)
    at = naive.to_frame("t").lazy().select(in_utc).collect().to_series()
    if at.null_count() == naive.null_count():
        return Localised(at)
    odd = (at.is_null() & naive.is_not_null()).arg_true()
    few = naive.gather(odd)
    early = few.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    late = few.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null")
    folds = odd.filter(early.is_not_null())
    second, by_gap = _second_pass(naive, folds, series)
    chosen = late.zip_with(odd.is_in(second.implode()), early)
    at = at.scatter(odd, chosen.dt.convert_time_zone("UTC").cast(UTC_US))
    if len(folds) == len(odd):
        return Localised(at, None, by_gap)
    none = pl.repeat(False, len(naive), eager=True, dtype=pl.Boolean)
    return Localised(at, none.scatter(odd.filter(early.is_null()), True), by_gap)


def _second_pass(naive: pl.Series, folds: pl.Series, series: pl.Series | None) -> tuple[pl.Series, int]:
    """The places of times in the second pass of a repeated hour, and how many only gaps tell."""
    if not len(folds):
        return folds, 0
    key = series if series is not None else pl.repeat("", len(naive), eager=True)
    dates = naive.gather(folds).dt.date().unique()
    near = pl.concat([dates, dates.dt.offset_by("-1d"), dates.dt.offset_by("1d")]).unique()
    frame = pl.DataFrame({"t": naive, "key": key}).with_columns(place=pl.int_range(pl.len(), dtype=pl.Int64))
    frame = frame.filter(pl.col("t").dt.date().is_in(near.implode()))
    frame = frame.with_columns(fold=pl.col("place").is_in(folds.implode()))
    frame = _oldest_first(frame).with_columns(
        step=pl.col("t").diff().over("key"),
        inside=(pl.col("fold") & pl.col("fold").shift().over("key"))
        & (pl.col("t").dt.date() == pl.col("t").shift().over("key").dt.date()),
    )
    back = pl.col("step") < pl.duration()
    frame = frame.with_columns(
        run=(back & ~pl.col("inside")).fill_null(False).cum_sum().over("key"),
        drop=pl.when(back & pl.col("inside")).then("step"),
        before=pl.when(pl.col("step") >= pl.duration()).then("step"),
        after=pl.col("step").shift(-1).over("key"),
        night=pl.col("t").dt.date(),
    )
    hours = frame.filter("fold").sort("key", "run", maintain_order=True)
    of_one = ["key", "run", "night"]
    at_drop = pl.col("drop") == pl.col("drop").min().over(of_one)
    after_drop = at_drop.fill_null(False).cum_max().over(of_one)
    no_drop = pl.col("drop").is_null().all().over(of_one)
    ahead, behind = pl.col("before").first().over(of_one), pl.col("after").last().over(of_one)
    nearer_after = (behind >= pl.duration()) & (ahead.is_null() | (behind < ahead))
    hours = hours.select(
        "place", by_gap=no_drop, second=pl.when(no_drop).then(nearer_after.fill_null(False)).otherwise(after_drop)
    )
    return hours.filter("second")["place"], int(hours["by_gap"].sum())


def _oldest_first(frame: pl.DataFrame) -> pl.DataFrame:
    """Put each series oldest first: one whose times mostly fall is a log written newest first."""
    step = pl.col("t").diff().over("key")
    falls = (step < pl.duration()).sum().over("key") > (step > pl.duration()).sum().over("key")
    order = pl.when(falls).then(-pl.col("place")).otherwise(pl.col("place"))
    return frame.with_columns(order=order).sort("key", "order", maintain_order=True)


@dataclass(frozen=True)
class Times:
    """Moments [UTC] of rows, why a row has none (None where all have one), and how many only gaps tell."""

    at: pl.Series
    reasons: pl.Series | None
    by_gap: int
    notes: tuple[str, ...] = ()

    def without(self, far: FarTimes, cells: pl.Series) -> Times:
        """The same with reasons for times that cannot be meant."""
        if far.far is None:
            return Times(self.at, self.reasons, self.by_gap, (*self.notes, *far.notes))
        text = pl.select(pl.format(far.reason, cells.str.strip_chars())).to_series()
        none = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(cells))
        reasons = text.zip_with(far.far, none if self.reasons is None else self.reasons)
        return Times(self.at, reasons, self.by_gap, (*self.notes, *far.notes))


def joined_cells(rows: Rows, places: tuple[int, ...]) -> pl.Series:
    """The time cells of rows; date and clock of two columns joined with one blank, a day's date from its first row."""
    if len(places) == 1:
        return rows.column(places[0])
    # a workbook gives a date a midnight and a clock a day of its own: neither was written
    date = rows.column(places[0]).str.strip_chars().str.replace(r"[ T]00:00:00(\.0+)?$", "")
    clock = rows.column(places[1]).str.strip_chars().str.replace(r"^(1899-12-3[01]|1904-01-01)[ T]", "")
    serial = r"^\d+(\.\d+)?(E0)?$"
    both = pl.DataFrame({"date": carried_down(date, clock), "clock": clock})
    numeric = pl.col("date").str.contains(serial) & pl.col("clock").str.contains(r"^0(\.\d+)?(E0)?$")
    total = pl.sum_horizontal(pl.all().cast(pl.Float64, strict=False))
    text = pl.concat_str(["date", "clock"], separator=" ").str.strip_chars()
    return both.select(pl.when(numeric).then(total.cast(pl.String)).otherwise(text)).to_series()


#: So many of the times, as a share, may be misprints of minutes beyond 59.
_MOST_BEYOND = 0.02
#: Times in UTC, as they say, or counted since 1970.
_SAYS_UTC = r"(?:Z|UTC|GMT|[+-]00:?00)\s*$|^\s*\d+(?:[.,]\d+)?\s*$"


def as_marked(cells: pl.Series, clock: Clock, layout: Layout, zone: str, where: str) -> Clock:
    """Times as their cells are marked; by the layout's clock where that is UTC or the zone's other season.

    Raise where it is the other season and the layout names no clock.
    """
    if clock.moment.null_count() == len(cells):
        return clock
    other_zone, wall = marked_otherwise(cells, clock.moment, layout.zone or zone)
    if other_zone is not None and not layout.zone:
        raise open_fault(other_zone, zone, layout.id, where)
    if layout.zone:
        says_utc = cells.str.contains(_SAYS_UTC) & clock.moment.is_not_null()
        wall = clock.moment.dt.replace_time_zone(None).zip_with(says_utc, wall)
    return Clock(clock.naive.zip_with(wall.is_null(), wall), clock.moment.set(wall.is_not_null(), None))


def to_moments(
    naive: pl.Series, moment: pl.Series, cells: pl.Series, layout: Layout, zone: str, series: pl.Series | None
) -> Times:
    """Bring wall-clock times and moments to UTC, less what the machine's clock is ahead.

    Takes `layout` [s].
    """
    local = layout.zone or zone
    at, missing, by_gap = in_utc(naive, moment, local, series)
    reasons = _reasons(at, cells, missing, layout, local)
    return Times(less_offset(at, layout), reasons, by_gap)


def in_utc(
    naive: pl.Series, moment: pl.Series, local: str, series: pl.Series | None
) -> tuple[pl.Series, pl.Series | None, int]:
    """Give moments [UTC], which wall-clock times the zone skips (None: none), and how many only gaps tell."""
    if naive.null_count() == len(naive):
        return moment, None, 0
    placed = localise(naive, local, series)
    at = placed.at
    if moment.null_count() < len(moment):
        at = at.zip_with(at.is_not_null(), moment)
    return at, placed.missing, placed.by_gap


def gap_notes(by_gap: int) -> tuple[str, ...]:
    """Say how many times of the repeated hour were read by the gaps beside them."""
    if not by_gap:
        return ()
    return (
        tr(
            "{times} times in the repeated hour of autumn had no second pass beside them: "
            "read so that the smaller gap is left",
            times=by_gap,
        ),
    )


def less_offset(at: pl.Series, layout: Layout) -> pl.Series:
    """Take off what the machine's clock is ahead.

    Takes `layout` [s].
    """
    if not layout.clock_offset_s:
        return at
    return at - pl.Series([round(layout.clock_offset_s * 1e6)]).cast(pl.Duration("us"))


def _reasons(at: pl.Series, cells: pl.Series, missing: pl.Series | None, layout: Layout, zone: str) -> pl.Series | None:
    if at.null_count() == 0:
        return None
    odd = at.is_null().arg_true()
    text = cells.gather(odd).str.strip_chars()
    is_missing = pl.repeat(False, len(odd), eager=True) if missing is None else missing.gather(odd)
    few = pl.select(
        pl.when(is_missing)
        .then(pl.format(refusal_reasons.NO_SUCH_TIME, text, pl.lit(zone)))
        .when(text == "")
        .then(pl.lit(refusal_reasons.NO_TIME))
        .otherwise(_no_time(text, layout))
    ).to_series()
    return pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(at)).scatter(odd, few)


def _no_time(text: pl.Series, layout: Layout) -> pl.Expr:
    if layout.time_format in ("", "auto"):
        return pl.format(refusal_reasons.NOT_A_TIME, text)
    return pl.format(refusal_reasons.NOT_A_TIME_AS, text, pl.lit(layout.time_format))


def must_be_times(read: Clock, cells: pl.Series, layout: Layout, where: str) -> None:
    """Raise where another format reads all times that the layout's does, and more: day and month change places.

    And where minutes go beyond 59: they are hundredths of an hour, and those below would be read as minutes.
    """
    ours = read.naive.is_not_null() | read.moment.is_not_null()
    if ours.all():
        return
    beyond = cells.filter(~ours & cells.str.contains(r"(?:^|[ T_])\d{1,2}[:.h][6-9]\d$"))
    if len(beyond) > _MOST_BEYOND * len(cells):
        what = tr("'{example}' has more than 59 minutes: hundredths of an hour may be meant", example=beyond[0])
        raise IntakeError(Fault(what, where, tr("minutes from 00 to 59 in every row")))
    other = plan_clock(cells, "auto", typed=True)
    forms = other.undecided or other.formats[:1]
    if not forms or layout.time_format in forms:
        return
    clock = read_clock(cells, other.formats if not ours.any() else forms)
    theirs = clock.naive.is_not_null() | clock.moment.is_not_null()
    more = theirs & ~ours
    if not more.any() or (ours & ~theirs).any():
        return
    what = (
        mark("{lines:,} rows have no time written as '{time_format}': the first is '{example}'")
        if ours.any()
        else mark("no row has a time written as '{time_format}': the first is '{example}'")
    )
    text = tr(what, lines=int(more.sum()), time_format=layout.time_format, example=cells.filter(more)[0])
    expected = tr("time_format = {forms} in layout '{id}'", forms=tr(" or ").join(map(repr, forms)), id=layout.id)
    raise IntakeError(Fault(text, where, expected))


def must_have_24_hours(naive: pl.Series, where: str) -> None:
    """Raise where a clock runs from 1 to 12 and back at noon: no cell says which half of the day it is."""
    if naive.null_count() == len(naive) or naive.drop_nulls().is_sorted():
        return
    if not naive.drop_nulls().dt.hour().is_between(1, 12).all():
        return
    frame = pl.DataFrame({"t": naive.drop_nulls()}).with_columns(
        step=pl.col("t").diff().dt.total_seconds(), same=pl.col("t").dt.date() == pl.col("t").dt.date().shift()
    )
    steps = frame["step"].fill_null(0)
    back = steps if int((steps > 0).sum()) >= int((steps < 0).sum()) else -steps
    at_noon = frame.filter(frame["same"].fill_null(False) & back.is_between(-12 * 3600, -8 * 3600))
    if at_noon.height:
        raise IntakeError(
            Fault(
                tr("its clock runs back at {clock:%H:%M}: it has twelve hours and no AM or PM", clock=at_noon["t"][0]),
                where,
                tr("a clock of 24 hours, or AM and PM beside the times"),
                tr("Export it with one of them."),
            )
        )
