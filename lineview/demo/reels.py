"""Reels on a simulated machine: mounted, used up, spliced, taken off and mounted again."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from lineview.demo.spec import LineSpec
from lineview.plant import Web


@dataclass
class Reel:
    """A reel: its label and what is truly left [m]; `splices_left_m` are what is left when each comes."""

    id: str
    web: Web
    label_m: float
    true_m: float
    left_m: float
    end_m: float
    splices_left_m: list[float] = field(default_factory=list)
    mounted: int = 1


@dataclass(frozen=True)
class Mount:
    """A reel change: what was mounted when, and what was left on the reel taken off (truth and note)."""

    machine: str
    at_s: float
    web: str
    kind: str
    reel: str
    label_m: float
    true_m: float
    old_web: str
    old_reel: str
    old_left_m: float | None
    noted_left_m: float | None
    splices: int
    new: bool


class Rack:
    """The reels of one machine: the two mounted, and part reels waiting."""

    def __init__(self, spec: LineSpec, rng: np.random.Generator) -> None:
        self.spec = spec
        self.rng = rng
        self.mounted: dict[str, Reel] = {}
        self.waiting: dict[str, list[Reel]] = {}
        self.new_reels: dict[str, int] = {"film": 0, "wax paper": 0}
        self.mounts: list[Mount] = []

    def mount(self, web: Web, at_s: float) -> Reel:
        """Take the mounted reel off, put one of this web on, and note both."""
        old = self.mounted.get(web.kind)
        noted_m = self._put_away(old) if old else None
        parts = self.waiting.get(web.id, [])
        new = not parts
        reel = self._new(web) if new else parts.pop()
        self.mounted[web.kind] = reel
        before: tuple[str, str, float | None] = (old.web.id, old.id, old.left_m) if old else ("", "", None)
        of_reel = web.id, web.kind, reel.id, reel.label_m, reel.left_m
        self.mounts.append(Mount(self.spec.wrap, at_s, *of_reel, *before, noted_m, len(reel.splices_left_m), new))
        return reel

    def _put_away(self, old: Reel) -> float:
        if old.left_m <= old.end_m + 1.0:
            return float(round(old.left_m))
        noted_m = round(old.left_m / 5.0) * 5.0
        base = old.id.split(".")[0]
        part = replace(old, id=f"{base}.{old.mounted + 1}", label_m=noted_m, true_m=old.left_m)
        part.mounted = old.mounted + 1
        self.waiting.setdefault(old.web.id, []).append(part)
        return noted_m

    def _new(self, web: Web) -> Reel:
        self.new_reels[web.kind] += 1
        count = self.new_reels[web.kind]
        label = web.reel_length_m or 1000.0
        error = self.rng.normal(0.0, self.spec.sd_reel_length)
        for kind, which, relative in self.spec.mislabelled:
            if kind == web.kind and which == count:
                error = relative
        true = label * (1.0 + error)
        many = int(self.rng.poisson(self.spec.splices_per_reel))
        places = sorted(self.rng.uniform(0.1, 0.9, many) * true)
        letter = "F" if web.kind == "film" else "P"
        reel_id = f"{letter}{self.spec.wrap[-1]}-{count:04d}"
        end = web.end_m
        if self.spec.sd_end_m:
            end = max(0.5, end + self.spec.sd_end_m * float(self.rng.normal()))
        return Reel(reel_id, web, label, true, true, end, [float(p) for p in places])
