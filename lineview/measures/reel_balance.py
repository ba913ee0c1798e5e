"""Reels from mounting to taking off: what the label says went out, beside what the counters fed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import polars as pl

from lineview.measures.counted import Counted, Steps
from lineview.measures.reel_length import full_reel_m
from lineview.measures.wrap_pieces import WRAP_COUNTERS, wraps_split
from lineview.plant import Plant, Web

#: A rest longer than this share of a new reel is a part reel that goes back on the shelf.
SCRAP_SHARE = 0.05


@dataclass(frozen=True)
class ReelSpan:
    """One reel on one machine from mounting up to the next change.

    `held_m` is what was on it when it was mounted [m]: the label's length, or what was left on it the time
    before; `fed` the feed counter's metres; `wraps` the wraps counted meanwhile; both None where some
    increment is not known.
    """

    reel: str
    kind: str
    web: str
    cut_length_mm: float | None
    mounted: datetime
    taken_off: datetime | None
    full_m: float | None
    label_m: float | None
    held_m: float | None
    left_m: float | None
    returned: bool
    splices: int
    fed: Counted | None
    wraps: float | None

    @property
    def drawn_m(self) -> float | None:
        """What went out of the reel [m]: held less left; None where either is unknown or it is still on."""
        if self.held_m is None or self.left_m is None or self.taken_off is None:
            return None
        return self.held_m - self.left_m

    @property
    def scrapped_m(self) -> float | None:
        """What was thrown away with the core [m]: a short rest that nobody mounted again.

        A rest above SCRAP_SHARE of a new reel counts as a part reel put back on the shelf.
        """
        if self.left_m is None or self.taken_off is None:
            return None
        full = self.full_m or self.label_m
        if self.returned or (full is not None and self.left_m > SCRAP_SHARE * full):
            return 0.0
        return self.left_m


@dataclass(frozen=True)
class ReelFault:
    """Something in the reel log that cannot be."""

    reel: str
    at: datetime
    what: str


def web_of(plant: Plant, name: str) -> Web | None:
    """Give the web that a log names by id, name or, where one web alone is of it, kind.

    Parameters
    ----------
    plant : Plant
        The works.
    name : str
        As the log has it.
    """
    key = name.strip().casefold()
    for web in plant.webs:
        if key in (web.id.casefold(), web.name.casefold()) and key:
            return web
    of_kind = [web for web in plant.webs if web.kind == key]
    return of_kind[0] if len(of_kind) == 1 else None


def kind_of(plant: Plant, name: str) -> str:
    """Give the kind of the web that a log names, or "" where it is none of the plant's.

    Parameters
    ----------
    plant : Plant
        The works.
    name : str
        As the log has it.
    """
    web = web_of(plant, name)
    if web is not None:
        return web.kind
    key = name.strip().casefold()
    return key if key in {"film", "wax paper"} else ""


def reel_spans(
    plant: Plant, machine: str, reels: pl.DataFrame, steps: Mapping[str, Steps], last: datetime
) -> list[ReelSpan]:
    """Give each reel's stretch on a machine with what the counters fed meanwhile.

    Parameters
    ----------
    plant : Plant
        For the webs.
    machine : str
        Id of the machine.
    reels : polars.DataFrame
        REELS; `left_m` of a row is what was left on the reel taken off then, that is, the one before.
    steps : mapping
        Of the machine's counters by what they count.
    last : datetime
        Latest moment known [UTC].

    Returns
    -------
    list of ReelSpan
        By kind and time; the last of each kind is still on the machine.
    """
    own = reels.filter(pl.col("machine") == machine).sort("at", "row")
    spans: list[ReelSpan] = []
    for kind in ("film", "wax paper"):
        rows = [r for r in own.iter_rows(named=True) if kind_of(plant, r["web"] or "") == kind]
        # The last reel is followed by none.
        for row, following in zip(rows, [*rows[1:], None], strict=False):
            end = last if following is None else following["at"]
            spans.append(_span(plant, kind, row, following, end, steps))
    return _with_rests(spans)


def _with_rests(spans: list[ReelSpan]) -> list[ReelSpan]:
    """Mark the rests that were mounted again: under the same name, or as a part reel of that length.

    A reel mounted again under its name holds what was left on it; a part reel's own label says so itself.
    """
    out: list[ReelSpan] = []
    for span in spans:
        before = _rest_of(out, span)
        if before is None:
            out.append(span)
            continue
        out[before] = replace(out[before], returned=True)
        same = out[before].reel == span.reel
        out.append(replace(span, held_m=out[before].left_m) if same else span)
    return out


def _rest_of(earlier: list[ReelSpan], span: ReelSpan) -> int | None:
    """Find the rest that this mounting uses up, the latest first."""
    for k in range(len(earlier) - 1, -1, -1):
        other = earlier[k]
        if other.kind != span.kind or other.returned or not other.left_m:
            continue
        if span.reel and other.reel == span.reel:
            return k
        part = span.full_m is not None and span.label_m is not None and span.label_m < 0.95 * span.full_m
        if part and other.web == span.web and abs(other.left_m - (span.label_m or 0.0)) < 0.5:
            return k
    return None


def _span(
    plant: Plant,
    kind: str,
    row: Mapping[str, Any],
    following: Mapping[str, Any] | None,
    end: datetime,
    steps: Mapping[str, Steps],
) -> ReelSpan:
    mounted: datetime = row["at"]
    web = web_of(plant, str(row["web"]))
    feed = steps.get(kind)
    fed = feed.between(mounted, end) if feed is not None and end > mounted else None
    split = wraps_split(steps, [mounted, end]) if end > mounted else None
    sure = all(own.between(mounted, end).exact for what, own in steps.items() if what in WRAP_COUNTERS)
    label: float | None = row["length_m"]
    if label is None and web is not None:
        label = web.reel_length_m
    return ReelSpan(
        reel=str(row["reel"] or ""),
        kind=kind,
        web=str(row["web"]),
        cut_length_mm=None if web is None else web.cut_length_mm,
        mounted=mounted,
        taken_off=None if following is None else end,
        full_m=None if web is None else full_reel_m(web),
        label_m=label,
        held_m=label,
        left_m=None if following is None else following["left_m"],
        returned=False,
        splices=int(row["splices"] or 0),
        fed=fed if fed is not None and fed.exact else None,
        wraps=float(split[0]) if split is not None and sure else None,
    )


def reel_faults(spans: Sequence[ReelSpan]) -> list[ReelFault]:
    """Name what the reel log cannot mean: a reel mounted twice, more left than the reel held.

    Parameters
    ----------
    spans : sequence of ReelSpan
        Of one or several machines.

    Returns
    -------
    list of ReelFault
        In order of time. A reel that was taken off with something left may be mounted again later.
    """
    faults = []
    seen: dict[tuple[str, str], ReelSpan] = {}
    for span in sorted(spans, key=lambda s: s.mounted):
        key = (span.kind, span.reel)
        before = seen.get(key)
        if before is not None and span.reel and not (before.left_m and before.taken_off):
            faults.append(
                ReelFault(
                    span.reel,
                    span.mounted,
                    f"reel {span.reel} was mounted twice and nothing was left on it the first time",
                )
            )
        if span.left_m is not None and span.label_m is not None and span.left_m > span.label_m * 1.05:
            faults.append(
                ReelFault(
                    span.reel,
                    span.mounted,
                    f"reel {span.reel} had {span.left_m:.0f} m left of {span.label_m:.0f} m",
                )
            )
        seen[key] = span
    return sorted(faults, key=lambda fault: fault.at)
