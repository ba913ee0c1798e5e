"""Weighed bags of a lot against their label: read as text, checked, told in words, for every edge alike."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lineview.core.errors import AskError, Fault, IntakeError
from lineview.core.resources import shipped
from lineview.core.units import GRAMS
from lineview.report import show
from lineview.weight.contents import ContentsRules, LotCheck, Sampling, Shortage, check_lot

#: By a short name of our own: the file that holds the rules.
FILES = {"hb133": "net-contents-hb133.toml", "eu": "net-contents-eu.toml", "r87": "net-contents-r87.toml"}


def net_contents_tables() -> dict[str, ContentsRules]:
    """Read every shipped table."""
    return {name: read_table(shipped("data") / file) for name, file in FILES.items()}


def read_table(path: Path) -> ContentsRules:
    """Read one table."""
    with path.open("rb") as file:
        table = tomllib.load(file)
    return ContentsRules(
        name=table["name"],
        title=table["title"],
        edition=table["edition"],
        compared_with_document=table["compared_with_document"],
        written_on=table["written_on"],
        source=table["source"],
        sampling=tuple(_sampling(row) for row in table["sampling"]),
        shortages=tuple(Shortage(float(r["from_g"]), r.get("grams"), r.get("percent")) for r in table["shortage"]),
        correction={int(n): float(k) for n, k in table.get("correction", {}).items()},
        round_up=tuple((float(a), float(b)) for a, b in table.get("round_up", [])),
        never_beyond=table.get("never_beyond"),
        packers_share=table.get("packers_share"),
        not_compared=table.get("not_compared", "table"),
    )


def _sampling(row: dict[str, Any]) -> Sampling:
    packages = row["packages"]
    return Sampling(
        lot_from=row["lot_from"],
        lot_to=row.get("lot_to"),
        packages=None if packages == "all" else packages,
        beyond=row.get("beyond", 0),
        beyond_share=row.get("beyond_share"),
        mean_packages=row.get("mean_packages"),
        mean_factor=row.get("mean_factor"),
    )


CAUTION = (
    "A planning aid, not a legal test: the decision rests with the local weights-and-measures authority. "
    "Local rules come first."
)
#: More lines than this are no sample of bags.
MOST_BAGS = 20_000
#: Bags whose masses are this many times their label are of another label, or in another unit.
PLAUSIBLE = (0.5, 2.0)
#: The faults of so many lines are listed.
LISTED = 50


@dataclass(frozen=True)
class LotWords:
    """A lot check as a person reads it; `passed` is None where too few bags were weighed for a verdict."""

    passed: bool | None
    verdict: str
    reasons: tuple[str, ...]
    numbers: str
    banner: str
    caution: str = CAUTION


def read_masses(text: str, where: str, tare_g: float = 0.0) -> list[float]:
    r"""Read one mass a line and take the tare off.

    Parameters
    ----------
    text : str
        Masses [g], with a decimal point or comma; empty lines and what follows a # are passed over.
    where : str
        What to name before the line in a fault, such as the file.
    tare_g : float
        Mass of the empty package [g].

    Returns
    -------
    list of float
        Net masses [g].

    Raises
    ------
    IntakeError
        With every line that is no mass, or not above the tare, at once.

    Examples
    --------
    >>> read_masses("454.5\n455,5  # the second", "bags", 0.5)
    [454.0, 455.0]
    """
    masses, faults = [], []
    lines = text.splitlines()
    if len(lines) > MOST_BAGS:
        raise IntakeError(Fault(f"{len(lines):,} lines", where, f"up to {MOST_BAGS:,} weighed bags"))
    for number, line in enumerate(lines, start=1):
        entry = line.split("#")[0].strip()
        if not entry:
            continue
        mass = _number(entry)
        if mass is None:
            faults.append(Fault(f"'{entry[:40]}' is not a mass", f"{where} line {number}", "a number of grams"))
        elif not mass - tare_g > 0:
            expected = f"more than the tare of {tare_g:g} g" if tare_g else "more than 0 g"
            faults.append(Fault(f"'{entry}' is too light for a filled bag", f"{where} line {number}", expected))
        else:
            masses.append(mass - tare_g)
    if faults:
        more = len(faults) - LISTED
        summary = [Fault(f"{more} further lines are not masses", where)] if more > 0 else []
        raise IntakeError([*faults[:LISTED], *summary])
    if not masses:
        raise IntakeError(Fault("there is not a mass", where, "one mass a line [g]"))
    return masses


def _number(text: str) -> float | None:
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def check_bags(net_g: Sequence[float], label_g: float, lot: int, rules: str) -> LotCheck:
    """Check weighed bags by named rules.

    Parameters
    ----------
    net_g : sequence of float
        Net masses [g].
    label_g : float
        Net mass on the label [g].
    lot : int
        Bags in the lot.
    rules : str
        "hb133", "eu" or "r87".

    Returns
    -------
    LotCheck
        The verdict with its reasons.

    Raises
    ------
    AskError
        For unknown rules, a label that is none, or masses that look like another unit than grams.
    MeasureError
        Where more bags were weighed than the lot has, or the rules do not cover so small a package.
    """
    rule_sets = net_contents_tables()
    if rules not in rule_sets:
        raise AskError(Fault(f"unknown rules '{rules}'", "--rules", f"one of {', '.join(sorted(rule_sets))}"))
    if not (math.isfinite(label_g) and label_g > 0):
        raise AskError(Fault(f"a label of {label_g:g} g", "label", "a net mass above 0 g"))
    middle = float(np.median(np.asarray(net_g, dtype=np.float64)))
    if not PLAUSIBLE[0] <= middle / label_g <= PLAUSIBLE[1]:
        raise AskError(_other_unit(middle, label_g))
    return check_lot(net_g, label_g, lot, rule_sets[rules])


def _other_unit(middle: float, label_g: float) -> Fault:
    """Say what masses far off their label look like."""
    what = f"the middle bag weighs {middle:g} g, far from its label of {label_g:g} g"
    for unit, grams in GRAMS.items():
        if 0.8 <= middle * grams / label_g <= 1.25:
            return Fault(f"the masses look like {unit}, not grams: {what}", "masses", "grams")
    return Fault(what, "masses, label", "the masses of bags with this label, in grams")


def lot_words(check: LotCheck) -> LotWords:
    """Put a lot check in words.

    Parameters
    ----------
    check : LotCheck
        As checked.

    Returns
    -------
    LotWords
        The same on board and command line.
    """
    spread = "" if check.sd_g is None else f", standard deviation {check.sd_g:.2f} g"
    reasons = list(check.reasons)
    if check.sd_g is None:
        reasons.append("One bag alone has no spread, so nothing is allowed for chance in the sample.")
    elif check.sd_g == 0 and check.n > 2:
        reasons.append(f"All {check.n} masses are equal: check whether the scale was stuck.")
    return LotWords(
        check.passed,
        _verdict(check),
        tuple(reasons),
        f"{check.n} weighed: mean {check.mean_g:.2f} g{spread}.",
        check.banner,
    )


def _verdict(check: LotCheck) -> str:
    """The verdict, or how many bags it still needs."""
    if check.passed is None:
        missing = check.needed - check.n
        verdict = f"No verdict yet: weigh {show.quantity(missing, 'more bag')} of this lot."
        # More bags cannot make this number smaller.
        short = check.beyond > check.allowed
        return f"{verdict} Too many of those weighed are short already." if short else verdict
    return "The lot passes." if check.passed else "The lot does not pass."
