"""Season of a works: how each week of the year stands to the year's mean, from weekly totals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
WEEKS_A_YEAR = 365.25 / 7.0
#: A season is looked for in at least so many weeks; less than a year and a half cannot show one.
LEAST_WEEKS = 78
MOST_HARMONICS = 6


@dataclass(frozen=True)
class Season:
    """Each week's factor on the year's mean, of the weeks learned from and of those to come.

    `ahead_cv` is the standard error of each coming week's factor over the factor; `harmonics` how many waves
    of the year the season has, 0 where none shows.
    """

    then: Floats
    ahead: Floats
    ahead_cv: Floats
    harmonics: int = 0


def learn_season(totals: npt.ArrayLike, weeks_ahead: int) -> Season:
    """Learn the season from weekly totals.

    Parameters
    ----------
    totals : array_like, shape (n,)
        Pieces of each week without gap, the last one the newest; nan or 0 where nothing is known or the works
        stood: such weeks are left out.
    weeks_ahead : int
        Coming weeks to give factors for.

    Returns
    -------
    Season
        With as many harmonics (0 to 6) as Akaike's corrected criterion asks for, a straight trend taken out;
        without season from fewer than LEAST_WEEKS weeks.

    Notes
    -----
    Regression on the logarithm of the totals by statsmodels, which is imported only where there is a season
    to learn. The standard error is that of the regression, so that a season learned from two years is not
    taken for sure.

    Source: harmonic-season
    """
    y = np.asarray(totals, dtype=float)
    made = np.isfinite(y) & (y > 0)
    if made.sum() < LEAST_WEEKS:
        return Season(np.ones(len(y)), np.ones(weeks_ahead), np.zeros(weeks_ahead))
    return _fitted(y, made, weeks_ahead)


def _fitted(y: Floats, made: npt.NDArray[np.bool_], weeks_ahead: int) -> Season:
    """Fit every number of harmonics and keep the one that the criterion likes best."""
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tsa.deterministic import DeterministicProcess, Fourier

    n = len(y)
    found = []
    for harmonics in range(MOST_HARMONICS + 1):
        waves = [Fourier(WEEKS_A_YEAR, harmonics)] if harmonics else []
        process = DeterministicProcess(range(n), constant=True, order=1, additional_terms=waves)
        terms = process.in_sample().to_numpy()
        fit = OLS(np.log(y[made]), terms[made]).fit()
        found.append((float(fit.info_criteria("aicc", dk_params=1)), harmonics, process, terms, fit))
    _, harmonics, process, terms, fit = min(found, key=lambda one: one[:2])
    if not harmonics:
        return Season(np.ones(n), np.ones(weeks_ahead), np.zeros(weeks_ahead))
    coming = process.out_of_sample(weeks_ahead).to_numpy()[:, 2:]
    wave, doubt = fit.params[2:], fit.cov_params()[2:, 2:]
    # Ten years of weeks meet every moment of the year evenly.
    year = process.out_of_sample(round(10 * WEEKS_A_YEAR)).to_numpy()[:, 2:]
    mean = float(np.exp(year @ wave).mean())
    return Season(
        then=np.exp(terms[:, 2:] @ wave) / mean,
        ahead=np.exp(coming @ wave) / mean,
        ahead_cv=np.sqrt(np.einsum("ij,jk,ik->i", coming, doubt, coming)),
        harmonics=harmonics,
    )
