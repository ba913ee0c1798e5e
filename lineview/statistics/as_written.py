"""Numbers as they were written in decimal, so that sums of them can be exact."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal


def whole_numbers(values: Iterable[float]) -> tuple[list[int], int]:
    """Give values as whole multiples of one power of ten, exactly as they were written.

    A reading comes from decimal text. The nearest double of 1000000000000.4 is 1000000000000.4000244, but
    the shortest decimal that names that double is the text again, so nothing that was written is lost.

    Parameters
    ----------
    values : iterable of float
        Finite numbers, with at most 15 digits as written.

    Returns
    -------
    list of int
        The values times ten to the second result.
    int
        The number of decimals, 0 or more.

    Examples
    --------
    >>> whole_numbers([1000000000000.4, 1000000000000.25])
    ([100000000000040, 100000000000025], 2)
    """
    written = [Decimal(repr(float(value))) for value in values]
    decimals = max((-int(d.as_tuple().exponent) for d in written), default=0)
    decimals = max(decimals, 0)
    return [int(d.scaleb(decimals)) for d in written], decimals
