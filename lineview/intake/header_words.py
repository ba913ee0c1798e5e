"""Words by which headers are recognised, in English, German, French, Spanish, Italian and Dutch."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lineview.intake.heading import same, without_unit
from lineview.plant import ExportKind


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


TIME = _words(
    "time timestamp datetime when zeit zeitpunkt zeitstempel uhrzeit datum date heure horodatage fecha hora "
    "ora data tijd tijdstip tijdstempel moment counted gezählt compté contado contato geteld logged "
    "recorded measured eingelegt begin beginn start from von début debut inicio inizio utc unix epoch "
    "day tag jour día dia giorno dag woche week"
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
        "scrap afkeur nok"
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
        "pieces piece pcs stück stueck stk pièces piezas pezzi stuks count counter zähler zaehler compteur "
        "contador contatore teller wraps gesamt total"
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
            "weight mass gewicht masse poids peso massa gram gramm grams grammes gramos grammi g"
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
        "reason": _words(
            "reason grund ursache cause raison motif motivo razón razon causa reden oorzaak text"
        ),
        "end": _words("end ende fin fine einde until bis to"),
        "start": _words("start begin beginn from von début debut inicio inizio"),
    },
    "reels": {
        "splices": _words(
            "splice splices klebestelle klebestellen collure raccord empalme giunta las lassen"
        ),
        "left_m": _words("left rest remaining reste resto restante resto rest"),
        "length_m": _words("length länge laenge longueur longitud lunghezza lengte metres meter"),
        "web": _words("web bahn material bande film banda baan materiaal matériel materiale"),
        "reel": _words("reel rolle roll bobine bobina rol rouleau rollo"),
    },
    "stock": {
        "expected_on": _words("expected erwartet due attendu esperado atteso verwacht liefertermin delivery"),
        "on_order_reels": _words("order ordered bestellt commandé commande pedido ordinato besteld"),
        "part_reel_outer_mm": _words(
            "part angebrochen angebrochene outer diameter ø entamée abierta aperta mm"
        ),
        "whole_reels": _words("whole ganze full entières enteras intere hele reels rollen bobines bobinas"),
        "web": _words("web bahn material bande banda baan materiaal materiale film"),
    },
    "plan": {
        "week": _words("week woche kw semaine semana settimana"),
        "end": _words("end ende fin fine einde until bis to jusque hasta fino tot"),
        "product": CHANNELS["product"],
        "pieces": (
            *CHANNELS["pieces"],
            "quantity",
            "menge",
            "quantité",
            "cantidad",
            "quantità",
            "hoeveelheid",
        ),
        "start": _words("start begin from von date datum fecha data jour dag"),
    },
}

#: Words in headers and file names that tell the kind of an export.
KIND_WORDS: dict[ExportKind, tuple[str, ...]] = {
    "plan": _words("plan plans planned geplant planung prévu prevu planificado pianificato gepland forecast"),
    "stock": _words(
        "stock bestand lager inventory inventur inventaire inventario voorraad stocklist magazzino"
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
    """Give the words of a header or file name, compared as `same` does.

    Examples
    --------
    >>> sorted(tokens("Stück_gesamt (Stk)"))
    ['gesamt', 'stk', 'stück']
    """
    spread = re.sub(r"([a-zà-ÿ])([A-Z])", r"\1 \2", text)
    return {same(word) for word in re.split(r"[\W\d_]+", spread) if word} | (
        {"ø"} if "ø" in text.lower() else set()
    )


def recognised(header: str, table: Mapping[str, tuple[str, ...]]) -> str:
    """Give the first meaning of a table that a header's words have, "" where it has none.

    Parameters
    ----------
    header : str
        As the export writes it.
    table : mapping of str to tuple of str
        Meanings, each with the words for it.

    Examples
    --------
    >>> recognised("Folienlänge [m]", CHANNELS), recognised("xyz", CHANNELS)
    ('film', '')
    """
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
