"""Weighed bags or boxes against their label, on the command line."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from lineview.cli_console import console
from lineview.errors import Fault, IntakeError
from lineview.weighed_bags import check_bags, lot_words, read_masses


def print_lot(file: Path, label_g: float, lot: int, rules: str, tare_g: float) -> None:
    """Check weighed packages of a lot and print the verdict with its reasons.

    Parameters
    ----------
    file : pathlib.Path
        A text file with one mass a line [g]; empty lines and what follows a # are passed over.
    label_g : float
        Net mass on the label [g].
    lot : int
        Packages in the lot.
    rules : str
        "hb133", "eu" or "r87".
    tare_g : float
        Mass of the empty package, taken off each [g].

    Raises
    ------
    AskError
        For unknown rules, or masses that look like another unit.
    IntakeError
        With every line that is no mass, at once.
    """
    told = lot_words(check_bags(read_masses(_text(file), str(file), tare_g), label_g, lot, rules))
    console.print(Text(told.verdict, style="bold" if told.passed else "bold underline"))
    for reason in (*told.reasons, told.numbers):
        console.print(Text(f"  {reason}"), soft_wrap=True)
    console.print(Text(told.banner, style="dim"), soft_wrap=True)
    console.print(Text(told.caution), soft_wrap=True)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text"
        raise IntakeError(
            Fault(f"cannot be read: {why}", str(file), "a text file, one mass a line")
        ) from None
