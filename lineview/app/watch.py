"""Watching a folder: each export that arrives is taken in once it has stopped growing."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import monotonic
from typing import Any

from lineview.app.take_in import IntakeResult
from lineview.app.works import Works
from lineview.core.errors import Fault, IntakeError, LineviewError, StoreError
from lineview.core.language import mark, remembered, reworded, tr
from lineview.core.names import readable
from lineview.intake.find import is_export
from lineview.plant import Plant

#: Seconds before a file that the store could not take is tried again; doubled each time, up to the most.
RETRY_FIRST_S, RETRY_MOST_S = 10.0, 600.0
#: The file in the works folder that holds what became of each export, a JSON object a line.
LOG = "watch-log.jsonl"
#: A log of this size is put aside under another name, in the place of the one put aside before [bytes].
LOG_MOST_BYTES = 4_000_000
#: Files that are not in are shown so long, from the log's last bytes.
SHOWN_FOR, SHOWN_BYTES = timedelta(days=7), 200_000

FileState = tuple[int, int]


@dataclass
class _Due:
    """A file that is to be tried again: how often it was tried, and when it is due [s, monotonic]."""

    tries: int
    at_s: float


class Watch:
    """A folder that exports arrive in.

    Parameters
    ----------
    works : Works
        Open; the exports are taken in there, and what became of each is written to a log in its folder.
    folder : pathlib.Path
        Looked into.
    say : callable
        Given one line for each thing that happens.
    now_s : callable
        Seconds that never go back.

    Notes
    -----
    No file ends it: what cannot be read is reported and passed over until it changes. What the store or the disk
    could not take is tried again, less and less often. A file that no layout fits, or whose layout is wrong,
    is looked at again once plant.toml or layouts.toml has changed.
    """

    def __init__(
        self, works: Works, folder: Path, report: Callable[[str], None], now_s: Callable[[], float] = monotonic
    ) -> None:
        self._works, self._folder, self._say, self._now_s = works, folder, report, now_s
        self._seen: dict[Path, FileState] = {}
        self._done: dict[Path, FileState] = {}
        self._unfit: dict[Path, Plant | None] = {}
        self._due: dict[Path, _Due] = {}
        self._said = ""

    def look(self) -> list[IntakeResult]:
        """Look once: a file is taken in when its size and time are as at the look before."""
        try:
            states = _states(self._folder)
        except OSError as error:
            folder = readable(str(self._folder))
            self._once(tr("{folder} cannot be looked into: {reason}", folder=folder, reason=error.strerror))
            return []
        self._said = ""
        ready = [path for path, state in states.items() if self._is_ready(path, state)]
        self._seen = states
        for memory in (self._done, self._unfit, self._due):
            for path in [path for path in memory if path not in states]:
                memory.pop(path)
        with remembered() as parts_of:
            results = self._take(ready) if ready else []
            for result in _by_file(ready, results):
                self._note(result, states[result.path], parts_of)
        return results

    def _is_ready(self, path: Path, state: FileState) -> bool:
        if self._seen.get(path) != state:
            return False
        due = self._due.get(path)
        if due is not None and due.at_s > self._now_s():
            return False
        if self._done.get(path) != state:
            return True
        return path in self._unfit and self._unfit[path] is not self._plant()

    def _plant(self) -> Plant | None:
        """The plant description as it stands now, or None while it is wrong."""
        try:
            return self._works.plant
        except LineviewError:
            return None

    def _take(self, ready: Sequence[Path]) -> list[IntakeResult]:
        """Take files in together, or one by one where one of them stops the others."""
        try:
            return self._works.take(ready)
        except Exception:  # noqa: BLE001 - whatever it was, the others are still to be taken
            return [result for path in ready for result in self._take_one(path)]

    def _take_one(self, path: Path) -> list[IntakeResult]:
        try:
            return self._works.take([path])
        except LineviewError as error:
            return [IntakeResult(path, error=error)]
        except Exception as error:  # noqa: BLE001 - no file may end the watch
            what = tr("the file could not be taken in: {kind}: {error}", kind=type(error).__name__, error=error)
            return [IntakeResult(path, error=IntakeError(Fault(what, str(path))))]

    def _note(self, result: IntakeResult, state: FileState, parts_of: Callable[[str], Any]) -> None:
        """Remember what became of a file, say it and write it down."""
        path = result.path
        self._done[path] = state
        self._unfit.pop(path, None)
        again_s = None
        if result.error is not None and _may_pass(result.error):
            tries = self._due[path].tries + 1 if path in self._due else 1
            again_s = min(RETRY_FIRST_S * 2.0 ** min(tries - 1, 9), RETRY_MOST_S)
            self._due[path] = _Due(tries, self._now_s() + again_s)
            self._done.pop(path)
        else:
            self._due.pop(path, None)
            if result.receipt is None:
                self._unfit[path] = self._plant()
        line = _line(result) + ("" if again_s is None else tr("; it is tried again in {wait:.0f} s", wait=again_s))
        self._say(line)
        self._write(_entry(result, parts_of), again_s)

    def _once(self, line: str) -> None:
        if line != self._said:
            self._say(line)
        self._said = line

    def _write(self, entry: dict[str, object], again_s: float | None) -> None:
        log = self._works.folder / LOG
        entry = {"at": datetime.now(UTC).isoformat(timespec="seconds"), **entry, "again_s": again_s}
        try:
            if log.exists() and log.stat().st_size > LOG_MOST_BYTES:
                log.replace(log.with_name("watch-log-before.jsonl"))
            with log.open("a", encoding="utf-8") as file:
                file.write(json.dumps(entry) + "\n")
        except OSError as error:
            self._once(tr("{file} cannot be written: {reason}", file=LOG, reason=error.strerror))


def files_not_in(folder: Path) -> list[dict[str, Any]]:
    """What watching last said of each file that it could not take in, newest first, of the last days.

    As in the works folder's log: "at", "file", "outcome", "why" in today's words, and "again_s".
    """
    last: dict[str, dict[str, Any]] = {}
    try:
        with (folder / LOG).open("rb") as log:
            log.seek(max(0, log.seek(0, 2) - SHOWN_BYTES))
            lines = log.read().splitlines()
    except OSError:
        return []
    since = (datetime.now(UTC) - SHOWN_FOR).isoformat(timespec="seconds")
    for line in lines:
        try:
            entry = json.loads(line)
            if "why" in entry:
                parts = ({k: reworded(v) for k, v in w.items()} if isinstance(w, dict) else w for w in entry["why"])
                entry["why"] = [str(Fault(**part)) if isinstance(part, dict) else part for part in parts]
            last.pop(entry["file"], None)
            last[entry["file"]] = entry
        except (ValueError, TypeError, KeyError):  # the first one may be cut, and the last one half written
            continue
    return [entry for entry in reversed(last.values()) if "intake" not in entry and entry["at"] > since]


def _by_file(ready: Sequence[Path], results: Sequence[IntakeResult]) -> list[IntakeResult]:
    """What became of each file; of a zip what became of the worst export in it."""
    there = {result.path: result for result in results}
    unzipped = [result for result in results if result.path not in set(ready)]
    worst = max(unzipped, key=_how_bad, default=None)
    of_zips = [replace(worst, path=path) for path in ready if path not in there] if worst is not None else []
    return [result for result in results if result.path in set(ready)] + of_zips


def _how_bad(result: IntakeResult) -> int:
    if result.error is not None:
        return 3 if _may_pass(result.error) else 2
    return int(result.receipt is None)


def _states(folder: Path) -> dict[Path, FileState]:
    """Size and time of every export in a folder; not what vanishes meanwhile or is no plain file."""
    if not folder.is_dir():
        raise FileNotFoundError(2, tr("there is no such folder"))
    states = {}
    for path in sorted(folder.rglob("*")):
        try:
            if is_export(path, folder):
                stat = path.stat()
                states[path] = (stat.st_size, stat.st_mtime_ns)
        except OSError:
            continue
    return states


def _may_pass(error: LineviewError) -> bool:
    """Whether the same file may be taken another time: the store or the disk failed, not the file."""
    return isinstance(error, StoreError) or isinstance(error.__cause__, OSError)


def _line(result: IntakeResult) -> str:
    name = readable(result.path.name)
    if result.error is not None:
        return f"{name}: {result.error.faults[0]}"
    if result.receipt is None:
        path = readable(str(result.path))
        return tr("{file}: no layout fits; look at it with: lineview intake {path}", file=name, path=path)
    r = result.receipt
    before = tr(", taken in before") if r.already else ""
    text = mark("{file}: intake {intake}{before}, {kept:,} rows new, {refused:,} refused")
    return tr(text, file=name, intake=r.intake, before=before, kept=r.kept, refused=r.refused)


def _entry(result: IntakeResult, parts_of: Callable[[str], Any]) -> dict[str, object]:
    entry: dict[str, object] = {"file": readable(result.path.name)}
    if result.error is not None:
        why = [{part: parts_of(text) for part, text in asdict(fault).items() if text} for fault in result.error.faults]
        return {**entry, "outcome": mark("not taken in"), "why": why}
    if result.receipt is None:
        return {**entry, "outcome": mark("no layout fits")}
    r = result.receipt
    counts = {"intake": r.intake, "rows": r.rows, "new": r.kept, "refused": r.refused}
    return {**entry, "outcome": mark("taken in before") if r.already else mark("taken in"), **counts}
