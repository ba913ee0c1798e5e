"""A works over hand-written answers, which keeps what is written to it so that tests can look."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from lineview.app.question import QuestionScope, machines_asked
from lineview.app.take_in import IntakeResult
from lineview.core.errors import AskError, Fault, IntakeError
from lineview.core.frames import MANUAL_ENTRIES, READINGS, REFUSALS, STATE_TIMELINE, TRIALS
from lineview.intake.exports import Proposal
from lineview.intake.exports import Question as IntakeQuestion
from lineview.plant import ColumnTarget, Layout, Machine, Plant
from lineview.plant.periods import Days, read_period
from lineview.report.answer import Answer, Question
from lineview.store.conflicts import CONFLICTS
from lineview.store.manual_entries import STOP_REASONS
from lineview.store.writer import Receipt
from tests.board import invented_answers as invented

PERIODS = [
    ("2026-06-09.early", "Tue 9 June, early"),
    ("2026-06-08.late", "Mon 8 June, late"),
    ("2026-06-08.early", "Mon 8 June, early"),
    ("this-week", "since Mon 8 June"),
    ("last-7-days", "the last 7 days"),
    ("all", "all readings"),
]


class InventedStore:
    """Lists by hand."""

    def snapshot(self) -> AbstractContextManager[InventedStore]:
        return nullcontext(self)

    def disputed(self, *_asked: object) -> dict[str, int]:
        return {}

    def intakes(self) -> pl.DataFrame:
        rows = [
            {
                "intake": 7, "file": "wrap1_2026-06-09.csv", "at": datetime(2026, 6, 9, 12, 2, tzinfo=UTC),
                "rows": 2880, "kept": 2878, "duplicate": 0, "refused": 2, "undone": False,
            },
            {
                "intake": 6, "file": "sizer2-june.xlsx", "at": datetime(2026, 6, 9, 5, 58, tzinfo=UTC),
                "rows": 20160, "kept": 20131, "duplicate": 14, "refused": 15, "undone": False,
            },
        ]  # fmt: skip
        return pl.DataFrame(rows).reverse()

    def trials(self) -> pl.DataFrame:
        return pl.DataFrame(schema=TRIALS)

    def refusals(self, intake: int) -> pl.DataFrame:
        count = 250 if intake == 6 else 2
        rows = [(intake, "wrap1.csv", i + 2, "good", "=1+1" if i == 0 else "#####", "no number") for i in range(count)]
        return pl.DataFrame(rows, schema=REFUSALS, orient="row")

    def readings(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        rows = [
            {"machine": machine, "channel": "good", "at": start, "value": 41220.0, "intake": 7, "row": 2},
            {"machine": machine, "channel": "state", "at": start, "text": "<b>run", "intake": 6, "row": 1203},
        ]
        return pl.DataFrame(rows, schema=READINGS)

    def conflicts(self) -> pl.DataFrame:
        at = datetime(2026, 6, 9, 6, tzinfo=UTC)
        rows = [
            ("readings", "wrap1", "good", at, 41220.0, None, 6, "sizer2-june.xlsx", 2),
            ("readings", "wrap1", "good", at, 41222.0, None, 7, "wrap1_2026-06-09.csv", 9),
        ]
        return pl.DataFrame(rows, schema=CONFLICTS, orient="row")


class InventedWorks:
    """Answers by hand; `wrote` and `taken` hold what the board did."""

    def __init__(self, plant: Plant | None = None) -> None:
        self.plant = plant or invented.plant()
        self.folder = Path("invented")
        self.is_set_up = True
        self.store = InventedStore()
        self.wrote: list[tuple[object, ...]] = []
        self.entries: list[dict[str, object]] = []
        self.taken: list[tuple[str, bytes, bool, dict[str, str]]] = []
        self.asked: list[QuestionScope] = []
        self.reasons: dict[datetime, str] = {}
        self.state = 1

    def ask(self, asked: QuestionScope) -> Answer:
        self.asked.append(asked)
        if asked.line not in (None, "", *(line.id for line in self.plant.lines)):
            raise AskError(Fault(f"unknown line '{asked.line}'", "line"))
        known = [m.id for m in machines_asked(self.plant, asked.question, asked.line or "1")]
        if asked.machine is not None and asked.machine not in known:
            what = f"unknown machine '{asked.machine}'"
            raise AskError(Fault(what, "machine", f"one of {', '.join(known)}"))
        told = {"machine": asked.machine or known[0], "line": asked.line or "1"}
        if asked.period is not None:
            labels = {read_period(name): label for name, label in PERIODS}
            days = asked.period
            plain = f"{days.first}..{days.last}" if isinstance(days, Days) else str(days)
            told["label"] = labels.get(asked.period, plain)
        return self._with_reasons(invented.ANSWERS[asked.question](**told))

    def _with_reasons(self, answer: Answer) -> Answer:
        if not self.reasons or "timeline" not in answer.series:
            return answer
        rows = [
            {**r, "reason": self.reasons.get(r["start"], r["reason"])} for r in answer.series["timeline"].to_dicts()
        ]
        series = {**answer.series, "timeline": pl.DataFrame(rows, schema=STATE_TIMELINE)}
        return replace(answer, series=series)

    def last_reading(self) -> datetime | None:
        return datetime(2026, 6, 9, 12, 0, tzinfo=UTC)

    def periods(self, question: Question, line: str | None = None) -> Sequence[tuple[str, str]]:
        return PERIODS

    def take(
        self, paths: Sequence[Path], *, accept: bool = False, chosen: Mapping[str, str] | None = None
    ) -> list[IntakeResult]:
        (path,) = paths
        data = path.read_bytes()
        self.taken.append((path.name, data, accept, dict(chosen or {})))
        if not data:
            raise IntakeError(Fault("the file is empty", path.name, "an export with rows"))
        if b"unknown" in data and not (accept and chosen):
            layout = Layout(id="wrap1-counter", machine="wrap1", columns={"Count": ColumnTarget(to="good")})
            sample = pl.DataFrame({"time": ["2026-06-09 06:00:00"], "Count": ["1,234"]})
            marks = (("en", "1234 pieces"), ("de", "1.234 pieces"))
            questions = (IntakeQuestion("decimal", "Is 1,234 one thousand or one and a bit?", marks),)
            return [IntakeResult(path, proposal=Proposal(path, layout, sample, questions))]
        self.state += 1
        return [IntakeResult(path, receipt=Receipt(7, 2880, 2878, 0, 2, 0, 0))]

    def undo(self, intake: int) -> None:
        self.wrote.append(("undo", intake))
        self.state += 1

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        self.wrote.append(("reason", machine, start, end, reason))
        self.reasons[start] = reason
        self.state += 1

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        self.wrote.append(("reasons", machine, len(stops), reason))
        self.reasons |= {start: reason for start, _ in stops}
        self.state += 1
        return 7

    def undo_stop_reasons(self, mark: int) -> int:
        self.wrote.append(("reasons undone", mark))
        self.state += 1
        return 1

    def write(self, kind: str, machine: str, at: datetime, what: str, note: str = "", entry: str = "") -> bool:
        if any(row["entry"] == entry for row in self.entries):
            return False
        self.written_down(kind, machine, at, what, note, entry or f"e{self.state}")
        return True

    def written_down(self, kind: str, machine: str, at: datetime, what: str, note: str, entry: str) -> None:
        self.wrote.append((kind, machine, at, what, note))
        row = {"entry": entry, "kind": kind, "machine": machine, "at": at, "what": what, "note": note, "who": "Ann"}
        self.entries.append({**row, "set_at": datetime(2026, 6, 9, 12, tzinfo=UTC), "revisions": 1, "withdrawn": False})
        self.state += 1

    def withdraw(self, kind: str, entry: str) -> None:
        self._entry(entry).update(withdrawn=True, revisions=2)

    def count_stock(self, texts: Mapping[str, str]) -> int:
        self.wrote.append(("count", dict(texts)))
        return 8

    def undo_count(self, intake: int) -> None:
        if ("count undone", intake) in self.wrote or not any(wrote[0] == "count" for wrote in self.wrote):
            raise AskError(Fault(f"intake {intake} is no count entered on the board", "undo"))
        self.wrote.append(("count undone", intake))

    def undo_change(self, kind: str, entry: str) -> None:
        self._entry(entry).update(withdrawn=False, revisions=3)

    def change(self, kind: str, entry: str, at: datetime, what: str, note: str = "") -> None:
        self._entry(entry).update(at=at, what=what, note=note, revisions=2)

    def _entry(self, entry: str) -> dict[str, object]:
        self.state += 1
        return next(row for row in self.entries if row["entry"] == entry)

    def manual_entries(self, machines: Sequence[str], kind: str) -> pl.DataFrame:
        rows = [row for row in self.entries if row["machine"] in machines and row["kind"] == kind]
        return pl.DataFrame(rows, schema=MANUAL_ENTRIES)

    def known_machine(self, name: str) -> Machine:
        machine = self.plant.machine(name)
        if machine is None:
            raise AskError(Fault(f"unknown machine '{name}'", "machine"))
        return machine

    def reasons_used(self, machine: str) -> list[str]:
        return ["jam at knife", "film tore"]

    def stop_reasons(self, machine: str, period: object) -> pl.DataFrame:
        rows = [
            {"machine": machine, "start": start, "end": start, "reason": reason, "who": "Ann", "set_at": start}
            for start, reason in self.reasons.items()
        ]
        return pl.DataFrame(rows, schema=STOP_REASONS)

    def version(self) -> int:
        return self.state
