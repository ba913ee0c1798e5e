"""A process that works pages out: begun from one that has imported all, replaced where it dies, hangs or grows."""

from __future__ import annotations

import gc
import logging
import multiprocessing
import os
import signal
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing.context import BaseContext
from pathlib import Path
from threading import Thread, Timer

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
class Asked:
    """What a worker is asked: a request without a cookie, and who asks.

    Parameters
    ----------
    method, target : str
        Of the request; the target with its query.
    body : str
        JSON, or "".
    person : Person
        Whose rights hold.
    """

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
Answers = Callable[[Asked], Reply]
Opens = Callable[[Path, str | None], Answers]
Requests = tuple[Asked, ...]
Replies = tuple[Reply, ...]


@dataclass(frozen=True)
class Work:
    """What a process did: the replies, the processor time they took [s], and the memory it holds afterwards [MB]."""

    replies: Replies
    cpu_s: float
    held_mb: float


class Process:
    """One process that works pages out, and the next one after it.

    Parameters
    ----------
    given : tuple
        What opens a works in it, the works folder, and where the journal is.
    changed : callable
        Called when it can take a page, or cannot start.
    """

    def __init__(self, given: tuple[Opens, Path, str | None], changed: Callable[[], None]) -> None:
        self._given, self._changed = given, changed
        self._pool: Executor | None = None
        self._pages, self._tries, self._closed = 0, 0, False
        self.is_ready, self.is_failing = False, False

    def begin(self) -> None:
        """Start it, or the next one in its place."""
        before, self._pool, self.is_ready, self._pages = self._pool, None, False, 0
        if before is not None:
            before.shutdown(wait=False, cancel_futures=True)
        if self._closed:
            return
        try:
            self._pool = pool = self._begun()
            started = pool.submit(_begin, *self._given)
        except Exception as error:  # noqa: BLE001 - no memory, no handles, no process: all are tried again
            self._failed(error)
        else:
            started.add_done_callback(lambda ended: self._started(pool, ended))

    def _begun(self) -> Executor:
        return ProcessPoolExecutor(1, _context())

    def _started(self, pool: Executor, ended: Future[None]) -> None:
        if pool is not self._pool or ended.cancelled():
            return
        error = ended.exception()
        if error is not None:
            self._failed(error)
            return
        self._tries, self.is_failing, self.is_ready = 0, False, True
        self._changed()

    def _failed(self, error: BaseException) -> None:
        again_s = min(AGAIN_AT_MOST_S, AGAIN_S * 2**self._tries)
        self._tries, self.is_failing = self._tries + 1, True
        log.error("a process of pages did not start", exc_info=error, extra={"fields": {"again_s": again_s}})
        again = Timer(again_s, self.begin)
        again.daemon = True
        again.start()
        self._changed()

    def ask(self, requests: Requests) -> Future[Work]:
        """Have requests answered."""
        if self._pool is None:
            raise RuntimeError("this process has ended")
        self._pages += 1
        return self._pool.submit(_respond, requests)

    def has_grown(self, held_mb: float) -> bool:
        """Whether another one is to take its place."""
        return held_mb > MOST_HELD_MB and self._pages >= LEAST_PAGES

    def kill(self) -> None:
        """End it where it does not answer; the pool has no way of its own."""
        for process in list((getattr(self._pool, "_processes", None) or {}).values()):
            process.kill()

    def close(self) -> None:
        """End it for good."""
        self._closed = True
        self.begin()


def _context() -> BaseContext:
    """How processes are made: forked from one that has imported all and used none of it, where that can be."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(SHARED)
    return context


# -- within a worker -----------------------------------------------------------------------------------

_answer: Answers | None = None


def _begin(opened: Opens, folder: Path, journal_url: str | None) -> None:
    """Open the works in a process of its own, with the board's own pages."""
    global _answer  # noqa: PLW0603 - a process has one works
    gc.freeze()  # what was imported is no garbage, and stays shared where nobody looks through it
    collect_garbage_seldom()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the board ends it
    if hasattr(os, "nice"):
        os.nice(5)  # pages that are there already come first
    board = multiprocessing.parent_process()
    if board is not None:  # a board that was killed leaves nobody behind
        Thread(target=_end_after, args=(board,), daemon=True).start()
    _answer = opened(folder, journal_url)


def _end_after(board: multiprocessing.process.BaseProcess) -> None:
    board.join()
    os._exit(0)


def _respond(requests: Requests) -> Work:
    """Answer requests in a worker."""
    if _answer is None:
        raise RuntimeError("this process serves no works")
    before_s = time.process_time()
    replies = tuple(_answer(one) for one in requests)
    give_free_memory_back()
    return Work(replies, time.process_time() - before_s, held_mb())
