"""Pages worked out by workers and kept: each once, while an older one is shown meanwhile and says so."""

from __future__ import annotations

import gc
import json
import time
from collections import OrderedDict
from collections.abc import Mapping
from concurrent.futures import CancelledError, Future
from concurrent.futures import TimeoutError as TimedOut
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import takewhile
from threading import Lock, Semaphore
from typing import Any

from flask import Flask, Response, g, request
from markupsafe import Markup

from lineview.app.access import Person
from lineview.app.allocator import give_free_memory_back
from lineview.app.question import QUESTIONS
from lineview.app.works import GENERAL_PERIODS, Works
from lineview.board.address import read_address
from lineview.board.calls import Calls
from lineview.board.components import element, text_of
from lineview.board.guard import CALLBACK, person
from lineview.board.processes import Replies, Reply, Request
from lineview.board.workers import Workers
from lineview.core.errors import AskError, LineviewError
from lineview.core.language import mark, tr

#: How long a request waits for its page before an older one is shown, or that it is being worked out [s].
OLDER_AFTER_S, WORDS_AFTER_S = 0.25, 0.6
#: Pages kept, and the bytes that they may hold together.
MOST_PAGES, KEPT_BYTES = 200, 80_000_000
#: After this a page is worked out again when it is asked for, since it says how long ago things were [s].
FRESH_S = 600.0
#: Forms are given as they are kept so long, since some start at the present time [s].
FORMS_S = 60.0
#: Files are waited for so long, and forms where there are older ones, and where there are none [s].
FILE_S, OLD_FORMS_S, NEW_FORMS_S = 300.0, 0.5, 20.0
#: Free memory is given back to the system where nothing is under way, and on a busy board after so many pages.
GIVEN_BACK_AFTER = 30
#: Files and forms that may be waited for at once: each holds one of the board's threads, and pages need some too.
MOST_WAITED_FOR = 4
#: What the reply of the callback that shows a page begins and ends with; what is added to it goes before its end.
HEAD = b'{"multi":true,"response":{'
TAIL = b"}}"
#: Pages whose forms follow from the answer, so that they are worked out with it.
WITH_FORMS = ("rope", "shift", "week")
#: Files that are worked out from an answer.
FILES = ("series", "refusals")
#: The cookie by which a browser says how it shows pages, and what it may say.
SCREEN_COOKIE = "lineview-screen"
SCREENS: dict[str, dict[str, Any]] = {
    f"{theme}.{room}": {"theme": theme, "narrow": room == "narrow"}
    for theme in ("day", "night")
    for room in ("narrow", "wide")
}
FAILED = mark("This page could not be made; the log of the board says why.")
BUSY = mark("Too many files are being made at once. Try again in a moment.")
FILE_FAILED = mark("This file could not be made; the log of the board says why.")
NAMED_PERIODS = {name for name, _ in GENERAL_PERIODS}

#: What a page is of: its address, the screen, the rights of who looks.
Key = tuple[str, str, frozenset[str]]
Values = Mapping[str, Any]
#: What is under way: of a page its key and the state of the works, else whatever identifies it.
Name = tuple[Any, ...]


@dataclass(frozen=True)
class NotThere:
    """What the board says instead of a page: that it is being worked out, or that it could not be made."""

    words: str
    waits: bool


@dataclass
class KeptPage:
    """What is kept of a page: its bytes, of which state, since when; its forms where they follow from it."""

    page: bytes
    forms: bytes | None
    version: str
    since: float

    @property
    def size(self) -> int:
        """Bytes held."""
        return len(self.page) + len(self.forms or b"")


@dataclass
class UnderWay:
    """What is being worked out, by the names it is asked for under; a page that has not begun takes newer states on."""

    work: Future[Replies]
    unseen: bool
    names: list[Name]
    promise: Future[Replies] = field(default_factory=Future)


class KeptPages:
    """Pages by what they are of: address, screen and rights; calls that show one are answered from here."""

    def __init__(self, works: Works, workers: Workers, calls: Calls) -> None:
        self.works, self.workers, self._calls_known = works, workers, calls
        self._lock = Lock()
        self._kept: OrderedDict[Key, KeptPage] = OrderedDict()
        self._held = 0
        self._running: dict[Name, UnderWay] = {}
        self._latest: dict[Key, UnderWay] = {}
        self._starts_s: dict[Name, float] = {}
        self._failed: set[tuple[Key, str]] = set()
        self._places = Semaphore(MOST_WAITED_FOR)
        self._worked_out = 0

    # -- pages -------------------------------------------------------------------------------------

    @property
    def outputs(self) -> tuple[str, str]:
        """The outputs of the callbacks that show a page and its forms."""
        return self._calls_known.outputs["show"], self._calls_known.outputs["forms"]

    def fresh(self, key: Key, version: str) -> KeptPage | None:
        """A page of this state of the store."""
        with self._lock:
            page = self._kept.get(key)
            if page is None:
                return None
            self._kept.move_to_end(key)
            return page if page.version == version and time.monotonic() - page.since < FRESH_S else None

    def older(self, key: Key) -> KeptPage | None:
        """A page as it was before."""
        with self._lock:
            return self._kept.get(key)

    def latest(self, place: str, rights: frozenset[str], *, has_forms: bool = False) -> KeptPage | None:
        """A page as it was worked out last for whoever has these rights, on whichever screen."""
        with self._lock:
            alike = [page for key, page in self._kept.items() if (key[0], key[2]) == (place, rights)]
        return max((p for p in alike if p.forms or not has_forms), key=lambda page: page.since, default=None)

    def failed(self, key: Key, version: str) -> bool:
        """Whether a page of this state could not be made."""
        return (key, version) in self._failed

    def begin(self, key: Key, version: str, values: Values, *, unseen: bool) -> Future[Replies]:
        """Have a page worked out, unless it is under way already."""
        who = _bare_person(person())
        requests = tuple(Request("POST", CALLBACK, json.dumps(call), who) for call in self._calls(values))
        return self._ask((key, version), requests, _kind(key), unseen=unseen, page=key)

    def _ask(
        self, name: Name, requests: tuple[Request, ...], kind: str, *, unseen: bool = False, page: Key | None = None
    ) -> Future[Replies]:
        with self._lock:
            running = self._running.get(name) or (None if page is None else self._not_begun(page, unseen=unseen))
            if running is not None:
                if name not in running.names:
                    running.names.append(name)
                    self._running[name], self._starts_s[name] = running, self._starts_s[running.names[0]]
                return running.promise
            work = self.workers.ask(requests, kind, limited=person().session is not None, unseen=unseen)
            job = UnderWay(work, unseen, [name])
            self._running[name], self._starts_s[name] = job, time.monotonic()
            if page is not None:
                self._latest[page] = job
        work.add_done_callback(lambda done: self._done(job, done, page))
        return job.promise

    def _not_begun(self, page: Key, *, unseen: bool) -> UnderWay | None:
        """A page that waits for its turn since an older state: when it begins it is worked out from the latest."""
        job = self._latest.get(page)
        if job is None or job.work.running() or job.work.done() or (job.unseen and not unseen):
            return None
        return job

    def _done(self, job: UnderWay, done: Future[Replies], page: Key | None) -> None:
        """Keep a page before those who wait for it look."""
        error = CancelledError() if done.cancelled() else done.exception()
        replies = () if error else done.result()
        with self._lock:
            keep = None if page is None else (page, str(job.names[-1][1]))
            if keep is not None and replies and _is_page(replies[0]):
                self._keep(keep, replies)
            elif keep is not None and not isinstance(error, AskError):
                self._failed = {keep} | {failure for failure in self._failed if failure[1] == keep[1]}
            for name in job.names:
                del self._running[name], self._starts_s[name]
            if page is not None and self._latest.get(page) is job:
                del self._latest[page]
            self._worked_out += 1
            gives_back = not self._running or self._worked_out % GIVEN_BACK_AFTER == 0
        if error is None:
            job.promise.set_result(replies)
        else:
            job.promise.set_exception(error)
        if gives_back:  # the pages that these replaced have gone, and circles of objects hold uploads and calls
            gc.collect()
            give_free_memory_back()

    def _keep(self, keep: tuple[Key, str], replies: Replies) -> None:
        key, version = keep
        forms = replies[1].content if len(replies) > 1 and replies[1].status == 200 else None
        before = self._kept.pop(key, None)
        self._kept[key] = page = KeptPage(replies[0].content, forms, version, time.monotonic())
        self._held += page.size - (before.size if before else 0)
        while len(self._kept) > MOST_PAGES or (self._held > KEPT_BYTES and len(self._kept) > 1):
            self._held -= self._kept.popitem(last=False)[1].size

    def words(self, key: Key, version: str, older: KeptPage | None) -> str:
        """The message about a page that is being worked out, and of the older one that is shown meanwhile."""
        began, usual = self._starts_s.get((key, version)), self.workers.usual_s(_kind(key))
        for_s = "" if began is None else tr(" for {s} s so far", s=max(1, round(time.monotonic() - began)))
        usual_s = "" if usual is None else tr("; this page usually takes {s} s", s=max(1, round(usual)))
        if older is None:
            return tr("Working it out{for_so_long}{usual}.", for_so_long=for_s, usual=usual_s)
        text = (
            mark("This page is some minutes old. It is being worked out anew{for_so_long}{usual}.")
            if older.version == version
            else mark("This page is from before the latest change. It is being worked out anew{for_so_long}{usual}.")
        )
        return tr(text, for_so_long=for_s, usual=usual_s)

    def forms(self, values: Values) -> Response | None:
        """The forms that follow from a page's answer, as they were worked out with it or anew; None for other pages."""
        place, who = _place(values), person()
        latest = self.latest(place, who.rights, has_forms=True)
        if latest is not None and time.monotonic() - latest.since < FORMS_S:
            return Response(latest.forms, mimetype="application/json")
        calls = self._calls({**values, "screen.data": {}})[1:]
        if not calls:
            return None
        requests = (Request("POST", CALLBACK, json.dumps(calls[0]), _bare_person(who)),)
        name = (place, who.rights, self.works.version(), "forms")
        try:
            work = self._ask(name, requests, f"{place.partition('?')[0]} forms")
            (reply,) = self._waited_for(work, NEW_FORMS_S if latest is None else OLD_FORMS_S)
        except (Exception, CancelledError):  # noqa: BLE001 - in the log since it happened; the page says what is wrong
            return Response(status=204) if latest is None else Response(latest.forms, mimetype="application/json")
        return Response(reply.content, status=reply.status, mimetype="application/json")

    def _calls(self, values: Values) -> list[dict[str, Any]]:
        """The calls that work a page out, as from a browser that shows it already, and its forms."""
        (show, forms), here = self.outputs, _place(values)
        at = {name: values.get(name) for name in ("address.pathname", "address.search")}
        look = {"screen.data": values.get("screen.data"), "version.data": ""}
        calls = [_call(show, {**at, **look}, {"shown.data": here})]
        page = read_address(at["address.pathname"], at["address.search"]).page
        return [*calls, _call(forms, {"shown.data": here}, at)] if page in WITH_FORMS else calls

    def _waited_for(self, work: Future[Replies], longest_s: float) -> Replies:
        """What is being worked out, where not too many wait already."""
        if not self._places.acquire(timeout=OLD_FORMS_S):
            raise TimedOut
        try:
            return work.result(longest_s)
        finally:
            self._places.release()

    # -- files -------------------------------------------------------------------------------------

    def file(self, kind: str) -> Response:
        """A file that a worker makes; the same one is made once for each person, whose name may stand in it."""
        target, who = request.full_path.rstrip("?"), _bare_person(person())
        question = Request(request.method, target, "", who)
        try:
            name = (question.method, target, self.works.version(), who.name)
            (reply,) = self._waited_for(self._ask(name, (question,), kind), FILE_S)
        except TimedOut:
            return Response(tr(BUSY), status=503, mimetype="text/plain")
        except AskError as error:
            status = 503 if self.workers.is_failing else 429
            return Response(str(error), status=status, mimetype="text/plain")
        except (Exception, CancelledError):  # noqa: BLE001 - in the log since it happened
            return Response(tr(FILE_FAILED), status=503, mimetype="text/plain")
        headers = [pair for pair in reply.headers if pair[0] in ("Content-Type", "Content-Disposition")]
        return Response(reply.content, status=reply.status, headers=headers)


def _bare_person(who: Person) -> Person:
    """A person as a worker needs to know it: no session, no password."""
    return replace(who, session=None)


def _kind(key: Key) -> str:
    """Pages that take about the same time: of one question and period."""
    pathname, _, search = key[0].partition("?")
    period = read_address(pathname, search).period
    return f"{pathname} {period}" if period in NAMED_PERIODS else pathname


def _is_page(reply: Reply) -> bool:
    return reply.status == 200 and reply.content.startswith(HEAD) and reply.content.rstrip().endswith(TAIL)


def _values(body: Mapping[str, Any]) -> Values:
    """The values of a call by component and property."""
    places = [*body.get("inputs", []), *body.get("state", [])]
    return {f"{place['id']}.{place['property']}": place.get("value") for place in places}


def _place(values: Values) -> str:
    return f"{values.get('address.pathname') or '/'}{values.get('address.search') or ''}"


def _call(output: str, inputs: Values, state: Values) -> dict[str, Any]:
    """The body of a call as a browser sends it."""

    def parts(values: Values) -> list[dict[str, Any]]:
        return [{**_part(name), "value": value} for name, value in values.items()]

    return {
        "output": output,
        "outputs": [_part(output_name) for output_name in output.strip(".").split("...")],
        "inputs": parts(inputs),
        "state": parts(state),
        "changedPropIds": [next(iter(inputs))],
    }


def _part(name: str) -> dict[str, str]:
    return dict(zip(("id", "property"), name.rsplit(".", 1), strict=True))


def _key(values: Values) -> Key | None:
    """What a page is of, as a call says it; None where the board itself answers."""
    screen = values.get("screen.data")
    pathname, search = values.get("address.pathname") or "", values.get("address.search") or ""
    if "?" in pathname or search[:1] not in ("", "?"):
        return None  # no browser's: put together it would be the address of another page
    address = read_address(values.get("address.pathname"), values.get("address.search"))
    if screen is None or not (address.question is not None or address.page == "intake"):
        return None
    return _place(values), f"{screen.get('theme')} {bool(screen.get('narrow'))}", person().rights


def answer_from(server: Flask, pages: KeptPages) -> None:
    """Let the workers answer what asks for a page, its forms or a file; the guard has looked at it before."""

    def worked_out() -> Response | None:
        if g.get("person") is None:
            return None
        endpoint = request.endpoint or ""
        if endpoint in FILES or (request.view_args or {}).get("ending"):
            return pages.file(f"/{endpoint}")
        if request.path != CALLBACK:
            return None
        body = request.get_json()
        show, forms = pages.outputs
        if body["output"] == show:
            return _page_now(pages, _values(body))
        return pages.forms(_values(body)) if body["output"] == forms else None

    server.before_request(worked_out)


def _page_now(pages: KeptPages, values: Values) -> Response | None:
    """A page as it is kept, or after a moment an older one; None where it is still to be worked out."""
    key = _key(values)
    if key is None:
        return None
    words, waits = "", False
    try:
        version = pages.works.version()
    except LineviewError as error:
        g.not_there = NotThere(str(error), waits=True)
        return None
    stored = pages.fresh(key, version)
    if stored is None:
        older = pages.older(key)
        patience_s = WORDS_AFTER_S if older is None else OLDER_AFTER_S
        try:
            pages.begin(key, version, values, unseen=False).result(patience_s)
            stored = pages.fresh(key, version)
        except TimedOut:
            stored, words, waits = older, pages.words(key, version, older), True
        except AskError as error:
            stored, words, waits = older, str(error), True
        except (Exception, CancelledError):  # noqa: BLE001 - in the log since it happened
            stored = None
    if stored is None:
        g.not_there = NotThere(words or tr(FAILED), waits)
        return None
    # last, since a browser takes the last of two members of one name, and a kept page says that nothing is under way
    ending = b',"under-way":{"children":' + json.dumps(words).encode() + b"}"
    if values.get("shown.data") != key[0]:
        ending += b',"shown":{"data":' + json.dumps(key[0]).encode() + b"}"
    return Response(stored.page.rstrip().removesuffix(TAIL) + ending + TAIL, mimetype="application/json")


def look_of_document() -> str:
    """The attributes by which a document is laid out: its page, and day or night where the browser has said it."""
    screen, page = SCREENS.get(request.cookies.get(SCREEN_COOKIE, "")), read_address(request.path, "").page
    of_page = f'data-page="{page}"' if page in QUESTIONS else ""
    return f'{of_page} data-theme="{screen["theme"]}"' if screen else of_page


def start_of_document(pages: KeptPages) -> Markup:
    """What a document shows until the page itself stands: head, sentence and facts as they are kept.

    A browser that has said before how it shows pages has its page worked out while it fetches the scripts.
    """
    search = request.query_string.decode(errors="replace")
    known = SCREENS.get(request.cookies.get(SCREEN_COOKIE, ""))
    at = {"address.pathname": request.path, "address.search": f"?{search}" if search else ""}
    values = {**at, "screen.data": known or SCREENS["day.wide"]}
    key = _key(values)
    if key is None or read_address(*at.values()).page in ("wall", "intake"):
        return Markup("")
    with suppress(LineviewError):
        version = pages.works.version()
        stored = pages.latest(key[0], key[2])
        is_old = stored is None or stored.version != version or time.monotonic() - stored.since >= FRESH_S
        if known is not None and pages.fresh(key, version) is None:
            with suppress(AskError):  # too much is under way for this person; what is kept is shown all the same
                pages.begin(key, version, values, unseen=False)
        if stored is not None:
            g.holds_a_page = True  # of now: no browser may keep it for later
            return _start(json.loads(stored.page)["response"], pages.words(key, version, stored) if is_old else "")
    return Markup("")


def _start(places: Mapping[str, Any], words: str) -> Markup:
    """The places of a page as its frame has them; of the page itself the lines above its first picture."""
    head, sentence, facts, page, foot = (places[at]["children"] for at in ("head", "sentence", "facts", "page", "foot"))
    lines, has_more = list(takewhile(lambda part: part["type"] == "P", page)), any(p["type"] == "Div" for p in page)
    follows = tr("Pictures and tables follow, in a browser that runs scripts.") if has_more else ""
    button = element("button", tr("Night"), type="button", className="theme")
    main = [
        element("h1", [text_of(sentence)], className="sentence"),
        element("p", words, className="under-way soft"),
        element("div", [text_of(facts)]),
        element("div", className="above"),
        element("div", [text_of(lines), element("p", follows, className="soft")]),
    ]
    header = element("header", [element("div", [text_of(head)], className="head"), button], className="top")
    return element("div", [header, element("main", main), element("footer", [text_of(foot)])], id="start")


def look(pages: KeptPages, values: Values, browser_version: str, working: str) -> tuple[str | None, str | None]:
    """The version by which an open page is shown anew and what it says of its working out; None where that stays."""
    try:
        version, key = pages.works.version(), _key(values)
    except LineviewError as error:
        return None, str(error)
    version_shown, _, turn = browser_version.partition("#")
    if version_shown == version and not working:
        return None, None
    if key is None:
        return version, ""
    if pages.fresh(key, version) is not None or pages.failed(key, version):
        return f"{version}#{int(turn or 0) + 1}", None  # another text even where the state is the same
    try:
        pages.begin(key, version, values, unseen=not working)
    except AskError as error:
        return None, str(error)
    return None, pages.words(key, version, pages.older(key))
