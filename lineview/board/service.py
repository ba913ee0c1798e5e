"""What the board asks of the works: it holds no data and no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

import polars as pl

from lineview.answers.answer import Answer, Question
from lineview.errors import Fault
from lineview.intake.export import Proposal
from lineview.plant import Plant


@dataclass(frozen=True)
class TakeOutcome:
    """What became of one export given to the board: taken, proposed or faulty.

    Parameters
    ----------
    file_name : str
        As given.
    receipt : str
        The summary a tech understands, in whole sentences; "" where nothing was taken.
    counts : mapping of str to int
        Words and counts to show beside it ("kept", "duplicate", "refused", ...), in order.
    intake : int or None
        The intake's id, for its refusals.
    proposal : Proposal or None
        Where no layout fits the file: what is proposed, and what has to be asked.
    faults : sequence of Fault
        Why it could not be taken.
    """

    file_name: str
    receipt: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    intake: int | None = None
    proposal: Proposal | None = None
    faults: Sequence[Fault] = ()


class Service(Protocol):
    """The works as the board sees it. Every method may raise a LineviewError, which the page shows."""

    @property
    def plant(self) -> Plant:
        """The plant description."""
        ...

    def ask(self, question: Question, line: str | None, machine: str | None, period: str | None) -> Answer:
        """Answer a question; None means what the service thinks fit."""
        ...

    def periods(self, question: Question, line: str | None) -> Sequence[tuple[str, str]]:
        """Give the periods to choose from, as token and label, the likeliest first."""
        ...

    def lines(self) -> Sequence[tuple[str, str]]:
        """Give the lines as id and label."""
        ...

    def machines(self, question: Question, line: str | None) -> Sequence[tuple[str, str]]:
        """Give the machines a question can be asked of, as id and label."""
        ...

    def take(
        self, file_name: str, data: bytes, accept: bool = False, settled: Mapping[str, str] | None = None
    ) -> TakeOutcome:
        """Take an export in; `accept` keeps a proposed layout, `settled` answers its questions."""
        ...

    def intakes(self) -> pl.DataFrame:
        """Give the intakes, newest first."""
        ...

    def refusals(self, intake: int) -> pl.DataFrame:
        """Give an intake's refusals: REFUSALS."""
        ...

    def conflicts(self) -> pl.DataFrame:
        """Give the moments for which two exports say different things."""
        ...

    def undo(self, intake: int) -> None:
        """Take an intake back."""
        ...

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Say why a machine stood."""
        ...

    def add_adjustment(self, machine: str, at: datetime, what: str, note: str) -> None:
        """Write down what was done to a machine."""
        ...

    def version(self) -> int | str:
        """Give what changes whenever the data do."""
        ...
