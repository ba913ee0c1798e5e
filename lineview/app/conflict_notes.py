"""What an answer says of moments that two exports tell differently."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from lineview.plant import Plant
from lineview.report.answer import Answer, Question, Scope
from lineview.report.show import counted, listed
from lineview.store.reader import StoreReader

_EVER = datetime(1970, 1, 2, tzinfo=UTC), datetime(2199, 1, 1, tzinfo=UTC)
#: How rows of each kind of export are called.
_NAMES = {
    "readings": "reading",
    "weights": "weighing",
    "stock": "stock count",
    "plan": "row of the plan",
    "batches": "batch",
    "stops": "stop of the log",
    "reels": "reel",
}


def conflict_notes(store: StoreReader, plant: Plant, question: Question, scope: Scope) -> tuple[str, ...]:
    """Say how much of what a question is about is told in two ways.

    Parameters
    ----------
    store : StoreReader
        As it is at one moment.
    plant : Plant
        The plant description.
    question : str
        Which of the six; the order looks at plans and stock of all time.
    scope : Scope
        What it is asked of.
    """
    machines = {one.id for one in plant.machines if scope.line in ("", one.line) and scope.machine in ("", one.id)}
    lines = {scope.line} if scope.line else {one.id for one in plant.lines}
    period = (scope.period.start, scope.period.end)
    conflicts = store.disputed(machines | lines, *period)
    if question == "order":
        ever = store.disputed({one.id for one in plant.lines} | {one.id for one in plant.webs}, *_EVER)
        conflicts |= {kind: ever[kind] for kind in ("plan", "stock") if kind in ever}
    if not conflicts:
        return ()
    parts = listed([_counted(conflicts[kind], name) for kind, name in _NAMES.items() if kind in conflicts])
    verb = "is" if sum(conflicts.values()) == 1 else "are"
    ways = "given in two versions, of which neither is used"
    return (f"{parts} {verb} {ways}: see Intake, or lineview intake --conflicts.",)


def _counted(number: int, name: str) -> str:
    """How many there are; the first noun of a name has its plural."""
    first, space, rest = name.partition(" of ")
    return counted(number, first) + space + rest


def with_notes(answer: Answer, notes: tuple[str, ...]) -> Answer:
    """The answer with further notes."""
    return replace(answer, notes=(*answer.notes, *notes)) if notes else answer
