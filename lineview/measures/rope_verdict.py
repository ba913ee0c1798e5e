"""Steady, drifting, stepped or repaired, and what each adjustment did."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from lineview.measures.rope_model import RopeModel

State = Literal["steady", "drifting", "stepped", "repaired"]
LEVEL = 0.95


@dataclass(frozen=True)
class Effect:
    """What a step did: its size, where the rope stood before it and after it [mm from target]."""

    at: datetime
    running_h: float
    label: str
    recorded: bool
    size_mm: float
    low_mm: float
    high_mm: float
    before_mm: float
    after_mm: float

    @property
    def real(self) -> bool:
        """Whether the step can be told from none."""
        return self.low_mm > 0 or self.high_mm < 0

    @property
    def helped(self) -> bool:
        """Whether it brought the rope nearer to its target."""
        return abs(self.after_mm) < abs(self.before_mm)


@dataclass(frozen=True)
class Verdict:
    """The state of the rope now, its wear [mm/h] with interval, and every step's effect."""

    state: State
    wear_mm_per_h: float
    wear_low: float
    wear_high: float
    effects: tuple[Effect, ...]


def effects_of(model: RopeModel) -> tuple[Effect, ...]:
    """Give the effect of every step in a model.

    Parameters
    ----------
    model : RopeModel
        The fitted model.

    Returns
    -------
    tuple of Effect
        In order of time, 95 % intervals.

    Notes
    -----
    Source: derived-rope
    """
    out = []
    for i, done in enumerate(model.adjustments):
        contrast = model.contrast(**{f"step{i}": 1.0})
        size = model.fit.mean(contrast)
        low, high = model.fit.interval(contrast, LEVEL)
        before = model.fit.mean(model.before(i))
        out.append(
            Effect(done.at, done.running_h, done.label, done.recorded, size, low, high, before, before + size)
        )
    return tuple(out)


def verdict(model: RopeModel) -> Verdict:
    """Say what state the rope is in.

    Parameters
    ----------
    model : RopeModel
        The fitted model.

    Returns
    -------
    Verdict
        Drifting where the wear's 95 % interval leaves out 0; else stepped where the last step was not
        recorded, repaired where it was and helped, steady otherwise.

    Notes
    -----
    Source: derived-rope
    """
    contrast = model.contrast(wear=1.0)
    wear = model.fit.mean(contrast)
    low, high = model.fit.interval(contrast, LEVEL)
    effects = effects_of(model)
    real = [e for e in effects if e.real]
    state: State = "steady"
    if low > 0 or high < 0:
        state = "drifting"
    elif real and not real[-1].recorded:
        state = "stepped"
    elif real and real[-1].helped:
        state = "repaired"
    return Verdict(state, wear, low, high, effects)
