"""Wall-clock times to UTC: the repeated hour of autumn by row order, the missing hour of spring refused."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.columns import UTC_US


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

    Parameters
    ----------
    naive : polars.Series of Datetime
        In the file's order; null stays null.
    zone : str
        Name in the time-zone database.
    series : polars.Series, optional
        What each time belongs to (a machine, a channel): order counts within it only.

    Returns
    -------
    Localised
        Times that the zone skips are null and marked missing.

    Notes
    -----
    Within a log the clock goes back once in the repeated hour: times before that step are the first pass,
    those after it the second. A log written newest first is read backwards. Where there is no step, the
    pass is the one that leaves the smaller gap to the neighbouring rows.
    Source: iana-time-zones

    Examples
    --------
    >>> import polars as pl
    >>> from datetime import datetime
    >>> hour = [datetime(2026, 10, 25, 2, m) for m in (0, 30, 0, 30)]
    >>> localise(pl.Series(hour), "Europe/Berlin").at.dt.strftime("%H:%M").to_list()
    ['00:00', '00:30', '01:00', '01:30']
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
    """Give the places of times in the second pass of a repeated hour, and how many only gaps tell."""
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
    passed = at_drop.fill_null(False).cum_max().over(of_one)
    no_drop = pl.col("drop").is_null().all().over(of_one)
    ahead, behind = pl.col("before").first().over(of_one), pl.col("after").last().over(of_one)
    nearer_after = (behind >= pl.duration()) & (ahead.is_null() | (behind < ahead))
    hours = hours.select(
        "place",
        by_gap=no_drop,
        second=pl.when(no_drop).then(nearer_after.fill_null(False)).otherwise(passed),
    )
    return hours.filter("second")["place"], int(hours["by_gap"].sum())


def _oldest_first(frame: pl.DataFrame) -> pl.DataFrame:
    """Put each series oldest first: one whose times mostly fall is a log written newest first."""
    step = pl.col("t").diff().over("key")
    falls = (step < pl.duration()).sum().over("key") > (step > pl.duration()).sum().over("key")
    order = pl.when(falls).then(-pl.col("place")).otherwise(pl.col("place"))
    return frame.with_columns(order=order).sort("key", "order", maintain_order=True)
