"""The time zone that a header, a units row or a preamble names for the times below it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast
from zoneinfo import ZoneInfo, available_timezones

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.core.language import tr
from lineview.intake.detect.header import Heading

#: Abbreviations of zones in exports and how far each is ahead of UTC [min]. Source: iana-time-zones
_BY_MINUTES = {
    0: "UTC GMT WET WEZ",
    60: "WEST WESZ BST CET MEZ",
    120: "CEST MESZ EET OEZ",
    180: "EEST OESZ",
    -300: "EST CDT",
    -240: "EDT",
    -360: "CST MDT",
    -420: "MST PDT",
    -480: "PST",
}
ABBREVIATIONS = {name: ahead_min for ahead_min, names in _BY_MINUTES.items() for name in names.split()}
_NAMES = "|".join(sorted(ABBREVIATIONS, key=len, reverse=True))
_OFFSET = r"(?:\s*(?P<offset>[+\-−]\s?\d{1,2}(?::?\d{2})?))?"
_WORD = re.compile(rf"(?<![A-Za-z])(?:(?P<any>(?i:UTC|GMT))|(?P<name>{_NAMES})){_OFFSET}(?![A-Za-z])")
_PLACE = re.compile(r"[A-Z][A-Za-z]+/[A-Z][A-Za-z_]+(?:/[A-Z][A-Za-z_]+)?")
_OF_TIMES = re.compile(r"time|zeit|stamp|stempel|heure|hora|\bora\b|orari|tijd|zone|zona|fuseau|uhr", re.IGNORECASE)
_STAMP = re.compile(r"\d{4}-\d\d?-\d\d?|\d\d?[./]\d\d?[./]\d{2,4}")


@dataclass(frozen=True)
class NamedZone:
    """A zone as a file names it: its words, and either a zone's name or how far it is ahead of UTC [min]."""

    words: str
    place: str = ""
    ahead_min: int = 0

    @property
    def is_utc(self) -> bool:
        """Whether it says UTC itself, which no wall clock is called."""
        return not self.place and self.ahead_min == 0 and "utc" in self.words.lower()

    @property
    def zone(self) -> str:
        """The zone as a layout writes it, "" where it has no name: those with half hours."""
        if self.place or self.ahead_min == 0:
            return self.place or "UTC"
        hours, minutes = divmod(self.ahead_min, 60)
        return "" if minutes else f"Etc/GMT{-hours:+d}"  # named with the sign turned round


def named_zone(heading: Heading, headers: Iterable[str]) -> NamedZone | None:
    """The zone that the headers of times, their units or the lines above them name."""
    for header in headers:
        place = heading.find(header)
        texts = [header] if place is None else [heading.names[place], heading.units.get(place, "")]
        for text in texts:
            if (zone := _in_text(text)) is not None:
                return zone
    for line in heading.preamble:
        if _OF_TIMES.search(line) and not _STAMP.search(line) and (zone := _in_text(line)) is not None:
            return zone
    return None


def _in_text(text: str) -> NamedZone | None:
    place = _PLACE.search(text)
    if place is not None and place[0] in available_timezones():
        return NamedZone(place[0], place[0])
    match = _WORD.search(text.replace("_", " "))
    if match is None:
        return None
    ahead = ABBREVIATIONS[(match["any"] or match["name"]).upper()]
    if match["offset"]:
        digits = re.sub(r"[\s:]", "", match["offset"].replace("−", "-"))
        hours, minutes = int(digits[1:3]), int(digits[3:] or 0)
        ahead += (60 * hours + minutes) * (-1 if digits[0] == "-" else 1)
    return NamedZone(match[0].strip(), "", ahead)


def against_clock(zone_of_file: NamedZone, plant_zone: str, naive: pl.Series) -> Literal["same", "open", "other"]:
    """Whether a named zone reads wall-clock times as the works' clock does, may mean that clock, or does not.

    "MEZ" in summer may mean what it says, an hour behind the clock on the wall, or that clock.
    """
    times = naive.drop_nulls()
    if not len(times):
        return "same"  # moments, of which no zone above them says anything
    if zone_of_file.place or zone_of_file.is_utc:
        return "other"
    local = times.dt.replace_time_zone(plant_zone, ambiguous="earliest", non_existent="null")
    fixed = times.dt.offset_by(f"{-zone_of_file.ahead_min}m").dt.replace_time_zone("UTC").cast(UTC_US)
    if bool((local.dt.convert_time_zone("UTC").cast(UTC_US) == fixed).all()):
        return "same"
    return "open" if zone_of_file.ahead_min in _seasons_min(plant_zone, times) else "other"


def _seasons_min(zone: str, times: pl.Series) -> list[int]:
    """How far a zone is ahead of UTC in winter and in summer [min]."""
    seasons = [datetime(cast(datetime, times.min()).year, month, 1, tzinfo=ZoneInfo(zone)) for month in (1, 7)]
    return [round(offset.total_seconds() / 60) for at in seasons if (offset := at.utcoffset()) is not None]


def marked_otherwise(cells: pl.Series, moment: pl.Series, zone: str) -> tuple[NamedZone | None, pl.Series]:
    """What cells are marked with that is the zone's other season ("MEZ" in summer), and the wall clocks of those.

    None where nothing is; times are null in all other cells.
    """
    marks = cells.str.extract(r"([A-Z]{3,5})\)?\s*$").set(moment.is_null(), None)
    ahead_min = marks.replace_strict(ABBREVIATIONS, default=None, return_dtype=pl.Int64)
    wall = moment.dt.replace_time_zone(None) + (ahead_min * 60_000_000).cast(pl.Duration("us"))
    if ahead_min.null_count() == len(cells):
        return None, wall
    local = moment.dt.convert_time_zone(zone)
    differs = ahead_min != (local.dt.base_utc_offset() + local.dt.dst_offset()).dt.total_minutes()
    other = (differs & ahead_min.is_in(_seasons_min(zone, moment)) & ~marks.is_in(["UTC", "GMT"])).fill_null(False)
    words = marks.filter(other).head(1).to_list()
    return (NamedZone(words[0], "", ABBREVIATIONS[words[0]]) if words else None), wall.set(~other, None)


def open_fault(zone_of_file: NamedZone, plant_zone: str, layout: str, where: str) -> IntakeError:
    """The error where nothing says which of the two a named zone means."""
    return IntakeError(
        Fault(
            tr(
                "its times are marked '{words}', in this season another clock than {plant_zone}",
                words=zone_of_file.words,
                plant_zone=plant_zone,
            ),
            where,
            tr("zone = '{plant_zone}' or zone = '{zone}'", plant_zone=plant_zone, zone=zone_of_file.zone),
            tr("Write in layout '{layout}' which of them is meant.", layout=layout),
        )
    )
