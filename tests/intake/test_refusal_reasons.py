"""Reasons of refusals are kept in English and shown in the works' language."""

from __future__ import annotations

from collections.abc import Iterator
from gettext import NullTranslations

import polars as pl
import pytest

from lineview.core import language
from lineview.intake.refusal_reasons import REASONS, show_reason, with_reasons_shown


class _Backwards(NullTranslations):
    """A language in which words stand in the opposite order."""

    def gettext(self, message: str) -> str:
        return " ".join(reversed(message.split(" ")))


@pytest.fixture
def backwards() -> Iterator[None]:
    language.speak(language.Language("xx", _Backwards()))
    yield
    language.speak(language.ENGLISH)


@pytest.mark.parametrize("message", REASONS)
@pytest.mark.usefixtures("backwards")
def test_each_kept_reason_is_shown_with_what_stood_in_the_cell(message: str) -> None:
    cells = ["it's {odd}\n2", "06:00", "x y"][: message.count("{}")]
    shown = _Backwards().gettext(message).format(*cells)
    assert show_reason(message.format(*cells)) == shown


@pytest.mark.usefixtures("backwards")
def test_a_reason_that_is_not_known_stays_as_it_is_kept() -> None:
    refusals = pl.DataFrame({"row": [3, 4], "reason": ["of another version", "no value"]})
    assert with_reasons_shown(refusals)["reason"].to_list() == ["of another version", "value no"]


def test_in_english_they_are_shown_as_they_are_kept() -> None:
    refusals = pl.DataFrame({"reason": [message.format("1", "2", "3") for message in REASONS]})
    assert with_reasons_shown(refusals).equals(refusals)
