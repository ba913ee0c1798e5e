"""What happens on a page: the address decides what is shown, a poll looks for new data, forms write."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate
from flask import g

from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.board.bags_page import bind_bags
from lineview.board.calls import Calls
from lineview.board.guard import person
from lineview.board.intake_page import TakeOutcome, decoded, faulty, outcome, take_upload
from lineview.board.kept_pages import KeptPages, look
from lineview.board.layout import chosen_stops, forms_of, page_of, unfinished
from lineview.board.patterns_form import bind_patterns, reason_set
from lineview.board.trials_form import bind_trials
from lineview.board.what_if_form import bind_what_if
from lineview.board.written import REASON_LENGTH
from lineview.core.errors import AskError, LineviewError
from lineview.core.language import tr
from lineview.plant.periods import read_wall_time
from lineview.report.answer import Answer


def bind(calls: Calls, works: Works, pages: KeptPages | None = None) -> None:
    """Bind every callback to this app."""
    _bind_showing(calls, works, pages)
    _bind_screen(calls.app)
    _bind_picking(calls)
    _bind_taking(calls, works)
    _bind_writing(calls, works)
    bind_bags(calls)
    bind_patterns(calls, works)
    bind_what_if(calls)
    bind_trials(calls, works)


def _clientside(name: str) -> ClientsideFunction:
    return ClientsideFunction(namespace="lineview", function_name=name)


def _bind_showing(calls: Calls, works: Works, pages: KeptPages | None) -> None:
    def show(pathname: str, search: str, screen: dict[str, Any] | None, _version: object, on_screen: str | None) -> Any:
        if screen is None:  # the browser has not yet said whether it is night
            raise PreventUpdate
        missing = g.get("not_there")
        if missing is not None:
            page = unfinished(works, read_address(pathname, search), missing.words, waits=missing.waits)
            here = on_screen or ""  # its forms are asked for when it is there
        else:
            page = page_of(works, read_address(pathname, search), screen, person())
            here = f"{pathname}{search}"
        there = no_update if here == (on_screen or "") else here
        working = missing.words if missing is not None and missing.waits else ""
        return page.head, page.sentence, page.facts, page.below, page.foot, page.title, there, working

    def forms(on_screen: str | None, pathname: str, search: str) -> Any:
        if on_screen is None:
            raise PreventUpdate
        above, below = forms_of(works, read_address(pathname, search), person())
        return above, below, []  # what became of an export goes with its page

    def look_again(_ticks: int, _soon: int, known: str, working: str | None, *at: Any) -> Any:
        if pages is None:
            version = works.version()
            return (no_update if version == known else version), "" if working else no_update
        values = dict(zip(("address.pathname", "address.search", "screen.data"), at, strict=True))
        replies = look(pages, values, known or "", working or "")
        return tuple(no_update if reply is None else reply for reply in replies)

    places = ("head", "sentence", "facts", "page", "foot")
    at = [Input("address", "pathname"), Input("address", "search")]
    calls.bind(
        "see",
        *[Output(place, "children") for place in places],
        Output("title", "data"),
        Output("shown", "data"),
        Output("under-way", "children"),
        *at,
        Input("screen", "data"),
        Input("version", "data"),
        State("shown", "data"),
    )(show)
    # forms follow the page, so that they find its answer worked out, and stay as they are on a refresh
    where = [State("address", "pathname"), State("address", "search")]
    calls.bind(
        "see",
        Output("above", "children"),
        Output("below", "children"),
        Output("outcome", "children", allow_duplicate=True),
        Input("shown", "data"),
        *where,
        prevent_initial_call=True,
    )(forms)
    calls.bind(
        "see",
        Output("version", "data"),
        Output("under-way", "children", allow_duplicate=True),
        Input("tick", "n_intervals"),
        Input("soon", "n_intervals"),
        State("version", "data"),
        State("under-way", "children"),
        *where,
        State("screen", "data"),
        prevent_initial_call=True,
    )(look_again)


def _bind_screen(app: Dash) -> None:
    stops = [Output("stops", "options"), Output("stops", "value"), Output("stops-alike", "children")]
    ticked = [State("stops", "options"), State("stops", "value")]
    bound: dict[str, list[Any]] = {
        "screen": [Output("screen", "data"), Output("theme", "children"), Input("theme", "n_clicks")],
        "rests": [Output("soon", "disabled"), Input("under-way", "children")],
        "ticked": [Output("stops-ticked", "children"), Input("stops", "value"), ticked[0]],
        "stopsNow": [*stops, Input("stops-now", "data"), *ticked],
        "titled": [Output("board", "className"), Input("title", "data"), Input("address", "pathname")],
    }
    for name, places in bound.items():
        app.clientside_callback(_clientside(name), *places)  # type: ignore[no-untyped-call]  # Dash has no types for it


def _bind_picking(calls: Calls) -> None:
    def pick_days(clicks: int | None, first: str, last: str, pathname: str, search: str) -> Any:
        if not clicks:
            raise PreventUpdate
        try:
            days = [read_wall_time(text or "", "").date() for text in (first, last or first)]
        except AskError:
            return no_update, tr("Write both days as 2026-06-08.")
        if days[1] < days[0]:
            return no_update, tr("The first day is after the last.")
        there = read_address(pathname, search).with_period(f"{days[0]}..{days[1]}")
        return "?" + there.href.partition("?")[2], ""

    press = [Output("address", "search"), Output("day-fault", "children"), Input("day-show", "n_clicks")]
    typed = [State("day-from", "value"), State("day-to", "value")]
    where = [State("address", "pathname"), State("address", "search")]
    calls.bind("see", *press, *typed, *where, prevent_initial_call=True)(pick_days)


def _take_file(works: Works, name: str | None, contents: str | None, accept: bool, chosen: dict[str, str]) -> list[Any]:
    """Take a dropped file in and say what became of it."""
    file_name = name or ""
    try:
        plant = works.plant
        data = decoded(contents or "", file_name)
        return outcome(take_upload(works, file_name, lambda path: path.write_bytes(data), accept, chosen), plant)
    except LineviewError as error:
        return faulty(TakeOutcome(file_name, faults=error.faults))


def _bind_taking(calls: Calls, works: Works) -> None:
    def take(contents: str | None, name: str | None) -> Any:
        if not contents:
            raise PreventUpdate
        return _take_file(works, name, contents, False, {}), works.version()

    def accept(
        clicks: list[int | None],
        contents: str | None,
        name: str | None,
        answers: list[str | None],
        questions: list[dict[str, str]],
    ) -> Any:
        if not any(clicks):
            raise PreventUpdate
        chosen = {question["about"]: upload for question, upload in zip(questions, answers, strict=False) if upload}
        return _take_file(works, name, contents, True, chosen), works.version()

    def undo(clicks: list[int | None]) -> Any:
        number = (ctx.triggered_id or {}).get("intake")
        if not any(clicks) or number is None:
            raise PreventUpdate
        try:
            works.undo(int(number))
        except LineviewError as error:
            return str(error), no_update
        return tr("Intake {number} was undone.", number=number), works.version()

    outcome_and_version = [Output("outcome", "children"), Output("version", "data", allow_duplicate=True)]
    again = [Output("outcome", "children", allow_duplicate=True), outcome_and_version[1]]
    upload = [State("export", "contents"), State("export", "filename")]
    calls.bind("take in", *outcome_and_version, Input("export", "contents"), upload[1], prevent_initial_call=True)(take)
    press = Input({"kind": "accept", "file": ALL}, "n_clicks")
    settled = [State({"kind": "settle", "about": ALL}, part) for part in ("value", "id")]
    calls.bind("take in", *again, press, *upload, *settled, prevent_initial_call=True)(accept)
    calls.bind(
        "take in", *again, Input({"kind": "undo", "intake": ALL, "of": ALL}, "n_clicks"), prevent_initial_call=True
    )(undo)


def _bind_writing(calls: Calls, works: Works) -> None:
    def answer_of(pathname: str, search: str, page: str) -> Answer:
        return works.ask(replace(read_address(pathname, search), page=page).question_scope)

    def set_reason(clicks: int | None, stops: list[str], reason: str, pathname: str, search: str) -> Any:
        if not clicks:
            raise PreventUpdate
        as_it_is = no_update, no_update
        if not stops or not (reason or "").strip():
            return tr("Tick at least one stop and enter a reason."), *as_it_is
        if len(reason) > REASON_LENGTH:
            return tr("A reason has up to {most} characters.", most=REASON_LENGTH), *as_it_is
        try:
            answer = answer_of(pathname, search, "shift")
            chosen, machine = chosen_stops(stops, answer), answer.scope.machine
            if len(chosen) == 1:
                works.set_stop_reason(machine, *chosen[0], reason.strip())
            else:
                works.set_stop_reasons(machine, chosen, reason.strip())
        except LineviewError as error:
            return str(error), *as_it_is
        return reason_set(reason.strip(), len(stops)), works.version(), []  # none stays ticked for the next reason

    version = Output("version", "data", allow_duplicate=True)
    where = [State("address", "pathname"), State("address", "search")]
    calls.bind(
        "note",
        Output("reason-told", "children"),
        version,
        Output("stops", "value", allow_duplicate=True),
        Input("set-reason", "n_clicks"),
        State("stops", "value"),
        State("reason", "value"),
        *where,
        prevent_initial_call=True,
    )(set_reason)
