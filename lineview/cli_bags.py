"""Weighed bags or boxes against their label, on the command line."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.text import Text

from lineview.cli_console import console
from lineview.errors import AskError, Fault, IntakeError
from lineview.measures.contents_check import check_lot
from lineview.net_contents_tables import net_contents_tables

CAUTION = (
    "A planning aid, not a legal test: the decision rests with the local weights-and-measures authority. "
    "Local rules come first."
)


def print_lot(file: Path, label_g: float, lot: int, rules: str, tare_g: float) -> None:
    """Check weighed packages of a lot and print the verdict with its reasons.

    Parameters
    ----------
    file : pathlib.Path
        A text file with one mass a line [g]; empty lines and lines that begin with # are passed over.
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
        For unknown rules.
    IntakeError
        With every line that is no mass, at once.
    """
    known = net_contents_tables()
    if rules not in known:
        raise AskError(Fault(f"unknown rules '{rules}'", "--rules", f"one of {', '.join(sorted(known))}"))
    net_g = [gross - tare_g for gross in _masses(file)]
    found = check_lot(net_g, label_g, lot, known[rules])
    verdict = "passes" if found.passed else "does not pass"
    console.print(Text(f"The lot {verdict}.", style="bold" if found.passed else "bold underline"))
    for reason in found.reasons:
        console.print(Text(f"  {reason}"), soft_wrap=True)
    spread = "" if found.sd_g is None else f", standard deviation {found.sd_g:.2f} g"
    console.print(Text(f"  {found.n} weighed: mean {found.mean_g:.2f} g{spread}."), soft_wrap=True)
    console.print(Text(found.banner, style="dim"), soft_wrap=True)
    console.print(Text(CAUTION), soft_wrap=True)


def _masses(file: Path) -> Sequence[float]:
    try:
        lines = file.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text"
        raise IntakeError(
            Fault(f"cannot be read: {why}", str(file), "a text file, one mass a line")
        ) from None
    masses, faults = [], []
    for number, line in enumerate(lines, start=1):
        text = line.split("#")[0].strip()
        if not text:
            continue
        try:
            masses.append(float(text.replace(",", ".")))
        except ValueError:
            faults.append(Fault(f"'{text}' is no mass", f"{file} line {number}", "a number of grams"))
    if faults:
        raise IntakeError(faults)
    return masses
