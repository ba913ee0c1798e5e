"""Processes that work pages out, so that one long question holds up nobody else: a queue, its order, its limits."""

from __future__ import annotations

import logging
import os
import time
from concurrent.futures import Future
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from threading import Lock, Timer

from lineview.board.processes import Opens, Process, ProcessEndedError, Replies, Requests, Work
from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr

#: Processes at most: each holds what it read, some 100 to 400 MB.
MOST_WORKERS = 4
#: From here on a page counts as long [s of processor]; one process is kept for the others. By the clock all pages
#: would be long on a machine that is busy with something else, and one process would stand idle.
LONG_S = 2.0
#: Pages of one person that may wait or be worked out at once, and of all together.
MOST_OF_PERSON, MOST_WAITING = 12, 400
#: A page that takes longer than this hangs: its process is ended, so that it does not keep the place for ever [s].
HANGS_S = 900.0
#: How a page's usual time follows the latest ones.
FOLLOWS = 0.5

#: The message where no process starts; the reason is for the log, since anybody may ask.
NONE_STARTS = mark("pages cannot be worked out now, since no process for them starts")
TRIED_AGAIN = mark("The log of the board says why; it is tried again by itself.")

log = logging.getLogger("lineview.board")


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
    """A few processes with a queue before them, by default one for each core, at most `MOST_WORKERS`.

    Next is what somebody waits for before what only renews an open page, then whoever has the fewest pages under
    way, then the page that usually takes the least time. Long ones leave one process free.
    """

    def __init__(self, opens: Opens, folder: Path, journal_url: str | None = None, number: int | None = None) -> None:
        self._opening = (opens, folder, journal_url)
        self.number = number or max(1, min(MOST_WORKERS, os.cpu_count() or 1))
        self._lock = Lock()
        self._order = count()
        self._waiting: list[_Job] = []
        self._running: dict[Process, _Job] = {}
        self._usual_s: dict[str, float] = {}
        self._usual_cpu_s: dict[str, float] = {}
        self._processes = [self._process() for _ in range(self.number)]
        for process in self._processes:  # each imports what it needs while nobody waits yet
            process.begin()

    def _process(self) -> Process:
        return Process(self._opening, self._start)

    @property
    def is_failing(self) -> bool:
        """Whether no process starts now; it is tried again until one does."""
        return all(process.is_failing for process in self._processes)

    def ask(self, requests: Requests, kind: str, *, limited: bool = True, unseen: bool = False) -> Future[Replies]:
        """Put requests that belong together into the queue; pages of one `kind` take about the same time.

        `limited` says whether the limit of one person holds, `unseen` whether nobody waits for it. Raises `AskError`
        where this person, or all together, have too many under way, or no process starts.
        """
        if self.is_failing:
            raise AskError(Fault(tr(NONE_STARTS), do=tr(TRIED_AGAIN)))
        job = _Job(requests, kind, requests[0].person.name, unseen, next(self._order))
        with self._lock:
            ahead = (*self._waiting, *self._running.values())
            of_person = sum(other.person == job.person and not other.unseen for other in ahead)
            if len(self._waiting) >= MOST_WAITING or (limited and not unseen and of_person >= MOST_OF_PERSON):
                do = tr("Wait until some of them are there.")
                raise AskError(Fault(tr("too many pages are being worked out at once"), do=do))
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
        usual = self._usual_cpu_s.get(job.kind)
        return usual > LONG_S if usual is not None else not job.kind.startswith(("/shift", "/wall", "/intake"))

    def _next(self) -> tuple[_Job, Process] | None:
        """The next one to begin, of those that may, and who does it."""
        free = [queued for queued in self._processes if queued.is_ready and queued not in self._running]
        if not free:
            return None
        long = sum(1 for queued in self._running.values() if self._is_long(queued))
        full = long >= max(1, self.number - 1)
        fit = [queued for queued in self._waiting if not (full and self._is_long(queued))]
        if not fit:
            return None
        busy = [queued.person for queued in self._running.values() if not queued.unseen]
        job = min(fit, key=lambda j: (j.unseen, busy.count(j.person), self._usual_cpu_s.get(j.kind, LONG_S), j.order))
        self._waiting.remove(job)
        self._running[free[0]] = job
        return job, free[0]

    def _start(self) -> None:
        while True:
            with self._lock:
                next_one = self._next()
                left = self._waiting if self.is_failing else []
                if left:
                    self._waiting = []
            for job in left:
                job.future.set_exception(AskError(Fault(tr(NONE_STARTS), do=tr(TRIED_AGAIN))))
            if next_one is None:
                return
            self._begin(*next_one)

    def _begin(self, job: _Job, process: Process) -> None:
        job.began = time.monotonic()
        if not job.future.running():  # it may be asked once more
            job.future.set_running_or_notify_cancel()
        try:
            done = process.ask(job.requests)
        except ProcessEndedError:  # since it was chosen; that is no try
            with self._lock:
                del self._running[process]
                self._waiting.append(job)
            return
        job.limit = Timer(HANGS_S, self._end_hanging, (job, process))
        job.limit.daemon = True
        job.limit.start()
        done.add_done_callback(lambda ended: self._over(job, process, ended))

    def _over(self, job: _Job, process: Process, ended: Future[Work]) -> None:
        if job.limit is not None:
            job.limit.cancel()
        error = ended.exception()
        if error is None:
            work, took_s = ended.result(), time.monotonic() - job.began
            for usual, took in ((self._usual_s, took_s), (self._usual_cpu_s, work.cpu_s)):
                before = usual.get(job.kind, took)
                usual[job.kind] = before + FOLLOWS * (took - before)
            if process.has_grown(work.held_mb):
                process.begin()
            with self._lock:
                del self._running[process]
            fields = {"page": job.kind, "ms": round(took_s * 1000), "cpu_ms": round(work.cpu_s * 1000)}
            fields["held_mb"] = round(work.held_mb)
            log.info("page worked out", extra={"fields": fields})
            job.future.set_result(work.replies)
        else:
            self._ended(job, process, error)
        self._start()

    def _ended(self, job: _Job, process: Process, error: BaseException) -> None:
        """A job came to nothing; where its process died it is asked once more."""
        again = isinstance(error, ProcessEndedError) and not job.tries
        with self._lock:
            del self._running[process]
            if again:
                job.tries += 1
                self._waiting.append(job)
        if not again:
            log.error("a page could not be made", exc_info=error)
            job.future.set_exception(error)

    def _end_hanging(self, job: _Job, process: Process) -> None:
        """End the process in which a job does not come to its end."""
        with self._lock:
            if self._running.get(process) is not job:
                return
            job.tries += 1
        log.error("a page was given up", extra={"fields": {"page": job.kind, "s": round(HANGS_S)}})
        process.kill()

    def close(self) -> None:
        """End the processes; what still waits is given up."""
        with self._lock:
            waiting, self._waiting = self._waiting, []
        for job in waiting:
            job.future.cancel()
        for process in self._processes:
            process.close()
