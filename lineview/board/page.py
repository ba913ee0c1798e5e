"""From an address to what the page shows; nothing here is worked out, only asked for and arranged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dash import html

from lineview.answers.answer import Answer
from lineview.board.address import NAMES, Address
from lineview.board.answer_page import answer_page, cautions, fault_page, sentence
from lineview.board.bags_page import CAUTIONS, SENTENCE, bags_form
from lineview.board.header import header, opening
from lineview.board.intake_page import give_form, intake_page, intake_sentence
from lineview.board.notes import adjustment_form, reasons_form
from lineview.board.wall import SCALE, wall_page
from lineview.charts.look import Look
from lineview.charts.theme import DAY, NIGHT
from lineview.errors import LineviewError, PlantError
from lineview.plant import Plant
from lineview.works import Works


@dataclass(frozen=True)
class Page:
    """What the frame's places hold: head, sentence, page, foot, and the window's title."""

    head: list[Any]
    sentence: list[Any]
    below: list[Any]
    foot: list[Any] = field(default_factory=list)
    title: str = ""


def look_of(plant: Plant, address: Address, screen: Mapping[str, Any]) -> Look:
    """Give how pictures are drawn on this screen.

    Parameters
    ----------
    plant : Plant
        Units, zone, names.
    address : Address
        The wall draws larger.
    screen : mapping
        "theme" ("day" or "night") and "narrow", as the browser says.

    Returns
    -------
    Look
        For the charts.
    """
    tokens = NIGHT if screen.get("theme") == "night" else DAY
    wall = address.page == "wall"
    return Look(plant, tokens, bool(screen.get("narrow")) and not wall, SCALE if wall else 1.0)


def page_of(works: Works, address: Address, screen: Mapping[str, Any]) -> Page:
    """Give the page at an address.

    Parameters
    ----------
    works : Works
        The works.
    address : Address
        What is asked.
    screen : mapping
        As in look_of.

    Returns
    -------
    Page
        A fault is a page too: its sentence says what is wrong.
    """
    try:
        plant = works.plant
    except PlantError as error:
        said, below = fault_page(error, "The plant description cannot be used")
        return Page(opening(""), said, below, cautions(None))
    try:
        if address.question is not None:
            return _answered(works, address, look_of(plant, address, screen))
        if address.page == "bags":
            foot = [html.P(text) for text in CAUTIONS]
            return _page(works, plant, address, {}, [SENTENCE], [], foot)
        if address.page == "intake":
            told = intake_sentence(works.store.intakes())
            return _page(works, plant, address, {}, [told], intake_page(works, plant, address), [])
        return _page(works, plant, address, {}, ["There is no page at this address."], [], [])
    except LineviewError as error:
        said, below = fault_page(error)
        return _page(works, plant, address, {}, said, below, cautions(None))


def _answered(works: Works, address: Address, look: Look) -> Page:
    answer, plant = works.ask(address.asked), look.plant
    names = _names(plant, answer)
    if address.page == "wall":
        where = " · ".join(names[k] for k in ("line", "machine", "period") if names.get(k))
        head = [html.Span(plant.shop, className="shop"), html.Span(where, className="where")]
        return Page(head, sentence(answer.sentence), wall_page(answer, look), [], plant.shop)
    below = answer_page(answer, look, address)
    return _page(works, plant, address, names, sentence(answer.sentence), below, cautions(answer))


def _names(plant: Plant, answer: Answer) -> dict[str, str]:
    machine = plant.machine(answer.scope.machine)
    line = next((one.name or one.id for one in plant.lines if one.id == answer.scope.line), "")
    return {
        "line": line or answer.scope.line,
        "machine": machine.shown if machine else answer.scope.machine,
        "period": answer.scope.label,
    }


def _page(
    works: Works,
    plant: Plant,
    address: Address,
    names: dict[str, str],
    said: list[Any],
    below: list[Any],
    foot: list[Any],
) -> Page:
    title = " · ".join(part for part in (NAMES.get(address.page, ""), plant.shop) if part)
    try:
        head = header(works, plant, address, names)
    except LineviewError:  # nothing to pick from yet; the page's own fault says why
        head = header(works, plant, Address("intake"), names)
    return Page(head, said, below, foot, title)


def forms_of(works: Works, address: Address) -> tuple[list[Any], list[Any]]:
    """Give what a person can write on a page; kept apart so that a refresh never wipes what is typed.

    Parameters
    ----------
    works : Works
        The works.
    address : Address
        Of the page.

    Returns
    -------
    (list, list)
        What stands above the page's lists, and what stands below its answer.
    """
    try:
        plant = works.plant
        if address.page not in ("shift", "rope"):
            return _unasked(plant, address)
        answer = works.ask(address.asked)
    except LineviewError:  # the page itself says what is wrong
        return [], []
    if address.page == "rope":
        return [], [adjustment_form(answer, plant)]
    form = reasons_form(answer, plant)
    wall = html.A("Show this shift on the wall", href=address.on("wall").href, className="wall-link")
    return [], [*([form] if form is not None else []), html.P(wall)]


def _unasked(plant: Plant, address: Address) -> tuple[list[Any], list[Any]]:
    """Give the forms that need no answer."""
    if address.page == "intake":
        return give_form(), []
    if address.page == "bags":
        return bags_form(plant), []
    if address.page == "weight":
        link = html.A("Check weighed bags of a lot", href=address.on("bags").href)
        return [], [html.P(link, className="acts")]
    return [], []
