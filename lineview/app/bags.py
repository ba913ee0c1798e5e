"""Weighed bags of a lot against their label: read as text, checked and put into words for board and command line."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lineview.core.errors import AskError, Fault, IntakeError
from lineview.core.language import mark, tr, tr_count, two_ways, typed_number
from lineview.core.resources import shipped
from lineview.core.units import GRAMS
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


CAUTION = mark(
    "A planning aid, not a legal test: the decision rests with the local "
    "weights-and-measures authority. Local rules come first."
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
        raise IntakeError(
            Fault(tr("{count:,} lines", count=len(lines)), where, tr("up to {most:,} weighed bags", most=MOST_BAGS))
        )
    for number, line in enumerate(lines, start=1):
        entry = line.split("#")[0].strip()
        if not entry:
            continue
        mass = typed_number(entry)
        if not math.isfinite(mass):
            what = tr("'{entry}' is not a mass", entry=entry[:40])
            expected = two_ways(entry) or tr("a number of grams")
            faults.append(Fault(what, tr("{file} line {number}", file=where, number=number), expected))
        elif not mass - tare_g > 0:
            expected = tr("more than the tare of {tare:g} g", tare=tare_g) if tare_g else tr("more than 0 g")
            what = tr("'{entry}' is too light for a filled bag", entry=entry)
            faults.append(Fault(what, tr("{file} line {number}", file=where, number=number), expected))
        else:
            masses.append(mass - tare_g)
    if faults:
        more = len(faults) - LISTED
        summary = [Fault(tr("{more} further lines are not masses", more=more), where)] if more > 0 else []
        raise IntakeError([*faults[:LISTED], *summary])
    if not masses:
        raise IntakeError(Fault(tr("there is not a mass"), where, tr("one mass a line [g]")))
    return masses


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
        what = tr("unknown rules '{rules}'", rules=rules)
        raise AskError(Fault(what, "--rules", tr("one of {names}", names=", ".join(sorted(rule_sets)))))
    if not (math.isfinite(label_g) and label_g > 0):
        raise AskError(Fault(tr("a label of {mass:g} g", mass=label_g), "label", tr("a net mass above 0 g")))
    middle = float(np.median(np.asarray(net_g, dtype=np.float64)))
    if not PLAUSIBLE[0] <= middle / label_g <= PLAUSIBLE[1]:
        raise AskError(_other_unit(middle, label_g))
    return check_lot(net_g, label_g, lot, rule_sets[rules])


def _other_unit(middle: float, label_g: float) -> Fault:
    """Say what masses far off their label look like."""
    what = tr("the middle bag weighs {middle:g} g, far from its label of {label:g} g", middle=middle, label=label_g)
    for unit, grams in GRAMS.items():
        if 0.8 <= middle * grams / label_g <= 1.25:
            return Fault(
                tr("the masses look like {unit}, not grams: {what}", unit=tr(unit), what=what),
                tr("masses"),
                tr("grams"),
            )
    return Fault(what, tr("masses, label"), tr("the masses of bags with this label, in grams"))


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
    spread = "" if check.sd_g is None else tr(", standard deviation {spread:.2f} g", spread=check.sd_g)
    reasons = list(check.reasons)
    if check.sd_g is None:
        reasons.append(tr("One bag alone has no spread, so nothing is allowed for chance in the sample."))
    elif check.sd_g == 0 and check.n > 2:
        reasons.append(tr("All {count} masses are equal: check whether the scale was stuck.", count=check.n))
    return LotWords(
        check.passed,
        _verdict(check),
        tuple(reasons),
        tr("{count} weighed: mean {mean:.2f} g{spread}.", count=check.n, mean=check.mean_g, spread=spread),
        check.banner,
    )


def _verdict(check: LotCheck) -> str:
    """The verdict, or how many bags it still needs."""
    if check.passed is None:
        missing = check.needed - check.n
        verdict = tr_count(
            "No verdict yet: weigh {count} more bag of this lot.",
            "No verdict yet: weigh {count:,} more bags of this lot.",
            missing,
        )
        # More bags cannot make this number smaller.
        short = check.beyond > check.allowed
        return f"{verdict} {tr('Too many of those weighed are short already.')}" if short else verdict
    return tr("The lot passes.") if check.passed else tr("The lot does not pass.")
