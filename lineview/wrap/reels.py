"""Reels from mounting to taking off: length by diameter, thickness or label, beside what counters fed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.core.errors import Fault, MeasureError
from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.counters import Counted
from lineview.machine.pieces import MachineCounts, micros
from lineview.machine.products import WRAP_COUNTERS, wraps_between
from lineview.plant import Counts, Plant, Web, WebKind


def reel_length_m(outer_mm: float, core_mm: float, thickness_um: float) -> float:
    """The length wound on a reel [m]: L = π(D² − d²) ÷ 4t.

    Takes `thickness_um` [µm].

    Layers times mean circumference. An error of 5 % in thickness is 4.8 % in length: learn the thickness
    from a reel of known length (`wound_thickness_um`) rather than from a micrometer.

    Source: reel-formula
    """
    ring_mm2 = _ring_mm2(outer_mm, core_mm)
    if not thickness_um > 0:
        what = tr("thickness is {thickness_um:g} µm", thickness_um=thickness_um)
        raise MeasureError(Fault(what, "thickness_um", tr("above 0")))
    return ring_mm2 / thickness_um


def wound_thickness_um(outer_mm: float, core_mm: float, length_m: float) -> float:
    """The thickness as wound [µm] of a reel of known length: t = π(D² − d²) ÷ 4L.

    Source: reel-formula
    """
    ring_mm2 = _ring_mm2(outer_mm, core_mm)
    if not length_m > 0:
        raise MeasureError(Fault(tr("length is {length_m:g} m", length_m=length_m), "length_m", tr("above 0")))
    return ring_mm2 / length_m


def web_thickness_um(web: Web) -> float | None:
    """Thickness as wound of a web [µm]: from its labelled reel where there is one, else as stated."""
    if web.reel_length_m is not None and web.reel_outer_mm > web.reel_core_mm:
        return wound_thickness_um(web.reel_outer_mm, web.reel_core_mm, web.reel_length_m)
    return web.thickness_um


def full_reel_m(web: Web) -> float | None:
    """The length of a new reel of a web [m]: its label's, else from diameters and thickness.

    Parameters
    ----------
    web : Web
        Of the plant description.

    Returns
    -------
    float or None
        Length [m]; None where it is not known.
    """
    if web.reel_length_m is not None:
        return web.reel_length_m
    if web.thickness_um is None or web.reel_outer_mm <= web.reel_core_mm:
        return None
    return reel_length_m(web.reel_outer_mm, web.reel_core_mm, web.thickness_um)


def part_reel_m(web: Web, outer_mm: float, *, tolerance_mm: float = 2.0) -> float | None:
    """What is left on a part reel by its measured outer diameter [m].

    Parameters
    ----------
    web : Web
        Of the plant description.
    outer_mm : float
        Measured outer diameter [mm].
    tolerance_mm : float
        How much thicker than new a reel may measure before it is refused [mm].

    Returns
    -------
    float or None
        Length left [m]; None where the thickness is not known.

    Raises
    ------
    MeasureError
        Where the reel is thicker than new or thinner than its core.

    Notes
    -----
    Source: reel-formula
    """
    if outer_mm > web.reel_outer_mm + tolerance_mm:
        what = tr("a part reel of {web} measures {outer_mm:g} mm, thicker than new", web=web.id, outer_mm=outer_mm)
        most = tr("at most {outer_mm:g} mm", outer_mm=web.reel_outer_mm)
        do = tr("Measure again, or correct reel_outer_mm in plant.toml.")
        raise MeasureError(Fault(what, "part_reel_outer_mm", most, do))
    thickness = web_thickness_um(web)
    if thickness is None:
        return None
    _reel(outer_mm, web.reel_core_mm)
    return reel_length_m(min(outer_mm, web.reel_outer_mm), web.reel_core_mm, thickness)


def _ring_mm2(outer_mm: float, core_mm: float) -> float:
    """The area of a reel's side [mm²]: its web's length in metres times its thickness in µm."""
    _reel(outer_mm, core_mm)
    return math.pi * (outer_mm**2 - core_mm**2) / 4.0


def _reel(outer_mm: float, core_mm: float) -> None:
    faults = []
    if not core_mm > 0:
        faults.append(Fault(tr("the core is {core_mm:g} mm", core_mm=core_mm), "core_mm", tr("above 0")))
    if not outer_mm >= core_mm:
        what = tr("the reel is {outer_mm:g} mm on a core of {core_mm:g} mm", outer_mm=outer_mm, core_mm=core_mm)
        faults.append(Fault(what, "outer_mm", tr("a reel no thinner than its core"), tr("Measure again.")))
    if faults:
        raise MeasureError(faults)


#: What people add to a reel's name when its rest is mounted again: common practice, no source.
_MARK = re.compile(r"(?<=\d)(?:[b-e]|r|p)$|(?:rest|part|remainder|remnant|again|returned|reststück|teilrolle)$")


def names_meant(later: str) -> tuple[str, ...]:
    """Names of earlier reels, as plain_name gives them, that a later name can mean."""
    name = plain_name(later)
    without = _MARK.sub("", name)
    return tuple(part for part in dict.fromkeys((name, without)) if part)


@lru_cache(maxsize=65_536)
def plain_name(name: str) -> str:
    """A reel's name without case, blanks and punctuation."""
    return "".join(char for char in name.casefold() if char.isalnum())


#: A rest is measured by diameter or rounded: so far may two notes of it lie apart [m].
LENGTH_READ_M = 5.0
#: Seconds without a reading that a reel's metres may lack at its ends [s].
MISSING_S = 30.0
#: A rest longer than this share of a new reel is a part reel that goes back on the shelf.
SCRAP_SHARE = 0.05


@dataclass(frozen=True)
class ReelSpan:
    """One reel on one machine from mounting up to the next change.

    `reel` is its name in the log, or which of its kind it is where it has none; `held_m` what was on it when
    it was mounted [m]: the label's length, or what was left on it the time before; `fed` the feed counter's
    metres; `wraps` the wraps counted meanwhile; both None where some increment is not known. `origin` is the
    name under which the same reel was first mounted, its own where this is the first time; `stated_m` is the
    length that the log states at this mounting.
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
    is_returned: bool
    splices: int
    fed: Estimate | None
    wraps: float | None
    origin: str
    stated_m: float | None = None

    @property
    def unwound_m(self) -> float | None:
        """What went out of the reel [m]: held less left; None where either is unknown or it is still on."""
        if self.held_m is None or self.left_m is None or self.taken_off is None:
            return None
        return self.held_m - self.left_m

    @property
    def scrapped_m(self) -> float | None:
        """Scrapped with the core [m]: a short remainder that was not mounted again.

        A rest above SCRAP_SHARE of a new reel counts as a part reel put back on the shelf.
        """
        if self.left_m is None or self.taken_off is None:
            return None
        full = self.full_m or self.label_m
        if self.is_returned or (full is not None and self.left_m > SCRAP_SHARE * full):
            return 0.0
        return self.left_m


def web_of(plant: Plant, name: str) -> Web | None:
    """The web that a log names by id, name or, where one web alone is of it, kind."""
    key = name.strip().casefold()
    for web in plant.webs:
        if key in (web.id.casefold(), web.name.casefold()) and key:
            return web
    of_kind = [web for web in plant.webs if web.kind == key]
    return of_kind[0] if len(of_kind) == 1 else None


def kind_of(plant: Plant, name: str) -> str:
    """The kind of the web that a log names, or "" where it is none of the plant's."""
    web = web_of(plant, name)
    if web is not None:
        return web.kind
    key = name.strip().casefold()
    return key if key in {"film", "wax paper"} else ""


def reel_spans(plant: Plant, counts: MachineCounts, reels: pl.DataFrame, last: datetime) -> list[ReelSpan]:
    """Each reel's stretch on a machine with what the counters fed meanwhile."""
    of_machine = reels.filter(pl.col("machine") == counts.machine.id).sort("at", "row")
    spans: list[ReelSpan] = []
    kinds: tuple[WebKind, ...] = ("film", "wax paper")
    kinds_named = {name: kind_of(plant, name or "") for name in of_machine["web"].unique(maintain_order=True)}
    for kind in kinds:
        rows = [r for r in of_machine.iter_rows(named=True) if kinds_named[r["web"]] == kind]
        if not rows:
            continue
        ends = [*(row["at"] for row in rows[1:]), max(last, rows[-1]["at"])]
        moments = [rows[0]["at"], *ends]
        fed, wraps = _count_estimates(counts, kind, moments), _wraps_between(counts, moments)
        # The last reel is followed by none.
        for k, (row, following) in enumerate(zip(rows, [*rows[1:], None], strict=False)):
            name = str(row["reel"] or "") or tr("without a name ({number})", number=k + 1)
            spans.append(_span(plant, kind, name, row, following, ends[k], fed[k], wraps[k]))
    return _with_rests(spans)


def _with_rests(spans: list[ReelSpan]) -> list[ReelSpan]:
    """Join the mountings of one reel: under the same name, its name with a mark, or as a remainder of that length.

    A remainder mounted again holds what was noted as left on it; without a note, what the counter left.
    """
    out: list[ReelSpan] = []
    rests = _OpenRests()
    for span in spans:
        mounting, k = span, rests.used_by(span, out)
        if k is not None:
            before = out[k]
            out[k] = replace(before, is_returned=True)
            held_m = _remainder_m(before)
            held_m = span.held_m if held_m is None else held_m
            mounting = replace(span, held_m=held_m, label_m=before.label_m, origin=before.origin)
        rests.add(len(out), mounting)
        out.append(mounting)
    return out


def _remainder_m(span: ReelSpan) -> float | None:
    """Remainder of a reel taken off [m]: noted, or held less fed; None where neither is known."""
    if span.left_m is not None:
        return span.left_m
    if span.held_m is None or span.fed is None:
        return None
    return max(span.held_m - span.fed.number, 0.0)


class _OpenRests:
    """Mountings whose remainder was not mounted again, by kind and name."""

    def __init__(self) -> None:
        self._by_name: dict[tuple[str, str], list[int]] = {}
        self._by_kind: dict[str, dict[int, None]] = {}

    def add(self, k: int, span: ReelSpan) -> None:
        """Note a mounting that leaves a rest, or one of unknown length."""
        if span.left_m == 0:
            return
        self._by_kind.setdefault(span.kind, {})[k] = None
        for name in {plain_name(span.reel), plain_name(span.origin)} - {""}:
            self._by_name.setdefault((span.kind, name), []).append(k)

    def used_by(self, span: ReelSpan, earlier: Sequence[ReelSpan]) -> int | None:
        """The mounting whose remainder this one uses up, the latest first; a name counts before a length."""
        open_ones = self._by_kind.get(span.kind, {})
        same_name = [k for name in names_meant(span.reel) for k in self._by_name.get((span.kind, name), [])]
        k = max((k for k in same_name if k in open_ones), default=None)
        if k is None and span.full_m is not None and span.stated_m is not None:
            k = self._of_length(span, earlier) if span.stated_m < 0.95 * span.full_m else None
        if k is not None:
            del open_ones[k]
        return k

    def _of_length(self, span: ReelSpan, earlier: Sequence[ReelSpan]) -> int | None:
        """The latest mounting that left as much as this part reel is stated to hold."""
        length_m = span.stated_m or 0.0
        near = max(LENGTH_READ_M, 0.01 * length_m)
        for k in reversed(self._by_kind.get(span.kind, {})):
            remainder = earlier[k].left_m
            if remainder and earlier[k].web == span.web and abs(remainder - length_m) <= near:
                return k
        return None


def _span(
    plant: Plant,
    kind: WebKind,
    name: str,
    row: Mapping[str, Any],
    following: Mapping[str, Any] | None,
    end: datetime,
    fed: Estimate | None,
    wraps: float | None,
) -> ReelSpan:
    mounted: datetime = row["at"]
    web = web_of(plant, str(row["web"]))
    label: float | None = row["length_m"]
    if label is None and web is not None:
        label = web.reel_length_m
    return ReelSpan(
        reel=name,
        origin=name,
        kind=kind,
        web=str(row["web"]),
        cut_length_mm=None if web is None else web.cut_length_mm,
        mounted=mounted,
        taken_off=None if following is None else end,
        full_m=None if web is None else full_reel_m(web),
        label_m=label,
        held_m=label,
        stated_m=row["length_m"],
        left_m=None if following is None else following["left_m"],
        is_returned=False,
        splices=int(row["splices"] or 0),
        fed=fed,
        wraps=wraps,
    )


def _count_estimates(counts: MachineCounts, kind: Counts, moments: Sequence[datetime]) -> list[Estimate | None]:
    """What a counter counted between moments; None where part of it was not read, or is open."""
    at = micros(moments)
    counts_between = counts.count(kind, at[:-1], at[1:])
    if counts_between is None:
        return [None] * (len(at) - 1)
    sure = _sure(counts_between)
    return [counts_between.at(k) if sure[k] else None for k in range(len(sure))]


def _sure(counts: Counted) -> npt.NDArray[np.bool_]:
    """Which stretches were read as a whole."""
    return (counts.missing_s <= MISSING_S) & (counts.readings > 0) & ~np.isnan(counts.value)


def _wraps_between(counts: MachineCounts, moments: Sequence[datetime]) -> list[float | None]:
    """Wraps between moments; None where part of them was not read, or is open."""
    wraps = wraps_between(counts, moments)
    if wraps is None:
        return [None] * (len(moments) - 1)
    at, sure = micros(moments), np.ones(len(wraps), dtype=np.bool_)
    for kind in WRAP_COUNTERS:
        stretch_counts = counts.count(kind, at[:-1], at[1:]) if counts.has_read(kind) else None
        sure &= True if stretch_counts is None else _sure(stretch_counts)
    return [float(n) if is_sure else None for n, is_sure in zip(wraps, sure, strict=True)]


#: By how much more than its label a reel may hold without a note; a reel's over-delivery aside.
MORE_SHARE = 0.05


@dataclass(frozen=True)
class ReelFault:
    """Something in the reel log that is not possible."""

    reel: str
    at: datetime
    message: str


def reel_faults(spans: Sequence[ReelSpan]) -> list[ReelFault]:
    """Name what the reel log cannot mean."""
    faults: list[ReelFault] = []
    by_name: dict[tuple[str, str], list[ReelSpan]] = {}
    for span in sorted(spans, key=lambda s: s.mounted):
        earlier = by_name.setdefault((span.kind, span.origin), [])
        faults_of_reel = [_again(earlier[-1], span)] if earlier else []
        faults_of_reel += [_too_much_left(span), _too_much_fed([*earlier, span])]
        faults += [ReelFault(span.reel, span.mounted, message) for message in faults_of_reel if message]
        earlier.append(span)
    return faults


def _again(before: ReelSpan, span: ReelSpan) -> str:
    """Say why a reel cannot have been mounted again as the log has it, or nothing."""
    if before.left_m == 0 or before.taken_off is None:
        return tr("reel {reel} was mounted twice and nothing was left on it the first time", reel=span.reel)
    remainder, length_m = before.left_m, span.stated_m
    if remainder is None or length_m is None or length_m == before.label_m:
        return ""
    # The label's own length may be written down again; any other length must be what was left.
    if abs(length_m - remainder) <= max(LENGTH_READ_M, MORE_SHARE * remainder):
        return ""
    return tr(
        "reel {reel} was mounted again with {length_m:,.0f} m, but {remainder:,.0f} m were left on it",
        reel=span.reel,
        length_m=length_m,
        remainder=remainder,
    )


def _too_much_left(span: ReelSpan) -> str:
    if span.left_m is None or span.held_m is None or span.left_m <= span.held_m * (1.0 + MORE_SHARE):
        return ""
    return tr(
        "reel {reel} had {left_m:,.0f} m left of {held_m:,.0f} m",
        reel=span.reel,
        left_m=span.left_m,
        held_m=span.held_m,
    )


def _too_much_fed(spans: Sequence[ReelSpan]) -> str:
    """Say that a reel mounted several times fed more than it can hold, or nothing."""
    fed = [span.fed.number for span in spans if span.fed is not None]
    label = spans[0].label_m
    if len(spans) < 2 or label is None or sum(fed) <= label * (1.0 + MORE_SHARE):
        return ""
    return tr(
        "reel {reel} fed {fed:,.0f} m in {spans} mountings, but its label says {label:,.0f} m",
        reel=spans[0].reel,
        fed=sum(fed),
        spans=len(spans),
        label=label,
    )
