"""Likelihood of one more step at each point of a series in correlated noise, with others in the model."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.stats.correlated_regression import COARSE, WANDERING, Noise, innovation_form, innovations, inverse_times
from lineview.stats.serial_correlation import decaying_sum

Floats = NDArray[np.float64]

#: Noises for the search: fewer than for the intervals, since it is repeated.
SEARCH_NOISES = (*COARSE, *WANDERING[::2])


@dataclass(frozen=True)
class StepScan:
    """The likeliest step: the index of the first point after it, its score in standard errors, its evidence.

    `gain` is twice the gain in log likelihood over no step, the noise fitted anew for both; `noise` is that
    of the fit with the step.
    """

    at: int
    score: float
    gain: float
    noise: Noise


def scan_steps(y: Floats, x: Floats, steps: Floats, margin: int = 3, closed: Iterable[int] = ()) -> StepScan:
    """Find the likeliest step beyond the columns already in the model.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns already in the model.
    steps : numpy.ndarray, shape (n − 1,)
        Steps between points.
    margin : int
        Points that must lie on either side.
    closed : iterable of int
        Points around which no step is looked for.

    Returns
    -------
    StepScan
        The likeliest step.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> y = np.sin(np.arange(40.0) * 9) + np.repeat([0.0, 6.0], 20)
    >>> scan_steps(y, np.ones((40, 1)), np.ones(39)).at
    20
    """
    return StepScanner(y, x, steps).scan((), margin, closed)


class StepScanner:
    """Scans one series for steps again and again, with other steps in the model each time.

    The noise is fitted together with the step, since a step that is left out passes for autocorrelation.
    Every candidate is scored in one pass: a step filtered by the noise's innovation form is a + b θʲ after
    j points, so all cross products are running sums. The model's columns are eliminated once, and each step
    that stands in the model beside them once.

    `y`, `x`, `steps`: as in scan_steps.
    """

    def __init__(self, y: Floats, x: Floats, steps: Floats) -> None:
        self._n, self._p = x.shape
        both = np.vstack([y, x.T]).T
        self._exact = [_Exact(noise, steps, both) for noise in SEARCH_NOISES]
        self._filtered = [_FilteredProducts(noise, both) for noise in SEARCH_NOISES]

    def scan(self, at: Sequence[int], margin: int = 3, closed: Iterable[int] = ()) -> StepScan:
        """Find the likeliest step beyond the columns and the steps `at`."""
        n, free = self._n, self._n - self._p - len(at)
        shut = [slice(max(0, k - margin + 1), k + margin) for k in closed]
        without, best = -np.inf, (-np.inf, 0, 0.0, SEARCH_NOISES[0])
        for noise, exact, filtered in zip(SEARCH_NOISES, self._exact, self._filtered, strict=True):
            residual = max(exact.residual(at), 1e-300)
            without = max(without, -0.5 * (exact.log_det + n * np.log(residual)))
            score = filtered.scores(at, free)
            score[:margin] = 0.0
            score[n - margin + 1 :] = 0.0
            for part in shut:
                score[part] = 0.0
            place = int(np.argmax(np.abs(score)))
            share = min(float(score[place]) ** 2 / free, 1 - 1e-9)
            with_step = -0.5 * (exact.log_det + n * np.log(residual * (1 - share)))
            if with_step > best[0]:
                best = (with_step, place, float(score[place]), noise)
        return StepScan(best[1], best[2], 2 * (best[0] - without), best[3])


class _Exact:
    """Sum of squares left by columns and steps under one noise, unevenly spaced points and all."""

    def __init__(self, noise: Noise, steps: Floats, both: Floats) -> None:
        self._noise, self._steps = noise, steps
        solved, self.log_det = inverse_times(noise, steps, both)
        self._base = _Base(both.T @ solved, np.cumsum(solved[::-1], axis=0)[::-1])
        self._known: dict[int, Floats] = {}

    def residual(self, at: Sequence[int]) -> float:
        """Sum of squares left with these steps in."""
        if not at:
            return self._base.residual
        of_y = np.array([self._base.of_y[k] for k in at])
        cross = np.array([[self._with(m)[k] for k in at] for m in at])
        return self._base.residual - float(of_y @ np.linalg.solve(cross, of_y))

    def _with(self, m: int) -> Floats:
        """Cross products of the step at m with a step at each point."""
        if m not in self._known:
            column = (np.arange(self._base.of_y.size) >= m).astype(np.float64)[:, None]
            solved = inverse_times(self._noise, self._steps, column)[0][:, 0]
            self._known[m] = self._base.without(np.cumsum(solved[::-1])[::-1], m)
        return self._known[m]


class _FilteredProducts:
    """Cross products of columns and steps filtered so that one noise in them becomes independent."""

    def __init__(self, noise: Noise, both: Floats) -> None:
        n = both.shape[0]
        theta, self._sd = innovation_form(noise)
        white = innovations(noise, both) / self._sd
        white[0] *= self._sd  # the first point has no past: its variance is 1
        self._flat = (1 - noise.phi) / (1 - theta)
        backwards = white[::-1]
        sums = self._flat * np.cumsum(backwards, axis=0) + (1 - self._flat) * decaying_sum(backwards, theta)
        self._base = _Base(white.T @ white, sums[::-1] / self._sd)
        self._powers = theta ** np.arange(n)
        self._sum = np.concatenate(([0.0], np.cumsum(self._powers)))
        self._squares = np.concatenate(([0.0], np.cumsum(self._powers**2)))
        self._total = self._products(None)
        self._partial = self._total - self._base.explained()
        self._known: dict[int, Floats] = {}

    def scores(self, at: Sequence[int], free: int) -> Floats:
        """Score of a step before each point, in standard errors, with the steps `at` in the model."""
        of_y, partial, residual = self._base.of_y, self._partial, self._base.residual
        if at:
            others = np.stack([self._with(m) for m in at])
            inverse = np.linalg.inv(others[:, list(at)])
            weight = inverse @ of_y[list(at)]
            residual -= float(of_y[list(at)] @ weight)
            of_y = of_y - weight @ others
            partial = partial - np.sum(others * (inverse @ others), axis=0)
        usable = partial > 1e-6 * self._total
        spread = max(residual, 1e-300) / free
        return np.where(usable, of_y / np.sqrt(np.maximum(partial, 1e-12) * spread), 0.0)

    def _with(self, m: int) -> Floats:
        if m not in self._known:
            self._known[m] = self._base.without(self._products(m), m)
        return self._known[m]

    def _products(self, m: int | None) -> Floats:
        """Cross products of a step at each point with that at m, or with itself."""
        n = self._powers.size
        place = np.arange(n)
        other = place if m is None else np.full(n, m)
        number = n - np.maximum(place, other)
        power = self._powers[np.abs(place - other)]
        flat, decay = self._flat, 1 - self._flat
        products = flat**2 * number + flat * decay * (1 + power) * self._sum[number]
        return np.asarray((products + decay**2 * power * self._squares[number]) / self._sd**2)


class _Base:
    """What the model's columns leave of y and of a step at each point.

    `cross`: products of y and the columns with each other; `sums`: of a step at each point with them, one a row.
    """

    def __init__(self, cross: Floats, sums: Floats) -> None:
        self._rows = np.ascontiguousarray(sums[:, 1:].T)  # sums run backwards, which linear algebra does slowly
        # columns are of very different sizes, such as a level of 1 and running hours
        size = 1 / np.sqrt(np.diag(cross)[1:])
        self._inverse = np.linalg.inv(cross[1:, 1:] * size[:, None] * size) * size[:, None] * size
        beta = self._inverse @ cross[1:, 0]
        self.residual = float(cross[0, 0] - cross[0, 1:] @ beta)
        self.of_y = sums[:, 0] - beta @ self._rows

    def explained(self) -> Floats:
        """How much of each step the columns take up."""
        return np.asarray(np.einsum("pn,pn->n", self._inverse @ self._rows, self._rows))

    def without(self, products: Floats, m: int) -> Floats:
        """Take the columns out of the cross products of steps with that at m."""
        return np.asarray(products - (self._inverse @ self._rows[:, m]) @ self._rows)
