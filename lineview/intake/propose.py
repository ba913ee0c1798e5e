"""A layout proposed for a file that none fits."""

from __future__ import annotations
from collections.abc import Sequence
from pathlib import Path
from lineview.intake.export import Proposal
from lineview.intake.records import Records
from lineview.plant import Plant


def propose(path: Path, name: str, tables: Sequence[Records], plant: Plant) -> Proposal:
    raise NotImplementedError
