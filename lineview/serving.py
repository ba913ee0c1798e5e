"""A works folder as the board asks it, and the board served on it."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path, PurePosixPath, PureWindowsPath

import polars as pl

from lineview.answers.answer import Answer, Question
from lineview.board.service import TakeOutcome
from lineview.errors import AskError, LineviewError
from lineview.plant import Plant
from lineview.scoping import choose_machine, kind_for
from lineview.take_in import Taken
from lineview.works import Works

GENERAL_PERIODS = (
    ("this-week", "since Monday"),
    ("last-7-days", "the last 7 days"),
    ("last-28-days", "the last 28 days"),
    ("all", "all readings"),
)


class WorksService:
    """What the board may ask of a works folder.

    Parameters
    ----------
    works : Works
        Opened.
    """

    def __init__(self, works: Works) -> None:
        self.works = works

    @property
    def plant(self) -> Plant:
        """The plant description."""
        return self.works.plant

    def ask(
        self,
        question: Question,
        line: str | None = None,
        machine: str | None = None,
        period: str | None = None,
    ) -> Answer:
        """Answer one question; None means what suits it."""
        return self.works.ask(question, line or None, machine or None, period or None)

    def periods(self, question: Question, line: str | None) -> Sequence[tuple[str, str]]:
        """Give the periods to choose from, as token and label; for the shift, shifts come first."""
        try:
            machine = choose_machine(self.plant, question, line or None, None, self.works.store.span)
        except AskError:
            return GENERAL_PERIODS
        shifts = self.works.periods(machine.id)
        if question == "shift":
            return [("last-shift", "the last shift"), *shifts, *GENERAL_PERIODS]
        return [*GENERAL_PERIODS, ("last-shift", "the last shift"), *shifts]

    def lines(self) -> Sequence[tuple[str, str]]:
        """Give the lines as id and label."""
        return [(line.id, line.name or line.id) for line in self.plant.lines]

    def machines(self, question: Question, line: str | None) -> Sequence[tuple[str, str]]:
        """Give the machines a question can be asked of, as id and label."""
        kind = kind_for(question)
        return [(m.id, m.shown) for m in self.plant.machines if m.kind == kind and line in (None, "", m.line)]

    def take(
        self, file_name: str, data: bytes, accept: bool = False, settled: Mapping[str, str] | None = None
    ) -> TakeOutcome:
        """Take an export in; `accept` keeps a proposed layout, `settled` answers its questions."""
        name = PureWindowsPath(PurePosixPath(file_name).name).name or "export"
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            try:
                taken = self.works.take([path], accept=accept, settled=settled)[0]
            except LineviewError as error:
                return TakeOutcome(name, faults=error.faults)
        return _outcome(name, taken)

    def intakes(self) -> pl.DataFrame:
        """Give the intakes, newest first."""
        return self.works.store.intakes().reverse()

    def refusals(self, intake: int) -> pl.DataFrame:
        """Give an intake's refusals: REFUSALS."""
        return self.works.store.refusals(intake)

    def conflicts(self) -> pl.DataFrame:
        """Give the moments for which two exports say different things."""
        return self.works.store.conflicts()

    def undo(self, intake: int) -> None:
        """Take an intake back."""
        self.works.undo(intake)

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Say why a machine stood."""
        self.works.set_stop_reason(machine, start, end, reason)

    def add_adjustment(self, machine: str, at: datetime, what: str, note: str) -> None:
        """Write down what was done to a machine."""
        self.works.note_adjustment(machine, at, what, note)

    def version(self) -> str:
        """Give what changes whenever the data do."""
        return self.works.version()


def _outcome(name: str, taken: Taken) -> TakeOutcome:
    if taken.error is not None:
        return TakeOutcome(name, faults=taken.error.faults)
    if taken.receipt is None:
        return TakeOutcome(name, proposal=taken.proposal)
    r = taken.receipt
    told = (
        f"{name} was taken in before; nothing changed."
        if r.already
        else f"{name} is in as intake {r.intake}."
    )
    counts = {
        "rows": r.rows,
        "kept": r.kept,
        "already there": r.duplicate,
        "refused": r.refused,
        "uncertain": r.uncertain,
        "disputed": r.conflicts,
    }
    return TakeOutcome(name, receipt=" ".join((told, *taken.notes)), counts=counts, intake=r.intake)


def run_board(works: Works, host: str, port: int) -> None:
    """Serve the board until it is stopped.

    Parameters
    ----------
    works : Works
        Opened.
    host : str
        Address to serve on.
    port : int
        Port to serve on.

    Raises
    ------
    LineviewError
        Where the port is taken.
    """
    from lineview.board.app import create_app
    from lineview.board.serve import serve

    serve(create_app(WorksService(works)), host=host, port=port)


def start_board(works: Works, host: str, port: int) -> None:
    """Serve the board in the background of this process.

    Parameters
    ----------
    works : Works
        Opened.
    host : str
        Address to serve on.
    port : int
        Port to serve on.
    """
    import threading

    threading.Thread(target=run_board, args=(works, host, port), daemon=True).start()
