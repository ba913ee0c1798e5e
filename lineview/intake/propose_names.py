"""What to call a proposed layout, which files it is for, and whose they are."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

import polars as pl

from lineview.intake.channels import machine_named
from lineview.intake.header_words import (
    FIELD_WORDS,
    KIND_WORDS,
    NAME,
    QUALITY_NAMES,
    VALUE,
    recognised,
    tokens,
)
from lineview.intake.heading import Heading, same
from lineview.intake.rows import Rows
from lineview.plant import ExportKind, Machine, Plant


def pattern_for(name: str) -> str:
    """Give the pattern of files like this one: runs of digits that look like dates and numbers stand open.

    Examples
    --------
    >>> pattern_for("wrap1_2026-06-08.csv"), pattern_for("plan.ods")
    ('wrap1_*.csv', 'plan.ods')
    """
    stem, dot, ending = name.rpartition(".")
    stem = re.sub(r"(?<![^\W\d_])\d{2,}(?:[-_. T]?\d+)*|\d{4,}(?:[-_. T]?\d+)*", "*", stem or ending)
    stem = re.sub(r"\[|\]|\?", "?", stem)
    return re.sub(r"\*(?:[-_. ]?\*)+", "*", stem) + (dot + ending if dot else "")


def id_for(name: str, sheet: str, plant: Plant) -> str:
    """Give an id that the plant's layouts do not have yet.

    Parameters
    ----------
    name : str
        The file's name.
    sheet : str
        Its name, "" for text.
    plant : Plant
        The plant description.
    """
    stem = re.sub(r"\*", "", pattern_for(name).rpartition(".")[0]) + (f" {sheet}" if sheet else "")
    plain = unicodedata.normalize("NFKD", stem.replace("ß", "ss")).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^A-Za-z0-9]+", " ", plain).strip()[:50] or "export"
    taken = {layout.id for layout in plant.layouts}
    return next(
        one for n in range(1, len(taken) + 2) if (one := plain if n == 1 else f"{plain} {n}") not in taken
    )


def kind_for(name: str, sheet: str, heading: Heading, plant: Plant, long: bool) -> ExportKind:
    """Tell the kind of an export by the words of its name and headers.

    Parameters
    ----------
    name : str
        The file's name.
    sheet : str
        Its name, "" for text.
    heading : Heading
        Of the table.
    plant : Plant
        The plant description.
    long : bool
        Whether the table is long.
    """
    if long:
        return "readings"
    named = tokens(name) | tokens(sheet)
    headers = [header for header in heading.names if header]
    words = set().union(*(tokens(header) for header in headers)) if headers else set()
    scores = {
        kind: 3 * len(named & set(known))
        + len(words & set(known))
        + len({meaning for header in headers if (meaning := recognised(header, FIELD_WORDS[kind]))})
        for kind, known in KIND_WORDS.items()
    }
    told = {kind: len((named | words) & set(known)) for kind, known in KIND_WORDS.items()}
    fit = [kind for kind in KIND_WORDS if told[kind] and scores[kind] >= 3]
    batchy = {recognised(header, FIELD_WORDS["batches"]) for header in headers}
    if {"batch", "product"} <= batchy and ("mass_in_kg" in batchy or "start" in batchy):
        scores["batches"] += 3
        fit = [*fit, "batches"]
    return max(fit, key=lambda kind: scores[kind]) if fit else "readings"


def long_columns(heading: Heading, rows: Rows) -> tuple[int, int, int | None] | None:
    """Give the columns of name, value and quality of a long table, or None for a wide one.

    Parameters
    ----------
    heading : Heading
        Of the table.
    rows : Rows
        Under the heading.
    """
    by_words = {place: tokens(header) for place, header in enumerate(heading.names) if header}
    names = [p for p, words in by_words.items() if words & set(NAME)]
    values = [p for p, words in by_words.items() if words & set(VALUE)]
    qualities = [p for p, words in by_words.items() if words & QUALITY_NAMES]
    for place in names:
        cells = rows.column(place)
        left = [value for value in values if value != place]
        repeats = cells.n_unique() <= max(2, len(cells) // 2) or len(cells) < 4
        if left and repeats and not cells.str.contains(r"^\s*[\d.,]+\s*$").all():
            return place, left[0], next((p for p in qualities if p not in (place, left[0])), None)
    return None


def machine_place(heading: Heading, rows: Rows, plant: Plant) -> int | None:
    """Give the column whose cells name machines, or None.

    Parameters
    ----------
    heading : Heading
        Of the table.
    rows : Rows
        Under the heading.
    plant : Plant
        The plant description.
    """
    for place in range(heading.width):
        distinct = [c for c in rows.column(place).head(5000).unique().to_list() if c.strip()]
        known = [machine_named(plant, cell) for cell in distinct[:50]]
        if distinct and len(distinct) <= 50 and sum(map(bool, known)) > len(known) / 2:
            return place
    return None


def machines_named(texts: Sequence[str], plant: Plant) -> tuple[Machine, ...]:
    """Give the machines whose id or name stands in a text: a file's name, a sheet's, a preamble.

    Parameters
    ----------
    texts : sequence of str
        A file's name, a sheet's, the cells of a preamble.
    plant : Plant
        The plant description.
    """
    return tuple(m for m in plant.machines if any(_stands(key, texts) for key in (m.id, m.name)))


def line_named(texts: Sequence[str], plant: Plant) -> str | None:
    """Give the line that texts name, or the only one.

    Parameters
    ----------
    texts : sequence of str
        A file's name, a sheet's, the cells of a preamble.
    plant : Plant
        The plant description.
    """
    named = [one.id for one in plant.lines if any(_stands(key, texts) for key in (one.id, one.name))]
    return named[0] if named else plant.lines[0].id if len(plant.lines) == 1 else None


def _stands(key: str, texts: Sequence[str]) -> bool:
    """Tell whether a key stands in a text as a word of its own, however its parts are put together."""
    letters = [re.escape(letter) for letter in same(key) if letter.isalnum()]
    if not letters:
        return False
    word = re.compile(r"(?<![^\W_])" + r"[\s_\-.]*".join(letters) + r"(?![^\W_])")
    return any(word.search(text.casefold()) for text in texts)


def is_text(cells: pl.Series) -> bool:
    """Tell whether most filled cells are no numbers."""
    bare = cells.head(2000).str.strip_chars()
    filled = bare.filter(bare != "")
    return int(filled.str.contains(r"^[+\-−]?[\d.,'’\s]*\d(E0)?$").sum()) * 2 < len(filled)
