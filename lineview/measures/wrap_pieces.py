"""Pieces, rejects, blank wraps and fed metres of a cut-and-wrap machine, for each stretch on one product."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt

from lineview.measures.counted import Counted, Steps
from lineview.measures.product_spans import ProductSpan
from lineview.measures.unseen_counts import PlannedTime, filled, over_planned_time

Floats = npt.NDArray[np.float64]
WRAP_COUNTERS = ("pieces", "good pieces", "rejects", "blank wraps")


@dataclass(frozen=True)
class WrapPieces:
    """What was wrapped on one product, summed over its stretches.

    `good`, `wrapped` (rejects included), `rejects` and `blanks` are wraps; `fed_m` the metres fed of each
    kind of web [m]. None where no counter tells.
    """

    product: str
    good: float
    wrapped: float
    rejects: float | None
    blanks: float | None
    fed_m: Mapping[str, float]


def wrap_pieces(
    steps: Mapping[str, Steps], spans: Sequence[ProductSpan], kinds: Sequence[str]
) -> list[WrapPieces]:
    """Sum the counters by product.

    Parameters
    ----------
    steps : mapping
        Of counters by what they count.
    spans : sequence of ProductSpan
        Stretches on one product each, in order and without gap.
    kinds : sequence of str
        Kinds of web ("film", "wax paper").

    Returns
    -------
    list of WrapPieces
        One a product, in order of first appearance; empty where no counter counts pieces.
    """
    edges = [span.start for span in spans] + [spans[-1].end]
    split = {kind: own.split(edges) for kind, own in steps.items()}
    good, wrapped, rejects = _pieces(split)
    if good is None or wrapped is None:
        return []
    names = list(dict.fromkeys(span.product for span in spans))
    rows = []
    for name in names:
        here = np.array([span.counted and span.product == name for span in spans])
        blanks = split.get("blank wraps")
        rows.append(
            WrapPieces(
                product=name,
                good=float(good[here].sum()),
                wrapped=float(wrapped[here].sum()),
                rejects=None if rejects is None else float(rejects[here].sum()),
                blanks=None if blanks is None else float(blanks[here].sum()),
                fed_m={kind: float(split[kind][here].sum()) for kind in kinds if kind in split},
            )
        )
    return [row for row in rows if row.wrapped > 0 or any(row.fed_m.values())]


def good_counted(steps: Mapping[str, Steps], start: datetime, end: datetime) -> Counted | None:
    """Give the good pieces of a stretch with their bounds, or None where no counter tells.

    Parameters
    ----------
    steps : mapping
        Of counters by what they count.
    start, end : datetime
        The stretch [UTC].

    Returns
    -------
    Counted or None
        Of "good pieces", else pieces less rejects, else pieces.
    """
    if "good pieces" in steps:
        return steps["good pieces"].between(start, end)
    if "pieces" not in steps:
        return None
    pieces = steps["pieces"].between(start, end)
    if "rejects" not in steps:
        return pieces
    rejects = steps["rejects"].between(start, end)
    return Counted(
        value=pieces.value - rejects.value,
        low=max(pieces.low - rejects.high, 0.0),
        high=pieces.high - rejects.low,
        n=pieces.n,
        exact=pieces.exact and rejects.exact,
    )


def wraps_split(steps: Mapping[str, Steps], edges: list[datetime]) -> Floats | None:
    """Give wraps (pieces and counted blanks) between successive edges, or None where none tells.

    Parameters
    ----------
    steps : mapping
        Of counters by what they count.
    edges : list of datetime
        Edges of the stretches, in order [UTC].
    """
    split = {kind: own.split(edges) for kind, own in steps.items()}
    _, wrapped, _ = _pieces(split)
    if wrapped is None:
        return None
    return wrapped + split.get("blank wraps", np.zeros_like(wrapped))


def good_split(steps: Mapping[str, Steps], edges: list[datetime]) -> Floats | None:
    """Give good pieces between successive edges, or None where none tells.

    Parameters
    ----------
    steps : mapping
        Of counters by what they count.
    edges : list of datetime
        Edges of the stretches, in order [UTC].
    """
    return _pieces({kind: own.split(edges) for kind, own in steps.items()})[0]


def good_and_unseen(
    steps: Mapping[str, Steps], planned: PlannedTime, edges: list[datetime]
) -> tuple[Floats, Floats] | None:
    """Give good pieces between successive edges, and those among them that no reading tells.

    Parameters
    ----------
    steps : mapping
        Of counters by what they count.
    planned : PlannedTime
        When the works meant to run.
    edges : list of datetime
        Edges of the stretches, in order [UTC].

    Returns
    -------
    (numpy.ndarray, numpy.ndarray) or None
        Where a counter was set back or may have turned unseen, its likeliest count; None where none tells.
    """
    own = {kind: step for kind, step in steps.items() if kind in WRAP_COUNTERS}
    likely = {kind: over_planned_time(filled(step, planned), planned) for kind, step in own.items()}
    good = good_split(likely, edges)
    told = {kind: replace(step, value=np.where(step.known, step.value, 0.0)) for kind, step in likely.items()}
    seen = good_split(told, edges)
    return None if good is None or seen is None else (good, np.maximum(good - seen, 0.0))


def _pieces(split: Mapping[str, Floats]) -> tuple[Floats | None, Floats | None, Floats | None]:
    """Give good, wrapped and rejected pieces from whichever counters there are."""
    good, pieces, rejects = split.get("good pieces"), split.get("pieces"), split.get("rejects")
    if pieces is None and good is not None:
        pieces = good if rejects is None else good + rejects
    if good is None and pieces is not None:
        good = pieces if rejects is None else np.maximum(pieces - rejects, 0.0)
    if rejects is None and good is not None and pieces is not None and "good pieces" in split:
        rejects = np.maximum(pieces - good, 0.0) if "pieces" in split else None
    return good, pieces, rejects
