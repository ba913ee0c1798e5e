"""A small invented works of one line, exports of one shift whose truth is known, and its answer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from lineview.app.question import read_question
from lineview.app.take_in import IntakeResult
from lineview.app.works import Works

#: Pieces of the shift on Monday 8 June 2026, 06:00 to 14:00: 350 a minute.
MADE = 168_000
PER_MIN = 350
START = datetime(2026, 6, 8, 6)  # noqa: DTZ001 - the works' wall clock

PLANT = """
shop = "Invented Sweets"
zone = "Europe/Berlin"
{shifts}
[[lines]]
id = "1"

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [
  {{ id = "pieces", counts = "pieces", modulus = {modulus}, fastest_per_min = 450 }},
  {{ id = "film", counts = "film", fastest_per_min = 60 }},
]

[[machines]]
id = "sizer1"
kind = "sizer"
line = "1"
gauges = [{{ id = "diameter", measures = "rope diameter", unit = "mm" }}]

[[products]]
id = "plum"
flavour = "Plum"
mass_g = 6.9
mass_tolerance_g = 0.4
diameter_mm = 14.0
diameter_tolerance_mm = 0.4
cut_length_mm = 32
{layouts}
"""

SHIFTS = """
[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

[[shifts]]
id = "late"
start = 14:00:00
end = 22:00:00
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
"""


class SmallWorks:
    """A works folder: exports are taken in as they are, proposals accepted with answers to questions."""

    def __init__(self, folder: Path, layouts: str = "", modulus: int | str = 10_000_000) -> None:
        self.folder = folder
        told = f'"{modulus}"' if isinstance(modulus, str) else modulus
        folder.mkdir(exist_ok=True)
        (folder / "plant.toml").write_text(PLANT.format(layouts=layouts, modulus=told, shifts=SHIFTS), encoding="utf-8")

    def take(
        self, content: str | bytes, name: str = "wrap1.csv", answers: dict[str, str] | None = None
    ) -> IntakeResult:
        """Take one export in; without answers a layout must fit or a proposal comes back."""
        path = self.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        with Works(self.folder) as works:
            return works.take([path], accept=answers is not None, chosen=answers or {})[0]

    def made(self, when: str = "2026-06-08") -> tuple[float | None, float | None, float | None]:
        """Pieces made in the early shift of a day, with their bounds."""
        with Works(self.folder) as works:
            answer = works.ask(read_question("shift", machine="wrap1", period=f"{when}.early"))
        pieces = next(figure for figure in answer.figures if figure.name == "pieces_made")
        if pieces.low is None and pieces.high is None:  # the readings decide it
            return pieces.value, pieces.value, pieces.value
        return pieces.value, pieces.low, pieces.high


def stamps(count: int, step_s: float, start: datetime = START) -> list[datetime]:
    """So many moments, each a step after the one before."""
    return [start + timedelta(seconds=step_s * i) for i in range(count)]


def rows(
    moments: Sequence[datetime],
    *cells: Callable[[float], object],
    form: str = "%Y-%m-%d %H:%M:%S",
    separator: str = ";",
) -> str:
    """Rows of a text export: a time, and cells by the minutes since the shift began."""
    lines: Iterable[list[object]] = (
        [f"{at:{form}}", *(cell((at - START).total_seconds() / 60) for cell in cells)] for at in moments
    )
    return "".join(separator.join(map(str, line)) + "\n" for line in lines)


def total(minutes: float) -> int:
    """Pieces since the shift began, at a steady pace, on top of what was counted before."""
    return 5_000 + round(PER_MIN * minutes)
