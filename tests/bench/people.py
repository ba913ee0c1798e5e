"""People before a served board, simulated: each signed in, opening pages and keeping them open as a browser does."""

import base64
import json
import random
import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException, RemoteDisconnected
from pathlib import Path
from statistics import mean, quantiles
from threading import Event, Lock, Thread
from typing import Any
from urllib.parse import urlencode

from tests.bench.measured import environment

SERVE = "from lineview.cli.main import main; main()"
HOST = "board.invented.example"
PASSWORD = "seven plain toffees in a row"
CALL = "/_dash-update-component"
#: What browsers do: an open page looks for new readings so often, and so often while it is worked out [s].
POLL_S, SOON_S = 10.0, 1.0
#: A page is given up after this [s].
PATIENCE_S = 120.0


@dataclass
class Board:
    """A board in a process of its own."""

    process: subprocess.Popen[str]
    port: int
    known: list[dict[str, Any]] = field(default_factory=list)

    def held_mb(self) -> float:
        """Memory of the board and the processes that it started [MB], shared pages counted once."""
        return sum(_memory_mb(pid, "Pss:") for pid in (self.process.pid, *children(self.process.pid)))

    def own_mb(self) -> float:
        """Memory of the board's own process alone [MB]: those that work pages out are replaced, it is not."""
        return _memory_mb(self.process.pid, "Private_Clean:") + _memory_mb(self.process.pid, "Private_Dirty:")

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


def children(pid: int) -> list[int]:
    """The processes that a process started, and those that they did."""
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        with suppress(OSError):  # a thread that has just ended
            found += map(int, task.read_text(encoding="utf-8").split())
    return [*found, *(further for one in found for further in children(one))]


def _memory_mb(pid: int, kind: str) -> float:
    try:
        text = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="utf-8")
    except OSError:
        return 0.0
    return int(text.partition(kind)[2].split()[0]) / 1024


def start(works: Path, *more: str) -> Board:
    """Serve a works as the command does; signed in people alone."""
    words = [
        sys.executable,
        "-P",
        "-c",
        SERVE,
        "board",
        "--works",
        str(works),
        "--port",
        "0",
        "--host-name",
        HOST,
        *more,
    ]
    process = subprocess.Popen(words, env=environment(), stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for line in process.stdout:
        if found := re.search(r"http://127\.0\.0\.1:(\d+)", line):
            return Board(process, int(found[1]))
    raise RuntimeError("the board did not say its address")


@dataclass
class Seen:
    """What people met with: seconds until a page they opened was whole, by its address, and what went wrong.

    `older` pages were shown as they were before; `newest` are seconds until pages that people opened were of the
    latest exports, and `left` counts those that people left before they were.
    """

    opened: list[tuple[str, float]] = field(default_factory=list)
    renewed: list[tuple[str, float]] = field(default_factory=list)
    older: int = 0
    newest: list[float] = field(default_factory=list)
    left: int = 0
    first: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    def p95(self, which: str = "opened") -> float:
        return quantiles([s for _, s in getattr(self, which)], n=20)[-1]


class Browser:
    """One person's browser."""

    def __init__(self, board: Board, name: str, seen: Seen) -> None:
        self.board, self.name, self.seen = board, name, seen
        self.connection = HTTPConnection("127.0.0.1", board.port, timeout=PATIENCE_S)
        self.headers = {"Host": HOST, "Origin": f"http://{HOST}"}
        body = urlencode({"name": name, "password": PASSWORD})
        form = {**self.headers, "Content-Type": "application/x-www-form-urlencoded"}
        self.connection.request("POST", "/sign-in", body, form)
        answer = self.connection.getresponse()
        answer.read()
        assert answer.status == 303, answer.status
        self.headers["Cookie"] = str(answer.headers["Set-Cookie"]).partition(";")[0]
        if not board.known:
            board.known = json.loads(self.ask("GET", "/_dash-dependencies"))

    def ask(self, method: str, path: str, body: str | None = None) -> bytes:
        """One request; any answer that is not as it should be is a fault."""
        headers = {**self.headers, **({"Content-Type": "application/json"} if body else {})}
        for again in (True, False):
            try:
                self.connection.request(method, path, body, headers)
                answer = self.connection.getresponse()
                content = answer.read()
                break
            except (OSError, HTTPException) as error:
                self.connection.close()
                if not again or not isinstance(error, ConnectionError | RemoteDisconnected):
                    self._fault(f"{path}: {error!r}")
                    return b""  # else a connection that was closed while it stood idle: browsers ask again
        if answer.status not in (200, 204):
            self._fault(f"{path}: {answer.status} {content[:200]!r}")
        return content if answer.status == 200 else b""

    def _fault(self, what: str) -> None:
        with self.seen.lock:
            self.seen.faults.append(f"{self.name}: {what}")

    def call(self, *outputs: str, **values: Any) -> bytes:
        """Call the callback that has these outputs, the first changed value named first."""
        asked = next(one for one in self.board.known if all(name in one["output"] for name in outputs))
        places = [part.rsplit(".", 1) for part in asked["output"].strip(".").split("...")]
        named = {f"{one['id']}.{one['property']}" for part in ("inputs", "state") for one in asked[part]}
        given = {name.replace("__", "."): value for name, value in values.items()}
        changed = next(name for name in given if name in named)
        made = [{"id": name, "property": prop} for name, prop in places]
        body = {
            "output": asked["output"],
            "outputs": made if asked["output"].startswith("..") else made[0],
            "inputs": [{**one, "value": given.get(f"{one['id']}.{one['property']}")} for one in asked["inputs"]],
            "state": [{**one, "value": given.get(f"{one['id']}.{one['property']}")} for one in asked["state"]],
            "changedPropIds": [changed],
        }
        return self.ask("POST", CALL, json.dumps(body))

    def show(self, address: str, shown: str | None, version: str = "") -> bytes:
        """Ask for a page as the browser does."""
        pathname, _, search = address.partition("?")
        return self.call(
            "sentence.children", "shown.data",
            address__pathname=pathname, address__search=f"?{search}" if search else "",
            screen__data={"theme": "day", "narrow": False}, version__data=version, shown__data=shown,
        )  # fmt: skip

    def look(self, address: str, version: str, working: Any) -> dict[str, Any]:
        """Look whether there is something new, as an open page does."""
        pathname, _, search = address.partition("?")
        content = self.call(
            "version.data", tick__n_intervals=1, soon__n_intervals=1, version__data=version,
            **{"under-way__children": working}, address__pathname=pathname,
            address__search=f"?{search}" if search else "",
            screen__data={"theme": "day", "narrow": False},
        )  # fmt: skip
        response: dict[str, Any] = json.loads(content)["response"] if content else {}
        return response

    def open(self, address: str, stay_s: float, end: Event) -> None:
        """Open a page and keep it open for a while."""
        begun = time.perf_counter()
        content = self.show(address, None)
        first = time.perf_counter() - begun
        version, working, soon = "", _working(content), _waits(content)
        whole_s = first if not soon else None
        newest_s = whole_s if not working else None
        if working and not soon:
            with self.seen.lock:
                self.seen.older += 1
        if b"to upload" not in content:
            self.call("above.children", shown__data=address, address__pathname=address.partition("?")[0],
                      address__search="?" + address.partition("?")[2])  # fmt: skip
        while time.perf_counter() - begun < stay_s or whole_s is None:
            if end.wait(SOON_S if working or soon else POLL_S):
                return
            news = self.look(address, version, working)
            soon = not news.get("soon", {}).get("disabled", not soon)
            if "version" not in news:
                continue
            version = news["version"]["data"]
            again = time.perf_counter()
            content = self.show(address, address, version)
            now = time.perf_counter()
            working = _working(content)
            waits = _waits(content)
            if newest_s is None and not waits and not working:
                newest_s = now - begun
            if whole_s is None and not waits:
                whole_s = now - begun
            elif not waits:
                with self.seen.lock:
                    self.seen.renewed.append((address, now - again))
            if whole_s is None and now - begun > PATIENCE_S:  # who stays longer on a page that is there is no fault
                self._fault(f"{address} was not there after {PATIENCE_S} s")
                return
        with self.seen.lock:
            self.seen.opened.append((address, whole_s))
            if newest_s is None:
                self.seen.left += 1
            else:
                self.seen.newest.append(newest_s)
            self.seen.first.append(first)

    def upload(self, file: Path) -> float:
        """Take an export in on the intake page; seconds."""
        begun = time.perf_counter()
        contents = "data:text/csv;base64," + base64.b64encode(file.read_bytes()).decode()
        content = self.call("outcome.children", "version.data", export__contents=contents, export__filename=file.name)
        if b"taken in" not in content:
            self._fault(f"{file.name} was not taken in: {content[:300]!r}")
        return time.perf_counter() - begun


def _working(content: bytes) -> str:
    """What a page says of its being worked out."""
    words = re.findall(rb'"under-way":\{"children":"([^"]*)"\}', content)
    return words[-1].decode() if words else ""  # a browser takes the last of two members of one name


def _waits(content: bytes) -> bool:
    """Whether a page is not there yet."""
    return b'"className":"waiting soft"' in content[:20000]


def live(browser: Browser, seed: int, addresses: list[str], end: Event, stay_s: float) -> None:
    """Open one page after the other until the end."""
    draw = random.Random(seed)
    end.wait(draw.uniform(0, stay_s))
    while not end.is_set():
        browser.open(draw.choice(addresses), draw.expovariate(1 / stay_s), end)


def memory_slope(samples: list[tuple[float, float]]) -> tuple[float, float]:
    """Growth of memory [MB a minute] over the second half of the samples, and what noise alone would show."""
    half = samples[len(samples) // 2 :]
    at, held = [t / 60 for t, _ in half], [mb for _, mb in half]
    mean_t, mean_mb = mean(at), mean(held)
    spread = sum((t - mean_t) ** 2 for t in at)
    slope = sum((t - mean_t) * (mb - mean_mb) for t, mb in zip(at, held, strict=True)) / spread
    left = [mb - mean_mb - slope * (t - mean_t) for t, mb in zip(at, held, strict=True)]
    # neighbours are alike: blocks of five samples are taken as one each
    blocks = [mean(left[i : i + 5]) for i in range(0, len(left) - 4, 5)]
    sd = (sum(b * b for b in blocks) / max(1, len(blocks) - 2)) ** 0.5
    return slope, 2.2 * sd * (5 / spread) ** 0.5


@dataclass
class Load:
    """People and exports for a while, and what was seen."""

    board: Board
    names: list[str]
    addresses: list[str]
    exports: list[Path]
    lasts_s: float
    stay_s: float = 20.0

    def run(self) -> tuple[Seen, list[float], list[tuple[float, float, float]]]:
        """What people met with, seconds of each upload, and memory held in all and by the board itself [s, MB]."""
        warm = Browser(self.board, self.names[0], Seen())
        for address in self.addresses:  # what is imported and verified once is not counted
            warm.open(address, 0.0, Event())
        seen, end, uploads = Seen(), Event(), []
        browsers = [Browser(self.board, name, seen) for name in self.names]
        given = (self.addresses, end, self.stay_s)
        people = [Thread(target=live, args=(one, i, *given)) for i, one in enumerate(browsers)]
        line = Browser(self.board, self.names[0], seen)

        def send() -> None:
            every_s = self.lasts_s / (len(self.exports) + 1)
            for turn, file in enumerate(self.exports, 1):
                if end.wait(max(0.0, begun + turn * every_s - time.perf_counter())):
                    return
                uploads.append(line.upload(file))

        begun, samples = time.perf_counter(), []
        sender = Thread(target=send)
        for one in (*people, sender):
            one.start()
        while (passed := time.perf_counter() - begun) < self.lasts_s:
            samples.append((passed, self.board.held_mb(), self.board.own_mb()))
            time.sleep(2)
        end.set()
        for one in (*people, sender):
            one.join()
        for one in (*browsers, line, warm):
            one.connection.close()
        return seen, uploads, samples
