"""The address of a page: all that a page shows follows from it, so a link brings the same page back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import parse_qs, urlencode

from lineview.app.question import QUESTIONS, QuestionScope, read_question
from lineview.core.errors import AskError, Fault
from lineview.report.answer import Question

PAGES = (*QUESTIONS, "bags", "intake", "wall")
#: What a page is called in the header; the wall has no place there.
NAMES = {
    "rope": "Rope",
    "weight": "Weight",
    "shift": "Shift",
    "wrap": "Wrap",
    "order": "Order",
    "week": "Week",
    "bags": "Bags",
    "intake": "Intake",
}
KEPT = ("line", "machine", "period", "intake", "from", "only", "against")


@dataclass(frozen=True)
class Address:
    """A page and what it is asked of; None is what the works thinks fit.

    Parameters
    ----------
    page : str
        One of PAGES, or "" where the path names none.
    line, machine, period : str or None
        Ids and the token of a period.
    intake : int or None
        Whose refusals the intake page lists.
    first : int
        The first refusal listed, from 0.
    only, against : str or None
        Of the week: what it is cut to and compared with, as read_second_scope reads them.
    """

    page: str
    line: str | None = None
    machine: str | None = None
    period: str | None = None
    intake: int | None = None
    first: int = 0
    only: str | None = None
    against: str | None = None

    @property
    def question(self) -> Question | None:
        """The question the page answers; the wall shows the shift."""
        if self.page == "wall":
            return "shift"
        return next((q for q in QUESTIONS if q == self.page), None)

    @property
    def asked(self) -> QuestionScope:
        """What the page asks; an AskError where it asks nothing, or its period cannot be read."""
        if self.question is None:
            raise AskError(Fault("there is no page at this address"))
        second = (self.only, self.against) if self.question == "week" else (None, None)
        return read_question(self.question, self.line, self.machine, self.period, only=second[0], against=second[1])

    def on(self, page: str) -> Address:
        """The address of another page about the same line and period.

        The machine goes along only where the other page speaks of the same kind of machine.
        """
        same_kind = (self.page == "rope") == (page == "rope")
        return Address(page, self.line, self.machine if same_kind else None, self.period)

    def with_line(self, line: str) -> Address:
        """The address for another line; its machine and refusals fall away."""
        return replace(self, line=line, machine=None, intake=None, first=0)

    def with_machine(self, machine: str) -> Address:
        """The address for another machine."""
        return replace(self, machine=machine)

    def with_period(self, period: str) -> Address:
        """The address for another period."""
        return replace(self, period=period)

    def compared(self, only: str, against: str) -> Address:
        """The address compared with a second scope; "" for none."""
        return replace(self, only=only or None, against=against or None)

    @property
    def href(self) -> str:
        """The address as a link."""
        return f"/{self.page}{self._query}"

    def file(self, name: str) -> str:
        """The link to one of the answer's frames as a file."""
        return f"/{self.page}/{name}.csv{self._query}"

    def sheet(self, ending: str) -> str:
        """The link to the page as a file."""
        return f"/{self.page}.{ending}{self._query}"

    @property
    def _query(self) -> str:
        given = {"line": self.line, "machine": self.machine, "period": self.period}
        given |= {"only": self.only, "against": self.against}
        query = {name: value for name, value in given.items() if value}
        if self.intake is not None:
            query["intake"] = str(self.intake)
        if self.first:
            query["from"] = str(self.first)
        return f"?{urlencode(query)}" if query else ""


def read_address(pathname: str | None, search: str | None) -> Address:
    """Read a page's address."""
    name = (pathname or "/").strip("/") or "shift"
    told = {k: v[0].strip()[:120] for k, v in parse_qs((search or "").lstrip("?")).items() if k in KEPT}
    return Address(
        name if name in PAGES else "",
        told.get("line") or None,
        told.get("machine") or None,
        told.get("period") or None,
        _whole(told.get("intake")),
        _whole(told.get("from")) or 0,
        told.get("only") or None,
        told.get("against") or None,
    )


def _whole(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else None
