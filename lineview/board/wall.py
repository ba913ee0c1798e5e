"""The wall: one machine's shift, or that of every line, in type that reads from five metres; nothing to press."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from lineview.app.question import machines_asked
from lineview.app.works import Works
from lineview.board.address import Address
from lineview.board.answer_page import graph, points
from lineview.board.tables import plain_table
from lineview.charts.render import pictures
from lineview.charts.shift import HATCHING, UNEXPLAINED, kinds_of
from lineview.charts.style import ChartStyle
from lineview.core.errors import LineviewError
from lineview.core.figure import Figure
from lineview.core.language import tr
from lineview.plant import Machine, Plant
from lineview.report import show
from lineview.report.answer import ALL_LINES, Answer, reels_ending

#: Letters a two-hundredth of the distance high can be read with ease: 25 mm at five metres, which is some 40 px on a
#: 1.2 m wide screen of 1920 px, or 56 px of type whose capitals take 0.7 of it. Common practice, no source.
SCALE = 3.4
#: As a line in the address of the wall: every line.
EVERY = "all"


def shows_all(plant: Plant, address: Address) -> bool:
    """Whether an address asks for the wall of every line."""
    return address.page == "wall" and address.line == EVERY and EVERY not in {line.id for line in plant.lines}


def wall_links(plant: Plant, address: Address) -> html.P:
    """The links from a shift's page to its wall, and to that of every line where there are several machines."""
    links = [html.A(tr("Show this shift on the wall"), href=address.on("wall").href, className="wall-link")]
    if len(machines_asked(plant, "shift")) > 1:
        links.append(html.A(tr("all lines on the wall"), href=Address("wall", EVERY).href, className="wall-link"))
    return html.P(links, className="acts")


def wall_clock(plant: Plant) -> html.Span:
    """The place of the wall's clock; the browser fills it."""
    data: dict[str, Any] = {"data-zone": plant.zone, "data-units": plant.units}
    return html.Span(id="wall-clock", **data)


def wall_page(answer: Answer, look: ChartStyle) -> list[Any]:
    """What stands below the sentence: the line below it, what is to come, the picture, and its legend."""
    graphs = [picture for picture in pictures(answer, look) if picture.first][:1]
    ahead = [
        (tr("for the rest of the shift"), _needed(answer, look.plant)),
        (tr("next reel"), _reel(answer, look.plant)),
    ]
    facts = html.Dl([html.Div([html.Dt(what), html.Dd(text)]) for what, text in ahead], className="ahead")
    charts = [graph(picture, answer.text, look.scale) for picture in graphs]
    return [html.P(answer.soft, className="soft lead"), *points(answer), facts, *charts, *_legend(answer, look)]


def _needed(answer: Answer, plant: Plant) -> str:
    """The pace that the rest needs, or why there is none."""
    figure = answer.figure("pace_needed_per_min")
    if not _next(answer):
        return tr("the shift is over")
    if figure is None:
        return show.NOTHING
    return figure.why_none or tr("{number} a minute for the plan", number=_number(figure))


def _number(figure: Figure | None) -> str:
    """A figure's number alone, since its heading says of what."""
    known = figure is not None and isinstance(figure.value, int | float)
    return show.number(float(figure.value), 0) if known else show.NOTHING  # type: ignore[arg-type, union-attr]  # known


def _next(answer: Answer) -> Sequence[Mapping[str, Any]]:
    """What comes next; nothing where the shift is over."""
    return next((table.rows for table in answer.tables if table.name == "next"), ())


def _reel(answer: Answer, plant: Plant) -> str:
    """The reel that runs out next, and when."""
    reels = reels_ending(answer)
    if not reels:
        return tr("not known") if _next(answer) else show.NOTHING
    reel, at = reels[0]
    return f"{reel} {show.moment(at, plant, day=False)}"


def _legend(answer: Answer, look: ChartStyle) -> list[Any]:
    """The hatchings of the picture with their words, as large as the rest; on a phone the picture has its own."""
    timeline = answer.series.get("timeline")
    if look.narrow or timeline is None:
        return []
    kinds = kinds_of(timeline)
    entries = [
        html.Li([html.Span(className=f"swatch {_swatch(kind)}"), tr(kind)])
        for kind in (*HATCHING, UNEXPLAINED)
        if kind in kinds
    ]
    return [html.Ul(entries, className="legend")] if entries else []


def _swatch(kind: str) -> str:
    return "unexplained" if kind == UNEXPLAINED else kind.replace(" ", "-")


def wall_of_all(works: Works, plant: Plant, address: Address) -> tuple[list[Any], list[Any], Answer | None]:
    """Sentence and table of every cut-and-wrap machine, and an answer that says when the last reading was."""
    headings = [tr("machine"), tr("good pieces"), tr("a minute"), tr("the rest needs"), tr("next reel")]
    rows, last = [], None
    for machine in machines_asked(plant, "shift"):
        try:
            answer = works.ask(Address("shift", machine.line, machine.id, address.period).question_scope)
        except LineviewError as error:
            rows.append([_name(machine, plant), error.faults[0].what if error.faults else "", "", "", ""])
            continue
        last = answer if last is None or answer.scope.now > last.scope.now else last
        rows.append([_name(machine, plant), *_row(answer, plant)])
    table = plain_table(
        tr("Each machine in its shift"), headings, rows, [False, True, True, False, False], caption_hidden=True
    )
    label = last.scope.label if last is not None else ""
    every = tr(ALL_LINES)
    every = show.capital(every)
    return [f"{every}, {label}" if label else every], [table], last


def _name(machine: Machine, plant: Plant) -> str:
    line = next((line.label for line in plant.lines if line.id == machine.line), "")
    return f"{line}, {machine.label}" if line else machine.label


def _row(answer: Answer, plant: Plant) -> list[str]:
    known = [_number(answer.figure(name)) for name in ("good_pieces", "effective_rate_per_min")]
    return [*known, _needed(answer, plant), _reel(answer, plant)]
