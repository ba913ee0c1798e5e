"""An export that no layout fits: day or month first, and what 1,234 means, must be asked."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np


def write_unknown(folder: Path, seed: int, start: date) -> None:
    """Write a short log of a borrowed trial counter on the first line, tab separated.

    Parameters
    ----------
    folder : pathlib.Path
        Where it goes.
    seed : int
        The same seed gives the same bytes.
    start : datetime.date
        Its day.
    """
    rng = np.random.default_rng([seed, 5])
    pieces, rejects = 1012, 12
    lines = ["Trial counter (invented data)", "Date\tTime\tPieces made\tRejects\tRope dia mm"]
    for i in range(120):
        pieces += int(rng.integers(172, 180))
        rejects += int(rng.random() < 0.8)
        hour, minute, second = 10 + (i // 2) // 60, (i // 2) % 60, (i % 2) * 30
        day = f"{start.day:02d}/{start.month:02d}/{start.year}"
        stamp = f"{day}\t{hour:02d}:{minute:02d}:{second:02d}"
        lines.append(f"{stamp}\t{pieces % 10000:,}\t{rejects}\t{rng.normal(15.05, 0.06):.2f}")
    (folder / "trial_counter.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
