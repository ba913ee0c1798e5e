"""The queue before the processes that work pages out: its order and its limits, with threads in place of processes."""

import time
from collections.abc import Callable
from concurrent.futures import Future
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Any

import pytest

from lineview.app.access import LOCAL, Person
from lineview.board import processes
from lineview.board.app import open_answers
from lineview.board.processes import Answers, Process, ProcessEndedError, Replies, Reply, Request, Work
from lineview.board.workers import MOST_OF_PERSON, Workers
from lineview.core.errors import AskError
from tests.board.test_kept_pages import until


class Threaded(Process):
    """Not a process."""

    def _launch(self, there: Connection) -> Thread:
        thread = Thread(target=processes._work, args=(there, *self._opening), daemon=True)
        thread.start()
        return thread


class Queue(Workers):
    """Workers that are threads, and end when they are let."""

    def __init__(self, patch: pytest.MonkeyPatch, number: int) -> None:
        self.begun: list[str] = []
        self.let: dict[str, Event] = {}
        self._noting = Lock()

        def respond(_answer: Answers, requests: tuple[Request, ...]) -> Work:
            name = requests[0].target
            with self._noting:
                self.begun.append(name)
            assert self.let[name].wait(20)
            return Work((Reply(200, (), name.encode()),), 0.1, 0.0)

        patch.setattr(processes, "_respond", respond)
        patch.setattr(processes, "_opened", lambda *_given: None)
        super().__init__(open_answers, Path("invented"), None, number)

    def _process(self) -> Process:
        return Threaded(self._opening, self._start)

    def put(self, name: str, kind: str, who: str = "one", *, unseen: bool = False) -> Future[Replies]:
        self.let[name] = Event()
        person = Person(who, LOCAL.rights)
        return self.ask((Request("GET", name, "", person),), kind, unseen=unseen)

    def end(self, *names: str) -> None:
        for name in names:
            self.let[name].set()

    def until(self, true: Callable[[], bool]) -> None:
        for _ in range(200):
            if true():
                return
            time.sleep(0.01)
        raise AssertionError(self.begun)


def test_what_cannot_start_is_tried_again_after_weeks_and_by_no_more_than_one(monkeypatch: pytest.MonkeyPatch) -> None:
    tried = []

    def fail(*_given: Any) -> Answers:
        tried.append(1)
        raise ImportError("an invented library is missing")

    monkeypatch.setattr(processes, "_opened", fail)
    monkeypatch.setattr(processes, "AGAIN_AT_MOST_S", 0.05)
    process = Threaded((open_answers, Path("invented"), None), lambda: None)
    process._tries = 20_000
    process.begin()
    until(lambda: len(tried) > 2, 20)
    assert process.is_failing
    process.close()
    until(lambda: process._child is None, 5)


def test_none_is_asked_that_has_ended_or_was_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    workers = Queue(monkeypatch, 1)
    (process,) = workers._processes
    until(lambda: process.is_ready, 5)
    workers.close()
    assert not process.is_ready
    with pytest.raises(ProcessEndedError):
        process.ask((Request("GET", "/shift", "", LOCAL),))
    late = workers.put("late", "/shift")  # nobody takes it, and nothing goes round for it
    assert not late.done()
    assert workers.queue() == {"waiting": 1, "working": 0}


def test_a_season_does_not_hold_up_a_shift(monkeypatch: pytest.MonkeyPatch) -> None:
    queue = Queue(monkeypatch, 2)
    first = queue.put("season", "/week all", "buyer")
    queue.put("season too", "/rope all", "tech")  # both long as far as is known: one process stays free
    queue.until(lambda: queue.begun == ["season"])
    shift = queue.put("shift", "/shift", "lead")
    queue.until(lambda: queue.begun == ["season", "shift"])
    queue.end("shift")
    assert shift.result(5)[0].content == b"shift"
    assert queue.queue() == {"waiting": 1, "working": 1}
    queue.end("season", "season too")
    assert first.result(5)
    queue.until(lambda: queue.queue() == {"waiting": 0, "working": 0})


def test_who_waits_comes_before_what_is_renewed_and_one_person_not_before_all(monkeypatch: pytest.MonkeyPatch) -> None:
    queue = Queue(monkeypatch, 2)
    queue.put("a", "/shift", "one")
    queue.put("b", "/shift", "two")
    queue.put("renewed", "/shift", "two", unseen=True)
    for i in range(3):
        queue.put(f"one {i}", "/shift", "one")
    queue.put("three", "/shift", "three")
    queue.until(lambda: len(queue.begun) == 2)
    queue.end("b")
    queue.until(lambda: len(queue.begun) == 3)
    assert queue.begun[2] == "three"  # "one" has a page under way already
    queue.end("a", "three", "one 0", "one 1", "one 2", "renewed")
    queue.until(lambda: len(queue.begun) == 7)
    assert "renewed" in queue.begun[-2:]  # the last two begin side by side


def test_one_person_asks_for_so_many_at_once_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    queue = Queue(monkeypatch, 1)
    names = [str(i) for i in range(MOST_OF_PERSON)]
    futures = [queue.put(name, "/shift") for name in names]
    with pytest.raises(AskError, match="too many pages"):
        queue.put("more", "/shift")
    other = queue.put("other", "/shift", "another")
    queue.end(*names, "other")
    assert all(one.result(5) for one in (*futures, other))
    queue.put("more", "/shift")
    queue.end("more")
