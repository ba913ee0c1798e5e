"""The language of what people read: messages from a catalogue, numbers, months and weekdays as it writes them.

The English text is the message's key. `data/languages` holds a catalogue for each other language;
``python -m tests.catalogue`` brings them up to date.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache
from gettext import NullTranslations
from string import Formatter
from typing import Any

from lineview.core.resources import catalogue, catalogues

ENGLISH = "en"


@dataclass(frozen=True)
class Language:
    """A language: its code, its catalogue, and how it writes numbers, months and weekdays.

    `separators` maps the English point and comma of a number to the language's own. `names` are those of "month wide",
    "month abbreviated" and the same of "weekday", each by number (1 to 12, 0 for Monday). Both are empty in English.
    `percent` is the sign with the gap before it.
    """

    code: str
    catalogue: NullTranslations = field(default_factory=NullTranslations)
    separators: Mapping[int, str] = field(default_factory=dict)
    names: Mapping[str, Mapping[int, str]] = field(default_factory=dict)
    percent: str = " %"


def languages() -> tuple[str, ...]:
    """Codes of the languages that there are, English first."""
    return (ENGLISH, *catalogues())


@lru_cache(maxsize=8)
def language(code: str) -> Language:
    """A language by its code.

    Parameters
    ----------
    code : str
        One of `languages()`.
    """
    if code == ENGLISH:
        return Language(ENGLISH)
    from babel import Locale  # English needs none of it, and it takes a while to import

    locale = Locale.parse(code)
    symbols = locale.number_symbols["latn"]
    names = {
        f"{kind} {width}": dict(table[context][width])
        for kind, table in (("month", locale.months), ("weekday", locale.days))
        for context, width in (("format", "wide"), ("format", "abbreviated"))
    }
    separators = str.maketrans({".": symbols["decimal"], ",": symbols["group"]})
    return Language(code, catalogue(code), separators, names, locale.percent_formats[None].pattern.lstrip("#,.0"))


_spoken = Language(ENGLISH)


def speak(spoken: Language | str) -> None:
    """Set the language of this process: that of the works it serves.

    Parameters
    ----------
    spoken : Language or str
        Itself, or its code.
    """
    global _spoken  # noqa: PLW0603  # a process serves one works, whose description names its language
    _spoken = language(spoken) if isinstance(spoken, str) else spoken


def spoken() -> str:
    """Code of the language of this process."""
    return _spoken.code


@lru_cache(maxsize=8)
def language_name(code: str) -> str:
    """What a language calls itself.

    Parameters
    ----------
    code : str
        One of `languages()`.

    Examples
    --------
    >>> language_name("de")
    'Deutsch'
    """
    if code == ENGLISH:
        return "English"
    from babel import Locale

    return str(Locale.parse(code).get_display_name(code))


def in_digits(number: str) -> str:
    """Write a number's point and commas as the language does.

    Parameters
    ----------
    number : str
        As English writes it: "1,234.5".
    """
    return number.translate(_spoken.separators) if _spoken.separators else number


def in_english(number: str) -> str:
    """Write a number that the language wrote as English does.

    Parameters
    ----------
    number : str
        As `in_digits` gives it.

    Examples
    --------
    >>> in_english("1,234.5")
    '1,234.5'
    """
    return number.translate({ord(mark): chr(code) for code, mark in _spoken.separators.items()})


def two_ways(typed: str) -> str:
    """What a typed "1,234" may mean, a thousand or a decimal; "" for what can be read in one way.

    Parameters
    ----------
    typed : str
        As a person typed it; the mark that the language's decimals have is one.

    Examples
    --------
    >>> two_ways("1,234")
    '1234 or 1.234'
    """
    bare, decimal = typed.strip(), in_digits(".")
    if decimal in bare or not re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", bare):
        return ""
    return tr("{one} or {other}", one=re.sub("[.,]", "", bare), other=re.sub("[.,]", decimal, bare))


def typed_number(typed: str) -> float:
    """A number that a person typed, with a point or a comma; nan for what is none or can be read in two ways.

    Parameters
    ----------
    typed : str
        As it was typed.

    Examples
    --------
    >>> typed_number("1,5"), typed_number("1,234"), typed_number("soon")
    (1.5, nan, nan)
    """
    bare = typed.strip().replace(",", ".").replace("−", "-")
    is_number = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", bare.lower(), re.ASCII) and not two_ways(typed)
    return float(bare) if is_number else math.nan


def month_name(month: int, *, short: bool = False) -> str:
    """A month's name.

    Parameters
    ----------
    month : int
        1 for January.
    short : bool
        Whether it is abbreviated.
    """
    return _name("month", month, short=short) or _MONTHS[month - 1][: 3 if short else None]


def weekday_name(weekday: int, *, short: bool = False) -> str:
    """A weekday's name.

    Parameters
    ----------
    weekday : int
        0 for Monday.
    short : bool
        Whether it is abbreviated.
    """
    return _name("weekday", weekday, short=short) or _WEEKDAYS[weekday][: 3 if short else None]


def _name(kind: str, number: int, *, short: bool) -> str:
    return _spoken.names.get(f"{kind} {'abbreviated' if short else 'wide'}", {}).get(number, "").rstrip(".")


_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@lru_cache(maxsize=4096)
def _parts(text: str) -> tuple[tuple[str, str | None, str], ...]:
    """The parts of a message: what stands before a place, the place's name and its format."""
    return tuple((before, name, spec or "") for before, name, spec, _ in Formatter().parse(text))


def _filled(text: str, places: Mapping[str, object]) -> str:
    """A message with its places filled."""
    parts = _parts(text)
    return "".join([before if name is None else before + _text(places[name], spec) for before, name, spec in parts])


@lru_cache(maxsize=256)
def _with_thousands(spec: str) -> str:
    """A number's format, with thousands marked."""
    is_plain = spec.endswith(("f", "g")) and "," not in spec
    return re.sub(r"(?=\.|[fg]$)", ",", spec, count=1) if is_plain else spec


def _text(value: Any, spec: str) -> str:
    """Write one value; a number as the language writes it."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return format(value, spec)
    spec = _with_thousands(spec)
    text = format(value, spec)
    if "e+" in text:
        text = f"{value:,.0f}"
    if spec.endswith(("f", "%")):
        text = text.replace("-", "\N{MINUS SIGN}")
    return in_digits(text.replace("%", _spoken.percent))


def mark(message: str) -> str:
    """Mark a text that is translated later, where it is shown: a constant of a module."""
    return message


def tr(message: str, /, **places: object) -> str:
    """Write a message in the language of this process.

    Parameters
    ----------
    message : str
        In English, with places in braces; a number's format stands in its place: "{made:,.0f} pieces".
    **places : object
        What fills them. Without any, braces stand for themselves.

    Examples
    --------
    >>> tr("{made:,.0f} pieces of {product}", made=12345.6, product="mint")
    '12,346 pieces of mint'
    """
    text = _spoken.catalogue.gettext(message) if message else ""
    return _remember("tr", [message], places, _filled(text, places) if places else text)


def tr_in(context: str, message: str, /, **places: object) -> str:
    """Write a message whose English means several things; the context says which.

    Parameters
    ----------
    context : str
        Never shown: "of a table's column".
    message : str
        In English, with places in braces.
    **places : object
        What fills them.
    """
    text = _spoken.catalogue.pgettext(context, message)
    return _remember("tr_in", [context, message], places, _filled(text, places) if places else text)


def tr_count(singular: str, plural: str, count: int, /, **places: object) -> str:
    """Write a message that depends on how many there are.

    Parameters
    ----------
    singular, plural : str
        In English, with places in braces; the place ``{count}`` holds the count.
    count : int
        How many.
    **places : object
        What fills the other places.

    Examples
    --------
    >>> tr_count("{count} reel left", "{count:,} reels left", 1200)
    '1,200 reels left'
    """
    text = _filled(_spoken.catalogue.ngettext(singular, plural, count), {"count": count, **places})
    return _remember("tr_count", [singular, plural, count], places, text)


#: By text, the function that wrote it with its arguments; None while nobody remembers.
_made_of: ContextVar[dict[str, list[Any]] | None] = ContextVar("_made_of", default=None)


def _remember(function: str, message: list[Any], places: Mapping[str, object], text: str) -> str:
    made_of = _made_of.get()
    if made_of is not None and text:
        made_of[text] = [function, message, places]
    return text


@contextmanager
def remembered() -> Iterator[Callable[[str], Any]]:
    """Remember what texts are made of; give a function that turns one into what can be kept as JSON.

    `reworded` writes it in the language spoken then. A text that no message gave is kept as it is.
    """
    made_of: dict[str, list[Any]] = {}
    token = _made_of.set(made_of)

    def parts_of(value: object, within: float = math.inf) -> Any:
        if not isinstance(value, str) or value not in made_of or len(value) >= within:
            return value if isinstance(value, int | float) else str(value)
        function, message, places = made_of[value]
        return [function, message, {name: parts_of(place, len(value)) for name, place in places.items()}]

    try:
        yield parts_of
    finally:
        _made_of.reset(token)


def reworded(parts: Any) -> Any:
    """What `remembered` kept of a text, in the language spoken now; anything else as it is.

    Parameters
    ----------
    parts : list, or a text or number
        As it was read from JSON.
    """
    if not isinstance(parts, list):
        return parts
    function, message, places = parts
    writers: dict[str, Callable[..., str]] = {"tr": tr, "tr_in": tr_in, "tr_count": tr_count}
    return writers[function](*message, **{name: reworded(place) for name, place in places.items()})
