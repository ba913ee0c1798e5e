"""Invented works that nobody described yet: folders of exports in six languages, and their truth."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from lineview.demo.files import Cell, write_gzip, write_xlsx
from lineview.demo.line import LineRun
from lineview.demo.spec import MOVING, LineSpec, Window, demo_plant, line_specs, windows
from lineview.demo.truth import CounterTruth
from lineview.plant import Break, Plant, Shift

#: Words that a works of each language would write; two of a kind are taken in turn.
WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "en": {
        "date": ("Date",), "clock": ("Time",), "stamp": ("Timestamp", "Date/Time"), "machine": ("Machine",),
        "pieces": ("Pieces total", "Total count"), "good": ("Good pieces",), "rejects": ("Rejects",),
        "film": ("Film",), "paper": ("Wax paper",), "diameter": ("Rope diameter",), "rope": ("Rope length",),
        "wrap": ("Wrapper", "wrap"), "sizer": ("Sizer", "rollers"),
    },
    "de": {
        "date": ("Datum",), "clock": ("Uhrzeit", "Zeit"), "stamp": ("Zeitstempel",), "machine": ("Maschine",),
        "pieces": ("Stück gesamt", "Stückzahl"), "good": ("Gutstück",), "rejects": ("Ausschuss",),
        "film": ("Folie",), "paper": ("Wachspapier",), "diameter": ("Strangdurchmesser", "Strang Ø"),
        "rope": ("Stranglänge",), "wrap": ("Wickler", "Einwickler"), "sizer": ("Egalisator", "Kalibrierer"),
    },
    "fr": {
        "date": ("Date",), "clock": ("Heure",), "stamp": ("Horodatage",), "machine": ("Machine",),
        "pieces": ("Pièces", "Compteur pièces"), "good": ("Bonnes pièces",), "rejects": ("Rebuts",),
        "film": ("Film",), "paper": ("Papier ciré",), "diameter": ("Diamètre boudin",),
        "rope": ("Longueur boudin",), "wrap": ("Plieuse",), "sizer": ("Calibreuse",),
    },
    "es": {
        "date": ("Fecha",), "clock": ("Hora",), "stamp": ("Fecha y hora",), "machine": ("Máquina",),
        "pieces": ("Piezas", "Contador de piezas"), "good": ("Piezas buenas",), "rejects": ("Rechazos",),
        "film": ("Película",), "paper": ("Papel encerado",), "diameter": ("Diámetro del cordón",),
        "rope": ("Longitud del cordón",), "wrap": ("Envolvedora",), "sizer": ("Calibradora",),
    },
    "it": {
        "date": ("Data",), "clock": ("Ora",), "stamp": ("Data e ora",), "machine": ("Macchina",),
        "pieces": ("Pezzi", "Contatore pezzi"), "good": ("Pezzi buoni",), "rejects": ("Scarti",),
        "film": ("Film", "Pellicola"), "paper": ("Carta cerata",), "diameter": ("Diametro cordone",),
        "rope": ("Lunghezza cordone",), "wrap": ("Incartatrice",), "sizer": ("Calibratrice",),
    },
    "nl": {
        "date": ("Datum",), "clock": ("Tijd",), "stamp": ("Tijdstip",), "machine": ("Machine",),
        "pieces": ("Stuks", "Teller stuks"), "good": ("Goede stuks",), "rejects": ("Uitval",),
        "film": ("Folie",), "paper": ("Waspapier",), "diameter": ("Diameter streng",),
        "rope": ("Lengte streng",), "wrap": ("Wikkelaar",), "sizer": ("Kalibreerder",),
    },
}  # fmt: skip
#: Headers of columns that are of no use, and of a long file's names and values.
EXTRAS = {
    "en": ("Speed (1/min)", "Operator"), "de": ("Takt [1/min]", "Bediener"), "fr": ("Cadence (p/min)", "Opérateur"),
    "es": ("Velocidad (piezas/min)", "Operario"), "it": ("Velocità (pz/min)", "Operatore"),
    "nl": ("Snelheid (st/min)", "Bediener"),
}  # fmt: skip
LONG: dict[str, tuple[str, str]] = {
    "en": ("Name", "Value"), "de": ("Name", "Wert"), "fr": ("Nom", "Valeur"), "es": ("Nombre", "Valor"),
    "it": ("Nome", "Valore"), "nl": ("Naam", "Waarde"),
}  # fmt: skip
ZONES = {"en": "Europe/London", "de": "Europe/Berlin", "fr": "Europe/Paris", "es": "Europe/Madrid",
         "it": "Europe/Rome", "nl": "Europe/Amsterdam"}  # fmt: skip
LANGUAGES = tuple(WORDS)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri")


def _shift(name: str, start: str, end: str, breaks: Sequence[str] = (), days: Sequence[str] = WEEKDAYS) -> Shift:
    pauses = tuple(
        Break(start=time.fromisoformat(b.split("-")[0]), end=time.fromisoformat(b.split("-")[1])) for b in breaks
    )
    begin, finish = time.fromisoformat(start), time.fromisoformat(end)
    return Shift.model_validate({"id": name, "start": begin, "end": finish, "days": tuple(days), "breaks": pauses})


#: The rhythms that works run by.
PATTERNS: tuple[tuple[Shift, ...], ...] = (
    (_shift("a", "06:00", "14:00", ["09:00-09:15", "11:30-12:00"]),
     _shift("b", "14:00", "22:00", ["17:00-17:15", "19:30-20:00"])),
    (_shift("a", "07:00", "15:30", ["09:30-09:45", "12:00-12:30"]),),
    (_shift("a", "06:00", "14:00", ["10:00-10:30"]), _shift("b", "14:00", "22:00", ["18:00-18:30"]),
     _shift("c", "22:00", "06:00", ["02:00-02:30"])),
    (_shift("a", "05:30", "13:30", ["09:00-09:20"]), _shift("b", "13:30", "21:30", ["17:00-17:20"])),
    (_shift("a", "06:00", "16:00", ["09:00-09:15", "12:00-12:45"], WEEKDAYS[:4]),),
    (_shift("a", "08:00", "17:00", ["12:00-13:00"]),),
    (_shift("a", "06:00", "14:00", ["09:00-09:30"], [*WEEKDAYS, "sat"]),
     _shift("b", "14:00", "22:00", ["18:00-18:30"])),
)  # fmt: skip
#: Which lines a works has: each a wrapper with ("b") or without ("w") a sizer whose exports are kept.
LINES = ("w", "b", "ww", "bw", "bb", "bbw", "bbb")


@dataclass(frozen=True)
class Recipe:
    """How one works and its exports are made."""

    number: int
    language: str
    lines: str
    shifts: tuple[Shift, ...]
    days: int
    every_s: float
    ending: str
    stamp: str
    modulus: int
    film_unit: str
    by_shift: bool
    one_file: bool
    good: bool
    reset: bool
    extras: bool
    preamble: bool
    long: bool
    unnamed: bool


@dataclass(frozen=True)
class TrueShift:
    """What one wrapper did in one shift."""

    machine: str
    start: datetime
    end: datetime
    made: int
    planned_min: float
    running_min: float
    film_m: float


@dataclass(frozen=True)
class Undescribed:
    """A folder of exports, the zone of the computer it stands on, and what is true of it."""

    recipe: Recipe
    folder: Path
    zone: str
    truth: tuple[TrueShift, ...]


def recipe(number: int) -> Recipe:
    """How the works of a number is made; the same number gives the same works."""
    rng = np.random.default_rng([number, 12])

    def pick(options: Sequence[object]) -> object:
        return options[int(rng.integers(len(options)))]

    language, lines = LANGUAGES[number % 6], LINES[number % len(LINES)]
    ending = "jsonl" if number % 11 == 5 else ("csv", "tsv", "xlsx", "csv.gz", "txt")[number % 5]
    stamps = ["local", "iso", "offset", "epoch"] + (["twelve"] if language == "en" else ["split"])
    return Recipe(
        number=number,
        language=language,
        lines=lines,
        shifts=PATTERNS[int(rng.integers(len(PATTERNS)))],
        days=int(rng.integers(3, 8)),
        every_s=float(rng.choice([10.0, 20.0, 30.0, 60.0])),
        ending=ending,
        stamp=str(pick(stamps)),
        modulus=int(rng.choice([65_536, 1_000_000, 2**32])),
        film_unit=str(pick(["m", "dm", "cm", ""])),
        by_shift=bool(rng.random() < 0.25),
        one_file=bool(rng.random() < 0.2),
        good=bool(rng.random() < 0.3),
        reset=bool(rng.random() < 0.1),
        extras=bool(rng.random() < 0.4),
        preamble=bool(rng.random() < 0.3),
        long=bool(rng.random() < 0.2) and ending != "xlsx",
        unnamed=lines == "w" and bool(rng.random() < 0.5),
    )


def make_undescribed(number: int, into: Path) -> Undescribed:
    """Write the exports of a works, one file a machine and day (or shift), and give its truth."""
    how = recipe(number)
    zone = ZoneInfo(ZONES[how.language])
    plant = demo_plant().model_copy(update={"shifts": how.shifts, "zone": zone.key})
    shifts = windows(plant, date(2026, 6, 8), how.days)
    into.mkdir(parents=True, exist_ok=True)
    writer = _Writer(how, zone, into)
    truth: list[TrueShift] = []
    for place, kind in enumerate(how.lines):
        spec = _spec(plant, place)
        run = LineRun(spec, number * 10 + place)
        counters = CounterTruth(spec, [run.shift(window) for window in shifts])
        writer.line(place, kind, counters, shifts)
        truth += _truth(writer.name("wrap", place), counters, zone, shifts)
    writer.close()
    return Undescribed(how, into, zone.key, tuple(truth))


def _spec(plant: Plant, place: int) -> LineSpec:
    spec = line_specs(plant)[place % 2]
    return replace(spec, line=f"line{place + 1}")


def _truth(machine: str, counters: CounterTruth, zone: ZoneInfo, shifts: Sequence[Window]) -> list[TrueShift]:
    rows = []
    for window, shift in zip(shifts, counters.shifts, strict=True):
        at = counters.at(np.array([window.start_s, window.end_s]))
        paused = sum(end - start for start, end in window.breaks)
        running = sum(s.seconds for s in shift.stretches if s.state in MOVING)
        rows.append(
            TrueShift(
                machine,
                datetime.fromtimestamp(window.start_s, zone),
                datetime.fromtimestamp(window.end_s, zone),
                int(at["pieces"][1] - at["pieces"][0]),
                (window.end_s - window.start_s - paused) / 60.0,
                running / 60.0,
                float(at["film"][1] - at["film"][0]),
            )
        )
    return rows


class _Writer:
    """Writes the exports of one works, each works in its own way."""

    def __init__(self, how: Recipe, zone: ZoneInfo, folder: Path) -> None:
        self.how, self.zone, self.folder = how, zone, folder
        self.rng = np.random.default_rng([how.number, 77])
        self.rows: dict[str, list[list[Cell]]] = {}
        self.comma = how.language != "en" and how.ending in ("csv", "csv.gz", "txt")

    def word(self, key: str) -> str:
        words = WORDS[self.how.language][key]
        return words[self.how.number // 6 % len(words)]

    def name(self, kind: str, place: int) -> str:
        return f"{self.word(kind)}{place + 1}"

    def line(self, place: int, kind: str, counters: CounterTruth, shifts: Sequence[Window]) -> None:
        """Write the files of one line's machines."""
        factor = {"m": 1.0, "dm": 10.0, "cm": 100.0, "": 10.0}[self.how.film_unit]
        first = {key: int(self.rng.integers(100, 60_000)) for key in ("pieces", "rejects", "film", "paper", "rope")}
        counted = "good" if self.how.good else "pieces"
        unit = f" [{self.how.film_unit}]" if self.how.film_unit else ""
        heads = [self.word(counted), self.word("rejects"), self.word("film") + unit, self.word("paper") + unit]
        for number, (key, spans) in enumerate(self._files(shifts).items()):
            at = np.concatenate([np.arange(a - 30.0, b + 31.0, self.how.every_s) for a, b in spans])
            true = counters.at(at)
            if self.how.reset and number >= 2:  # switched off overnight: every counter starts from 0
                before = counters.at(np.array([spans[0][0] - 30.0]))
                true = {name: values - before[name][0] for name, values in true.items()}
                first = dict.fromkeys(first, 0)
            scaled = {counted: 1.0, "rejects": 1.0, "film": factor, "paper": factor}
            starts = [first["pieces"], first["rejects"], first["film"], first["paper"]]
            values = [self._turned(true[c] * by, s) for (c, by), s in zip(scaled.items(), starts, strict=True)]
            more, extra = self._extras(true["pieces"])
            self._add(self.name("wrap", place), key, [*heads, *more], at, [*values, *extra], wraps=True)
            if kind == "b":
                gauges = counters.gauges(at)
                thick: list[Cell] = [None if np.isnan(v) else round(float(v), 2) for v in gauges["diameter"]]
                names = [f"{self.word('diameter')} (mm)", f"{self.word('rope')} (m)"]
                rope = self._turned(true["rope"], first["rope"])
                self._add(self.name("sizer", place), key, names, at, [thick, rope], wraps=False)

    def _extras(self, pieces: np.ndarray) -> tuple[list[str], list[list[Cell]]]:
        """Columns that are of no use: the rate of the moment, and who was there."""
        if not self.how.extras:
            return [], []
        rate = np.diff(pieces, prepend=pieces[0]) * 60.0 / self.how.every_s
        rates: list[Cell] = [round(float(value), 1) for value in rate]
        people: list[Cell] = [f"K{k * 7 // len(rates) + 1}" for k in range(len(rates))]
        return list(EXTRAS[self.how.language]), [rates, people]

    def _files(self, shifts: Sequence[Window]) -> dict[str, list[tuple[float, float]]]:
        files: dict[str, list[tuple[float, float]]] = {}
        for window in shifts:
            key = f"{window.date:%Y-%m-%d}" + (f"_{window.shift}" if self.how.by_shift else "")
            files.setdefault(key, []).append((window.start_s, window.end_s))
        return {key: [(spans[0][0], spans[-1][1])] for key, spans in files.items()}

    def _turned(self, values: np.ndarray, first: float) -> list[Cell]:
        return [int(v) % self.how.modulus for v in np.floor(values + first + 1e-6)]

    def _add(
        self, machine: str, key: str, heads: list[str], at: np.ndarray, values: list[list[Cell]], *, wraps: bool
    ) -> None:
        """Add the rows of a machine and day to the file that they belong in."""
        how = self.how
        first = [self.word("date"), self.word("clock")] if how.stamp == "split" else [self.word("stamp")]
        one = how.one_file and wraps and not how.long
        owner: list[Cell] = [machine] if one else []
        rows: list[list[Cell]] = []
        for i, moment in enumerate(at):
            stamp = self._stamp(float(moment))
            if how.long:
                rows += [[*stamp, head, column[i]] for head, column in zip(heads, values, strict=True)]
            else:
                rows.append([*stamp, *owner, *(column[i] for column in values)])
        head: list[Cell] = [*first, *([self.word("machine")] if one else [])]
        head += LONG[how.language] if how.long else heads
        name = f"{self.word('machine').lower()}n_{key}" if one else key if how.unnamed else f"{machine}_{key}"
        if name in self.rows:
            self.rows[name] += rows
        else:
            top: list[list[Cell]] = [[f"{machine} {key}"], []] if how.preamble else []
            self.rows[name] = [*top, head, *rows]

    def _stamp(self, moment: float) -> list[Cell]:
        at = datetime.fromtimestamp(round(moment), self.zone)
        how = self.how.stamp
        if how == "epoch":
            return [round(moment)]
        if how == "offset":
            return [at.isoformat(timespec="seconds")]
        if how == "iso":
            return [f"{at:%Y-%m-%d %H:%M:%S}"]
        if how == "twelve":
            return [f"{at:%m/%d/%Y %I:%M:%S %p}"]
        mark = "." if self.how.language == "de" else "-" if self.how.language == "nl" else "/"
        day = at.strftime(f"%d{mark}%m{mark}%Y")
        return [day, f"{at:%H:%M:%S}"] if how == "split" else [f"{day} {at:%H:%M:%S}"]

    def close(self) -> None:
        for name, rows in self.rows.items():
            path = self.folder / f"{name}.{self.how.ending}"
            if self.how.ending == "xlsx":
                write_xlsx(path, {"Log": rows})
                continue
            if self.how.ending == "jsonl":
                heads, body = self._headed(rows)
                told = (json.dumps(dict(zip(heads, row, strict=True)), ensure_ascii=False) for row in body)
                path.write_text("\n".join(told) + "\n", encoding="utf-8")
                continue
            separator = "\t" if self.how.ending in ("tsv", "txt") else ";" if self.comma else ","
            lines = [separator.join(self._text(cell) for cell in row) for row in rows]
            data = ("\r\n".join(lines) + "\r\n").encode("cp1252" if self.how.number % 3 == 0 else "utf-8")
            if self.how.ending.endswith("gz"):
                write_gzip(path, data)
            else:
                path.write_bytes(data)

    def _headed(self, rows: list[list[Cell]]) -> tuple[list[str], list[list[Cell]]]:
        """The header and the rows below it, without what stands above."""
        top = 2 if self.how.preamble else 0
        return [str(cell) for cell in rows[top]], rows[top + 1 :]

    def _text(self, cell: Cell) -> str:
        text = "" if cell is None else str(cell)
        return text.replace(".", ",") if self.comma and isinstance(cell, float) else text
