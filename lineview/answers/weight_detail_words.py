"""What the weight answer's detail says in words: where the spread comes from, stability, shape, bags."""

from __future__ import annotations

from lineview.measures.spread_sources import SpreadSources
from lineview.measures.weight_detail import WeightDetail

#: Who is to look, by the source with the greatest share.
LOOK_AT = {
    "rope diameter": "look at the sizer",
    "cut length": "look at the knife",
    "density (air)": "look at pulling",
    "density and cut length between batches": "look at pulling and the knife; a rope counter tells which",
    "single cuts, air from piece to piece, or the scale": "look at the knife, then the scale",
}


def detail_notes(detail: WeightDetail | None) -> tuple[str, ...]:
    """Say what the detail means.

    Parameters
    ----------
    detail : WeightDetail or None
        None where no weight can be used.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    if detail is None:
        return ()
    return tuple(
        note
        for note in (
            _source_note(detail.sources),
            _stability_note(detail),
            _shape_note(detail),
            _bag_note(detail),
        )
        if note
    )


def _source_note(sources: SpreadSources) -> str:
    if sources.why_none:
        return f"Where the spread comes from cannot be told: {sources.why_none}."
    shares = {
        "rope diameter": sources.diameter,
        "cut length": sources.cut_length,
        "density (air)": sources.density,
        "single cuts, air from piece to piece, or the scale": sources.rest_within,
    }
    if sources.density is None:
        shares["density and cut length between batches"] = sources.rest_between
    told = {name: share.value for name, share in shares.items() if share is not None}
    most = max(told, key=told.__getitem__)
    return f"Most of the spread, {100 * told[most]:.0f} %, comes from {most}: {LOOK_AT[most]}."


def _stability_note(detail: WeightDetail) -> str:
    if not detail.chart.charts:
        return f"Whether the process is stable cannot be told: needs 8 batches, has {detail.chart.batches}."
    chart = detail.chart
    outside = chart.outside
    found = f"{len(outside)} of {chart.batches} batches are beyond control limits"
    found += f" ({', '.join(outside[:5])}{' and more' if len(outside) > 5 else ''})" if outside else ""
    if chart.stable:
        return f"{found}; by chance about {chart.by_chance:.0f} would be." if outside else ""
    parts = [f"{found}, by chance about {chart.by_chance:.0f} would be"] if chart.too_many else []
    if chart.drifting:
        parts.append(f"batch means follow each other (lag-1 autocorrelation {chart.follow:.2f})")
    return (
        f"Not stable: {'; '.join(parts)}. Capability speaks of a stable process; take it as a description "
        "of this period only."
    )


def _shape_note(detail: WeightDetail) -> str:
    shape = detail.shape
    if shape.normal is not False:
        return ""
    return (
        f"Pieces within a batch are not normal (skewness {shape.skewness:+.2f}, excess kurtosis "
        f"{shape.kurtosis:+.2f}): go by Pp and Ppk by quantiles where there are enough pieces."
    )


def _bag_note(detail: WeightDetail) -> str:
    if not detail.bags:
        return ""
    first = detail.bags[0]
    return (
        f"Bags are planned for a {100 * first.wanted:.0f} % chance of a lot to pass under {first.rules}, "
        f"from {first.shape}, {first.batches} batches a lot. A planning aid: the decision rests with the "
        "local authority."
    )
