"""A process that works pages out: begun from one that has imported all, replaced where it dies, hangs or grows."""

from __future__ import annotations

import gc
import logging
import multiprocessing
import os
import signal
import time
import traceback
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext, SpawnContext
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Lock, Thread, Timer

from lineview.app.access import Person
from lineview.app.allocator import collect_garbage_seldom, give_free_memory_back, held_mb
from lineview.app.works import WHERE

#: A process that holds more than this is replaced, but not before so many pages: each new one reads anew [MB].
MOST_HELD_MB, LEAST_PAGES = 260.0, 100
#: Seconds after which one that did not start is tried again; doubled each time up to the second.
AGAIN_S, AGAIN_AT_MOST_S = 2.0, 60.0
#: What pages need, imported once: where the system can fork, processes share it.
_OF_PAGES = ["app.conflict_notes", "app.inputs", "app.records", "app.week_inputs", "board.app", "charts.render"]
SHARED = [*(f"lineview.{name}" for name in _OF_PAGES), *(module for module, _ in WHERE.values())]
SHARED += ["plotly.graph_objects", "plotly.subplots", "scipy.optimize", "scipy.stats"]

log = logging.getLogger("lineview.board")


@dataclass(frozen=True)
class Request:
    """What a worker is asked: a request without a cookie, its target with the query, and whose rights hold."""

    method: str
    target: str
    body: str
    person: Person


@dataclass(frozen=True)
class Reply:
    """What a worker answered."""

    status: int
    headers: tuple[tuple[str, str], ...]
    content: bytes


#: What answers requests, and what opens a works for it; the second is named to other processes.
Answers = Callable[[Request], Reply]
Opens = Callable[[Path, str | None], Answers]
Requests = tuple[Request, ...]
Replies = tuple[Reply, ...]


@dataclass(frozen=True)
class Work:
    """What a process did: the replies, the processor time they took [s], and the memory it holds afterwards [MB]."""

    replies: Replies
    cpu_s: float
    held_mb: float


class ProcessEndedError(RuntimeError):
    """A process that works pages out has ended before it answered."""


@dataclass(eq=False)
class _Child:
    """A process that was begun, or a thread in a test, and how it is spoken with."""

    process: BaseProcess | Thread
    connection: Connection
    is_open: bool = False
    has_ended: bool = False
    promise: Future[Work] | None = None


class Process:
    """One process that works pages out, and the next one after it.

    `opening`: what opens a works in it, the works folder, and where the journal is; `changed`: called when it can take
    a page, or cannot start.
    """

    def __init__(self, opening: tuple[Opens, Path, str | None], changed: Callable[[], None]) -> None:
        self._opening, self._changed = opening, changed
        self._child: _Child | None = None
        self._turn = Lock()  # none is asked while another one takes its place
        self._pages, self._tries, self._closed = 0, 0, False
        self.is_failing = False

    @property
    def is_ready(self) -> bool:
        """Whether it can be asked."""
        child = self._child
        return child is not None and child.is_open and not child.has_ended

    def begin(self) -> None:
        """Start it, or the next one in its place."""
        with self._turn:
            before, self._child, self._pages = self._child, None, 0
        if before is not None:
            with suppress(OSError):  # it has ended already
                before.connection.send(None)
        if self._closed:
            return
        try:
            here, there = Pipe()
            child = _Child(self._launch(there), here)
        except Exception as error:  # noqa: BLE001 - no memory, no handles, no process: all are tried again
            self._failed(error)
            return
        self._child = child
        Thread(target=self._hear, args=(child,), daemon=True).start()
        if self._closed:  # meanwhile
            self.begin()

    def _launch(self, there: Connection) -> BaseProcess | Thread:
        process = _context().Process(target=_work, args=(there, *self._opening), daemon=True)
        process.start()
        there.close()  # what ends that process closes the last one
        return process

    def _hear(self, child: _Child) -> None:
        """Take what one process says, and learn at once that it has ended, until another one takes its place."""
        while child is self._child:
            try:
                message = child.connection.recv()
            except Exception:  # noqa: BLE001 - the pipe's end, or what was left of a reply
                message = ProcessEndedError("the process has ended")
            if child is self._child:
                self._pass_on(child, message)
        child.connection.close()

    def _pass_on(self, child: _Child, message: Work | Exception | None) -> None:
        promise, child.promise = child.promise, None
        if not child.is_open:
            self._begins(child, message)
        elif isinstance(message, ProcessEndedError):
            self.begin()
        if promise is not None and isinstance(message, Work):
            promise.set_result(message)
        elif promise is not None and isinstance(message, Exception):
            promise.set_exception(message)

    def _begins(self, child: _Child, message: object) -> None:
        if isinstance(message, Exception):
            self._child = None
            self._failed(message)
            return
        child.is_open = True
        self._tries, self.is_failing = 0, False
        self._changed()

    def _failed(self, error: Exception) -> None:
        again_s = min(AGAIN_AT_MOST_S, AGAIN_S * 2 ** min(self._tries, 9))
        self._tries, self.is_failing = self._tries + 1, True
        log.error("a process of pages did not start", exc_info=error, extra={"fields": {"again_s": again_s}})
        again = Timer(again_s, self.begin)
        again.daemon = True
        again.start()
        self._changed()

    def ask(self, requests: Requests) -> Future[Work]:
        """Have requests answered; raises `ProcessEndedError` where it has ended since it was ready."""
        future = Future[Work]()
        with self._turn:
            if (child := self._child) is None or not self.is_ready:
                raise ProcessEndedError("the process has ended")
            child.promise = future
            try:
                child.connection.send(requests)
            except OSError as error:
                child.promise, child.has_ended = None, True
                raise ProcessEndedError("the process has ended") from error
            self._pages += 1
        return future

    def has_grown(self, held_mb: float) -> bool:
        """Whether another one is to take its place."""
        return held_mb > MOST_HELD_MB and self._pages >= LEAST_PAGES

    def kill(self) -> None:
        """End it where it does not answer; the next one takes its place."""
        child = self._child
        if child is not None and isinstance(child.process, BaseProcess):
            child.process.kill()

    def close(self) -> None:
        """End it for good."""
        self._closed = True
        self.begin()


def _context() -> ForkServerContext | SpawnContext:
    """How processes are made: forked from one that has imported all and used none of it, where that can be."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(SHARED)
    return context


# -- within a worker -----------------------------------------------------------------------------------


def _work(board: Connection, opens: Opens, folder: Path, journal_url: str | None) -> None:
    """Open the works, say so, and answer what the board asks until it asks no more, or has gone."""
    with suppress(OSError, EOFError), board:
        try:
            answer = _opened(opens, folder, journal_url)
        except Exception:  # noqa: BLE001 - the board says why in its log, and tries again
            board.send(RuntimeError(traceback.format_exc()))
            return
        board.send(None)
        while (requests := board.recv()) is not None:
            try:
                board.send(_respond(answer, requests))
            except Exception:  # noqa: BLE001 - a page that cannot be made ends no process
                board.send(RuntimeError(traceback.format_exc()))


def _opened(opens: Opens, folder: Path, journal_url: str | None) -> Answers:
    """Open the works in a process of its own, with the board's own pages."""
    gc.freeze()  # what was imported is no garbage, and stays shared where nobody looks through it
    collect_garbage_seldom()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the board ends it
    if hasattr(os, "nice"):
        os.nice(5)  # pages that are there already come first
    board = multiprocessing.parent_process()
    if board is not None:  # a board that was killed leaves nobody behind
        Thread(target=_end_after, args=(board,), daemon=True).start()
    return opens(folder, journal_url)


def _end_after(board: multiprocessing.process.BaseProcess) -> None:
    board.join()
    os._exit(0)


def _respond(answer: Answers, requests: Requests) -> Work:
    """Answer requests in a worker."""
    before_s = time.process_time()
    replies = tuple(answer(request) for request in requests)
    give_free_memory_back()
    return Work(replies, time.process_time() - before_s, held_mb())
