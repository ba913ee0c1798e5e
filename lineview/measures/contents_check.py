"""Lot check of weighed packages against a label, with the reason for pass or fail in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError
from lineview.measures.contents_rules import ContentsRules
from lineview.stats.means import summarize


@dataclass(frozen=True)
class LotCheck:
    """How a lot fares.

    Parameters
    ----------
    passed : bool
        Whether nothing failed it.
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

    passed: bool
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
        With reasons. A sample smaller than the plan's is checked with what there is, and said to be so.

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
    found = summarize(net_g[: plan.mean_packages])
    factor = plan.mean_factor if found.n == plan.mean_packages else rules.correction.get(found.n)
    slack = (plan.mean_factor if factor is None else factor) or 0.0
    slack *= found.sd or 0.0
    allowance = rules.allowance_g(label_g)
    beyond = sum(v < label_g - allowance for v in net_g)
    twice = 0
    if rules.never_beyond is not None:
        twice = sum(v < label_g - rules.never_beyond * allowance for v in net_g)
    parts = [
        _mean_part(found.mean, label_g, slack),
        _beyond_part(beyond, plan.beyond, label_g, allowance),
        *_twice_part(twice, rules, label_g, allowance),
    ]
    failed = [text for ok, text in parts if not ok]
    told = failed + [text for ok, text in parts if ok]
    if len(net_g) < needed:
        told.append(f"The plan for a lot of {lot} wants {needed} packages; {len(net_g)} were weighed.")
    return LotCheck(
        not failed, tuple(told), found.mean, found.sd, label_g - slack, allowance, beyond, plan.beyond,
        len(net_g), needed, rules.banner,
    )  # fmt: skip


def _check(net_g: Sequence[float], lot: int) -> None:
    faults = []
    if not len(net_g):
        faults.append(Fault("no package was weighed", "net_g", "one or more"))
    if any(not v > 0 for v in net_g):
        faults.append(Fault("a package weighs nothing or less", "net_g", "net masses above 0 g"))
    if lot < max(len(net_g), 1):
        faults.append(Fault(f"{len(net_g)} packages of a lot of {lot}", "lot", "at least those weighed"))
    if faults:
        raise MeasureError(faults)


def _mean_part(mean: float, label: float, slack: float) -> tuple[bool, str]:
    error = mean - label
    ok = error >= -slack
    side = f"{abs(error):.2f} g {'above' if error >= 0 else 'below'} the label"
    if error >= 0:
        return ok, f"The mean is {side}."
    verb = "within" if ok else "more than"
    return ok, f"The mean is {side}, {verb} the {slack:.2f} g that chance in the sample allows."


def _beyond_part(beyond: int, allowed: int, label: float, allowance: float) -> tuple[bool, str]:
    what = f"below {label - allowance:.1f} g (label less {allowance:g} g); {allowed} may be"
    return beyond <= allowed, f"{beyond} packages are {what}."


def _twice_part(twice: int, rules: ContentsRules, label: float, allowance: float) -> list[tuple[bool, str]]:
    if rules.never_beyond is None:
        return []
    limit = label - rules.never_beyond * allowance
    return [(twice == 0, f"{twice} packages are below {limit:.1f} g; none may be.")]
