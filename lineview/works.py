"""A works folder: plant.toml, the layouts accepted so far and the store; what board and command line ask."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import TYPE_CHECKING

from lineview.errors import AskError, Fault
from lineview.kept_results import KeptResults
from lineview.plant import Machine, Plant
from lineview.plant_watch import PlantState, PlantWatch
from lineview.store.store import Store

if TYPE_CHECKING:  # imported where something is asked: taking in needs none of it
    from lineview.answers.answer import Answer, Question
    from lineview.inputs import KeptMeasures
    from lineview.question_scope import QuestionScope
    from lineview.record_keeper import RecordKeeper
    from lineview.take_in import Taken

#: Answers kept so that a page shown twice is worked out once, and the bytes their frames may hold together.
KEPT_ANSWERS, KEPT_BYTES = 64, 64_000_000
#: By how much the clock of who notes an adjustment may be ahead of this machine's.
CLOCKS_DIFFER = timedelta(hours=1)
#: Periods that every question can be asked of, and the one that stands before the shifts.
GENERAL_PERIODS = (
    ("this-week", "since Monday"),
    ("last-7-days", "the last 7 days"),
    ("last-28-days", "the last 28 days"),
    ("all", "all readings"),
)
LAST_SHIFT = ("last-shift", "the last shift")


class Works:
    """One works folder, opened.

    Parameters
    ----------
    folder : pathlib.Path
        Holds plant.toml; the tool keeps layouts.toml and store/ in it.
    journal_url : str, optional
        Where the journal is, as an SQLAlchemy URL; by default SQLite in the store.

    Raises
    ------
    PlantError
        Where there is no plant.toml or it is wrong.
    StoreError
        Where the store cannot be opened.
    """

    def __init__(self, folder: Path, journal_url: str | None = None) -> None:
        self.folder = folder
        self._plants = PlantWatch(folder)
        self._plants.current()
        self._answers: KeptResults[Answer] = KeptResults(KEPT_ANSWERS, KEPT_BYTES, series_bytes)
        self.store = Store.open(folder / "store", journal_url)
        self._asking = Lock()
        self._records: RecordKeeper | None = None
        self._measured: KeptMeasures | None = None

    @property
    def records(self) -> RecordKeeper:
        """The records kept beside the readings."""
        from lineview.record_keeper import RecordKeeper
        from lineview.store.record_table import RecordTable

        with self._asking:
            if self._records is None:
                self._records = RecordKeeper(RecordTable(self.folder / "store" / "records"), self.store.held)
            return self._records

    @property
    def measured(self) -> KeptMeasures:
        """What one question measured of the machines and another asks for too."""
        from lineview.inputs import KeptMeasures

        with self._asking:
            if self._measured is None:
                self._measured = KeptMeasures()
            return self._measured

    @property
    def plant(self) -> Plant:
        """The plant description as it stands in plant.toml and layouts.toml now."""
        return self._plants.current()[0]

    def __enter__(self) -> Works:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the store."""
        self.store.close()

    # -- taking in ---------------------------------------------------------------------------------

    def take(
        self,
        paths: Sequence[Path],
        *,
        accept: bool = False,
        settled: Mapping[str, str] | None = None,
        progress: Callable[[Path, int], None] | None = None,
    ) -> list[Taken]:
        """Take exports in; accepted layouts are kept in layouts.toml.

        Parameters
        ----------
        paths : sequence of pathlib.Path
            Files and folders.
        accept : bool
            Whether to accept proposed layouts.
        settled : mapping of str to str, optional
            Answers to a proposal's questions.
        progress : callable, optional
            Told the file and the rows read so far.

        Returns
        -------
        list of Taken
            One a file.
        """
        from lineview.take_in import take_in  # reading exports is not needed to answer

        return take_in(
            paths,
            self.plant,
            self.store,
            accept=accept,
            settled=settled,
            progress=progress,
            keep=lambda layout: self._plants.keep([layout]),
        )

    def undo(self, intake: int) -> None:
        """Take one intake back.

        Parameters
        ----------
        intake : int
            Its id.

        Raises
        ------
        StoreError
            Where there is no such intake, or it was taken back before.
        """
        self.store.undo(intake)

    def note_adjustment(self, machine: str, at: datetime, what: str, note: str = "") -> None:
        """Write down what somebody did to a machine.

        Parameters
        ----------
        machine : str
            Its id.
        at : datetime.datetime
            When [UTC].
        what, note : str
            What was done, and anything else.

        Raises
        ------
        AskError
            Where the moment is still to come: what was not done yet cannot be judged.
        """
        if at > datetime.now(UTC) + CLOCKS_DIFFER:
            raise AskError(Fault("this moment is still to come", "at", "when the adjustment was made"))
        self.store.add_adjustment(self.known_machine(machine).id, at, what, note)

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Say why a machine stood.

        Parameters
        ----------
        machine : str
            Its id.
        start, end : datetime.datetime
            Of the stop, or of a run of stops [UTC].
        reason : str
            In the words of the works.
        """
        self.store.set_stop_reason(self.known_machine(machine).id, start, end, reason)

    # -- asking ------------------------------------------------------------------------------------

    def ask(self, asked: QuestionScope) -> Answer:
        """Answer one question from the last complete state of the store.

        Parameters
        ----------
        asked : QuestionScope
            From lineview.question_scope.read_question.

        Returns
        -------
        Answer
            The same object for board, sheets and command line.

        Raises
        ------
        AskError
            For an unknown line, machine or shift, or where nothing was read yet.
        PlantError
            Where plant.toml or layouts.toml was edited and is wrong now.

        Notes
        -----
        Nothing is locked meanwhile: exports may come in, and other questions are answered at the same time.
        """
        plant, state = self._plants.current()
        key = (self.store.version(), state, asked)
        return self._answers.get(key, lambda: self._work_out(plant, state, asked))

    def _work_out(self, plant: Plant, state: PlantState, asked: QuestionScope) -> Answer:
        from lineview.asking import answer_to
        from lineview.inputs import Fetcher
        from lineview.scoping import choose_machine, scope_of

        with self.store.snapshot() as store:
            machine = choose_machine(plant, asked, store.span)
            span = store.span(machine.id) or store.span()
            if span is None:
                do = "Upload exports on the intake page, or take them in: lineview intake FOLDER."
                raise AskError(Fault("there are no readings yet", str(self.folder), do=do))
            scope = scope_of(plant, asked, machine, span)
            measured = self.measured.of((store.version(), state))
            inputs = Fetcher(store, self.records, plant, measured).inputs(asked.question, scope)
        return answer_to(asked.question, plant, scope, inputs)

    def known_machine(self, name: str) -> Machine:
        """Give the machine of this id.

        Parameters
        ----------
        name : str
            The id.

        Returns
        -------
        Machine
            From the plant description.

        Raises
        ------
        AskError
            Where there is none.
        """
        from lineview.scoping import known_machine

        return known_machine(self.plant, name)

    def periods(self, question: Question, line: str | None = None) -> list[tuple[str, str]]:
        """List the periods to choose from, the likeliest first.

        Parameters
        ----------
        question : str
            Which of the five; for the shift, shifts come first.
        line : str, optional
            Id of the line asked about.

        Returns
        -------
        list of (str, str)
            Name, as read_period reads it, and label of each.
        """
        from lineview.plant.periods import shifts_between
        from lineview.question_scope import QuestionScope
        from lineview.scoping import choose_machine

        plant = self.plant
        try:
            machine = choose_machine(plant, QuestionScope(question, line), self.store.span)
        except AskError:
            return list(GENERAL_PERIODS)
        span = self.store.span(machine.id)
        shifts = [] if span is None else reversed(shifts_between(plant.shifts, plant.tz, span))
        named = [LAST_SHIFT, *((name, label) for name, label, _ in shifts)]
        return [*named, *GENERAL_PERIODS] if question == "shift" else [*GENERAL_PERIODS, *named]

    def version(self) -> str:
        """Give a text that changes whenever the data or the plant description do.

        Returns
        -------
        str
            For a page that wants to know whether to look again.
        """
        return f"{self.store.version()}/{self._plants.state()}"


def series_bytes(answer: Answer) -> int:
    """Give the bytes that the frames of an answer hold.

    Parameters
    ----------
    answer : Answer
        Of any question.

    Returns
    -------
    int
        Figures, tables and words are small beside them.
    """
    return sum(int(frame.estimated_size()) for frame in answer.series.values())
