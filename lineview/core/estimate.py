"""A number with its bounds: the one form in which a value and how sure it is travel together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass, replace

#: Coverage factor of an expanded uncertainty: about 95 % (GUM).
K = 2.0


@dataclass(frozen=True)
class Estimate:
    """A value, its lower and upper end, and what they rest on.

    Parameters
    ----------
    value : float or None
        None where it is not known; then `why_none` says why.
    low, high : float or None
        Ends of the interval; None where that side is open. Both equal `value` for an exact count.
    n : int
        Readings, batches or events behind it.
    interval : str
        What the interval is ("95 % confidence", "bounds: readings missing"); "" for bounds that the
        readings allow.
    why_none : str
        The reason where there is no value.

    Examples
    --------
    >>> made, rejects = Estimate(300.0, 300.0, 310.0), Estimate.exact(4.0)
    >>> (made - rejects).high
    306.0
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    n: int = 0
    _: KW_ONLY
    interval: str = ""
    why_none: str = ""

    @classmethod
    def exact(cls, value: float, n: int = 0) -> Estimate:
        """A value that is known without doubt."""
        return cls(value, value, value, n)

    @classmethod
    def expanded(cls, value: float, sd: float, n: int, interval: str = "") -> Estimate:
        """A value with k = 2 standard uncertainties on either side of it."""
        return cls(value, value - K * sd, value + K * sd, n, interval=interval)

    @classmethod
    def unknown(cls, why: str, n: int = 0) -> Estimate:
        """No value, and the reason."""
        return cls(None, n=n, why_none=why)

    @classmethod
    def sum(cls, parts: Sequence[Estimate]) -> Estimate:
        """The sum of estimates as bounds; without a value where one of them has none."""
        total = cls.exact(0.0)
        for part in parts:
            total = total + part
        return total

    @property
    def least(self) -> float:
        """The value, or the least that it can be; 0 where nothing is known."""
        return self.value if self.value is not None else self.low or 0.0

    @property
    def number(self) -> float:
        """The value, where it is sure that there is one.

        Raises
        ------
        ValueError
            Where it has none.
        """
        if self.value is None:
            raise ValueError(self.why_none or "this estimate has no value")
        return self.value

    @property
    def ends(self) -> tuple[float, float]:
        """Lower and upper end; the value itself, or infinity, where a side is open."""
        low = self.low if self.low is not None else -math.inf
        return low, self.high if self.high is not None else math.inf

    def __add__(self, other: Estimate) -> Estimate:
        """Add as bounds: the ends add."""
        return Estimate(
            _both(self.value, other.value, 1.0),
            _both(self.low, other.low, 1.0),
            _both(self.high, other.high, 1.0),
            self.n + other.n,
            interval=self.interval or other.interval,
            why_none=self.why_none or other.why_none,
        )

    def __sub__(self, other: Estimate) -> Estimate:
        """Subtract as bounds: least less most, most less least."""
        return Estimate(
            _both(self.value, other.value, -1.0),
            _both(self.low, other.high, -1.0),
            _both(self.high, other.low, -1.0),
            max(self.n, other.n),
            interval=self.interval or other.interval,
            why_none=self.why_none or other.why_none,
        )

    def scaled(self, factor: float) -> Estimate:
        """Times a number that is known; a factor below 0 swaps the ends."""
        ends = [None if end is None else end * factor for end in (self.low, self.high)]
        low, high = ends if factor >= 0 else ends[::-1]
        return replace(self, value=None if self.value is None else self.value * factor, low=low, high=high)


def _both(a: float | None, b: float | None, sign: float) -> float | None:
    return None if a is None or b is None else a + sign * b
