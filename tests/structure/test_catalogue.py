"""The catalogues hold what the code says, German all of it; a translation has the places of its message."""

from string import Formatter

import pytest
from babel.messages.catalog import Message

from tests.catalogue import LANGUAGES, brought_up_to_date, compiled, is_translated, read, written

CODES = sorted(path.stem for path in LANGUAGES.glob("*.po"))


def translated(code: str) -> list[tuple[str, str]]:
    """Pairs of message and translation, every form of a plural for itself; those without a translation left out."""
    pairs = []
    for message in read(code):
        if message.id and is_translated(message.string):
            if isinstance(message.id, tuple):  # a language may have more than two forms: those beyond are of many
                one, many = message.id
                pairs += [(one, message.string[0]), *((many, form) for form in message.string[1:])]
            else:
                pairs.append((message.id, message.string))
    return pairs


def places(text: str) -> set[str]:
    """What stands in braces, with how it is written; nothing where a text is no form to fill."""
    try:
        return {f"{name}!{kind}:{form}" for _, name, form, kind in Formatter().parse(text) if name is not None}
    except ValueError:
        return set()


@pytest.mark.parametrize("code", CODES)
def test_the_catalogue_holds_the_messages_of_the_code(code: str) -> None:
    known, wanted = ({(m.id, m.context) for m in catalogue} for catalogue in (read(code), brought_up_to_date(code)))
    assert known == wanted, "python -m tests.catalogue brings the catalogues up to date"
    assert (LANGUAGES / f"{code}.mo").read_bytes() == compiled(read(code))
    assert (LANGUAGES / f"{code}.po").read_bytes() == written(read(code))


def test_german_is_complete() -> None:
    missing: list[Message] = [m for m in read("de") if m.id and not is_translated(m.string)]
    assert not [m.id for m in missing]


@pytest.mark.parametrize("code", CODES)
def test_a_translation_has_the_places_of_its_message(code: str) -> None:
    wrong = [(text, other) for text, other in translated(code) if places(text) != places(other)]
    assert not wrong
    assert len(translated(code)) >= 60
