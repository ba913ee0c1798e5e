"""A machine's readings over some windows as arrays, and what of them lies within each window."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.frames import READINGS, empty
from lineview.machine.speed import Bools, Floats, Ints
from lineview.plant import Machine

#: Gauges of the rope, whose readings a record keeps.
GAUGED = ("rope diameter", "rope temperature", "roller speed")
#: Gauges whose readings are words or codes.
_SAYING = ("state", "product", "batch")


@dataclass(frozen=True)
class Series:
    """Readings of one channel by time: moments [µs], values, and whether each is good."""

    at_us: Ints
    value: Floats
    good: Bools

    def only(self, rows: Bools) -> Series:
        """Some of the readings."""
        return self if rows.all() else Series(self.at_us[rows], self.value[rows], self.good[rows])

    def part(self, first: int, last: int) -> Series:
        """Those from one place up to, not including, another."""
        return Series(self.at_us[first:last], self.value[first:last], self.good[first:last])


@dataclass(frozen=True)
class WindowReadings:
    """A machine's readings within one window.

    `good`: good readings of all channels; `first_us`, `last_us`: moments of the first and the last reading of any
    channel; None without any; `counters`: by channel the good readings of each counter, nan only where one of
    differences says that nobody knows what was counted; `gauges`: by
    channel the readings of each gauge of the rope that have a value; `texts`: READINGS of the channels of states,
    products and batches, by time.
    """

    good: int
    first_us: int | None
    last_us: int | None
    counters: Mapping[str, Series]
    gauges: Mapping[str, Series]
    texts: pl.DataFrame


class MachineReadings:
    """A machine's readings, split by channel.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    channels : mapping
        By channel a frame of at, value, text and quality, by time, each moment once.
    """

    def __init__(self, machine: Machine, channels: Mapping[str, pl.DataFrame]) -> None:
        every = {name: _series(frame) for name, frame in channels.items()}
        self._every = list(every.values())
        self._counters = {
            counter.id: part.only(part.good & (np.isfinite(part.value) | (counter.counting == "since last row")))
            for counter in machine.counters
            if (part := every.get(counter.id)) is not None
        }
        self._gauges = {
            gauge.id: every[gauge.id].only(channels[gauge.id]["value"].is_not_null().to_numpy())
            for gauge in machine.gauges
            if gauge.measures in GAUGED and gauge.id in every
        }
        names = [gauge.id for gauge in machine.gauges if gauge.measures in _SAYING and gauge.id in every]
        self._texts = _text_readings(machine, {name: channels[name] for name in names})

    def within(self, starts_us: Ints, ends_us: Ints) -> Iterator[WindowReadings]:
        """The readings within each window, from its start up to, not including, its end [µs]."""
        good, first, last = self._extent(starts_us, ends_us)
        counters = {name: (part, _places(part, starts_us, ends_us)) for name, part in self._counters.items()}
        gauges = {name: (part, _places(part, starts_us, ends_us)) for name, part in self._gauges.items()}
        text_us = self._texts["at"].dt.epoch("us").to_numpy()
        state_places = np.searchsorted(text_us, np.stack((starts_us, ends_us), axis=1)).tolist()
        for k, (begin, end) in enumerate(state_places):
            has_readings = last[k] >= first[k]
            yield WindowReadings(
                int(good[k]),
                int(first[k]) if has_readings else None,
                int(last[k]) if has_readings else None,
                {name: part.part(*places[k]) for name, (part, places) in counters.items()},
                {name: part.part(*places[k]) for name, (part, places) in gauges.items()},
                self._texts if end - begin == self._texts.height else self._texts.slice(begin, end - begin),
            )

    def _extent(self, starts_us: Ints, ends_us: Ints) -> tuple[Ints, Ints, Ints]:
        """Number of good readings of each window, and its first and last moment [µs]; last first without."""
        good = np.zeros(len(starts_us), dtype=np.int64)
        first = np.full(len(starts_us), np.iinfo(np.int64).max)
        last = np.full(len(starts_us), np.iinfo(np.int64).min)
        for part in self._every:
            begin, end = np.searchsorted(part.at_us, starts_us), np.searchsorted(part.at_us, ends_us)
            until = np.concatenate(([0], np.cumsum(part.good)))
            good += until[end] - until[begin]
            has = end > begin
            first[has] = np.minimum(first[has], part.at_us[begin[has]])
            last[has] = np.maximum(last[has], part.at_us[end[has] - 1])
        return good, first, last


def _series(frame: pl.DataFrame) -> Series:
    return Series(
        frame["at"].dt.epoch("us").to_numpy(),
        frame["value"].to_numpy(),  # a null is nan
        (frame["quality"] == "good").to_numpy(),
    )


def _places(part: Series, starts_us: Ints, ends_us: Ints) -> list[list[int]]:
    """First place within each window, and the first one after it."""
    places: list[list[int]] = np.searchsorted(part.at_us, np.stack((starts_us, ends_us), axis=1)).tolist()
    return places


def _text_readings(machine: Machine, channels: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """The readings of some channels as one frame by time."""
    if not channels:
        return empty(READINGS)
    parts = [
        frame.select(
            pl.lit(machine.id).alias("machine"),
            pl.lit(name).alias("channel"),
            "at",
            "value",
            "text",
            pl.col("quality").cast(pl.String),
        )
        for name, frame in sorted(channels.items())
    ]
    return pl.concat(parts).sort("at", maintain_order=True)
