"""A works folder: plant.toml, the layouts accepted so far and the store; what board and command line ask."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import RLock
from types import TracebackType

from lineview.answers.answer import Answer, Question
from lineview.asking import answer_to
from lineview.errors import AskError, Fault, PlantError
from lineview.figure import Period
from lineview.gather import gather
from lineview.gather_sizers import KnownSizers
from lineview.plant import Layout, Machine, Plant
from lineview.plant.periods import shifts_between
from lineview.plant.read import read_plant
from lineview.plant.write import layout_toml
from lineview.scoping import choose_machine, known_machine, scope_of
from lineview.store.store import Store
from lineview.take_in import Taken, take_in

#: Answers kept so that a page shown twice is worked out once.
KEPT_ANSWERS = 64
#: By how much the clock of who notes an adjustment may be ahead of this machine's.
CLOCKS_DIFFER = timedelta(hours=1)


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
        self._lock = RLock()
        self._answers: dict[tuple[object, ...], Answer] = {}
        self._sizers = KnownSizers()
        self.plant = self._read_plant()
        self.store = Store.open(folder / "store", journal_url)

    def __enter__(self) -> Works:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the store."""
        self.store.close()

    def _read_plant(self) -> Plant:
        path = self.folder / "plant.toml"
        if not path.is_file():
            do = "Write one (README, 'Your own exports') or make an invented works with 'lineview demo'."
            raise PlantError(Fault("there is no plant description", str(path), "a file plant.toml", do))
        return read_plant(path, self.folder / "layouts.toml")

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
        with self._lock:
            taken = take_in(paths, self.plant, self.store, accept=accept, settled=settled, progress=progress)
            self._keep([one.accepted for one in taken if one.accepted is not None])
            self._answers.clear()
        return taken

    def _keep(self, layouts: Sequence[Layout]) -> None:
        if not layouts:
            return
        path = self.folder / "layouts.toml"
        head = "# Layouts proposed by intake and accepted; edit them like those in plant.toml.\n"
        before = path.read_text(encoding="utf-8") if path.exists() else head
        path.write_text(before + "".join("\n" + layout_toml(one) for one in layouts), encoding="utf-8")
        self.plant = self._read_plant()

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
        with self._lock:
            self.store.undo(intake)
            self._answers.clear()

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
        with self._lock:
            self.store.add_adjustment(self.known_machine(machine).id, at, what, note)
            self._answers.clear()

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
        with self._lock:
            self.store.set_stop_reason(self.known_machine(machine).id, start, end, reason)
            self._answers.clear()

    # -- asking ------------------------------------------------------------------------------------

    def ask(
        self,
        question: Question,
        line: str | None = None,
        machine: str | None = None,
        period: str | None = None,
        start: str | None = None,
        end: str | None = None,
    ) -> Answer:
        """Answer one question.

        Parameters
        ----------
        question : str
            "rope", "weight", "shift", "wrap" or "order".
        line, machine : str, optional
            Ids; by default the first line's machine that the question is about.
        period : str, optional
            A word of lineview.plant.periods; by default the one that suits the question.
        start, end : str, optional
            Moments in the plant's wall time; they take the place of `period`.

        Returns
        -------
        Answer
            The same object for board, sheets and command line.

        Raises
        ------
        AskError
            For an unknown line or machine, or a period that is none.
        """
        key = (self.version(), question, line, machine, period, start, end)
        with self._lock:
            if key in self._answers:
                return self._answers[key]
            chosen = choose_machine(self.plant, question, line, machine, self.store.span)
            span = self._span(chosen)
            scope = scope_of(self.plant, question, chosen, span, period, start, end)
            evidence = gather(self.store, self.plant, question, scope, self._sizers.of(key[0]))
            plant = self.plant
        answer = answer_to(question, plant, scope, evidence)
        with self._lock:
            if len(self._answers) >= KEPT_ANSWERS:
                self._answers.pop(next(iter(self._answers)))
            self._answers[key] = answer
        return answer

    def _span(self, machine: Machine) -> Period:
        span = self.store.span(machine.id) or self.store.span()
        if span is None:
            do = "Take exports in first: lineview intake FOLDER."
            raise AskError(Fault("there are no readings yet", str(self.folder), do=do))
        return span

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
        return known_machine(self.plant, name)

    def periods(self, machine: str) -> list[tuple[str, str]]:
        """List the shifts a machine has readings of, newest first.

        Parameters
        ----------
        machine : str
            Its id.

        Returns
        -------
        list of (str, str)
            Token and label of each shift.
        """
        span = self.store.span(machine)
        if span is None:
            return []
        shifts = shifts_between(self.plant.shifts, self.plant.tz, span)
        return [(token, label) for token, label, _ in reversed(shifts)]

    def version(self) -> str:
        """Give a text that changes whenever the data do.

        Returns
        -------
        str
            For a page that wants to know whether to look again.
        """
        return self.store.version()
