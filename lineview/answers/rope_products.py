"""What the rope answer says of products that are drawn to other diameters, or of other bases."""

from __future__ import annotations

from lineview.figure import Figure, Period
from lineview.measures.rope_model import RopeModel

SOURCES = ("restricted-likelihood", "derived-rope")


def product_figures(model: RopeModel, period: Period, kind: str) -> list[Figure]:
    """Give the offset of each kind of product against the one on the line.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    period : Period
        What was asked.
    kind : str
        What the intervals are.

    Returns
    -------
    list of Figure
        "product_1_mm" and on; empty where all batches are of one kind.
    """
    if model.kinds is None:
        return []
    out = []
    for i, name in enumerate(model.kinds.names):
        contrast = model.contrast(**{f"product{i}": 1.0})
        low, high = model.fit.interval(contrast)
        many = int(model.kinds.columns[:, i].sum())
        out.append(
            Figure(f"product_{i + 1}_mm", f"{name} against {model.kinds.reference}", model.fit.mean(contrast),
                   "mm", low, high, kind, many, period, SOURCES,
                   f"offset of {many} batches from their own target, beside that of {model.kinds.reference}")
        )  # fmt: skip
    return out


def product_notes(model: RopeModel | None) -> list[str]:
    """Say which products cannot be told apart.

    Parameters
    ----------
    model : RopeModel or None
        The fitted model.

    Returns
    -------
    list of str
        Plain sentences.
    """
    kinds = None if model is None else model.kinds
    if kinds is None:
        return []
    out = []
    if kinds.aside:
        out.append(
            f"Batches of {_listed(kinds.aside)} are too few to know how far they run off their own target; "
            "they were left out of the drift."
        )
    if kinds.mixed:
        out.append(
            f"How far the rope of {_listed(kinds.mixed)} runs off its own target cannot be told from drift, "
            "from an adjustment or from the change between batches: too few batches, or a change of product "
            "at an adjustment."
        )
    if kinds.in_one_stretch:
        out.append(
            f"Batches of {_listed(kinds.in_one_stretch)} were made in one stretch: whether that product runs "
            "off its own target, or the rope stepped when it began or ended, cannot be told."
        )
    return out


def _listed(names: tuple[str, ...]) -> str:
    return " and ".join(names) if len(names) < 3 else f"{', '.join(names[:-1])} and {names[-1]}"
