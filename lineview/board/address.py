"""The address of a page: all that a page shows follows from it, so a link brings the same page back."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import parse_qs, quote, urlencode

from lineview.app.question import QUESTIONS, QuestionScope, read_question
from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr
from lineview.order.what_if import LIMITS, read_what_if
from lineview.report.answer import Question

PAGES = (*QUESTIONS, "bags", "intake", "wall")
#: What a page is called in the header; the wall has no place there.
NAMES = {
    "rope": mark("Rope"),
    "weight": mark("Weight"),
    "shift": mark("Shift"),
    "wrap": mark("Wrap"),
    "order": mark("Order"),
    "week": mark("Week"),
    "bags": mark("Bags"),
    "intake": mark("Intake"),
}
#: The page that describes the works, and the menu of all pages.
WORKS, PAGES_MENU = mark("Works"), mark("Pages")
SUPPOSED = ("web", *LIMITS)
QUERY_NAMES = ("line", "machine", "period", "intake", "from", "only", "against", "trial", *SUPPOSED)
#: What pages call the options of the command that a fault names.
_FIELDS = {
    "line": mark("line"),
    "machine": mark("machine"),
    "from": mark("from"),
    "to": mark("to"),
    "by": mark("judged by"),
    "against": mark("compared with"),
    "only": mark("cut to"),
    "trial": mark("trial"),
    "shifts": mark("shifts planned"),
    "beside": mark("line beside it"),
    "decision": mark("what was decided"),
    "worth": mark("change worth having"),
}


def on_a_page(fault: object) -> str:
    """A fault, or an error, whose fields are named as pages call them."""
    return re.sub(rf"--({'|'.join(_FIELDS)})\b", lambda option: tr(_FIELDS[option[1]]), str(fault))


@dataclass(frozen=True)
class Address:
    """A page and what it is asked of; None is what the works thinks fit.

    `page`: one of PAGES, or "" where the path names none; `line`, `machine`, `period`: ids and the token of a
    period; `intake`: whose refusals the intake page lists; `first`: the first refusal listed, from 0; `only`,
    `against`: of the week: what it is cut to and compared with, as read_second_scope reads them; `supposed`: of
    the order: what is supposed, as read_what_if reads it; `trial`: of the week: the trial that is judged instead;
    it falls away where anything else is picked.
    """

    page: str
    line: str | None = None
    machine: str | None = None
    period: str | None = None
    intake: int | None = None
    first: int = 0
    only: str | None = None
    against: str | None = None
    supposed: tuple[tuple[str, str], ...] = ()
    trial: int | None = None

    @property
    def question(self) -> Question | None:
        """The question the page answers; the wall shows the shift."""
        if self.page == "wall":
            return "shift"
        return next((q for q in QUESTIONS if q == self.page), None)

    @property
    def question_scope(self) -> QuestionScope:
        """What the page asks; an AskError where it asks nothing, or its period cannot be read."""
        if self.question is None:
            raise AskError(Fault(tr("there is no page at this address")))
        if self.question == "order":
            scope = read_question("order", self.line, self.machine, self.period)
            return replace(scope, what_if=read_what_if(dict(self.supposed)))
        if self.question != "week":
            return read_question(self.question, self.line, self.machine, self.period)
        second = {"only": self.only, "against": self.against}
        return read_question("week", self.line, self.machine, self.period, **second, trial=self.trial)

    def on(self, page: str) -> Address:
        """The address of another page about the same line and period.

        The machine goes along only where the other page speaks of the same kind of machine.
        """
        same_kind = (self.page == "rope") == (page == "rope")
        return Address(page, self.line, self.machine if same_kind else None, self.period)

    def with_line(self, line: str) -> Address:
        """The address for another line; its machine and refusals fall away."""
        return replace(self, line=line, machine=None, intake=None, first=0, trial=None)

    def with_machine(self, machine: str) -> Address:
        """The address for another machine."""
        return replace(self, machine=machine, trial=None)

    def with_period(self, period: str) -> Address:
        """The address for another period."""
        return replace(self, period=period, trial=None)

    def compared(self, only: str, against: str) -> Address:
        """The address compared with a second scope; "" for none."""
        return replace(self, only=only or None, against=against or None, trial=None)

    def supposing(self, texts: Mapping[str, str]) -> Address:
        """The address with what is supposed in place of what was."""
        values = {name: texts.get(name, "").strip() for name in SUPPOSED}
        numbers = any(text for name, text in values.items() if name != "web")
        return replace(self, supposed=tuple((name, text) for name, text in values.items() if text and numbers))

    @property
    def href(self) -> str:
        """The address as a link."""
        return f"/{self.page}{self._query}"

    def file(self, name: str) -> str:
        """The link to one of the answer's frames as a file."""
        return f"/{self.page}/{name}.csv{self._query}"

    def rows(self, kind: str, name: str) -> str:
        """The link to all rows of one of the answer's tables ("table") or frames ("frame")."""
        return f"/{self.page}/{kind}/{quote(name)}.json{self._query}"

    def sheet(self, ending: str) -> str:
        """The link to the page as a file."""
        return f"/{self.page}.{ending}{self._query}"

    def picture(self, number: int, ending: str) -> str:
        """The link to the page's picture of this number, from 1, as a file."""
        return f"/{self.page}/picture-{number}.{ending}{self._query}"

    def supplier_sheet(self, number: int, ending: str) -> str:
        """The link to what the supplier of this number gets: an order, or a claim."""
        return f"/{self.page}/to/{number}.{ending}{self._query}"

    @property
    def _query(self) -> str:
        values = {"line": self.line, "machine": self.machine, "period": self.period}
        values |= {"only": self.only, "against": self.against}
        query = {name: value for name, value in values.items() if value} | dict(self.supposed)
        if self.intake is not None:
            query["intake"] = str(self.intake)
        if self.trial is not None:
            query["trial"] = str(self.trial)
        if self.first:
            query["from"] = str(self.first)
        return f"?{urlencode(query)}" if query else ""


def read_address(pathname: str | None, search: str | None) -> Address:
    """Read a page's address."""
    name = (pathname or "/").strip("/") or "shift"
    parts = {k: v[0].strip()[:120] for k, v in parse_qs((search or "").lstrip("?")).items() if k in QUERY_NAMES}
    return Address(
        name if name in PAGES else "",
        parts.get("line") or None,
        parts.get("machine") or None,
        parts.get("period") or None,
        _whole(parts.get("intake")),
        _whole(parts.get("from")) or 0,
        parts.get("only") or None,
        parts.get("against") or None,
        tuple((key, parts[key]) for key in SUPPOSED if parts.get(key)) if name == "order" else (),
        _whole(parts.get("trial")),
    )


def _whole(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else None
