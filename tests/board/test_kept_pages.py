"""Pages worked out by other processes: each once, an older one meanwhile, nobody held up, nothing left behind."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from shutil import copy2
from types import SimpleNamespace
from typing import Any

import pytest
from dash import Dash
from flask import g

from lineview.app.access import LOCAL
from lineview.app.works import Works
from lineview.board import kept_pages, processes
from lineview.board import workers as module
from lineview.board.app import create_app, open_answers
from lineview.board.calls import Calls
from lineview.board.guard import CALLBACK
from lineview.board.processes import Answers, ProcessEndedError, Replies, Reply, Request
from lineview.board.workers import Workers
from lineview.core.errors import AskError, Fault
from tests.bench.measured import environment
from tests.bench.people import children
from tests.board.access_scene import call_of
from tests.main_job.invented_week import DEMO

HEADERS = {"Host": "localhost"}


class Counted(Workers):
    """Workers that note what they were asked."""

    def __init__(self, *given: Any) -> None:
        self.asked: list[str] = []
        super().__init__(*given)

    def ask(self, requests: tuple[Request, ...], kind: str, **more: Any) -> Future[Replies]:
        future = super().ask(requests, kind, **more)
        self.asked.append(kind)
        return future


@dataclass
class Served:
    """A board with workers, and what a browser asks of it."""

    app: Dash
    works: Works
    workers: Counted

    def call(self, function: str, **values: Any) -> dict[str, Any]:
        running = {name: one["callback"] for name, one in self.app.callback_map.items() if one.get("callback")}
        body = call_of(self.app, next(name for name, one in running.items() if one.__wrapped__.__name__ == function))
        given = {name.replace("__", "."): value for name, value in values.items()}
        for one in (*body["inputs"], *body["state"]):
            one["value"] = given.get(f"{one['id']}.{one['property']}", one["value"])
        answer = self.app.server.test_client().post(CALLBACK, json=body, headers=HEADERS)
        assert answer.status_code in (200, 204), answer.text
        response: dict[str, Any] = json.loads(answer.data)["response"] if answer.data else {}
        return response

    def show(self, page: str, search: str = "?machine=wrap1", shown: str | None = None) -> dict[str, Any]:
        return self.call("show", address__pathname=page, address__search=search, shown__data=shown)

    def whole(self, page: str, search: str = "?machine=wrap1") -> dict[str, Any]:
        """A page once it is there."""
        for _ in range(100):
            shown = self.show(page, search)
            if not shown["under-way"]["children"]:
                return shown
            time.sleep(0.2)
        raise AssertionError(shown["under-way"])


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    copy2(DEMO / "plant.toml", folder / "plant.toml")
    with Works(folder) as works:
        works.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
        workers = Counted(open_answers, folder, None, 2)
        yield Served(create_app(works, workers=workers), works, workers)
        workers.close()


def test_a_page_is_worked_out_once_for_all_and_an_older_one_says_so(served: Served) -> None:
    with ThreadPoolExecutor(8) as people:
        list(people.map(lambda _: served.show("/shift"), range(8)))
    page = served.whole("/shift")
    assert served.workers.asked == ["/shift"]
    assert page["shown"]["data"] == "/shift?machine=wrap1"
    itself = Served(create_app(served.works), served.works, served.workers)
    assert page["sentence"] == itself.show("/shift")["sentence"]  # as the board would have answered itself
    forms = served.call("forms", shown__data="/shift?machine=wrap1", address__search="?machine=wrap1")
    assert "Enter the stop reason" in json.dumps(forms)
    assert served.workers.asked == ["/shift"]  # the forms came with it
    assert "shown" not in served.show("/shift", shown="/shift?machine=wrap1")

    known = served.works.version()
    at = {"version__data": known, "address__search": "?machine=wrap1", "under-way__children": ""}
    assert served.call("look_again", **at) == {}
    served.works.write("adjustment", "wrap1", datetime(2026, 6, 8, 9, tzinfo=UTC), "knife changed")
    told = served.call("look_again", **at)
    assert "before the latest change" in told["under-way"]["children"]
    assert "version" not in told
    for _ in range(100):
        told = served.call("look_again", **{**at, "under-way__children": told["under-way"]["children"]})
        if "version" in told:
            break
        time.sleep(0.1)
    assert told["version"]["data"].startswith(f"{served.works.version()}#")
    assert served.workers.asked == ["/shift", "/shift"]
    assert served.show("/shift")["under-way"]["children"] == ""


def test_a_document_shows_at_once_what_is_kept_of_its_page(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    client, place = served.app.server.test_client(), "/shift?machine=wrap1"
    sentence = "".join(text if isinstance(text, str) else text["props"]["children"] for text in said_of(served))
    sent = client.get(place, headers=HEADERS)
    start = sent.text.partition('id="start"')[2].partition('id="react-entry-point"')[0]
    assert escape(sentence) in re.sub(r"</?mark[^>]*>", "", start)
    assert "Last reading" in start
    assert "Pictures and tables follow" in start
    assert "lock out" in start.partition("<footer>")[2]  # what it advises stands nowhere without the cautions
    assert "before the latest change" not in start
    assert ' id="' not in start.replace('id="react', "")  # the frame has them
    assert '<html lang="en"' in sent.text
    assert 'data-page="shift"' in sent.text
    assert sent.headers["Cache-Control"] == "no-store"
    for other in ("/shift?machine=wrap2", "/wall?machine=wrap1", "/intake", "/nothing"):
        assert 'id="start"' not in client.get(other, headers=HEADERS).text

    served.works.write("adjustment", "wrap1", datetime(2026, 6, 8, 11, tzinfo=UTC), "knife changed once more")
    before = len(served.workers.asked)
    assert "before the latest change" in client.get(place, headers=HEADERS).text
    assert len(served.workers.asked) == before  # whether it is night there is not known yet
    client.set_cookie(kept_pages.SCREEN_COOKIE, "night.narrow", domain="localhost")
    sent = client.get(place, headers=HEADERS)
    assert 'data-theme="night"' in sent.text
    assert len(served.workers.asked) == before + 1  # worked out while the scripts are fetched
    served.whole("/shift")

    def refused(*_: Any, **__: Any) -> Any:
        raise AskError(Fault("too many pages"))

    served.works.write("adjustment", "wrap1", datetime(2026, 6, 8, 12, tzinfo=UTC), "knife changed a third time")
    monkeypatch.setattr(served.app.pages, "begin", refused)
    assert 'id="start"' in client.get(place, headers=HEADERS).text  # what is kept is shown whatever is under way


def test_a_document_shows_nothing_that_was_made_for_other_rights(served: Served) -> None:
    served.whole("/shift")
    for rights, there in ((LOCAL.rights, True), (frozenset({"see"}), False)):
        with served.app.server.test_request_context("/shift?machine=wrap1"):
            g.person = replace(LOCAL, rights=rights)
            assert bool(kept_pages.start_of_document(served.app.pages)) is there


def said_of(served: Served) -> Any:
    return served.whole("/shift")["sentence"]["children"]


def test_whoever_wrote_is_told_that_the_page_is_older_and_gets_the_new_one(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    served.whole("/shift")
    monkeypatch.setattr(kept_pages, "OLDER_AFTER_S", 0)  # a page that takes longer than the patience with it
    served.works.write("adjustment", "wrap1", datetime(2026, 6, 8, 10, tzinfo=UTC), "knife changed again")
    older = served.show("/shift", shown="/shift?machine=wrap1")  # the browser knows the new state from its writing
    assert "before the latest change" in older["under-way"]["children"]
    at = {"version__data": served.works.version(), "address__search": "?machine=wrap1"}
    for _ in range(100):
        told = served.call("look_again", **at, **{"under-way__children": older["under-way"]["children"]})
        if "version" in told:
            break
        time.sleep(0.1)
    assert told["version"]["data"].startswith(f"{served.works.version()}#")
    assert served.show("/shift")["under-way"]["children"] == ""
    monkeypatch.setattr(kept_pages, "FRESH_S", 0)  # nothing changed, but figures hang on what the day is
    assert served.show("/shift")["under-way"]["children"].startswith("This page is some minutes old. It is being")


def test_files_come_from_a_worker_as_from_the_board(served: Served) -> None:
    itself, client = create_app(served.works).server.test_client(), served.app.server.test_client()
    for place in ("/shift/timeline.csv?machine=wrap1", "/shift/nothing.csv?machine=wrap1", "/refusals/1.csv"):
        one, other = client.get(place, headers=HEADERS), itself.get(place, headers=HEADERS)
        assert (one.status_code, one.data) == (other.status_code, other.data)
        for header in ("Content-Type", "Content-Disposition", "Content-Security-Policy"):
            assert one.headers.get(header) == other.headers.get(header)


def test_who_looks_at_a_files_head_leaves_its_content_to_others(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, Future[Replies]]] = []

    def ask(requests: tuple[Request, ...], *_given: Any, **_more: Any) -> Future[Replies]:
        asked.append((requests[0].method, Future()))
        return asked[-1][1]

    monkeypatch.setattr(served.workers, "ask", ask)
    monkeypatch.setattr(kept_pages, "FILE_S", 0.01)
    client, place = served.app.server.test_client(), "/shift/timeline.csv?machine=wrap1&period=all"
    assert client.head(place, headers=HEADERS).status_code == 503
    late = client.get(place, headers=HEADERS)
    assert (late.status_code, late.text) == (503, kept_pages.BUSY)  # said in plain words
    assert [method for method, _ in asked] == ["HEAD", "GET"]
    for _, future in asked:
        future.set_result((Reply(200, (), b""),))


def test_forms_are_those_worked_out_last_on_whichever_screen(served: Served) -> None:
    pages, now = kept_pages.KeptPages(served.works, served.workers, Calls(served.app)), time.monotonic()
    for screen, forms, since in (
        ("day False", b"now", now),
        ("night False", b"before a stop got its reason", now - 30),
    ):
        pages._kept["/shift", screen, LOCAL.rights] = kept_pages.KeptPage(b"", forms, "", since)
    with served.app.server.test_request_context():
        g.person = LOCAL
        given = pages.forms({"address.pathname": "/shift"})
    assert given is not None and given.data == b"now"


def test_forms_and_files_that_take_long_leave_threads_for_others(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(served.workers, "ask", lambda *_given, **_more: Future())
    calls = Calls(served.app)
    calls.outputs |= {"show": "page.children", "forms": "above.children"}
    pages = kept_pages.KeptPages(served.works, served.workers, calls)
    monkeypatch.setattr(kept_pages, "NEW_FORMS_S", 0.1)
    for _ in range(kept_pages.MOST_WAITED_FOR):
        pages._places.acquire()  # so many files are waited for
    with served.app.server.test_request_context():
        g.person = LOCAL
        none = pages.forms({"address.pathname": "/shift"})
        pages._kept["/shift", "day False", LOCAL.rights] = kept_pages.KeptPage(b"", b"older", "", time.monotonic() - 90)
        older = pages.forms({"address.pathname": "/shift"})
        file = pages.file("/series")
    assert none is not None and none.status_code == 204
    assert older is not None and older.data == b"older"
    assert (file.status_code, file.get_data(as_text=True)) == (503, kept_pages.BUSY)


def processes_of_pages() -> list[int]:
    """The processes that work pages out, and last the one from which they are forked."""

    def is_forked(one: int) -> bool:
        try:
            return b"forkserver" in Path(f"/proc/{one}/cmdline").read_bytes()
        except FileNotFoundError:  # it has ended meanwhile
            return False

    found = list(filter(is_forked, children(os.getpid())))
    return sorted(found, key=lambda one: len(children(one)))


def test_a_worker_that_hangs_is_ended(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    place = "/shift/timeline.csv?machine=wrap1"
    assert served.app.server.test_client().get(place, headers=HEADERS).status_code == 200
    for pid in processes_of_pages()[:-1]:
        os.kill(pid, signal.SIGSTOP)
    with monkeypatch.context() as patch:
        patch.setattr(module, "HANGS_S", 0.3)
        hanging = served.workers.ask((Request("GET", place, "", LOCAL),), "/series")
    with pytest.raises(ProcessEndedError):
        hanging.result(20)
    for pid in processes_of_pages()[:-1]:
        os.kill(pid, signal.SIGCONT)
    assert served.app.server.test_client().get(place, headers=HEADERS).status_code == 200


@pytest.mark.parametrize("of_them", [slice(-1), slice(None)], ids=["the two", "also what they are forked from"])
def test_a_worker_that_is_killed_is_replaced(served: Served, of_them: slice) -> None:
    served.whole("/wrap")
    until(lambda: len(processes_of_pages()) == 3, 60)
    killed = processes_of_pages()[of_them]
    for pid in killed:
        os.kill(pid, signal.SIGKILL)
    served.works.write(
        "adjustment", "wrap1", datetime(2026, 6, 8, 11, 0 if of_them.stop else 1, tzinfo=UTC), "knife changed"
    )
    assert "cannot" not in json.dumps(served.whole("/rope", "")["sentence"])
    assert served.app.server.test_client().get("/health", headers=HEADERS).json == {
        "status": "ok", "waiting": 0, "working": 0,
    }  # fmt: skip
    until(lambda: len(processes_of_pages()) == 3, 60)  # also the one that nobody asked
    assert not set(processes_of_pages()) & set(killed)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes as Linux lists them")
def test_a_board_that_is_killed_leaves_nobody_behind() -> None:
    code = (
        "import time; from pathlib import Path; from lineview.board import processes, workers\n"
        "processes.SHARED[:] = ['lineview.board.processes']  # quickly there\n"
        "pool = workers.Workers(print, Path('invented'), None, 2) if __name__ == '__main__' else None\n"
        "while pool and not all(one.is_ready for one in pool._processes): time.sleep(0.05)\n"
        "while pool: print('ready', flush=True); time.sleep(60)"
    )
    board = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env=environment())
    assert board.stdout is not None
    assert any(line == "ready\n" for line in board.stdout)
    left = [Path(f"/proc/{one}") for one in children(board.pid)]
    assert len(left) > 2
    board.kill()
    board.wait()
    board.stdout.close()
    until(lambda: not any(one.exists() for one in left), 20)


def test_a_worker_that_has_grown_is_replaced_and_nobody_notices(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    served.whole("/wrap")
    before = processes_of_pages()
    monkeypatch.setattr(processes, "MOST_HELD_MB", 1.0)
    monkeypatch.setattr(processes, "LEAST_PAGES", 1)
    place = "/shift/timeline.csv?machine=wrap1&period=all"
    asked = [served.workers.ask((Request("GET", place, "", LOCAL),), "/series") for _ in range(4)]
    assert len({one.result(60)[0].content for one in asked}) == 1
    after = processes_of_pages()
    assert after[-1] == before[-1]
    assert not set(after[:-1]) & set(before[:-1])


def opened_if_let(folder: Path, journal_url: str | None) -> Answers:
    """What a board with workers opens, where no file forbids it."""
    if (folder / "forbidden").exists():
        raise ImportError("an invented library is missing")
    return open_answers(folder, journal_url)


def test_workers_that_cannot_start_say_so_at_once_and_start_once_they_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(processes, "AGAIN_S", 0.5)
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    (tmp_path / "forbidden").touch()
    with Works(tmp_path) as works:
        works.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
        workers = Counted(opened_if_let, tmp_path, None, 2)
        board = Served(create_app(works, workers=workers), works, workers)
        client = board.app.server.test_client()

        def health() -> tuple[int, str]:
            answer = client.get("/health", headers=HEADERS)
            return answer.status_code, answer.json["status"]

        until(lambda: health() == (503, "failing"), 60)
        begun = time.perf_counter()
        page = json.dumps(board.show("/shift"))
        assert "no process for them starts" in page
        assert "it is tried again by itself" in page
        assert client.get("/shift/timeline.csv?machine=wrap1", headers=HEADERS).status_code == 503
        assert time.perf_counter() - begun < 10  # importing what a process needs takes several seconds each time
        assert "an invented library is missing" in caplog.text
        assert "invented library" not in page  # the reason is for whoever serves the board
        (tmp_path / "forbidden").unlink()
        until(lambda: health() == (200, "ok"), 60)
        assert "Shift" in json.dumps(board.whole("/shift")["sentence"]) or board.whole("/shift")["sentence"]
        workers.close()


def test_a_works_folder_that_has_gone_is_said_plainly_until_it_is_back(tmp_path: Path) -> None:
    folder, away = tmp_path / "works", tmp_path / "away"
    folder.mkdir()
    copy2(DEMO / "plant.toml", folder / "plant.toml")
    with Works(folder) as works:
        works.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
        workers = Counted(open_answers, folder, None, 1)
        board = Served(create_app(works, workers=workers), works, workers)
        client = board.app.server.test_client()
        before = board.whole("/shift")["sentence"]
        folder.rename(away)
        assert client.get("/health", headers=HEADERS).status_code == 503
        gone = board.show("/shift", shown="/shift?machine=wrap1")
        assert "the works folder has gone" in gone["under-way"]["children"]
        assert "Set up" not in json.dumps(gone)
        told = board.call("look_again", version__data="", address__search="?machine=wrap1")
        assert "the works folder has gone" in told["under-way"]["children"]
        assert client.get("/shift/timeline.csv?machine=wrap1", headers=HEADERS).status_code == 503
        assert not folder.exists()
        away.rename(folder)
        assert client.get("/health", headers=HEADERS).status_code == 200
        assert board.whole("/shift")["sentence"] == before
        workers.close()


def until(true: Callable[[], bool], longest_s: float) -> None:
    end = time.monotonic() + longest_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.mark.parametrize(("pathname", "search"), [("/shift/", "line=2"), ("/shift?line=2", ""), ("/shift", "/?line=2")])
def test_an_address_that_no_browser_sends_is_kept_as_no_page(pathname: str, search: str) -> None:
    screen = {"theme": "day", "narrow": False}
    assert kept_pages._key({"address.pathname": pathname, "address.search": search, "screen.data": screen}) is None


class Waiting:
    """Workers that begin nothing."""

    def __init__(self) -> None:
        self.asked: list[Future[Replies]] = []

    def ask(self, *_: Any, **__: Any) -> Future[Replies]:
        self.asked.append(Future())
        return self.asked[-1]


def test_a_page_that_waits_takes_newer_states_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a busy board works out every state in between, of each open page, before the latest."""
    monkeypatch.setattr(kept_pages, "person", lambda: SimpleNamespace(session=None))
    workers, key = Waiting(), ("/shift", "day False", frozenset[str]())
    pages = kept_pages.KeptPages(None, workers, None)

    def asked(version: str, *, unseen: bool = False) -> Future[Replies]:
        return pages._ask((key, version), (), "/shift", unseen=unseen, page=key)

    first = asked("1", unseen=True)
    assert asked("2") is not first  # somebody waits for this one
    assert asked("3") is asked("2") is asked("4", unseen=True)
    assert len(workers.asked) == 2
    workers.asked[1].set_running_or_notify_cancel()
    last = asked("5")  # what has begun may have read an older state
    assert len(workers.asked) == 3
    workers.asked[1].set_result((Reply(200, (), kept_pages.HEAD + kept_pages.TAIL),))
    assert pages.fresh(key, "4") is not None
    assert pages.fresh(key, "5") is None
    assert not last.done()
    assert asked("5") is last
