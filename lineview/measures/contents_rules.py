"""Rules for the net contents of packages, as values: sampling plans and how short one package may be."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date

from lineview.errors import Fault, MeasureError


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
    beyond: int = 0
    beyond_share: float | None = None
    mean_packages: int | None = None
    mean_factor: float | None = None


@dataclass(frozen=True)
class Shortage:
    """From a label mass [g] on: how much a package may be short, in grams or percent of the label."""

    from_g: float
    grams: float | None = None
    percent: float | None = None


@dataclass(frozen=True)
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
    not_compared: str = "table"

    @property
    def banner(self) -> str:
        """What stands beside every result of a table that nobody compared with its document."""
        if self.compared_with_document:
            return f"{self.title}, {self.edition}"
        return f"{self.title}, {self.edition}: {self.not_compared} not compared with the document"

    @property
    def short_banner(self) -> str:
        """Their name, and whether the table was compared with the document."""
        compared = self.compared_with_document
        return self.name if compared else f"{self.name}, {self.not_compared} not compared with the document"

    def allowance_g(self, label_g: float) -> float:
        """Give how much one package may be short [g].

        Parameters
        ----------
        label_g : float
            Net mass on the label [g].

        Returns
        -------
        float
            MAV or tolerable negative error [g].

        Raises
        ------
        MeasureError
            Where the rules do not cover so small a package.
        """
        rows = [s for s in self.shortages if s.from_g <= label_g]
        if not rows or not label_g > 0:
            raise MeasureError(
                Fault(f"{self.name} does not cover packages of {label_g:g} g", "label_g", "a greater label")
            )
        row = rows[-1]
        if row.grams is not None:
            return row.grams
        exact = (row.percent or 0.0) * label_g / 100
        steps = [step for start, step in self.round_up if start <= label_g]
        # Rounding up must not lift 4.5 to 4.6 for the last digit of a double.
        return round(math.ceil(round(exact / steps[-1], 9)) * steps[-1], 9) if steps else exact

    def plan(self, lot: int) -> Sampling:
        """Give the sampling plan for a lot of this many packages.

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
        raise MeasureError(Fault(f"no plan for a lot of {lot}", "lot", "one package or more"))

    def _factor(self, row: Sampling, n: int) -> float:
        """Give the factor of s for a sample of n; of one package there is no s, so none is allowed for."""
        if row.mean_factor is not None:
            return row.mean_factor
        return self.correction.get(n, 0.0)
