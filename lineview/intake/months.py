"""Names of months in German, French, Spanish, Italian and Dutch, brought to English ones."""

from __future__ import annotations

import polars as pl

_NAMES = {
    "Jan": "januar jänner januari janvier janv enero ene gennaio gen",
    "Feb": "februar februari février fevrier févr fév febrero febbraio",
    "Mar": "märz mrz mär maart mrt mars marzo",
    "Apr": "avril avr abril abr aprile",
    "May": "mai mayo maggio mag mei",
    "Jun": "juni juin junio giugno giu",
    "Jul": "juli juillet juil julio luglio lug",
    "Aug": "août aout agosto ago augustus",
    "Sep": "septembre septiembre settembre set sept",
    "Oct": "oktober okt octobre octubre ottobre ott",
    "Nov": "novembre noviembre",
    "Dec": "dezember dez décembre déc diciembre dicembre dic",
}
ENGLISH = {name: english for english, names in _NAMES.items() for name in names.split()}


def english_months(texts: pl.Series) -> pl.Series:
    """Write the month within date cells in English; cells without a foreign month stay as they are.

    Examples
    --------
    >>> english_months(pl.Series(["8. Mai 2026 06:00", "8 août 2026", "x"])).to_list()
    ['8 May 2026 06:00', '8 Aug 2026', 'x']
    """
    part = pl.col("parts").struct.field
    groups = pl.DataFrame({"parts": texts.str.extract_groups(r"^(\d{1,2})(\.? ?-?)(\pL{3,})\.?(.*)$")})
    month = part("3").str.to_lowercase().replace_strict(ENGLISH, default=None, return_dtype=pl.String)
    gap = part("2").str.replace(".", "", literal=True)
    whole = pl.concat_str([part("1"), gap, month, part("4")])
    return groups.with_columns(text=texts).select(pl.coalesce(whole, "text")).to_series()
