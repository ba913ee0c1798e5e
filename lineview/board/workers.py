"""Processes that work pages out, so that one long question holds up nobody else: a queue, its order, its limits."""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from threading import Lock, Thread, Timer

from lineview.app.access import Person
from lineview.core.errors import AskError, Fault

#: Processes at most: each holds what it read, some 150 to 400 MB.
MOST_WORKERS = 4
#: From here on a page counts as long [s]; one process is kept for the others.
LONG_S = 2.0
#: Pages of one person that may wait or be worked out at once, and of all together.
MOST_OF_PERSON, MOST_WAITING = 12, 400
#: A page that takes longer than this hangs: its process is ended, so that it does not keep the place for ever [s].
HANGS_S = 900.0
#: How a page's usual time follows the latest ones.
FOLLOWS = 0.5

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


@dataclass
class _Job:
    requests: Requests
    kind: str
    person: str
    unseen: bool
    order: int
    future: Future[Replies] = field(default_factory=Future)
    began: float = 0.0
    tries: int = 0
    limit: Timer | None = None


class Workers:
    """A few processes with a queue before them.

    Parameters
    ----------
    opens : callable
        Opens a works in a process and gives what answers requests there; of a module.
    folder : pathlib.Path
        The works folder.
    journal_url : str, optional
        Where the journal is.
    number : int, optional
        Processes; by default one for each core, at most `MOST_WORKERS`.

    Notes
    -----
    Next is what somebody waits for before what only renews an open page, then whoever has the fewest pages under
    way, then the page that usually takes the least time. Long ones leave one process free.
    """

    def __init__(self, opens: Opens, folder: Path, journal_url: str | None = None, number: int | None = None) -> None:
        self._given = (opens, folder, journal_url)
        self.number = number or max(1, min(MOST_WORKERS, os.cpu_count() or 1))
        self._lock = Lock()
        self._order = count()
        self._waiting: list[_Job] = []
        self._running: list[_Job] = []
        self._usual_s: dict[str, float] = {}
        self._pool = self._begun()

    def _begun(self) -> ProcessPoolExecutor:
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(self.number, context, _begin, self._given)
        for _ in range(self.number):  # each imports what it needs while nobody waits yet
            pool.submit(time.sleep, 0.2)
        return pool

    def ask(self, requests: Requests, kind: str, *, limited: bool = True, unseen: bool = False) -> Future[Replies]:
        """Put requests that belong together into the queue.

        Parameters
        ----------
        requests : tuple of Asked
            Answered one after the other by one process.
        kind : str
            Pages of one kind take about the same time.
        limited : bool
            Whether the limit of one person holds; on this machine all are one.
        unseen : bool
            Whether nobody waits for it.

        Returns
        -------
        concurrent.futures.Future
            Of their replies.

        Raises
        ------
        AskError
            Where this person, or all together, have too many under way.
        """
        job = _Job(requests, kind, requests[0].person.name, unseen, next(self._order))
        with self._lock:
            of_person = sum(1 for one in self._waiting + self._running if one.person == job.person and not one.unseen)
            if len(self._waiting) >= MOST_WAITING or (limited and not unseen and of_person >= MOST_OF_PERSON):
                do = "Wait until some of them are there."
                raise AskError(Fault("too many pages are being worked out at once", do=do))
            self._waiting.append(job)
        self._start()
        return job.future

    def usual_s(self, kind: str) -> float | None:
        """How long a page of a kind took lately [s]; None before the first."""
        return self._usual_s.get(kind)

    def queue(self) -> dict[str, int]:
        """How many pages wait, and how many are worked out now."""
        return {"waiting": len(self._waiting), "working": len(self._running)}

    def _is_long(self, job: _Job) -> bool:
        usual = self._usual_s.get(job.kind)
        return usual > LONG_S if usual is not None else not job.kind.startswith(("/shift", "/wall", "/intake"))

    def _next(self) -> _Job | None:
        """The next one to begin, of those that may."""
        if len(self._running) >= self.number:
            return None
        long = sum(1 for one in self._running if self._is_long(one))
        full = long >= max(1, self.number - 1)
        fit = [one for one in self._waiting if not (full and self._is_long(one))]
        if not fit:
            return None
        busy = [one.person for one in self._running if not one.unseen]
        job = min(fit, key=lambda j: (j.unseen, busy.count(j.person), self._usual_s.get(j.kind, LONG_S), j.order))
        self._waiting.remove(job)
        self._running.append(job)
        return job

    def _start(self) -> None:
        while True:
            with self._lock:
                job = self._next()
            if job is None:
                return
            job.began = time.monotonic()
            try:
                done = self._pool.submit(_respond, job.requests)
            except (BrokenProcessPool, RuntimeError) as error:
                self._ended(job, error)
                continue
            job.limit = Timer(HANGS_S, self._end_hanging, (job,))
            job.limit.daemon = True
            job.limit.start()
            done.add_done_callback(lambda ended, job=job: self._over(job, ended))  # type: ignore[misc]  # bound now

    def _over(self, job: _Job, ended: Future[Replies]) -> None:
        if job.limit is not None:
            job.limit.cancel()
        error = ended.exception()
        if error is None:
            took = time.monotonic() - job.began
            before = self._usual_s.get(job.kind, took)
            self._usual_s[job.kind] = before + FOLLOWS * (took - before)
            with self._lock:
                self._running.remove(job)
            log.info("page worked out", extra={"fields": {"page": job.kind, "ms": round(took * 1000)}})
            job.future.set_result(ended.result())
        else:
            self._ended(job, error)
        self._start()

    def _ended(self, job: _Job, error: BaseException) -> None:
        """A job came to nothing; where its process died it is asked once more."""
        again = isinstance(error, BrokenProcessPool) and not job.tries
        with self._lock:
            self._running.remove(job)
            if isinstance(error, BrokenProcessPool) and self._pool_is_broken():
                self._pool = self._begun()
            if again:
                job.tries += 1
                self._waiting.append(job)
        if not again:
            log.error("a page could not be made", exc_info=error)
            job.future.set_exception(error)

    def _end_hanging(self, job: _Job) -> None:
        """End the processes where a job does not come to its end; what the others had begun is asked once more."""
        with self._lock:
            if job not in self._running:
                return
            job.tries += 1
            # the pool has no way of its own to end a process that does not answer
            processes = list((self._pool._processes or {}).values())
        log.error("a page was given up", extra={"fields": {"page": job.kind, "s": round(HANGS_S)}})
        for process in processes:
            process.kill()

    def _pool_is_broken(self) -> bool:
        try:
            self._pool.submit(time.sleep, 0)
        except (BrokenProcessPool, RuntimeError):
            return True
        return False

    def close(self) -> None:
        """End the processes; what still waits is given up."""
        with self._lock:
            left, self._waiting = self._waiting, []
        for job in left:
            job.future.cancel()
        self._pool.shutdown(wait=False, cancel_futures=True)


# -- within a worker -----------------------------------------------------------------------------------

_answer: Answers | None = None


def _begin(opened: Opens, folder: Path, journal_url: str | None) -> None:
    """Open the works in a process of its own, with the board's own pages."""
    global _answer  # noqa: PLW0603 - a process has one works
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


def _respond(requests: Requests) -> Replies:
    """Answer requests in a worker."""
    if _answer is None:
        raise RuntimeError("this process serves no works")
    return tuple(_answer(one) for one in requests)
