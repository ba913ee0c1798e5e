"""Shifts, lines and bands in one line: read as shown, and plain faults."""

from __future__ import annotations

from datetime import time

import pytest

from lineview.core.errors import AskError
from lineview.core.language import speak
from lineview.plant import Break, Shift
from lineview.plant.answers import lines_text, read_band, read_lines, read_shifts, shift_text


def test_a_shift_is_read_as_it_is_shown() -> None:
    night = Shift(
        id="night 2",
        start=time(22),
        end=time(6),
        days=("mon", "wed", "sun"),
        breaks=(Break(start=time(2), end=time(2, 30)), Break(start=time(4), end=time(4, 10))),
    )
    assert read_shifts(shift_text(night)) == (night,)


def test_several_shifts_and_other_ways_to_write_them() -> None:
    early, late = read_shifts("early: 6:00 to 14:00 mon to fri\nlate 14.00-24:00 Mon Sat; ")
    assert (early.id, early.start, early.end, early.days) == (
        "early",
        time(6),
        time(14),
        ("mon", "tue", "wed", "thu", "fri"),
    )
    assert (late.end, late.days) == (time(0), ("mon", "sat"))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "early six to two",
        "early 25:00-14:00",
        "é 06:00-14:00",
        "early 06:00-14:00 mon-sun, late 14:00-22:00 mon-sun",  # the second was lost
        "early 06:00-14:00 breaks 09:00-09:15, late 14:00-22:00",  # it was a break
    ],
)
def test_what_is_no_shift_is_said(text: str) -> None:
    with pytest.raises(AskError, match="shift"):
        read_shifts(text)


def test_lines_are_read_as_they_are_shown() -> None:
    lines = [("Line 1", ["sizer1", "wrap1"]), ("Back hall", ["wrap 2"])]
    assert read_lines(lines_text(lines), ["sizer1", "wrap1", "wrap 2"]) == lines


def test_every_machine_is_on_one_line() -> None:
    with pytest.raises(AskError) as error:
        read_lines("A = wrap1, wrap9; B = wrap1", ["wrap1", "sizer1"])
    whats = [fault.what for fault in error.value.faults]
    assert whats == ["'wrap9' is not a machine", "'sizer1' is on no line", "'wrap1' is on two lines"]


def test_a_band_has_two_numbers() -> None:
    assert read_band("300-400") == (300.0, 400.0)
    assert read_band("300,5-400") == (300.5, 400.0)
    for text in ("300", "400-300", "about", "1,000-1,200", "1,000,000-2,000,000"):
        with pytest.raises(AskError, match="band"):
            read_band(text)


@pytest.mark.parametrize("text", ["Mo-Fr", "Montag bis Freitag", "mon-fri", "Mo, Di, Mi, Do, Fr", ""])
def test_german_days_and_words_are_read_in_a_german_works(text: str) -> None:
    speak("de")
    (early,) = read_shifts(f"Sonntag 1: 06:00 bis 14:00 {text} Pausen 09:00-09:15")
    assert (early.id, early.days) == ("Sonntag 1", ("mon", "tue", "wed", "thu", "fri"))
    assert early.breaks == (Break(start=time(9), end=time(9, 15)),)


def test_days_of_another_language_are_refused_and_not_taken_for_the_working_days() -> None:
    with pytest.raises(AskError, match="is not a shift"):
        read_shifts("early 06:00-14:00 Di-Do")
