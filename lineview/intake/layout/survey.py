"""What exports hold, looked at without a plant description: which machines, which counters and gauges."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import tr
from lineview.core.units import unit_named
from lineview.intake.cells.timestamps import plan_clock, read_clock
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.encoding import open_export
from lineview.intake.detect.header import (
    CHANNELS,
    Heading,
    bare_heading,
    guessed_place,
    heading_at,
    recognised,
    same,
    tokens,
    unit_of,
    word_set,
)
from lineview.intake.detect.tables import must_be_narrow
from lineview.intake.layout.propose_columns import MACHINE, kind_for, long_columns, pattern_for
from lineview.intake.layout.propose_times import FoundClock, find_clock, time_shares
from lineview.intake.read import tables_of
from lineview.intake.tidy.rows import Rows, data_rows
from lineview.plant import ExportKind, Plant

#: Words of a file's name that name no machine.
_WORDS_OF_NO_NAME = word_set(
    "export exports log logs data daten datos dati données donnees gegevens counter counters zähler "
    "zaehler compteur compteurs contador contadores contatore contatori teller tellers report protokoll "
    "rapport informe rapporto csv xlsx shift schicht équipe equipe turno ploeg early late night früh "
    "frueh spät spaet nacht matin soir nuit mañana manana tarde noche mattina pomeriggio notte ochtend "
    "middag day tag jour día dia giorno dag readings werte messwerte from to von bis"
)
#: What a number behind a word counts where it counts no machine: roller pairs, lanes, probes.
_NO_MACHINE = word_set(
    "pair paar paire par coppia walze walzenpaar roller rouleau rodillo rullo rol lane bahn spur voie "
    "carril pista baan probe sensor fühler sonde column spalte v speed product batch"
)
_RATE = re.compile(
    r"(/|\bper|\bpro|\bpar|\bpor|\bal|\bp)\s*\.?(min|h|hour|stunde|std|heure|hora|ora|uur|minuut|s|sec)\b"
    r"|1/min|min-1|ppm|\b(takt|rate|speed|tempo|cadence|cadencia|cadenza)\b"
    r"|velocit|snelheid|geschwindigkeit|vitesse|velocidad",
    re.IGNORECASE,
)
#: Words that make a header a plan and not a count.
_AIM = re.compile(r"\b(soll|target|ziel|objectif|objetivo|obiettivo|doel|plan\w*|setpoint|nominal)\b", re.I)
_BEFORE = re.compile(r"^(?P<word>[^\W\d_]+)(?P<gap>[\s_-]?)(?P<number>\d{1,2})[\s._:/\-]+(?P<rest>.+)$")
_AFTER = re.compile(r"^(?P<rest>.+?)[\s._:/\-]+(?P<word>[^\W\d_]+)(?P<gap>[\s_-]?)(?P<number>\d{1,2})$")
_DATES = re.compile(r"(?<![^\W\d_])\d{2,}(?:[-_. T]?\d+)*|\d{4,}(?:[-_. T]?\d+)*")
#: What browsers and file managers write behind the name of a file that is there already.
_COPY = re.compile(
    r"(?:[ _-]?\(\d{1,2}\)|[ _-]+(?:copy|kopie|copie|copia|kopia)(?:[ _-]?\(?\d{1,2}\)?)?)$", re.IGNORECASE
)
COUNTED = ("pieces", "good pieces", "rejects", "blank wraps", "film", "wax paper", "rope")


@dataclass(frozen=True)
class SurveyedColumn:
    """A column, or a name of a long table: what it means ("" unknown), its unit, the machine it names."""

    header: str
    meaning: str
    unit: str = ""
    owner: str = ""


@dataclass(frozen=True)
class Survey:
    """One export as it looks without a plant description.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    kind : str
        As in lineview.plant.ExportKind.
    pattern : str
        Of files named like this one.
    headers : tuple of str
        Its header row, by which exports belong together.
    columns : tuple of SurveyedColumn
        Those with a header, times and machine column left out.
    machine, part : str
        The words of the file's name before its date and behind it: a machine, or a shift.
    machines : mapping of str to tuple of str
        Where a column names machines: by name, the headers that have values for it.
    times : tuple of str
        Headers of the time.
    moments : tuple of str
        The first and the last of its times, as written.
    span : tuple of datetime.datetime or None
        The same as read, on whatever clock they are.
    counts : tuple of float or None
        What its first counter stands at in the first and last row of a wide table.
    """

    path: Path
    kind: ExportKind
    pattern: str
    sheet: str
    headers: tuple[str, ...]
    columns: tuple[SurveyedColumn, ...]
    machine: str
    part: str
    machines: dict[str, tuple[str, ...]]
    times: tuple[str, ...]
    moments: tuple[str, ...] = ()
    span: tuple[datetime, datetime] | None = None
    counts: tuple[float, float] | None = None

    @property
    def owners(self) -> tuple[str, ...]:
        """The machines that headers name."""
        return tuple(dict.fromkeys(column.owner for column in self.columns if column.owner))


def survey_export(path: Path) -> Survey:
    """Look at one export.

    Parameters
    ----------
    path : pathlib.Path
        Of the file.

    Returns
    -------
    Survey
        What its headers and cells say.

    Raises
    ------
    IntakeError
        Where it cannot be read, or no table in it has a time.
    """
    opened = open_export(path)
    for records in tables_of(opened, Plant(shop=""), None):
        must_be_narrow(records, str(path))
        place = guessed_place(records)
        heading = heading_at(records, place) if place >= 0 else bare_heading(records)
        rows = data_rows(records, heading, range(heading.width))
        clock = find_clock(rows, heading, time_shares(rows, heading), typed=records.is_sheet)
        if clock is not None:
            return _survey(path, opened.name, records, heading, rows, clock)
    raise IntakeError(Fault(tr("no rows with times"), str(path), tr("a column of times under a row of headers")))


def _survey(path: Path, name: str, records: Records, heading: Heading, rows: Rows, clock: FoundClock) -> Survey:
    times = clock.places
    long = long_columns(heading, rows)
    of_machines = (p for p in range(heading.width) if tokens(heading.names[p]) & MACHINE)
    owner = next((p for p in of_machines if not recognised(heading.names[p], CHANNELS)), None)
    kind = kind_for(name, records.sheet, heading, Plant(shop=""), long is not None)
    if long is not None:
        cells = rows.column(long[0])
        texts = [n.strip() for n in cells.unique(maintain_order=True).to_list() if n.strip()][:200]
        columns = _columns([(text, "") for text in texts])
        machines = {} if owner is None else _headers_in_long(rows.column(owner), cells)
    else:
        places = [p for p in range(heading.width) if p not in times and p != owner and heading.names[p]]
        units = [unit_named(heading.units.get(p, "")) or unit_of(heading.names[p]) for p in places]
        columns = _columns(list(zip([heading.names[p] for p in places], units, strict=True)))
        machines = {} if owner is None else _headers_in_wide(rows, owner, places, heading)
    moments, written = _moments(rows, times), tuple(heading.names[p] for p in times)
    read = _span(moments, clock.time_format), None if long is not None else _counts(rows, heading, columns)
    of_file = (path, kind, pattern_for(name), records.sheet, heading.names, columns)
    return Survey(*of_file, *machine_of(name), machines, written, moments, *read)


def _moments(rows: Rows, times: tuple[int, ...]) -> tuple[str, ...]:
    """The first and the last time, as written."""
    cells = pl.select(pl.concat_str([rows.column(p) for p in times], separator=" ")).to_series()
    filled = cells.filter(cells.str.strip_chars() != "")
    return (str(filled[0]), str(filled[-1])) if len(filled) else ()


def _span(moments: tuple[str, ...], time_format: str) -> tuple[datetime, datetime] | None:
    """The first and last moment as read."""
    cells = pl.Series("at", list(moments), dtype=pl.String())
    plan = plan_clock(cells, time_format if time_format != "iso" else "auto")
    read = read_clock(cells, plan.formats) if moments and plan.formats else None
    if read is None:
        return None
    times = read.moment.dt.replace_time_zone(None) if read.moment.null_count() == 0 else read.naive
    if times.null_count():
        return None
    return times.min(), times.max()  # type: ignore[return-value]  # polars leaves the type of a minimum open


def _counts(rows: Rows, heading: Heading, columns: tuple[SurveyedColumn, ...]) -> tuple[float, float] | None:
    """What the first counter stands at in the first and the last row."""
    header = next((column.header for column in columns if column.meaning in COUNTED), None)
    if header is None:
        return None
    digits = rows.column(heading.names.index(header)).str.replace(r"\.0E0$", "").str.replace_all(r"\D", "")
    numbers = digits.filter(digits != "").cast(pl.Float64)
    return (float(numbers[0]), float(numbers[-1])) if len(numbers) else None


def _headers_in_long(owners: pl.Series, names: pl.Series) -> dict[str, tuple[str, ...]]:
    pairs = pl.DataFrame({"owner": owners.str.strip_chars(), "name": names.str.strip_chars()}).unique()
    by = pairs.filter(pl.col("owner") != "").sort("owner", "name").group_by("owner", maintain_order=True)
    return {str(key[0]): tuple(group["name"].to_list()) for key, group in by}


def _headers_in_wide(rows: Rows, owner: int, places: Sequence[int], heading: Heading) -> dict[str, tuple[str, ...]]:
    """For each machine that a column names, the headers under which it has values."""
    filled = {heading.names[p]: (rows.column(p).str.strip_chars() != "").alias(str(p)) for p in places}
    owners = rows.column(owner).str.strip_chars()
    machines = {}
    for name in sorted(n for n in owners.unique().to_list() if n)[:50]:
        here = owners == name
        machines[name] = tuple(header for header, cells in filled.items() if (cells & here).any())
    return machines


def _columns(headers: Sequence[tuple[str, str]]) -> tuple[SurveyedColumn, ...]:
    owned = [_owner_in(header) for header, _ in headers]
    several = len({owner for owner, _ in owned if owner}) > 1
    columns = []
    for (header, unit), (owner, bare_header) in zip(headers, owned, strict=True):
        meaning = meaning_of(bare_header if owner else header)
        columns.append(SurveyedColumn(header, meaning, unit or _unit_at_end(header), owner if several else ""))
    return tuple(columns)


def _unit_at_end(header: str) -> str:
    """The unit that a header's last word is, as in "film_cm"."""
    words = [word for word in re.split(r"[\s_.]+", header.strip()) if word]
    last = words[-1] if len(words) > 1 else ""
    return last if last == "m" else unit_named(last) if last not in ("", "M") else ""


def meaning_of(header: str) -> str:
    """What a header counts or measures, "" where it is not known, a rate or an aim."""
    meaning = recognised(header, CHANNELS)
    if meaning in COUNTED and (_RATE.search(header) or _AIM.search(header)):
        return ""
    return meaning


def _owner_in(header: str) -> tuple[str, str]:
    """The machine that a header names, and the rest of it; "" where it names none."""
    for match in (_BEFORE.match(header), _AFTER.match(header)):
        if match is None or same(match["word"]) in _NO_MACHINE or not recognised(match["rest"], CHANNELS):
            continue
        if recognised(match["word"], CHANNELS):
            continue
        return f"{match['word']}{match['gap']}{match['number']}", match["rest"]
    return "", header


def original_of(name: str) -> str:
    """The name of the file that one is a second download or a copy of, by its own name; "" where it is none.

    Examples
    --------
    >>> original_of("press 2 (1).csv"), original_of("press 2 - Copy.csv"), original_of("press 2.csv")
    ('press 2.csv', 'press 2.csv', '')
    """
    ending = re.search(r"(?:\.[A-Za-z]{1,5}(?:\.gz)?)?$", name)
    stem = name[: ending.start()] if ending else name
    bare = _COPY.sub("", stem)
    return "" if bare in ("", stem) else bare + name[len(stem) :]


def machine_of(name: str) -> tuple[str, str]:
    """The words of a file's name before its date, and those behind it, that could name a machine or a shift.

    Examples
    --------
    >>> machine_of("wrap1_2026-06-08_early.csv"), machine_of("2026-06-08 2026-06-09 press 2.csv")
    (('wrap1', ''), ('', 'press 2'))
    """
    stem = re.sub(r"\.[A-Za-z]{1,5}(\.gz)?$", "", name)
    before, _, behind = _DATES.sub("\0", stem, count=1).partition("\0")
    return _naming(before), _naming(_DATES.sub(" ", behind))


def _naming(text: str) -> str:
    """The words that name something, "" where none has a letter."""
    words = [word for word in re.split(r"[\s_.\-]+", text) if word]
    naming_words = [word for word in words if same(re.sub(r"\d", "", word)) not in _WORDS_OF_NO_NAME or word.isdigit()]
    return " ".join(naming_words) if any(re.search(r"[^\W\d_]", word) for word in naming_words) else ""
