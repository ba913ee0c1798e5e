"""What words in the cells of exports mean, in several languages: totals and qualities."""

from __future__ import annotations

import re

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


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


GOOD = _words(
    "good gut bon bonne bueno buena buono buona goed ok okay valid gültig valide válido valido geldig normal "
    "true yes ja oui si sí g in-range"
)
BAD = _words(
    "bad schlecht mauvais mauvaise malo mala cattivo cattiva slecht error fehler erreur errore fout fail "
    "failed failure fault invalid ungültig invalide inválido invalido ongeldig false no nein non stale "
    "offline disconnected notconnected commfail timeout nodata missing b outofservice badinput"
)

#: Headers of columns that hold a quality, alone or behind the header of what they judge.
QUALITY_HEADERS = (
    "quality", "qualität", "qualitaet", "qualité", "qualite", "calidad", "qualità", "qualita", "kwaliteit",
    "statuscode", "status", "qual", "good?", "q",
)  # fmt: skip
