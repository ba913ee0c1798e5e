"""Pages as components: all that an answer holds is on its page, and faults are pages too."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from urllib.parse import urlsplit

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineview.app.works import Works
from lineview.board.address import NAMES, PAGES, Address, read_address
from lineview.board.answer_page import HEADINGS
from lineview.board.components import RawHtml, element
from lineview.board.layout import forms_of, page_of, unfinished
from lineview.board.method_pages import READING
from lineview.board.tables import framed
from lineview.board.written import FRESH, moment_shown, write_form
from lineview.core.errors import AskError, Fault, StoreError
from lineview.core.figure import Period
from lineview.plant.periods import moment
from tests.board import invented_answers as invented
from tests.board.invented_works import InventedWorks

DAY = {"theme": "day", "narrow": False}
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=40).map(str.strip)
MAYBE = st.none() | WORDS.filter(bool)


def words_in(part: object) -> str:
    """Give all text of components."""
    if isinstance(part, list | tuple):
        return " ".join(words_in(p) for p in part)
    if isinstance(part, str | int | float):
        return str(part)
    if isinstance(part, RawHtml):
        return " ".join(unescape(re.sub(r"<[^>]*>", " ", part.html)).split())
    children = getattr(part, "children", None)
    return words_in("" if children is None else children) if hasattr(part, "to_plotly_json") else ""


@given(st.sampled_from(PAGES), MAYBE, MAYBE, MAYBE, st.none() | st.integers(0, 10**9), st.integers(0, 10**6))
def test_an_address_brings_the_same_page_back(
    page: str, line: str | None, machine: str | None, period: str | None, intake: int | None, first: int
) -> None:
    address = Address(page, line, machine, period, intake, first)
    split = urlsplit(address.href)
    assert read_address(split.path, f"?{split.query}") == address


@pytest.mark.parametrize("search", ["?intake=-3", "?intake=x", "?from=9e9", "?line=", "?other=1", "", None])
def test_odd_addresses_are_read_without_error(search: str | None) -> None:
    read = read_address("/intake", search)
    assert (read.intake, read.first, read.line) == (None, 0, None)


def test_pickers_keep_line_and_period_from_page_to_page() -> None:
    here = Address("shift", "2", "wrap2", "this-week")
    assert here.on("wrap") == Address("wrap", "2", "wrap2", "this-week")
    assert here.on("rope") == Address("rope", "2", None, "this-week")
    assert here.with_line("1") == Address("shift", "1", None, "this-week")


@pytest.mark.parametrize("question", invented.ANSWERS)
def test_a_page_holds_all_of_its_answer(question: str) -> None:
    answer = invented.ANSWERS[question]()
    page = page_of(InventedWorks(), Address(question), DAY)
    said = words_in(page.sentence).replace("\u00a0", " ").replace("  ", " ").strip()
    assert said.startswith(answer.sentence[0].text.strip())
    shown = words_in(page.below)
    for text in (answer.soft, *answer.points, "How to read this page", *READING[question]):
        assert text in shown
    for table in answer.tables:
        assert table.title in shown
    for figure in answer.figures:
        assert figure.label in shown
        assert figure.working in shown
        if figure.value is None:
            assert figure.why_none in shown
    for note in answer.notes:
        assert note in shown
    for caution in answer.cautions:
        assert caution in words_in(page.foot)
    assert words_in(page.head).startswith("Gorse Lane Sweets")


@pytest.mark.parametrize("page", PAGES)
def test_every_page_says_when_the_last_reading_was_and_how_long_ago(page: str) -> None:
    shown = page_of(InventedWorks(), Address(page), DAY)
    words = words_in([*shown.head, *shown.below])
    said = re.search(r"Last reading \w{3} \d+ June 2026, \d\d:\d\d, ([\d,]+) days ago\.", words)
    assert said, words
    days = int(said[1].replace(",", ""))
    assert abs(days - (datetime.now(UTC) - datetime(2026, 6, 12, tzinfo=UTC)).days) <= 14
    assert ("The advice is for that day: add newer exports" in words) is (page == "order")


def test_what_needs_a_person_is_marked_by_an_element_and_not_by_colour_alone() -> None:
    page = page_of(InventedWorks(), Address("rope"), DAY)
    marks = [p for p in page.sentence if getattr(p, "className", "") == "call"]
    assert [m.children for m in marks] == ["thinning 0.011\u00a0mm an hour", "34 hours of running"]
    assert {type(m).__name__ for m in marks} == {"Mark"}


def test_a_page_under_way_names_no_period_that_nobody_chose() -> None:
    """Until the answer says what it is of, the head shows what the address says and no first choice in its place."""
    works = InventedWorks()
    waiting = str(unfinished(works, Address("shift"), "Working it out.", waits=True).head)
    assert waiting.count("Span(children='…'") == 3  # line, machine, period
    chosen = str(unfinished(works, Address("shift", period="this-week"), "Working it out.", waits=True).head)
    assert "Span(children='since Mon 8 June', className='choice')" in chosen


def test_an_unknown_machine_is_a_page_that_says_so_and_can_be_left() -> None:
    page = page_of(InventedWorks(), Address("shift", machine="wrap9"), DAY)
    assert words_in(page.sentence) == "That cannot be answered: unknown machine 'wrap9'."
    assert "one of wrap1, wrap3" in words_in(page.below)
    assert all(name in words_in(page.head) for name in NAMES.values())
    assert "stop and lock out" in words_in(page.foot)


def test_an_empty_store_is_a_page_too() -> None:
    class Empty(InventedWorks):
        def ask(self, *_: object) -> object:
            raise StoreError(Fault("there are no readings yet", do="Give an export on the intake page."))

        def periods(self, *_: object) -> list[tuple[str, str]]:
            raise AskError(Fault("there are no readings yet"))

    page = page_of(Empty(), Address("weight"), DAY)
    assert "no readings yet" in words_in(page.sentence)
    assert "Intake" in words_in(page.head)
    assert forms_of(Empty(), Address("shift")) == ([], [])


def test_a_form_starts_now_while_readings_come_in_and_at_the_end_of_what_is_shown_else() -> None:
    answer = InventedWorks().ask(Address("rope").question_scope)
    now = datetime.now(UTC)
    assert now - answer.scope.now > FRESH  # the invented readings are old
    assert moment_shown(answer, now) == min(answer.scope.period.end, answer.scope.now)
    fresh = replace(answer, scope=replace(answer.scope, now=now, period=Period(now - timedelta(days=7), now)))
    assert moment_shown(fresh, now) == now
    works = InventedWorks()
    (form,) = forms_of(works, Address("rope"))[0]
    at = moment(form["adjustment-at"].value, works.plant.tz, "when")
    assert abs(at - moment_shown(answer, now)) < timedelta(minutes=1)
    assert "Not now: the end of what is shown" in words_in([write_form("adjustment", answer, works.plant)])
    assert "Not now" not in words_in([write_form("adjustment", fresh, works.plant)])


def test_an_address_of_no_page() -> None:
    page = page_of(InventedWorks(), read_address("/../etc/passwd", ""), DAY)
    assert words_in(page.sentence) == "There is no page at this address."


def test_refusals_are_listed_a_page_at_a_time() -> None:
    works = InventedWorks()
    first = words_in(page_of(works, Address("intake", intake=6), DAY).below)
    assert "1 to 100 of 250" in first
    last = words_in(page_of(works, Address("intake", intake=6, first=200), DAY).below)
    assert "201 to 250 of 250" in last
    assert "later rows" in first
    assert "later rows" not in last


def test_pages_in_us_units_convert_tables_and_headings() -> None:
    page = page_of(InventedWorks(invented.plant("US", "USD")), Address("weight"), DAY)
    shown = words_in(page.below)
    assert "standard deviation, oz" in shown
    assert "0.24127 oz" in shown  # 6.84 g, its interval 0.0007 oz to each side
    assert "at mean, oz sd, oz from, oz to, oz n" in shown  # every mass of a table in the same unit


@pytest.mark.parametrize(
    ("question", "names", "headings"),
    [
        ("shift", ("state", "code", "coded"), ["state", "code of the machine", "state from the code"]),
        ("wrap", ("web", "m_per_thousand"), ["web", "a thousand good pieces"]),
        ("order", ("web", "kind"), ["web", "what"]),
    ],
)
def test_columns_behind_a_picture_are_named_for_readers(question: str, names: tuple[str, ...], headings: list) -> None:
    table = framed("behind", pl.DataFrame({name: ["x"] for name in names}), HEADINGS.get(question))
    assert [heading for _, heading, _ in table.columns] == headings


@pytest.mark.parametrize("text", ["", "yesterday", "2026-13-01 10:00", "2026-03-29 02:30"])
def test_typed_moments_that_are_none(text: str) -> None:
    with pytest.raises(AskError):
        moment(text, invented.plant().tz, "when")


def test_of_the_repeated_hour_the_first_is_meant() -> None:
    assert moment("2026-10-25 02:30", invented.plant().tz, "when").hour == 0


@pytest.mark.parametrize(
    ("search", "said"),
    [
        ("?line=99", "line: unknown line '99'"),
        ("?machine=wrap9", "machine: unknown machine 'wrap9'"),
        ("?line=line2&machine=wrap1", "machine: 'wrap1' is not on line line2"),
    ],
)
def test_a_fault_names_fields_in_the_words_of_a_page(week: Works, search: str, said: str) -> None:
    shown = words_in(page_of(week, read_address("/shift", search), DAY).below)
    assert said in shown
    assert "--" not in shown


def test_text_of_html_holds_no_element_but_those_written() -> None:
    sharp = '<img src=x onerror="alert(1)">&\'"'
    written = element("td", sharp, className=sharp, **{"data-label": sharp})
    parts = re.fullmatch(r'<td class="([^"<>]*)" data-label="([^"<>]*)">([^<>]*)</td>', written)
    assert parts is not None
    assert [unescape(part) for part in parts.groups()] == [sharp] * 3
    assert element("tr", [written, sharp]) == f"<tr>{written}{parts.group(3)}</tr>"


@pytest.mark.parametrize("question", invented.ANSWERS)
def test_a_page_is_few_components_however_long_its_tables(question: str) -> None:
    def count(part: object) -> int:
        if isinstance(part, list | tuple):
            return sum(map(count, part))
        return 1 + count(getattr(part, "children", None)) if hasattr(part, "to_plotly_json") else 0

    page = page_of(InventedWorks(), Address(question), DAY)
    assert count([page.head, page.sentence, page.facts, page.below, page.foot]) < 250


def test_an_entry_of_another_year_says_so() -> None:
    works = InventedWorks()
    for year in (2020, datetime.now(UTC).year):
        works.written_down("note", "sizer2", datetime(year, 3, 2, 9, tzinfo=UTC), "rollers cleaned", "", str(year))
    shown = words_in(page_of(works, Address("rope"), DAY).below)
    assert "Mon 2 March 2020, 10:00" in shown
    assert shown.count(f"March {works.entries[1]['at'].year}") == 0
