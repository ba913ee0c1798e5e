"""Lot check of weighed packages against a label, with the reason for pass or fail in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import mark, tr
from lineview.stats.means import summarize


@dataclass(frozen=True)
class Sampling:
    """How many packages of a lot are weighed, and how many of them may be short beyond the allowance.

    `packages` None means all. `beyond_share` holds instead of `beyond` where all are weighed.
    `mean_packages` is the sample for the mean where that is another one; `mean_factor` None means that the
    rules' table by sample size gives it.
    """

    lot_from: int
    lot_to: int | None
    packages: int | None
    beyond: int
    beyond_share: float | None = None
    mean_packages: int | None = None
    mean_factor: float | None = None


@dataclass(frozen=True)
class Shortage:
    """From a label mass [g] on: how much a package may be short, in grams or percent of the label."""

    from_g: float
    grams: float | None = None
    percent: float | None = None


#: What the shipped tables say of themselves: what was not compared with the document, and of which edition they are.
SAID_OF_TABLES = (
    *(mark("table"), mark("rows above 1,000 g, and rounding,"), mark("edition not verified")),
    mark("as published on legislation.gov.uk and gov.uk, read in 2026"),
    mark("2004; the 2016 edition has finer plans, which must be read there"),
)


@dataclass(frozen=True, eq=False)
class ContentsRules:
    """One dated set of rules.

    Parameters
    ----------
    name, title, edition : str
        What it is called; the edition says how far it was verified.
    compared_with_document : bool
        Whether somebody compared the table with the document.
    written_on : datetime.date
        When the table was written.
    source : str
        Id in data/sources.toml.
    sampling : tuple of Sampling
        By lot size.
    correction : dict
        Factor of the standard deviation by sample size, where the rules print it so.
    shortages : tuple of Shortage
        By label, ascending.
    round_up : tuple of (float, float)
        From a label [g] on, percentages are rounded up to this step [g].
    never_beyond : float or None
        No package may be short by more than this many allowances.
    packers_share : float or None
        Share of packages that may be short by more than one allowance, in the packer's own rules.
    not_compared : str
        What of the table was not compared with the document.
    """

    name: str
    title: str
    edition: str
    compared_with_document: bool
    written_on: date
    source: str
    sampling: tuple[Sampling, ...]
    shortages: tuple[Shortage, ...]
    correction: dict[int, float] = field(default_factory=dict)
    round_up: tuple[tuple[float, float], ...] = ()
    never_beyond: float | None = None
    packers_share: float | None = None
    not_compared: str = SAID_OF_TABLES[0]

    @property
    def banner(self) -> str:
        """What stands beside every result of a table that nobody compared with its document."""
        if self.compared_with_document:
            return f"{self.title}, {tr(self.edition)}"
        parts = {"title": self.title, "edition": tr(self.edition), "part": tr(self.not_compared)}
        return tr("{title}, {edition}: {part} not compared with the document", **parts)

    @property
    def short_banner(self) -> str:
        """Their name, and whether the table was compared with the document."""
        if self.compared_with_document:
            return self.name
        return tr("{rules}, {part} not compared with the document", rules=self.name, part=tr(self.not_compared))

    def allowance_g(self, label_g: float) -> float:
        """How much one package may be short [g]."""
        rows = [s for s in self.shortages if s.from_g <= label_g]
        if not rows or not label_g > 0:
            what = tr("{rules} does not cover packages of {label:g} g", rules=self.name, label=label_g)
            raise MeasureError(Fault(what, "label_g", tr("a greater label")))
        row = rows[-1]
        if row.grams is not None:
            return row.grams
        exact = (row.percent or 0.0) * label_g / 100
        steps = [step for start, step in self.round_up if start <= label_g]
        # Rounding up must not lift 4.5 to 4.6 for the last digit of a double.
        return round(math.ceil(round(exact / steps[-1], 9)) * steps[-1], 9) if steps else exact

    def plan(self, lot: int) -> Sampling:
        """The sampling plan for a lot of this many packages.

        Parameters
        ----------
        lot : int
            Packages in the lot, one or more.

        Returns
        -------
        Sampling
            With the number of packages filled in; never more than the lot has.

        Raises
        ------
        MeasureError
            Where no plan covers the lot.
        """
        for row in self.sampling:
            if row.lot_from <= lot and (row.lot_to is None or lot <= row.lot_to):
                n = lot if row.packages is None else min(row.packages, lot)
                beyond = row.beyond if row.beyond_share is None else math.floor(row.beyond_share * lot)
                mean_n = min(row.mean_packages or n, lot)
                return Sampling(row.lot_from, row.lot_to, n, beyond, None, mean_n, self._factor(row, mean_n))
        raise MeasureError(Fault(tr("no plan for a lot of {lot}", lot=lot), "lot", tr("one package or more")))

    def _factor(self, row: Sampling, n: int) -> float:
        """The factor of s for a sample of n; of one package there is no s, so none is allowed for."""
        if row.mean_factor is not None:
            return row.mean_factor
        return self.correction.get(n, 0.0)


@dataclass(frozen=True)
class LotCheck:
    """How a lot fares.

    Parameters
    ----------
    passed : bool or None
        Whether nothing failed it; None where fewer packages were weighed than the plan needs.
    reasons : tuple of str
        In words, each part of the check, those that failed first.
    mean_g, sd_g : float
        Of the packages weighed; `sd_g` None for one package.
    least_mean_g : float
        What the mean had to reach [g].
    allowance_g : float
        How much one package may be short [g].
    beyond, allowed : int
        Packages short by more, and how many may be.
    n, needed : int
        Packages weighed, and how many the plan wants.
    banner : str
        Which rules, and whether the table was compared with them.
    """

    passed: bool | None
    reasons: tuple[str, ...]
    mean_g: float
    sd_g: float | None
    least_mean_g: float
    allowance_g: float
    beyond: int
    allowed: int
    n: int
    needed: int
    banner: str


def check_lot(net_g: Sequence[float], label_g: float, lot: int, rules: ContentsRules) -> LotCheck:
    """Check the weighed packages of a lot as an inspector would.

    Parameters
    ----------
    net_g : sequence of float
        Net mass of each package weighed [g], tare taken off; at random from the lot.
    label_g : float
        Net mass on the label [g].
    lot : int
        Packages in the lot.
    rules : ContentsRules
        Handbook 133, 76/211/EEC or R 87.

    Returns
    -------
    LotCheck
        With reasons. A sample smaller than the plan's gets them, but no verdict.

    Raises
    ------
    MeasureError
        Where there is no package, a mass is not above 0, or more were weighed than the lot has.

    Notes
    -----
    Source: nist-hb-133, eec-76-211, oiml-r-87
    """
    _check(net_g, lot)
    plan = rules.plan(lot)
    needed = plan.packages or lot
    # The rules may want another, smaller sample for the mean: the first ones weighed are as random as any.
    summary = summarize(net_g[: plan.mean_packages])
    factor = plan.mean_factor if summary.n == plan.mean_packages else rules.correction.get(summary.n)
    slack = (plan.mean_factor if factor is None else factor) or 0.0
    slack *= summary.sd or 0.0
    allowance = rules.allowance_g(label_g)
    beyond = sum(v < label_g - allowance for v in net_g)
    twice = 0
    if rules.never_beyond is not None:
        twice = sum(v < label_g - rules.never_beyond * allowance for v in net_g)
    parts = [
        _mean_part(summary.mean, label_g, slack),
        _beyond_part(beyond, plan.beyond, label_g, allowance),
        *_twice_part(twice, rules, label_g, allowance),
    ]
    failed = [text for ok, text in parts if not ok]
    reasons = failed + [text for ok, text in parts if ok]
    if len(net_g) < needed:
        reasons.insert(
            0,
            tr(
                "The plan for a lot of {lot} needs {needed} packages; {weighed} weighed so far.",
                lot=lot,
                needed=needed,
                weighed=len(net_g),
            ),
        )
    verdict = None if len(net_g) < needed else not failed
    mean_and_limits = summary.mean, summary.sd, label_g - slack, allowance, beyond, plan.beyond
    return LotCheck(verdict, tuple(reasons), *mean_and_limits, len(net_g), needed, rules.banner)


def _check(net_g: Sequence[float], lot: int) -> None:
    faults = []
    if not len(net_g):
        faults.append(Fault(tr("no package was weighed"), "net_g", tr("one or more")))
    if any(not v > 0 for v in net_g):
        faults.append(Fault(tr("a package weighs nothing or less"), "net_g", tr("net masses above 0 g")))
    if lot < max(len(net_g), 1):
        what = tr("{weighed} packages of a lot of {lot}", weighed=len(net_g), lot=lot)
        faults.append(Fault(what, "lot", tr("at least those weighed")))
    if faults:
        raise MeasureError(faults)


def _mean_part(mean: float, label: float, slack: float) -> tuple[bool, str]:
    error = mean - label
    ok = error >= -slack
    if error >= 0:
        return ok, tr("The mean is {off:.2f} g above the label.", off=error)
    if ok:
        return ok, tr(
            "The mean is {off:.2f} g below the label, within the {slack:.2f} g that chance in the sample allows.",
            off=-error,
            slack=slack,
        )
    return ok, tr(
        "The mean is {off:.2f} g below the label, more than the {slack:.2f} g that chance in the sample allows.",
        off=-error,
        slack=slack,
    )


def _beyond_part(beyond: int, allowed: int, label: float, allowance: float) -> tuple[bool, str]:
    text = tr(
        "{beyond} packages are below {limit:.1f} g (label less {allowance:g} g); {allowed} may be.",
        beyond=beyond,
        limit=label - allowance,
        allowance=allowance,
        allowed=allowed,
    )
    return beyond <= allowed, text


def _twice_part(twice: int, rules: ContentsRules, label: float, allowance: float) -> list[tuple[bool, str]]:
    if rules.never_beyond is None:
        return []
    limit = label - rules.never_beyond * allowance
    return [(twice == 0, tr("{packages} packages are below {limit:.1f} g; none may be.", packages=twice, limit=limit))]
