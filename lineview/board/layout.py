"""From an address to what the page shows; nothing here is worked out, only asked for and arranged."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

from dash import dcc, html
from markupsafe import Markup

from lineview.app.access import LOCAL, Person
from lineview.app.question import machines_asked
from lineview.app.works import Works
from lineview.board.address import NAMES, PAGES_MENU, WORKS, Address
from lineview.board.answer_page import answer_page, cautions, facts, fault_page, sentence
from lineview.board.bags_page import CAUTIONS, SENTENCE, bags_form
from lineview.board.components import RawHtml, aria, element, go_link
from lineview.board.intake_page import give_form, intake_page, intake_sentence
from lineview.board.method_pages import how_to_read
from lineview.board.patterns_form import patterns_form
from lineview.board.plant_page import lacking_form
from lineview.board.trials_form import trials_form
from lineview.board.wall import SCALE, shows_all, wall_clock, wall_links, wall_of_all, wall_page
from lineview.board.what_if_form import what_if_form
from lineview.board.written import REASON_LENGTH, data, forms_above, reasons_list, write_form, written_list
from lineview.charts.style import DAY, NIGHT, ChartStyle
from lineview.core.errors import AskError, Fault, LineviewError, PlantError
from lineview.core.language import mark, tr
from lineview.core.resources import shipped
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import ALL_LINES, Answer, scope_name


def header(works: Works, plant: Plant, address: Address, labels: dict[str, str]) -> list[Any]:
    """What stands in the page's head."""
    pickers = html.Div(_pickers(works, plant, address, labels), className="pickers")
    return [html.Span(plant.shop, className="shop"), _pages(address), pickers]


def read_line(read_at: datetime | None, plant: Plant, *, advises: bool = False) -> list[Any]:
    """When the last reading was; the browser marks the wall by it where it is old."""
    if read_at is None:
        return []
    words = show.last_reading(read_at, plant, datetime.now(UTC), advises=advises)
    return [html.P(html.Time(words, dateTime=read_at.isoformat()), className="read-at soft")]


def opening(shop: str) -> list[Any]:
    """The head as it stands before an answer is worked out: the shop's name and the pages."""
    return [html.Span(shop, className="shop"), _pages(Address("")), html.Div(className="pickers")]


def _pages(address: Address) -> html.Nav:
    """The links to the pages; a phone has room for one that unfolds to all."""
    links = [*(_page_link(page, tr(name), address) for page, name in NAMES.items()), html.A(tr(WORKS), href="/works")]
    here_too = {"className": "here", **aria(current="page")}
    again = [
        element("a", tr(name), href=address.href, **here_too)
        if page == address.page
        else go_link(tr(name), address.on(page).href)
        for page, name in NAMES.items()
    ]
    here = html.Summary(html.Span(tr(NAMES.get(address.page, PAGES_MENU)), className="choice"))
    choices = html.Div(_list([*again, element("a", tr(WORKS), href="/works")]), className="choices")
    menu = html.Details([here, choices], className="picker", id="pick-page")
    return html.Nav([*links, menu], className="pages", **aria(label=tr("pages")))


def _list(links: Sequence[Markup]) -> RawHtml:
    return RawHtml(html=element("ul", [element("li", [link]) for link in links]))


def _page_link(page: str, name: str, address: Address) -> Any:
    if page == address.page:
        return html.A(name, href=address.href, className="here", **aria(current="page"))
    return dcc.Link(name, href=address.on(page).href)


def _pickers(works: Works, plant: Plant, address: Address, labels: dict[str, str]) -> list[Any]:
    question = address.question
    if question is None:
        return []
    whole = question == "order"  # stock is the whole works', whatever the line
    lines = [] if whole else [(line.id, line.label) for line in plant.lines]
    machines = [] if whole else [(m.id, m.label) for m in machines_asked(plant, question, address.line)]
    if question == "week":
        lines, machines = [("", tr(ALL_LINES)), *lines], [("", tr(ALL_MACHINES)), *machines]
    picked: list[Any] = []
    if len(lines) > 1:
        picked.append(_picker("line", labels.get("line"), lines, address.line, address.with_line))
    if len(machines) > 1:
        picked.append(_picker("machine", labels.get("machine"), machines, address.machine, address.with_machine))
    if question == "week":
        picked.append(_second_picker(plant, address))
    periods = works.periods(question, address.line)
    picked.append(_picker("period", labels.get("period"), periods, address.period, address.with_period, _days()))
    return picked


def _second_picker(plant: Plant, address: Address) -> html.Details:
    """The picker of a second scope: a choice is what the first is cut to and what it is compared with."""
    choices: list[tuple[str, str]] = [("|", tr("nothing")), ("|previous", tr("the time before"))]
    lines = [line for line in plant.lines if line.id != address.line]
    if address.line is not None:
        choices += [(f"|line={line.id}", line.label) for line in lines]
    elif len(plant.lines) > 1:
        first, others = plant.lines[0], plant.lines[1:]
        for line in others:
            choices.append((f"line:{first.id}|line={line.id}", f"{first.label}: {line.label}"))
    for shift, other in pairwise(plant.shifts):
        words = tr("{shift} shifts: {other}", shift=shift.id, other=other.id)
        choices.append((f"shift={shift.id}|shift={other.id}", words))

    def to(token: str) -> Address:
        only, _, against = token.partition("|")
        if only.startswith("line:"):
            return address.with_line(only.removeprefix("line:")).compared("", against)
        return address.compared(only, against)

    current = f"{address.only or ''}|{address.against or ''}"
    label = dict(choices).get(current) or address.against or tr("nothing")
    return _picker("against", label, choices, current, to)


#: What each picker picks.
KINDS = {"line": mark("line"), "machine": mark("machine"), "against": mark("against"), "period": mark("period")}
#: Stands for what a page is asked of by itself, until its answer says what that is.
NOT_KNOWN_YET = "…"
#: What the week is asked of where no machine is picked.
ALL_MACHINES = mark("all machines")


def _picker(
    kind: str,
    name: str | None,
    choices: Sequence[tuple[str, str]],
    chosen: str | None,
    to: Callable[[str], Address],
    below: Any = None,
) -> html.Details:
    """One picker: its present choice, unfolding to links; each choice is an address."""
    current = name or dict(choices).get(chosen or "") or chosen or (NOT_KNOWN_YET if choices else tr("none yet"))
    words = tr(KINDS[kind])
    kinds = [] if current.casefold().startswith(words.casefold()) else [html.Span(f"{words} ", className="kind")]
    links = [
        go_link(label, to(token).href, "chosen" if label == current or token == chosen else "")
        for token, label in choices
    ]
    return html.Details(
        [
            html.Summary([*kinds, html.Span(current, className="choice")]),
            html.Div([_list(links), *([below] if below is not None else [])], className="choices"),
        ],
        className="picker",
        id=f"pick-{kind}",
    )


def _days() -> html.Div:
    """The fields for a stretch of days of one's own."""
    field: dict[str, Any] = {"type": "text", "placeholder": tr("2026-06-08"), "debounce": False, "className": "day"}
    return html.Div(
        [
            html.Label([tr("from"), dcc.Input(id="day-from", **field)]),
            html.Label([tr("to"), dcc.Input(id="day-to", **field)]),
            html.Button(tr("Show"), id="day-show", type="button"),
            html.P("", id="day-fault", className="fault", role="alert"),
        ],
        className="days",
    )


#: States whose reason a person can know.
REASON_STATES = (mark("stop"), mark("short stop"))
#: Rows of the form at most; the longest unexplained stops come first.
MOST_STOPS = 120
#: Reasons offered to be tapped.
MOST_REASONS = 12


def reasons_form(answer: Answer, plant: Plant, reasons: Sequence[str] = ()) -> html.Details | None:
    """The form that sets the reason of one stop or a run of stops; `reasons` are the works', likeliest first."""
    stops = _stops_to_tick(answer, plant)
    if not stops["options"]:
        return None
    ticks = dcc.Checklist(options=stops["options"], value=[], id="stops", className="stops")
    return html.Details(
        [
            html.Summary(tr("Enter the stop reason")),
            html.P(tr("Tap a stop on the timeline, or tick stops here; then tap its reason."), className="soft"),
            html.Fieldset([html.Legend(tr("Stops")), ticks]),
            html.P(stops["alike"], id="stops-alike", className="acts-of"),
            html.P("", id="stops-ticked", role="status"),
            html.P(tr("Reason, most frequent first:"), id="reasons-offered", hidden=not reasons),
            html.Div(
                [html.Button(words, type="button", **data(reason=words)) for words in reasons[:MOST_REASONS]],
                className="acts-of offered",
                role="group",
                **aria(labelledby="reasons-offered"),
            ),
            html.Label(
                [tr("or in your own words"), dcc.Input(id="reason", type="text", maxLength=REASON_LENGTH, value="")]
            ),
            html.Button(tr("Set the reason"), id="set-reason", type="button"),
            html.P("", id="reason-told", role="status"),
        ],
        className="fold form",
        id="reasons",
    )


def _stops_to_tick(answer: Answer, plant: Plant) -> dict[str, list[Any]]:
    """The stops of the period as choices, those without a reason first, and the buttons that tick several."""
    timeline = answer.series.get("timeline")
    stops = [] if timeline is None else [r for r in timeline.iter_rows(named=True) if r["state"] in REASON_STATES]
    stops = sorted(stops, key=lambda r: (bool(r["reason"]), r["start"] - r["end"]))[:MOST_STOPS]
    options = [{"label": _stop_words(row, plant), "value": _stop_value(row)} for row in stops]
    return {"options": options, "alike": _alike(stops)}


#: By a state of REASON_STATES: the words of the button that ticks all of its kind.
_TICK_ALL = {
    "stop": mark("Tick all {count} stops without a reason"),
    "short stop": mark("Tick all {count} short stops without a reason"),
}


def _alike(stops: Sequence[dict[str, Any]]) -> list[html.Button]:
    """One button for each kind of stop of which several have no reason: ticks them all."""
    buttons = []
    for state in REASON_STATES:
        values = [_stop_value(row) for row in stops if row["state"] == state and not row["reason"]]
        if len(values) > 1:
            words = tr(_TICK_ALL[state], count=len(values))
            buttons.append(html.Button(words, type="button", **data(stops=";".join(values))))
    return buttons


def _stop_words(row: dict[str, Any], plant: Plant) -> str:
    times = show.stretch(row["start"], row["end"], plant)
    return f"{times}, {show.minutes(row['end'] - row['start'])}, {row['reason'] or tr('reason not set')}"


def chosen_stops(values: Sequence[str], answer: Answer) -> list[tuple[datetime, datetime]]:
    """Read the stops a person ticked; each has to be one that the page shows."""
    timeline = answer.series.get("timeline")
    rows = [] if timeline is None else timeline.iter_rows(named=True)
    on_page = {_stop_value(r): (r["start"], r["end"]) for r in rows if r["state"] in REASON_STATES}
    if not set(values) <= set(on_page):
        do = tr("Open the page anew and tick the stop again.")
        raise AskError(Fault(tr("this stop is not on the page any more"), tr("stops"), do=do))
    return [on_page[value] for value in values]


def _stop_value(row: dict[str, Any]) -> str:
    return f"{row['start'].isoformat()}|{row['end'].isoformat()}"


@dataclass(frozen=True)
class Page:
    """What the frame's places hold: head, sentence, page, foot, the window's title, and the facts that come first."""

    head: list[Any]
    sentence: list[Any]
    below: list[Any]
    foot: list[Any] = field(default_factory=list)
    title: str = ""
    facts: list[Any] = field(default_factory=list)


def look_of(plant: Plant, address: Address, screen: Mapping[str, Any]) -> ChartStyle:
    """How pictures are drawn on this screen."""
    tokens = NIGHT if screen.get("theme") == "night" else DAY
    narrow = bool(screen.get("narrow"))
    return ChartStyle(plant, tokens, narrow, SCALE if address.page == "wall" and not narrow else 1.0)


def page_of(works: Works, address: Address, screen: Mapping[str, Any], who: Person = LOCAL) -> Page:
    """The page at an address."""
    try:
        plant = works.plant
    except PlantError as error:
        headline, below = fault_page(error, tr("The plant description cannot be used"))
        return Page(opening(""), headline, below, cautions(None))
    try:
        if address.question is not None:
            return _answered(works, address, look_of(plant, address, screen), who)
        if address.page == "bags":
            foot = [html.P(tr(text)) for text in CAUTIONS]
            return _page(works, plant, address, {}, [tr(SENTENCE)], read_line(works.last_reading(), plant), foot)
        if address.page == "intake":
            sentence = intake_sentence(works.store.intakes())
            read = read_line(works.last_reading(), plant)
            below = [*read, *intake_page(works, plant, address, undoes=who.may("take in"))]
            return _page(works, plant, address, {}, [sentence], below, [])
        return _page(works, plant, address, {}, [tr("There is no page at this address.")], [], [])
    except LineviewError as error:
        headline, below = fault_page(error)
        return _page(works, plant, address, {}, headline, below, cautions(None))


def _answered(works: Works, address: Address, look: ChartStyle, who: Person) -> Page:
    if shows_all(look.plant, address):
        headline, table, last = wall_of_all(works, look.plant, address)
        return Page(_wall_head(look.plant, tr(ALL_LINES), last), headline, table, [], look.plant.shop)
    answer, plant = works.ask(address.question_scope), look.plant
    names = _names(plant, answer)
    if address.page == "wall":
        where = " · ".join(names[k] for k in ("line", "machine", "period") if names.get(k))
        head = _wall_head(plant, where, answer)
        return Page(head, sentence(answer.sentence), wall_page(answer, look), [], plant.shop)
    read = read_line(answer.scope.now, plant, advises=address.question == "order")
    below = [*read, *answer_page(answer, look, address)]
    if address.page in ("rope", "shift"):
        below += written_list(works, answer, who)
    if address.page == "shift":  # the form stays as it is on a refresh; its stops follow the page's
        stops = dcc.Store(id="stops-now", data=_stops_to_tick(answer, plant))
        below += [*reasons_list(works, answer, who), *([stops] if who.may("note") else [])]
    page = _page(works, plant, address, names, sentence(answer.sentence), below, cautions(answer))
    return replace(page, facts=facts(answer))


def _wall_head(plant: Plant, where: str, answer: Answer | None) -> list[Any]:
    """The head of the wall: whose, of what, how old, and the time."""
    read = [] if answer is None else read_line(answer.scope.now, plant)
    shop, where_shown = html.Span(plant.shop, className="shop"), html.Span(where, className="where")
    return [shop, where_shown, *read, wall_clock(plant)]


def _names(plant: Plant, answer: Answer) -> dict[str, str]:
    line = next((entry.label for entry in plant.lines if entry.id == answer.scope.line), "")
    whole = answer.scope.line or tr(ALL_LINES)
    return {
        "line": line or whole,
        "machine": scope_name(answer.scope, plant) if answer.scope.machine else tr(ALL_MACHINES),
        "period": answer.scope.label,
    }


def _page(
    works: Works,
    plant: Plant,
    address: Address,
    names: dict[str, str],
    headline: list[Any],
    below: list[Any],
    foot: list[Any],
) -> Page:
    title = " · ".join(part for part in (tr(NAMES.get(address.page, "")), plant.shop) if part)
    try:
        head = header(works, plant, address, names)
    except LineviewError:  # nothing to pick from yet; the page's own fault says why
        head = header(works, plant, Address("intake"), names)
    account = html.P(html.A(tr("Account and what was written"), href="/account"))
    return Page(head, headline, below, [*foot, account], title)


def unfinished(works: Works, address: Address, words: str, *, waits: bool) -> Page:
    """What stands for a page that is being worked out, or that could not be made."""
    headline = [html.Span(tr(WAITING), className="waiting soft") if waits else html.Span(words, className="fault")]
    try:
        return _page(works, works.plant, address, {}, headline, [], [])
    except PlantError:  # said by the page itself
        return Page(opening(""), headline, [])


def forms_of(works: Works, address: Address, who: Person = LOCAL) -> tuple[list[Any], list[Any]]:
    """What a person can write on a page; kept apart so that a refresh never wipes what is typed."""
    try:
        plant = works.plant
        if address.page not in ("shift", "rope", "week"):
            return _unasked(works, plant, address, who)
        answer = works.ask(address.question_scope)
    except LineviewError:  # the page itself says what is wrong
        return [], []
    lacks = _lacking(plant, address, who)
    if address.page == "rope":
        return forms_above(answer, plant, who), lacks
    if address.page == "week":
        recurring = patterns_form(answer, plant) if who.may("note") else []
        return [], [*recurring, *trials_form(works, plant, address, notes=who.may("note"))]
    form = reasons_form(answer, plant, works.reasons_used(answer.scope.machine)) if who.may("note") else None
    notes = [write_form("note", answer, plant)] if who.may("note") else []
    return [], [*([form] if form is not None else []), *notes, *lacks, wall_links(plant, address)]


def _lacking(plant: Plant, address: Address, who: Person) -> list[Any]:
    """The form for the numbers that a page lacks, where it lacks any."""
    form = lacking_form(plant, address.page, address.href, who)
    return [] if form is None else [form]


def _unasked(works: Works, plant: Plant, address: Address, who: Person) -> tuple[list[Any], list[Any]]:
    """The forms that need no answer."""
    if address.page == "intake":
        return give_form() if who.may("take in") else [], []
    if address.page == "bags":
        return [*bags_form(plant), *how_to_read("bags")], []
    if address.page == "weight":
        link = html.A(tr("Check weighed bags of a lot"), href=address.on("bags").href)
        return [], [html.P(link, className="acts"), *_lacking(plant, address, who)]
    above = [what_if_form(works, plant, address, who)] if address.page == "order" else []
    return above, _lacking(plant, address, who)


#: So often a browser looks whether a page that is being worked out is there [ms].
SOON_MS = 1000
#: Stands where the sentence will, for as long as the first answer takes.
WAITING = mark("Working it out …")
#: In the document, the place of its language, which may change while the board runs.
LANGUAGE = "lang-of-the-works"
#: The document around the app: its language, and what a browser needs to know before any style is read.
INDEX = """<!DOCTYPE html>
<html {language} data-start="{start}" data-pictures="{pictures}">
<head>
{{%metas%}}
<meta name="color-scheme" content="light dark">
<link rel="preload" href="/assets/type/source-serif-4-latin-400-normal.woff2" as="font" type="font/woff2" crossorigin>
<link rel="preload" href="/assets/type/source-serif-4-latin-600-normal.woff2" as="font" type="font/woff2" crossorigin>
<link rel="preload" href="/assets/type/ibm-plex-sans-latin-400-normal.woff2" as="font" type="font/woff2" crossorigin>
<title>{{%title%}}</title>
{{%favicon%}}
{{%css%}}
</head>
<body>
{{%app_entry%}}
<div class="dash-scripts">{{%config%}}{{%scripts%}}{{%renderer%}}</div>
</body>
</html>"""


def index(night: bool | None) -> str:
    """The document, by day, by night or as the browser has it; the chart library's address changes with its content."""
    script = shipped("assets") / "plotly-basic.min.js"
    pictures = f"/assets/{script.name}?m={script.stat().st_mtime}"
    start = {None: "", True: "night", False: "day"}[night]
    return INDEX.format(start=start, pictures=pictures, language=LANGUAGE)


def frame(poll_s: float, version: int | str, opening: Sequence[Any] = ()) -> html.Div:
    """The places that the callbacks fill."""
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="screen"),
            dcc.Store(id="version", data=version),
            dcc.Store(id="title"),
            dcc.Store(id="shown"),
            dcc.Interval(id="tick", interval=poll_s * 1000),
            dcc.Interval(id="soon", interval=SOON_MS, disabled=True),
            html.A(tr("Skip to the answer"), href="#answer", className="skip"),
            html.Header(
                [
                    html.Div(list(opening), id="head", className="head"),
                    html.Button(tr("Night"), id="theme", type="button"),
                ],
                className="top",
            ),
            html.Main(
                [
                    html.H1(
                        html.Span(tr(WAITING), className="waiting soft"),
                        id="sentence",
                        className="sentence",
                        **aria(live="polite"),
                    ),
                    html.P("", id="under-way", className="under-way soft"),
                    html.Div(id="facts"),
                    html.Div(id="above"),
                    html.Div(id="outcome", role="status", **aria(live="polite")),
                    html.Div(id="page"),
                    html.Div(id="below"),
                ],
                id="answer",
                tabIndex=-1,
            ),
            html.Footer(id="foot"),
        ],
        id="board",
    )
