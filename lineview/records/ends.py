"""Which of a window's readings are surely counts, and which at its ends the windows beside it have to judge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineview.machine.counter_repair import LONGEST_RUN, Limits, held_at_top, possible
from lineview.machine.speed import Floats, Ints

#: A counter's pace beside a run of one value is that of so long [µs].
PACE_US = 300_000_000
#: A first rise from 0 that is more than so many times any other step was most likely not counted in it.
FIRST_RISE = 3.0
#: So many later rises say what is usual.
ENOUGH_RISES = 5


@dataclass(frozen=True)
class TrustedRange:
    """The places of the first and the last reading that are surely counts.

    `lead` is the place of the first fall, where it ends the first run and is no turn; 0 elsewhere.
    """

    first: int
    last: int
    lead: int = 0


def trusted_range(
    at_us: Ints, value: Floats, modulus: int | None, fastest_per_min: float, *, turns: bool = True
) -> TrustedRange:
    """Leave out a run of one value at either end that the counter cannot have gone to, or come from.

    Takes moments [µs] and values [counts] of a counter that counts up, the number of values before it starts again at
    0 (None where nobody knows), the fastest it can go [counts/min], and whether a fall is a turn or a fault.

    Within a window such a run is judged by the readings on both sides of it. At an end one side is missing:
    the counter was frozen, or set back and stood, or nothing answered. A last run that counts lead to stays:
    the machine may have stood, and the next window's first run says whether it was frozen.
    """
    whole = TrustedRange(0, len(value) - 1)
    changed = np.flatnonzero(value[1:] != value[:-1]) + 1
    if not len(changed):
        return whole
    limits = Limits(float(modulus) if modulus else None, fastest_per_min, 0.05)
    head, tail = int(changed[0]), int(changed[-1])
    top = held_at_top(at_us, value, limits)
    apart = _is_apart(at_us, value, head, limits, turns=turns)
    fell = bool(value[head] < value[0])
    first = head if (apart and not fell) or top[0] else 0
    before = int(changed[-2]) if len(changed) > 1 else 0
    leads = _leads(at_us, value, (before, tail - 1), tail, limits)
    # of two values that no count leads between, the one that is read for longer is the window's
    alone = head == tail and apart and at_us[-1] - at_us[head] > at_us[head - 1] - at_us[0]
    last = tail - 1 if (not leads and not alone) or top[-1] else whole.last
    lead = head if apart and fell and first == 0 and head < last else 0
    return TrustedRange(first, last, lead) if first < last else whole


def _is_apart(at_us: Ints, value: Floats, head: int, limits: Limits, *, turns: bool) -> bool:
    """Whether no count leads from the first run to what follows it."""
    fell = bool(value[head] < value[0])
    if fell and (limits.modulus is None or not turns):
        return False  # a restart, or nobody knows whether it is a turn
    ahead = np.arange(head, min(head + LONGEST_RUN, len(value) - 1) + 1)
    if not possible(at_us, value, np.full(len(ahead), head - 1), ahead, limits).any():
        return True
    return bool(value[0] == 0 and _stands_out(value, head))


def _stands_out(value: Floats, head: int) -> bool:
    """Whether the rise from the first run is far above every later step, as a value is that nothing read before."""
    steps = np.diff(value[head:])
    rises = steps[steps > 0]
    return bool(len(rises) >= ENOUGH_RISES and value[head] > FIRST_RISE * float(rises.max()))


def _leads(at_us: Ints, value: Floats, begin: tuple[int, int], end: int, limits: Limits) -> bool:
    """Whether the counter can have counted from any of two readings to a later one."""
    start = np.array(begin)
    return bool(possible(at_us, value, start, np.full(len(start), end), limits).any())
