"""Which of several columns holds a counter, gauge or field, or the question where that is open."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lineview.core.language import tr
from lineview.core.units import dimension, unit_named
from lineview.intake.detect.header import same, tokens, unit_of, without_unit, word_set
from lineview.intake.exports import Question
from lineview.plant import ColumnTarget

LEAVE_OUT = "leave out"
#: The answer by which columns are lanes of one counter.
ADD = "add"
#: A question about which of several columns is meant begins so, and ends with what they could be.
COLUMNS_OF = "columns of "


_TARGET = word_set(
    "soll sollwert sollmenge sollstück ziel vorgabe target plan planned geplant set setpoint nominal goal "
    "quota consigne objectif cible nominale prévu objetivo consigna nominale obiettivo previsto doel "
    "streef streefwaarde"
)
_ACTUAL = word_set("ist istwert istmenge iststück actual real réel reel effectif effettivo werkelijk current aktuell")
_SPREAD = word_set(
    "std sd stdev stddev sigma stabw standardabweichung abweichung range spannweite cv variance varianz "
    "écart ecart desviación desviacion deviazione afwijking "
    "tolerance toleranz tolérance tolerancia tolleranza"
)
_EDGES = word_set(
    "min mini minimum max maxi maximum lowest highest least greatest kleinster größter kleinste größte "
    "niedrigster höchster minimal maximal mínimo minimo máximo massimo laagste hoogste"
)
_MEAN = word_set(
    "mean avg average mittel mittelwert mittlerer durchschnitt moyenne moy media promedio gemiddelde gem mw"
)
_RATES = word_set(
    "rate takt taktrate speed cadence ritmo geschwindigkeit velocidad vitesse velocità snelheid leistung "
    "durchsatz throughput ppm percent prozent pourcent porcentaje percentuale procent quote"
)
_RATE_ENDINGS = ("rate", "quote", "takt", "leistung", "geschwindigkeit")
_PER_TIME = re.compile(
    r"(?:/|\b(?:per|pro|je|par|por|al|a|à)\s)\s*(?:min|minute|minuut|minuto|h|hour|stunde|std|heure|hora|ora|uur|s|sec)\b",
    re.IGNORECASE,
)
_TARE = word_set("tare tara taré")
_GROSS = word_set(
    "gross brutto brut bruto lordo wrapped gewickelt eingewickelt verpackt emballé envuelto incartato ingepakt"
)
#: What a web may be counted in that has no length of its own.
NO_LENGTH = word_set(
    "turns turn revolutions revs rev umdrehungen umdr tours vueltas giri omwentelingen sheets sheet blatt blätter "
    "bogen feuilles hojas fogli vellen pulses pulse impulse impulses pulsos impulsi pulsen cuts schnitte abschnitte"
)
_NET = word_set("net netto neto")
_FILLERS = word_set(
    "total gesamt counter count number nombre anzahl aantal numero número of the de des der di del n no nr"
)


_LOTS = (
    (1000, re.compile(r"[x×*]\s?1[., ]?000\b|\b1[., ]?000s\b|\b(in|per|je|par|por|al)\s1[., ]?000\b|'000\b", re.I)),
    (1000, re.compile(r"\b(tsd|tausend|thousands?|mille|milliers|miles|migliaia|duizend)\b|\bk ?pcs\b", re.I)),
    (100, re.compile(r"[x×*]\s?100\b|\b100s\b|\b(in|per|je|par|por)\s100\b|\b(hundert|hundreds?|cientos)\b", re.I)),
    (10, re.compile(r"[x×*]\s?10\b|\b10s\b|\b(in|per|je)\s10\b", re.I)),
)


def lot_of(header: str) -> int:
    """How many pieces one count stands for by a header, 1 where it does not say or names a unit of its cells.

    Examples
    --------
    >>> lot_of("Pieces x100"), lot_of("Stück in Tsd"), lot_of("Stück [Tsd]")
    (100, 1000, 1)
    """
    if unit_of(header):
        return 1
    return next((lot for lot, words in _LOTS if words.search(header)), 1)


def is_target(header: str) -> bool:
    """Whether a header names what was wanted, not what was measured."""
    return bool(tokens(header) & _TARGET)


def not_a_count(header: str, in_row: str) -> str:
    """Why a header that names a count is none, "" where it may be; `in_row` is its unit in a units row."""
    words = tokens(without_unit(header)) | tokens(header)
    if words & _TARGET:
        return tr("a target")
    if _PER_TIME.search(header) or _PER_TIME.search(in_row) or "%" in header + in_row:
        return tr("a rate")
    if words & _RATES or any(word.endswith(_RATE_ENDINGS) for word in words):
        return tr("a rate")
    if words & _SPREAD:
        return tr("a spread")
    if words & (_MEAN | _EDGES):
        return tr("a statistic")
    return ""


def not_a_measurement(header: str) -> str:
    """Why a header that names a gauge or a mass is no reading of it, "" where it may be one."""
    words = tokens(header)
    if words & _TARGET:
        return tr("a target")
    if words & _SPREAD:
        return tr("a spread")
    return tr("a least or greatest value") if words & _EDGES else ""


def stray_unit(header: str, in_row: str, target_unit: str) -> str:
    """The unit in a header or units row by which it cannot be of a kind of unit, "" where there is none."""
    last = re.split(r"[\s_]+", header.strip())[-1]
    for unit in (unit_named(in_row), unit_of(header), unit_named(last) if last != header.strip() else ""):
        if unit and dimension(unit) not in ("", dimension(target_unit)):
            return unit
    return ""


@dataclass(frozen=True)
class Choice:
    """The headers kept for one target, those left out with the reason, and what has to be asked."""

    headers: tuple[str, ...]
    left: tuple[tuple[str, str], ...] = ()
    question: Question | None = None


def choose(to: str, headers: Sequence[tuple[str, int]], *, adds: bool) -> Choice:
    """Choose among headers that could all be one target, given with how exactly each names it (0: best).

    An exact name goes before a part of one, a mean before the values beside it; else the choice is asked for,
    and where the columns could be lanes (`adds`), so is whether they are.
    """
    if len(headers) == 1:
        return Choice((headers[0][0],))
    means = [header for header, _ in headers if tokens(header) & _MEAN]
    actual = [header for header, rank in headers if tokens(header) & _ACTUAL]
    best = min(rank for _, rank in headers)
    exact = [header for header, rank in headers if rank == best]
    top = means or [*actual, *(h for h, rank in headers if rank <= 1 and h not in actual)] if actual else exact
    top = means or top
    if len(top) == 1:
        left = tuple(
            (header, tr("'{header}' is read instead", header=top[0])) for header, _ in headers if header != top[0]
        )
        return Choice((top[0],), left)
    only = [(header, tr("'{header}' alone", header=header)) for header in top]
    together = [(ADD, tr("lanes of one counter: their counts are added"))] if adds else []
    alike = len({re.sub(r"[\d\W_]+|\b[a-z]\b", "", same(header)) for header in top}) == 1
    options = [*together, *only] if alike else [*only, *together]
    names = ", ".join(f"'{header}'" for header in top)
    text = tr("several columns could be {to}: {named}. Which one is it?", to=to, named=names)
    left = tuple((header, tr("'{header}' is more exact", header=top[0])) for header, _ in headers if header not in top)
    question = Question(COLUMNS_OF + to, text, (*options, (LEAVE_OUT, tr("none of them"))))
    return Choice(tuple(top), left, question)


def exactness(header: str, known: Sequence[str]) -> int:
    """How exactly a header is one of the known words: 1 the word itself, 2 with fillers, 3 with others."""
    words = tokens(without_unit(header))
    if len(words) == 1 and words <= set(known):
        return 1
    return 2 if words and words <= set(known) | _FILLERS else 3


def gross_question(columns: Mapping[str, ColumnTarget]) -> list[Question]:
    """Ask whether the wrap is weighed too, where the masses are called gross."""
    header = next((h for h, target in columns.items() if target.to == "mass_g" and tokens(h) & _GROSS), None)
    options = (("true", tr("the pieces with their wrap")), ("false", tr("the pieces alone")))
    return [Question("gross", tr("what does '{header}' hold?", header=header), options)] if header else []


def choose_mass(headers: Sequence[str]) -> Choice:
    """Choose among columns of masses: net before gross and tare, single pieces before their mean."""
    if len(headers) == 1:
        return Choice(tuple(headers))
    left = [(header, tr("a tare")) for header in headers if tokens(header) & _TARE]
    rest = [header for header in headers if not tokens(header) & _TARE]
    net = [header for header in rest if tokens(header) & _NET]
    if net:
        left += [(header, tr("'{header}' is read instead", header=net[0])) for header in rest if header not in net]
        rest = net
    single = [header for header in rest if not tokens(header) & _MEAN]
    if single and len(single) < len(rest):
        left += [(header, tr("a mean of the others")) for header in rest if header not in single]
        rest = single
    gross = [header for header in rest if tokens(header) & _GROSS]
    alike = len({re.sub(r"[\d\W_]+", "", same(without_unit(header))) for header in rest}) == 1
    if (alike and not (gross and left)) or not rest:
        return Choice(tuple(rest), tuple(left))
    names = ", ".join(f"'{header}'" for header in rest)
    options = tuple((header, tr("'{header}' alone", header=header)) for header in rest)
    every = ((ADD, tr("each of them is a weighing")),) if len(rest) > 1 else ()
    text = tr("which column holds the mass of the pieces without the container: {named}?", named=names)
    question = Question(COLUMNS_OF + "mass_g", text, (*options, *every, (LEAVE_OUT, tr("none of them"))))
    return Choice(tuple(rest), tuple(left), question)
