"""Counters' readings as they are kept: checked for what they count, with those that the file implies."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.core.language import mark, tr
from lineview.intake.cells.counting import (
    Added,
    Shifts,
    interval_starts,
    most_over_step,
    pace_per_min,
    repeats,
    restarts,
    set_back,
    sum_rows,
    usual_step_us,
    what_counts,
)
from lineview.intake.exports import Stretch
from lineview.intake.layout.channels import Channel
from lineview.plant import Counter, Layout, Plant

#: So many of a column's first cells are looked at for what they count.
_LOOK = 5_000
_DAY_US = 86_400_000_000
#: Rows of sums stand this far apart at least [µs]; totals that are read more often may rise slowly.
_APART_US = 600_000_000
#: A pace this far outside its machine's nominal band [times] counts something else than pieces, such as lots.
_OTHER_PACE = 5.0
#: A lane that stands while the others count so many may be one that nobody reads.
_MISSED = 1_000


class CountReadings:
    """What a layout and its plant say of counters' cells, applied to the readings of a column.

    `layout`: of the file; `plant`: for its shifts and its longest read interval; `where`: the file, for messages.
    """

    def __init__(self, layout: Layout, plant: Plant, where: str) -> None:
        self._layout, self._plant, self._where = layout, plant, where
        self._sums = np.zeros(0, np.int64)
        self._stood_h: dict[tuple[int, str], float] = {}

    def checked(self, channel: Channel, header: str, at: pl.Series, values: pl.Series) -> None:
        """Raise where cells that nobody said the meaning of go up and down as no total does.

        Takes `values` [counts].
        """
        part = channel.part
        if not isinstance(part, Counter) or channel.counting is not None or part.counting != "total":
            return
        at_us, value = _in_time_order(at.head(_LOOK), values.head(_LOOK))
        plain = ~sum_rows(value)
        at_us, value = at_us[plain], value[plain]
        if not len(value):
            return
        count = what_counts(at_us, value, part, self._plant)
        is_coarse = usual_step_us(at_us) >= _APART_US and len(np.unique(value)) > 1
        if count.counting in ("since last row", "down") and (count.sure or is_coarse):
            raise IntakeError(_open_fault(header, count.counting, self._where, self._layout.id))

    @property
    def notes(self) -> tuple[str, ...]:
        """What lanes leave open."""
        text = mark(
            "column {lane} of those that '{header}' adds up stood for {hours:,.1f} h while the others counted on: its "
            "counts may be missing"
        )
        every = self._stood_h.items()
        return tuple(tr(text, lane=lane, header=header, hours=hours) for (lane, header), hours in every)

    def look_at_lanes(self, channel: Channel, header: str, at: pl.Series, lanes: list[pl.Series]) -> None:
        """Note how long a lane of a total stood for an hour and more while the others counted on."""
        part = channel.part
        counting = isinstance(part, Counter) and (channel.counting or part.counting)
        frame = pl.DataFrame([at, *(lane.alias(str(k)) for k, lane in enumerate(lanes))]).drop_nulls().sort(at.name)
        at_us, *totals = (column.to_physical().to_numpy() for column in frame.get_columns())
        steps = np.diff(np.array(totals), axis=1)
        for lane, step in enumerate(steps if counting == "total" else (), 1):
            edges = np.flatnonzero(np.diff(step == 0, prepend=False, append=False))
            for first, end in zip(edges[::2], edges[1::2], strict=True):
                others, hours = steps[:, first:end].sum(), (at_us[end] - at_us[first]) / 3.6e9
                if hours >= 1 and others >= _MISSED:
                    self._stood_h[lane, header] = self._stood_h.get((lane, header), 0.0) + hours

    def sums(self, channel: Channel, row: pl.Series, at: pl.Series, values: pl.Series) -> pl.Series | None:
        """Which differences [counts] are sums of others that the file holds too; None where none is."""
        part = channel.part
        if not isinstance(part, Counter) or (channel.counting or part.counting) != "since last row":
            return None
        place = pl.int_range(len(values), eager=True)
        block = pl.DataFrame({"place": place, "row": row, "at": at, "value": values}).drop_nulls()
        block = block.sort("at", maintain_order=True)
        numbers = block["row"].to_numpy()
        is_sum = sum_rows(block["value"].to_numpy(), np.isin(numbers, self._sums))
        self._sums = np.union1d(self._sums, numbers[is_sum])
        return place.is_in(block["place"].filter(pl.Series(is_sum)).implode()) if is_sum.any() else None

    def plausible(self, channel: Channel, header: str, row: pl.Series, at: pl.Series, values: pl.Series) -> None:
        """Raise where the clock was set back in mid-file, or the pace is no pace of the machine.

        Takes rows as they stand in the file, and `values` [counts].
        """
        part = channel.part
        if not isinstance(part, Counter):
            return
        counting = channel.counting or part.counting
        if counting == "since last row":
            return
        if not at.null_count() and not values.null_count() and len(at) and at.is_sorted():
            if counting == "total":
                self._must_be_pace(channel, part, header, at.to_physical().to_numpy(), values.to_numpy())
            return
        block = pl.DataFrame({"row": row, "at": at, "value": values}).drop_nulls()
        at_us, value = block["at"].to_physical().to_numpy(), block["value"].to_numpy()
        places = None if self._layout.any_times else set_back(at_us, -value if counting == "down" else value, part)
        if places is not None:
            raise IntakeError(self._set_back_fault(header, block, *places))
        if counting == "total" and len(value):
            self._must_be_pace(channel, part, header, *_in_time_order(block["at"], block["value"]))

    def _set_back_fault(self, header: str, block: pl.DataFrame, before: int, after: int) -> Fault:
        local, rows = block["at"].dt.convert_time_zone(self._plant.zone), block["row"]
        text = mark(
            "its clock goes back from {before:%Y-%m-%d %H:%M:%S} to {after:%H:%M:%S} (line {before_line} "
            "to line {after_line}) while '{header}' counts on"
        )
        lines = {"before_line": rows[before], "after_line": rows[after]}
        do = mark(
            "Correct the times before or after these lines; any_times = true in layout '{id}' takes them as they are."
        )
        what = tr(text, before=local[before], after=local[after], header=header, **lines)
        return Fault(what, self._where, tr("a clock that nobody set in between"), tr(do, id=self._layout.id))

    def _must_be_pace(self, channel: Channel, part: Counter, header: str, at_us: np.ndarray, value: np.ndarray) -> None:
        """Raise where a counter of pieces is far slower or faster than its machine, all through the file.

        Only where the plant description has a band: while one is set up the band is not known, and is asked about.
        """
        machine = self._plant.machine(channel.machine)
        is_of_pieces = part.counts in ("pieces", "good pieces")
        if machine is None or not is_of_pieces or "nominal_per_min" not in machine.model_fields_set:
            return
        usual, most = (pace * part.unit_value for pace in pace_per_min(at_us, value))
        low, high = machine.nominal_per_min
        if not usual or (most * _OTHER_PACE >= low and usual <= high * _OTHER_PACE):
            return
        what = mark(
            "by '{header}' {machine} makes {usual:,.3g} pieces a minute while it counts, and its nominal "
            "band is {low:g} to {high:g}: one count may not be {unit_value:g}"
        )
        expected = mark("a counter in which one count is {unit_value:g}, as in {machine}'s other files")
        do = mark(
            "Export it so. If {machine} is so slow or fast, correct its nominal_per_min; if one count "
            "always was more, write it as unit_value of its counter '{counter}'."
        )
        facts = {"machine": machine.id, "unit_value": part.unit_value, "counter": part.id, "header": header}
        facts |= {"usual": usual, "low": low, "high": high}
        raise IntakeError(Fault(tr(what, **facts), self._where, tr(expected, **facts), tr(do, **facts)))

    def filled(self, channel: Channel, block: pl.DataFrame) -> pl.DataFrame:
        """A counter's readings with those that rows imply: restarts, starts of intervals, held values.

        Takes `block` with columns at, row and value [counts].
        """
        part = channel.part
        if not isinstance(part, Counter) or "value" not in block.columns or not block.height:
            return block
        counting = channel.counting or part.counting
        if counting in ("total", "down") and not self._layout.on_change:
            return block
        block = block.sort("at", maintain_order=True)
        if counting == "since last row" and self._layout.stamps == "start":
            block = block.with_columns(at=self._move_to_ends(block["at"]))
        added = self._added(block, part, counting)
        if not len(added.at_us):
            return block
        more: pl.DataFrame = block[added.of.tolist()].with_columns(
            at=pl.Series(added.at_us).cast(UTC_US), value=pl.Series(added.value, dtype=pl.Float64, nan_to_null=True)
        )
        both: pl.DataFrame = pl.concat([block, more.select(block.columns)])
        return both

    def _added(self, block: pl.DataFrame, counter: Counter, counting: str) -> Added:
        at_us, value = block["at"].to_physical().to_numpy(), block["value"].to_numpy()
        if counting == "since last row":
            step_us = usual_step_us(at_us) or self._one_row_us(int(at_us[0]))
            return interval_starts(at_us, step_us, 0.0 if self._layout.on_change else np.nan)
        shifts = Shifts.between(self._plant, int(at_us[0]), int(at_us[-1]))
        if counting == "since shift start":
            return restarts(at_us, value, counter, shifts)
        return repeats(at_us, value, round(self._plant.gap_s * 5e5))

    def _move_to_ends(self, at: pl.Series) -> pl.Series:
        """Moments of rows moved from the start of what they count to its end."""
        step = usual_step_us(at.to_physical().to_numpy())
        if not step:
            shifts = Shifts.between(self._plant, int(at.to_physical()[0]), int(at.to_physical()[0]))
            place = max(int(np.searchsorted(shifts.start_us, int(at.to_physical()[0]), side="right")) - 1, 0)
            step = int(shifts.end_us[place] - shifts.start_us[place])
        if step % _DAY_US == 0:  # days have 23 or 25 hours twice a year
            local = at.dt.convert_time_zone(self._plant.zone)
            return local.dt.offset_by(f"{step // _DAY_US}d").dt.convert_time_zone("UTC")
        return at + pl.Series([step]).cast(pl.Duration("us"))

    def _one_row_us(self, at_us: int) -> int:
        """How long a shift took that a single row ends [µs]."""
        shifts = Shifts.between(self._plant, at_us, at_us)
        before = shifts.start_us[shifts.start_us < at_us]
        return at_us - int(before[-1]) if len(before) else _DAY_US


class PieceEnds:
    """The ends of a big file's pieces, over which a clock may have been set back.

    Parameters
    ----------
    channels : collection of Channel
        Of the file, totals or counters of what is left.
    """

    def __init__(self, channels: Collection[Channel]) -> None:
        self._counters: dict[tuple[str, str], tuple[float, float]] = {}
        self._is_one = len(channels) == 1
        for channel in channels:
            if isinstance(part := channel.part, Counter):
                sign = -1.0 if (channel.counting or part.counting) == "down" else 1.0
                self._counters[channel.machine, part.id] = sign, most_over_step(part)
        self._last: dict[tuple[str, str], tuple[datetime, float]] = {}

    def go_back(self, piece: Stretch) -> bool:
        """Whether in the next piece a counter goes on while the clock goes back."""
        back = False
        for machine, channel, *cells in self._ends(piece.frames):
            if None in cells or (machine, channel) not in self._counters:
                continue
            sign, most = self._counters[machine, channel]
            first, last = (cells[0], sign * cells[1]), (cells[2], sign * cells[3])
            before = self._last.get((machine, channel), first)
            older, newer = (before, first) if first[0] <= last[0] else (first, before)
            back |= older[0] > newer[0] and 0 <= newer[1] - older[1] <= most
            self._last[machine, channel] = last
        return back

    def _ends(self, frames: tuple[pl.DataFrame, ...]) -> Iterator[tuple[Any, ...]]:
        """Machine, channel, and the first and last moment and value of each channel."""
        names = ["machine", "channel"]
        if len(frames) > 1 or self._is_one:  # of one channel each, which need not be looked for
            for frame in filter(len, frames):
                # slices first: a constant column that is looked at whole is written out, and stays so
                first, last = (end.row(0, named=True) for end in (frame.head(1), frame.tail(1)))
                yield first["machine"], first["channel"], first["at"], first["value"], last["at"], last["value"]
            return
        sides = [pl.col(name).first().alias(f"first_{name}") for name in ("at", "value")]
        sides += [pl.col(name).last() for name in ("at", "value")]
        for frame in frames:
            yield from frame.group_by(names, maintain_order=True).agg(sides).iter_rows()


def _in_time_order(at: pl.Series, values: pl.Series) -> tuple[np.ndarray, np.ndarray]:
    frame = pl.DataFrame({"at": at, "value": values}).drop_nulls()
    if not frame["at"].is_sorted():
        frame = frame.sort("at", maintain_order=True)
    return frame["at"].to_physical().to_numpy(), frame["value"].to_numpy()


def _open_fault(header: str, counting: str, where: str, layout: str) -> Fault:
    what = (
        mark("'{header}' is read as a counter's total, but it goes down from row to row")
        if counting == "down"
        else mark("'{header}' is read as a counter's total, but it goes up and down as differences do")
    )
    return Fault(
        tr(what, header=header),
        where,
        tr('counting = "{counting}", or counting = "total" where it is one, beside the column', counting=counting),
        tr("Write it under [layouts.columns] of layout '{layout}'.", layout=layout),
    )
