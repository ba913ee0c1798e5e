"""A works folder: plant.toml, the layouts accepted so far and the store; what board and command line ask."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import TYPE_CHECKING

from lineview.app.kept_results import KeptResults
from lineview.app.plant_watch import PlantState, PlantWatch
from lineview.core.errors import AskError, Fault, PlantError, StoreError
from lineview.core.figure import Period
from lineview.core.language import mark, tr
from lineview.plant import Layout, Machine, Plant
from lineview.report.answer import Answer, Question, Scope
from lineview.store.store import Store

if TYPE_CHECKING:  # imported where something is asked: taking in needs none of it
    import polars as pl

    from lineview.app.access import Access
    from lineview.app.inputs import Inputs, KeptMeasures
    from lineview.app.question import QuestionScope
    from lineview.app.records import RecordKeeper
    from lineview.app.take_in import IntakeResult


#: Answers kept so that a page shown twice is worked out once, and the bytes their frames may hold together.
KEPT_ANSWERS, KEPT_BYTES = 64, 64_000_000
#: By how much the clock of who notes an adjustment may be ahead of this machine's.
CLOCKS_DIFFER = timedelta(hours=1)
#: Periods that every question can be asked of, and the one that stands before the shifts.
GENERAL_PERIODS = (
    ("this-week", mark("since Monday")),
    ("last-week", mark("the last whole week")),
    ("last-7-days", mark("the last 7 days")),
    ("last-28-days", mark("the last 28 days")),
    ("all", mark("all readings")),
)
LAST_SHIFT = ("last-shift", mark("the last shift"))


class Works:
    """One works folder, opened.

    Parameters
    ----------
    folder : pathlib.Path
        Holds plant.toml; the tool keeps layouts.toml and store/ in it.
    journal_url : str, optional
        Where the journal is, as an SQLAlchemy URL; by default SQLite in the store.
    new : bool
        Whether the folder may be without plant.toml, since it is about to be set up.

    Raises
    ------
    PlantError
        Where there is no plant.toml, unless it may be new, or it is wrong.
    StoreError
        Where the store cannot be opened.
    """

    def __init__(self, folder: Path, journal_url: str | None = None, *, new: bool = False) -> None:
        self.folder, self.journal_url = folder, journal_url
        self._plants = PlantWatch(folder)
        if not new or self.is_set_up:
            self._plants.current()
        self._answers: tuple[Hashable, KeptResults[Answer]] = (None, _no_answers())
        self.store = Store.open(folder / "store", journal_url)
        self._asking = Lock()
        self._records: RecordKeeper | None = None
        self._measured: KeptMeasures | None = None
        self._access: Access | None = None

    @property
    def records(self) -> RecordKeeper:
        """The records kept beside the readings."""
        from lineview.app.records import RecordKeeper
        from lineview.store.record_table import RecordTable, WeekFiles

        with self._asking:
            if self._records is None:
                store, alone = self.folder / "store", self.store.writing_alone
                self._records = RecordKeeper(RecordTable(store / "records"), alone, WeekFiles(store / "weeks", alone))
            return self._records

    @property
    def measured(self) -> KeptMeasures:
        """What one question measured of the machines and another asks for too."""
        from lineview.app.inputs import KeptMeasures

        with self._asking:
            if self._measured is None:
                self._measured = KeptMeasures()
            return self._measured

    @property
    def access(self) -> Access:
        """Who may use the board from other machines."""
        from lineview.app.access import Access

        with self._asking:
            if self._access is None:
                key = self.folder / "store" / "signing.key"
                self._access = Access(self.store.accounts, key, self._names_known)
            return self._access

    def _names_known(self) -> tuple[str, ...]:
        """Names that somebody who guesses a password knows."""
        try:
            return (self.plant.shop,)
        except PlantError:  # edited and wrong now; people are let in all the same
            return ()

    @property
    def is_set_up(self) -> bool:
        """Whether there is a plant.toml."""
        return self._plants.state()[0] is not None

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
        chosen: Mapping[str, str] | None = None,
        progress: Callable[[Path, int], None] | None = None,
    ) -> list[IntakeResult]:
        """Take exports in; accepted layouts are kept in layouts.toml.

        Parameters
        ----------
        paths : sequence of pathlib.Path
            Files and folders.
        accept : bool
            Whether to accept proposed layouts.
        chosen : mapping of str to str, optional
            Answers to a proposal's questions.
        progress : callable, optional
            Told the file and the rows read so far.

        Returns
        -------
        list of IntakeResult
            One a file.
        """
        from lineview.app.take_in import take_in  # reading exports is not needed to answer

        return take_in(
            paths, self.plant, self.store, accept=accept, chosen=chosen, progress=progress, keep=self._keep_layout
        )

    def _keep_layout(self, layout: Layout) -> Layout:
        from lineview.app.accepted import keep_layout

        layout_kept = keep_layout(self.folder, layout)
        self.store.accounts.note_event(mark("layout accepted"), layout_kept.id)
        return layout_kept

    def undo(self, intake: int) -> None:
        """Take one intake back.

        Parameters
        ----------
        intake : int
            Its id.

        Raises
        ------
        StoreError
            Where there is no such intake, or it was undone before.
        """
        self.store.undo(intake)

    def write(self, kind: str, machine: str, at: datetime, what: str, note: str = "", entry: str = "") -> bool:
        """Write down what somebody did to a machine, or noted of it.

        Parameters
        ----------
        kind : str
            "adjustment" or "note".
        machine : str
            Its id.
        at : datetime.datetime
            When [UTC].
        what, note : str
            What was done or is to be known, and of an adjustment anything else.
        entry : str
            Its name, by which it is kept only once; a new one where it is "".

        Returns
        -------
        bool
            Whether it was new.

        Raises
        ------
        AskError
            Where the moment is still to come: what was not done yet cannot be judged.
        """
        _past(at)
        return self.store.write(kind, self.known_machine(machine).id, at, what, note, entry)

    def count_stock(self, texts: Mapping[str, str]) -> int:
        """Keep a stock count as a person typed it, by the names that `read_count` takes; give its intake."""
        from lineview.app.stock_count import keep_count, read_count

        at, export = read_count(self.plant, **texts)
        _past(at)
        return keep_count(self.plant, self.store, texts["web"], at, export)

    def undo_count(self, intake: int) -> None:
        """Take a stock count back that a person entered; any other intake is not undone here."""
        from lineview.app.stock_count import LAYOUT

        rows = self.store.intakes()
        if rows.filter((rows["id"] == intake) & (rows["layouts"] == LAYOUT.id)).is_empty():
            raise AskError(Fault(tr("intake {intake} is no count entered on the board", intake=intake), "undo"))
        self.store.undo(intake)

    def change(self, kind: str, entry: str, at: datetime, what: str, note: str = "") -> None:
        """Give an entry another moment [UTC] and other words; its former form can be brought back."""
        _past(at)
        self.store.change(kind, entry, at, what, note)

    def withdraw(self, kind: str, entry: str) -> None:
        """Let an entry hold no more; undo_change brings it back."""
        self.store.withdraw(kind, entry)

    def undo_change(self, kind: str, entry: str) -> None:
        """Bring back the form that an entry had before its last change."""
        self.store.undo_change(kind, entry)

    def manual_entries(self, machines: Sequence[str], kind: str) -> pl.DataFrame:
        """The entries of machines of one kind, the latest moment first: MANUAL_ENTRIES."""
        return self.store.manual_entries(machines, kind)

    def reasons_used(self, machine: str) -> list[str]:
        """The works' own reasons for stops of a machine in the weeks before its last reading, most frequent first."""
        import polars as pl

        span = self.store.span(machine)
        if span is None:
            return []
        weeks = (max(span.start, span.end - timedelta(days=28)), span.end)
        logs = (self.store.stop_log(machine, *weeks), self.store.stop_reasons(machine, *weeks))
        words = pl.concat([frame["reason"] for frame in logs]).drop_nulls().str.strip_chars()
        frequency = words.filter(words != "").value_counts(name="n").sort("n", "reason", descending=[True, False])
        return [str(reason) for reason in frequency["reason"]]

    def stop_reasons(self, machine: str, period: Period) -> pl.DataFrame:
        """The reasons set by hand of stops in a period: start, end, reason, who set it and the mark to undo it."""
        return self.store.stop_reasons(machine, period.start, period.end)

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

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        """Say why a machine stood at several stops [UTC] at once; give the mark that undoes it."""
        return self.store.set_stop_reasons(self.known_machine(machine).id, stops, reason)

    def undo_stop_reasons(self, mark: int) -> int:
        """Give stops back the reasons they had before those set together; give how many there were."""
        return self.store.undo_stop_reasons(mark)

    # -- asking ------------------------------------------------------------------------------------

    def ask(self, question: QuestionScope) -> Answer:
        """Answer one question from the last complete state of the store.

        Parameters
        ----------
        question : QuestionScope
            From lineview.app.question.read_question.

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
        answers = self._answers_of((self.store.version(), state))
        return answers.get(question, lambda: self._work_out(plant, state, question))

    def _answers_of(self, state: Hashable) -> KeptResults[Answer]:
        """The answers kept of this state; those of the one before are asked for no more."""
        with self._asking:
            if self._answers[0] != state:
                self._answers = (state, _no_answers())
            return self._answers[1]

    def _work_out(self, plant: Plant, state: PlantState, question: QuestionScope) -> Answer:
        from lineview.app.conflict_notes import conflict_counts, replaced_rows, with_conflicts
        from lineview.app.inputs import Fetcher
        from lineview.app.question import choose_machine, scope_of

        if question.question == "week":
            return self._work_out_week(plant, state, question)
        with self.store.snapshot() as store:
            machine = choose_machine(plant, question, store.span)
            span = store.span(machine.id) or store.span()
            if span is None:
                raise self._nothing_read()
            scope = scope_of(plant, question, machine, span)
            measured = self.measured.of(store.version(), state)
            inputs = Fetcher(store, self.records, plant, measured).inputs(question.question, scope, question.what_if)
            disputed = conflict_counts(store, plant, question.question, scope)
            replaced = replaced_rows(store, plant, question.question, scope)
        return with_conflicts(answer_to(question.question, plant, scope, inputs), disputed, replaced)

    def _work_out_week(self, plant: Plant, state: PlantState, question: QuestionScope) -> Answer:
        from lineview.app.conflict_notes import conflict_counts, with_conflicts
        from lineview.app.question import machines_of_week, scope_of
        from lineview.app.week_inputs import WeekFetcher, trial_of

        with self.store.snapshot() as store:
            machines = machines_of_week(plant, question)
            span = store.span()
            if span is None:
                raise self._nothing_read()
            fetcher = WeekFetcher(store, self.records, plant, self.measured.of(store.version(), state))
            if question.trial is not None:
                from lineview.week.trial_answer import answer_trial

                return answer_trial(plant, fetcher.trial(trial_of(store, question.trial)), span.end)
            scope = scope_of(plant, question, machines[0] if question.machine else None, span)
            inputs = fetcher.week(scope, machines, question.only, question.against)
            disputed = conflict_counts(store, plant, "week", scope)
        return with_conflicts(answer_to("week", plant, scope, inputs), disputed)

    def keep_weeks(self) -> None:
        """Work out what each line's weeks came to, where it is not kept yet."""
        from lineview.app.week_inputs import WeekFetcher

        plant, state = self._plants.current()
        with self.store.snapshot() as store:
            WeekFetcher(store, self.records, plant, self.measured.of(store.version(), state)).keep_weeks()

    def _nothing_read(self) -> AskError:
        do = tr("Upload exports on the intake page, or take them in: lineview intake FOLDER.")
        return AskError(Fault(tr("there are no readings yet"), str(self.folder), do=do))

    def known_machine(self, name: str) -> Machine:
        """The machine of this id."""
        from lineview.app.question import known_machine

        return known_machine(self.plant, name)

    def periods(self, question: Question, line: str | None = None) -> list[tuple[str, str]]:
        """List the periods to choose from, the likeliest first.

        Parameters
        ----------
        question : str
            Which of the six; for the shift, shifts come first.
        line : str, optional
            Id of the line asked about.

        Returns
        -------
        list of (str, str)
            Name, as read_period reads it, and label of each.
        """
        from lineview.app.question import QuestionScope, choose_machine
        from lineview.plant.periods import shifts_between

        plant = self.plant
        try:
            machine = choose_machine(plant, QuestionScope(question, line), self.store.span)
        except AskError:
            return [(name, tr(label)) for name, label in GENERAL_PERIODS]
        span = self.store.span(machine.id)
        shifts = [] if span is None else reversed(shifts_between(plant.shifts, plant.tz, span))
        shifts_first = [(LAST_SHIFT[0], tr(LAST_SHIFT[1])), *((name, label) for name, label, _ in shifts)]
        general = [(name, tr(label)) for name, label in GENERAL_PERIODS]
        return [*shifts_first, *general] if question == "shift" else [*general, *shifts_first]

    def span(self) -> Period | None:
        """From the first to the last reading of all machines [UTC]; None before the first."""
        return self.store.span()

    def last_reading(self) -> datetime | None:
        """The last reading's moment [UTC] over all machines; None before the first."""
        span = self.store.span()
        return None if span is None else span.end

    def version(self) -> str:
        """A text that changes whenever the data or the plant description do.

        Returns
        -------
        str
            For a page that wants to know whether to look again.

        Raises
        ------
        StoreError
            Where the folder has gone, though its journal is still open, or the journal cannot be read.
        """
        if not (self.folder / "store").is_dir():
            do = tr("Bring it back to its place; nothing has to be started anew.")
            raise StoreError(Fault(tr("the works folder has gone"), self.folder.name, do=do))
        return f"{self.store.version()}/{self._plants.state()}"


def _past(at: datetime) -> None:
    """Refuse a moment that is still to come."""
    if at > datetime.now(UTC) + CLOCKS_DIFFER:
        raise AskError(Fault(tr("this moment is in the future"), "at", tr("a moment that is over")))


def _no_answers() -> KeptResults[Answer]:
    return KeptResults(KEPT_ANSWERS, KEPT_BYTES, series_bytes)


def series_bytes(answer: Answer) -> int:
    """The bytes that the frames of an answer hold."""
    return sum(int(frame.estimated_size()) for frame in answer.series.values())


WHERE: dict[Question, tuple[str, str]] = {
    "rope": ("lineview.rope.answer", "answer_rope"),
    "weight": ("lineview.weight.answer", "answer_weight"),
    "shift": ("lineview.shift.answer", "answer_shift"),
    "wrap": ("lineview.wrap.answer", "answer_wrap"),
    "order": ("lineview.order.answer", "answer_order"),
    "week": ("lineview.week.answer", "answer_week"),
}


def answer_to(question: Question, plant: Plant, scope: Scope, inputs: Inputs) -> Answer:
    """Answer one question.

    The answers are imported when first asked, so that the command line starts quickly.
    """
    module, name = WHERE[question]
    answer: Answer = getattr(import_module(module), name)(plant, scope, inputs)
    return answer
