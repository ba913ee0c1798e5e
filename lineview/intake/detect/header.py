"""The header row of a table: where it is, what it says, and the units row under it."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from lineview.core.units import unit_named
from lineview.intake.detect.delimited import Records
from lineview.plant import ExportKind

#: How many rows from the top a header is looked for.
LOOK = 100
_NUMBER = re.compile(r"[+\-−]?\d[\d.,'’\s]*(?:[eE][+-]?\d+)?")
_TIME = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}.*|\d{1,2}:\d{2}.*|\d{4}-?W\d{2}.*|\d{1,2}[- ][A-Za-z]{3}[- ].*")
_PLACE = re.compile(r"column[1-9]\d*")
_CLOSING = ("]", ")", "}")
_BRACKETS = re.compile(r"^(.*?)\s*[\[({]([^\[\](){}]*)[\])}]\s*$")


@dataclass(frozen=True)
class Heading:
    """What the header row says.

    `place` is its position among the records, -1 where there is none: columns are then called by their place. `names`
    are as written, "" for none, a repeated one as "X (2)"; `units` by column, as written in the units row; `first` is
    the first record below. Rows that repeat a text in `passed` are no data; `preamble` are the lines above.
    """

    place: int
    names: tuple[str, ...]
    units: dict[int, str]
    first: int
    passed: tuple[str, ...]
    preamble: tuple[str, ...]

    @property
    def above(self) -> int:
        """Number of records above header and data."""
        return self.place if self.place >= 0 else self.first

    @property
    def width(self) -> int:
        """Number of columns up to the last that has a header."""
        return max((i + 1 for i, name in enumerate(self.names) if name), default=0)

    def find(self, header: str) -> int | None:
        """The column of a header, case, blanks and a bracketed unit aside, or None."""
        key = same(header)
        exact = [i for i, name in enumerate(self.names) if same(name) == key]
        if exact:
            return exact[0]
        bare = [i for i, name in enumerate(self.names) if name and same(without_unit(name)) == key]
        return bare[0] if len(bare) == 1 else None


def same(text: str) -> str:
    r"""The form in which headers and names are compared."""
    if text.isascii():
        return "".join(text.casefold().split())
    return "".join(unicodedata.normalize("NFC", text).casefold().replace("\ufeff", "").split())


def without_unit(header: str) -> str:
    """A header without the bracket that ends it."""
    match = _BRACKETS.match(header) if header.rstrip().endswith(_CLOSING) else None
    return match[1] if match and match[1] else header


def without_repeat(header: str) -> str:
    """A header as it stands in the file, where it was numbered apart from others of the same words."""
    return re.sub(r" \(\d+\)$", "", header)


def unit_of(header: str) -> str:
    """The unit in the bracket that ends a header, "" where there is none that is known."""
    match = _BRACKETS.match(header)
    return unit_named(match[2]) if match else ""


def is_valueless(cell: str) -> bool:
    """Whether a cell holds words: neither number nor time."""
    bare = cell.strip()
    return not (_NUMBER.fullmatch(bare) or _TIME.fullmatch(bare))


def heading_at(records: Records, place: int) -> Heading:
    """Read the header row at a position, and the units row under it if there is one."""
    cells = records.top(place + 20)
    texts = records.frame["text"].head(place + 20).to_list()
    names = _numbered_names(cells[place])
    first, units = place + 1, {}
    below = next((i for i in range(place + 1, len(cells)) if any(cells[i])), None)
    if below is not None and _is_units_row(cells[below]):
        first = below + 1
        units = {i: cell for i, cell in enumerate(cells[below]) if cell}
    passed = tuple(text for text in texts[:first] if text.strip())
    return Heading(place, names, units, first, passed, tuple(text for text in texts[:place] if text.strip()))


@dataclass(frozen=True)
class HeaderRow:
    """One record as a header row: its place, and the keys by which its columns are looked up.

    `full` are the headers as they stand, `bare` those that a bracketed unit leaves and only one has.
    """

    place: int
    full: frozenset[str]
    bare: frozenset[str]

    def lacks(self, keys: Sequence[str]) -> list[int]:
        """The positions of the wanted keys that no column of the row has."""
        return [i for i, key in enumerate(keys) if key not in self.full and key not in self.bare]


def header_rows(records: Records) -> list[HeaderRow]:
    """The first records that could be a header row, each looked at once for every layout."""
    rows = []
    for place, row in enumerate(records.top(LOOK)):
        if sum(map(bool, row)) < 2:
            continue
        names = _numbered_names(row)
        keys = [same(name) for name in names]
        bare = [
            same(without_unit(name)) if name.rstrip().endswith(_CLOSING) else key
            for name, key in zip(names, keys, strict=True)
            if name
        ]
        counts = Counter(bare)
        single = frozenset(key for key, count in counts.items() if count == 1)
        rows.append(HeaderRow(place, frozenset(keys), single))
    return rows


def best_place(rows: Sequence[HeaderRow], headers: Sequence[str]) -> tuple[int, list[str]]:
    """The record that holds most of the wanted headers, and those it lacks."""
    keys = [same(header) for header in headers]
    best, lacking = -1, list(range(len(headers)))
    for row in rows:
        missing = row.lacks(keys)
        if len(missing) < len(lacking):
            best, lacking = row.place, missing
    return best, [headers[i] for i in lacking]


def guessed_place(records: Records) -> int:
    """The likeliest position of a header row where no layout names one, or -1."""
    rows = records.top(LOOK)
    filled_columns = max((i + 1 for row in rows for i, cell in enumerate(row) if cell), default=0)
    rows = [row[:filled_columns] for row in rows]  # a spreadsheet ends each row with separators of columns once used
    widths = Counter(len(row) for row in rows if sum(map(bool, row)) > 1)
    usual = widths.most_common(1)[0][0] if widths else 0
    for place, row in enumerate(rows):
        filled = [cell for cell in row if cell]
        if len(filled) < 2 or len(row) < usual - 1 or len(filled) < len(row) / 2:
            continue
        if sum(map(is_valueless, filled)) < 0.8 * len(filled):
            continue
        below = [r for r in rows[place + 1 :] if any(r)][:4]
        if any(not is_valueless(cell) for r in below for cell in r if cell):
            return place
    return -1


def second_headers(records: Records, heading: Heading) -> list[int]:
    """The positions of further header rows that say other things of the columns, or give other units."""
    if heading.place < 0:
        return []
    names = [name for name in heading.names if name]
    name_keys = {same(without_unit(name)) for name in names}
    texts = records.frame["text"].slice(heading.first)
    marker = max(map(without_unit, names), key=len)[:100]
    places = []
    for place in texts.str.contains(marker, literal=True).arg_true().to_list()[:1000]:
        two = records.frame.slice(heading.first + place, 2)
        row, *below = Records(records.sheet, two, records.separator).top(2)
        if sum(same(without_unit(cell)) in name_keys for cell in row if cell) < max(2, len(name_keys) / 2):
            continue
        units = {i: cell for i, cell in enumerate(below[0]) if cell} if below and _is_units_row(below[0]) else {}
        if [same(name) for name in _numbered_names(row)] != [same(n) for n in heading.names] or (
            units and units != heading.units
        ):
            places.append(heading.first + place)
    return places


def names_places(headers: Sequence[str]) -> bool:
    """Whether a layout calls columns by their place, as in a file without a header row."""
    return bool(headers) and all(_PLACE.fullmatch(same(header)) for header in headers)


def bare_heading(records: Records) -> Heading:
    """The heading of a table without a header row: "column 1", "column 2", and so on."""
    rows = records.top(LOOK)
    widths = Counter(len(row) for row in rows if sum(map(bool, row)) > 1)
    usual = widths.most_common(1)[0][0] if widths else 0
    first = next((i for i, row in enumerate(rows) if len(row) == usual and not all(map(is_valueless, row))), 0)
    texts = records.frame["text"].head(first).to_list()
    names = tuple(f"column {place + 1}" for place in range(usual))
    preamble = tuple(text for text in texts if text.strip())
    return Heading(-1, names, {}, first, preamble, preamble)


def _numbered_names(cells: Sequence[str]) -> tuple[str, ...]:
    counts: Counter[str] = Counter()
    names = []
    bare = [cell[:-2] if cell.endswith("E0") and _NUMBER.fullmatch(cell) else cell for cell in cells]
    keys = [same(name) for name in bare]
    if len(set(keys)) == len(keys):
        return tuple(bare)
    for name, key in zip(bare, keys, strict=True):
        counts[key] += 1
        names.append(f"{name} ({counts[key]})" if name and counts[key] > 1 else name)
    return tuple(names)


_WORDS_OF_UNITS = re.compile(
    r"[\[(]?(-|–|%|#|text|string|date|time|datum|zeit|utc|local|hh:mm(:ss)?|[ymdthsj:./\- ]{5,}|iso.*)[\])]?", re.I
)


def _is_units_row(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    if not filled or not all(map(is_valueless, filled)):
        return False
    units = sum(1 for cell in filled if unit_named(cell))
    if not units or any(len(cell) > 20 for cell in filled):
        return False
    # under an empty time cell most words being units is enough
    telling = all(unit_named(cell) or _WORDS_OF_UNITS.fullmatch(cell) for cell in filled)
    return telling or (2 * units > len(filled) and not cells[0])


def blank(texts: pl.Series) -> pl.Series:
    """Which lines hold nothing but blanks and separators."""
    return ~texts.str.contains(r"[^\s;,|\x1a\x0c]")


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


TIME = _words(
    "time timestamp datetime when zeit zeitpunkt zeitstempel uhrzeit datum date heure horodatage fecha hora "
    "ora data tijd tijdstip tijdstempel moment counted gezählt compté contado contato geteld logged "
    "recorded measured eingelegt begin beginn start from von début debut inicio inizio utc unix epoch "
    "day tag jour día dia giorno dag woche week clock uhr reloj orologio horloge klok"
)
NAME = _words(
    "name tag tagname variable signal point item channel kanal bezeichnung nom nombre nome naam messstelle "
    "parameter größe grandeur magnitud grandezza"
)
VALUE = _words("value wert valeur valor valore waarde reading messwert val")

#: What counters count and gauges measure. The first that matches counts, so the narrower come first.
CHANNELS: dict[str, tuple[str, ...]] = {
    "rejects": _words(
        "reject rejects rejected ausschuss rebut rebuts rechazo rechazos rechazados scarto scarti uitval "
        "scrap afkeur nok bad nio schlecht schlechtteile mauvais mauvaises malos malas difettosi slecht slechte "
        "defect defects defective defekt defekte"
    ),
    "blank wraps": _words("blank blanks leerwickel leer vide vides vacío vacíos vuoto vuoti leeg lege"),
    "wax paper": _words("wax wachs paper papier papel carta cire cera was waspapier"),
    "film": _words("film folie folien pellicule película pelicula pellicola"),
    "rope temperature": _words("temperature temperatur température temperatura temp temperatuur"),
    "roller speed": _words("speed geschwindigkeit vitesse velocidad velocità velocita snelheid rpm drehzahl"),
    "rope diameter": _words("diameter durchmesser diamètre diametre diámetro diametro dia diam ø dicke"),
    "state": _words("state status zustand état etat estado stato toestand mode betriebsart"),
    "batch": _words("batch charge lot lote lotto partij chargennummer"),
    "product": _words(
        "product produkt produit producto prodotto flavour flavor sorte geschmack arôme parfum sabor gusto "
        "smaak recipe rezept"
    ),
    "good pieces": _words("good gut gutstück gutteile bonnes bons buenas buenos buone buoni goed goede"),
    "pieces": _words(
        "pieces piece pcs stück stueck stk stückzahl stueckzahl pièces piezas pezzi stuks count counter zähler zaehler "
        "compteur contador contatore teller wraps gesamt total"
    ),
    "rope": _words("rope strang length länge longueur longitud lunghezza lengte"),
}

#: What headers of the other kinds of export mean, field by field; the narrower come first.
FIELD_WORDS: dict[ExportKind, dict[str, tuple[str, ...]]] = {
    "weights": {
        "batch": CHANNELS["batch"],
        "sample": _words("sample probe échantillon echantillon muestra campione monster"),
        "pieces": (*CHANNELS["pieces"], "n", "anzahl", "nombre", "numero", "aantal"),
        "mass_g": _words(
            "weight mass gewicht masse poids peso massa gram gramm grams grammes gramos grammi g "
            "net netto neto gross brutto brut bruto lordo tare tara"
        ),
    },
    "batches": {
        "mass_in_kg": _words("mass weight masse gewicht poids peso massa einwaage kg lb kilo"),
        "end": _words("end ende fin fine einde until bis stop"),
        "start": _words("start begin beginn début debut inicio inizio"),
        "product": CHANNELS["product"],
        "batch": CHANNELS["batch"],
    },
    "stops": {
        "duration": _words("duration dauer durée duree duración duracion durata duur minutes minuten"),
        "reason": _words("reason grund ursache cause raison motif motivo razón razon causa reden oorzaak text"),
        "end": _words("end ende fin fine einde until bis to"),
        "start": _words("start begin beginn from von début debut inicio inizio"),
    },
    "reels": {
        "splices": _words("splice splices klebestelle klebestellen collure raccord empalme giunta las lassen"),
        "left_m": _words("left rest remaining reste resto restante resto rest"),
        "length_m": _words("length länge laenge longueur longitud lunghezza lengte metres meter"),
        "web": _words("web bahn material bande film banda baan materiaal matériel materiale"),
        "reel": _words("reel rolle roll bobine bobina rol rouleau rollo"),
    },
    "stock": {
        "expected_on": _words(
            "expected erwartet due attendu prévu esperado previsto prevista atteso verwacht liefertermin delivery"
        ),
        "on_order_reels": _words("order ordered bestellt commandé commande pedido ordinato besteld"),
        "part_reel_outer_mm": _words("part angebrochen angebrochene outer diameter ø entamée abierta aperta mm"),
        "whole_reels": _words("whole ganze full entières enteras intere hele reels rollen bobines bobinas"),
        "web": _words("web bahn material bande banda baan materiaal materiale film"),
    },
    "plan": {
        "week": _words("week woche kw semaine semana settimana"),
        "end": _words("end ende fin fine einde until bis to jusque hasta fino tot"),
        "product": CHANNELS["product"],
        "pieces": (*CHANNELS["pieces"], "quantity", "menge", "quantité", "cantidad", "quantità", "hoeveelheid"),
        "start": _words("start begin from von date datum fecha data jour dag"),
    },
}

#: Words in headers and file names that show the kind of an export.
KIND_WORDS: dict[ExportKind, tuple[str, ...]] = {
    "plan": _words("plan plans planned geplant planung prévu prevu planificado pianificato gepland forecast"),
    "stock": _words(
        "stock bestand lager inventory inventur inventaire inventario voorraad stocklist magazzino existencias giacenza"
    ),
    "reels": _words("reel reels rolle rollen bobine bobines bobina bobinas rol splice splices klebestellen"),
    "stops": _words(
        "stop stops stillstand stillstände störung arrêt arret arrêts parada paradas fermata fermate "
        "stilstand reason grund raison motif motivo reden ursache downtime"
    ),
    "batches": _words("batches batchsheet chargen lots lotes lotti einwaage partijen"),
    "weights": _words(
        "weight weights gewicht gewichte poids peso pesos pesi weighing wägung grams gramm gram grammes "
        "gramos grammi mass masse"
    ),
}


def tokens(text: str) -> set[str]:
    """The words of a header or file name, compared as `same` does."""
    spread = re.sub(r"([a-zà-ÿ])([A-Z])", r"\1 \2", text)
    return {same(word) for word in re.split(r"[\W\d_]+", spread) if word} | ({"ø"} if "ø" in text.lower() else set())


def recognised(header: str, table: Mapping[str, tuple[str, ...]]) -> str:
    """The first meaning of a table that a header's words have, "" where it has none."""
    words = tokens(without_unit(header))
    for meaning, known in table.items():
        if words & set(known):
            return meaning
    joined = same(without_unit(header))
    for meaning, known in table.items():
        if any(len(word) >= 4 and word in joined for word in known):
            return meaning
    return ""


#: Headers of a quality column in a long table.
QUALITY_NAMES = frozenset(
    _words("quality qualität qualitaet qualité qualite calidad qualità qualita kwaliteit status q qual")
)


#: The first cell of a footer that adds up, or says that the file ends. No data row begins so.
TOTALS = re.compile(
    r"^\W*(grand |sub-?|zwischen|end)?(totals?|totale?s?|totaal|totaux|sum|sums|summe|somme|suma|som"
    r"|gesamt(summe)?|insgesamt|average|mean|mittelwert|durchschnitt|moyenne|promedio|media|gemiddelde"
    r"|minimum|maximum|end of (report|file|data|export)|ende des (berichts|exports)"
    r"|fin du (rapport|fichier)|fin del (informe|archivo)|fine (del )?(rapporto|file)"
    r"|einde (van )?(rapport|bestand)|(number of )?(rows|records)( exported| written)?"
    r"|anzahl (zeilen|datensätze)|zeilen|datensätze|nombre de lignes|filas|righe|rijen)\b\W*"
    r"([:=\d(;,.\s|]|$)",
    re.IGNORECASE,
)


def word_set(text: str) -> frozenset[str]:
    """Words that stand in one text, to be looked up."""
    return frozenset(text.split())


GOOD = word_set(
    "good gut bon bonne bueno buena buono buona goed ok okay valid gültig valide válido valido geldig normal "
    "true yes ja oui si sí g in-range"
)
BAD = word_set(
    "bad schlecht mauvais mauvaise malo mala cattivo cattiva slecht error fehler erreur errore fout fail "
    "failed failure fault invalid ungültig invalide inválido invalido ongeldig false no nein non stale "
    "offline disconnected notconnected commfail timeout nodata missing b outofservice badinput"
)

#: Headers of columns that hold a quality, alone or behind the header of what they judge.
QUALITY_HEADERS = word_set(
    "quality qualität qualitaet qualité qualite calidad qualità qualita kwaliteit statuscode status qual good? q"
)
#: Words of the time at which a reel came off, of a reel before, of a machine that halts, and of one that runs.
TAKEN_OFF = word_set(
    "off removed removal emptied finished end ended abgenommen ausgebaut entnommen ende fin retiré retirée enlevé "
    "retirado retirada quitado rimosso rimossa tolto tolta fine verwijderd afgenomen einde"
)
OF_BEFORE = word_set("old previous alt alte alten vorige vorigen oude ancien ancienne anterior precedente vecchia")
HALTED = word_set("stop stopp stopped halt halted arrêt arret parada fermo fermata")
RUNNING = word_set("run running läuft laeuft inbetrieb execute enmarche inmarcia inbedrijf")
#: What says so where it is a state; as a reason or a department it may be that of a stop.
PRODUCING = word_set("production producing produktion produziert productie producción produzione betrieb")
STATE = word_set("status state zustand maschinenstatus betriebszustand état etat estado stato toestand")


def says_running(header: str, cell: str) -> bool:
    """Whether a cell, such as "Status: running", says that the machine runs."""
    name, _, state = cell.rpartition(":")
    return same(state) in (RUNNING | PRODUCING if (tokens(name) | tokens(header)) & STATE else RUNNING)
