"""A standing stretch split where the machine's state code changes: whose stop, and how long of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lineview.measures.rate import Bools, Ints
from lineview.measures.state_codes import MEANINGS
from lineview.measures.state_spells import CHANGEOVER_CODE, LATE_US, RUNNING_CODE


@dataclass(frozen=True)
class StandingRows:
    """Rows of a tape before its states are named.

    Parameters
    ----------
    stretch : array of int
        Which stretch of the clock each row lies in.
    stands : array of bool
        Rows in which the machine stood.
    says : array of int
        What the state channel said, as a place in MEANINGS; -1 where nothing.
    long_us, planned_us : array of int
        Their length, and their length outside breaks [µs].
    """

    stretch: Ints
    stands: Bools
    says: Ints
    long_us: Ints
    planned_us: Ints

    def groups(self) -> Iterator[Ints]:
        """Give the rows of each standing stretch in which some code speaks of standing."""
        spoken = self.stands & (self.says >= 0) & (self.says != RUNNING_CODE)
        standing = np.flatnonzero(self.stands)
        stretch = self.stretch[standing]
        used = np.unique(self.stretch[spoken])
        first, last = (np.searchsorted(stretch, used, side=side) for side in ("left", "right"))
        for a, b in zip(first.tolist(), last.tolist(), strict=True):
            yield standing[a:b]


def steadied(rows: StandingRows) -> Ints:
    """Give what each standing row is, once lags of the code are taken out.

    Parameters
    ----------
    rows : StandingRows
        As they are.

    Returns
    -------
    array of int
        As `says`: a brief row that says running or nothing takes the code after it in its stretch, else the
        one before it. -1 on rows that do not stand, and where a code says running for longer: the counter
        goes before it.
    """
    says = np.where(rows.stands & (rows.says != RUNNING_CODE), rows.says, -1)
    for own in rows.groups():
        told = own[says[own] >= 0]
        for row in own[(says[own] < 0) & (rows.long_us[own] <= LATE_US)].tolist():
            after = np.searchsorted(told, row)
            says[row] = says[told[after if after < len(told) else after - 1]]
    return says


def with_code_kinds(
    rows: StandingRows, says: Ints, kind: Ints, names: tuple[int, int, int], short_us: float
) -> Ints:
    """Give the rows' states where a code tells changeovers from stops.

    Parameters
    ----------
    rows : StandingRows
        With `says` as of steadied.
    says : array of int
        As of steadied.
    kind : array of int
        State of each standing row without codes.
    names : tuple of int
        The states short stop, stop and changeover.
    short_us : float
        A stop shorter than this is a short one [µs].

    Returns
    -------
    array of int
        In a stretch of which a code calls some part a changeover, that part is one; of the rest what another
        code tells is a stop as long as all such parts together, and what none tells stays as it was.
    """
    short, stop, changeover = names
    kind = kind.copy()
    for own in rows.groups():
        changes = says[own] == CHANGEOVER_CODE
        if not changes.any():
            continue
        kind[own[changes]] = changeover
        stops = own[~changes & ((says[own] >= 0) | (kind[own] != changeover))]
        kind[stops] = short if rows.planned_us[stops].sum() < short_us else stop
    return kind


def reason_said(says: Ints) -> np.ndarray:
    """Give the codes' meanings as reasons; "stop" gives none."""
    words = np.array(
        [None if name in ("running", "stop", "changeover") else name for name in MEANINGS] + [None]
    )
    return np.asarray(words[says], dtype=object)
