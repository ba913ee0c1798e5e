"""What happens on a page: the address decides what is shown, a poll looks for new data, forms write."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate

from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.board.bags_page import bind_bags
from lineview.board.intake_page import TakeOutcome, decoded, faulty, outcome, take_upload
from lineview.board.layout import chosen_stops, forms_of, page_of
from lineview.board.patterns_form import bind_patterns
from lineview.core.errors import LineviewError
from lineview.plant.periods import moment


def bind(app: Dash, works: Works) -> None:
    """Bind every callback to this app."""
    _bind_showing(app, works)
    _bind_screen(app)
    _bind_picking(app)
    _bind_taking(app, works)
    _bind_writing(app, works)
    bind_bags(app)
    bind_patterns(app, works)


def _clientside(name: str) -> ClientsideFunction:
    return ClientsideFunction(namespace="lineview", function_name=name)


def _bind_showing(app: Dash, works: Works) -> None:
    def show(pathname: str, search: str, screen: dict[str, Any] | None, _version: object, shown: str | None) -> Any:
        if screen is None:  # the browser has not yet said whether it is night
            raise PreventUpdate
        page = page_of(works, read_address(pathname, search), screen)
        here = f"{pathname}{search}"
        return (page.head, page.sentence, page.below, page.foot, page.title, no_update if here == shown else here)

    def forms(shown: str | None, pathname: str, search: str) -> Any:
        if shown is None:
            raise PreventUpdate
        above, below = forms_of(works, read_address(pathname, search))
        return above, below, []  # what became of an export goes with its page

    def look_again(_ticks: int, known: object) -> Any:
        version = works.version()
        return no_update if version == known else version

    places = [("head", "children"), ("sentence", "children"), ("page", "children"), ("foot", "children")]
    at = [Input("address", "pathname"), Input("address", "search")]
    app.callback(
        *[Output(*place) for place in places],
        Output("title", "data"),
        Output("shown", "data"),
        *at,
        Input("screen", "data"),
        Input("version", "data"),
        State("shown", "data"),
    )(show)
    # forms follow the page, so that they find its answer worked out, and stay as they are on a refresh
    where = [State("address", "pathname"), State("address", "search")]
    app.callback(
        Output("above", "children"),
        Output("below", "children"),
        Output("outcome", "children", allow_duplicate=True),
        Input("shown", "data"),
        *where,
        prevent_initial_call=True,
    )(forms)
    app.callback(
        Output("version", "data"), Input("tick", "n_intervals"), State("version", "data"), prevent_initial_call=True
    )(look_again)


def _bind_screen(app: Dash) -> None:
    app.clientside_callback(  # type: ignore[no-untyped-call]  # Dash leaves it bare
        _clientside("screen"), Output("screen", "data"), Output("theme", "children"), Input("theme", "n_clicks")
    )
    app.clientside_callback(  # type: ignore[no-untyped-call]  # likewise
        _clientside("titled"), Output("board", "className"), Input("title", "data"), Input("address", "pathname")
    )


def _bind_picking(app: Dash) -> None:
    def pick_days(clicks: int | None, first: str, last: str, pathname: str, search: str) -> Any:
        if not clicks:
            raise PreventUpdate
        try:
            days = [date.fromisoformat((text or "").strip()) for text in (first, last or first)]
        except ValueError:
            return no_update, "Write both days as 2026-06-08."
        if days[1] < days[0]:
            return no_update, "The first day is after the last."
        there = read_address(pathname, search).with_period(f"{days[0]}..{days[1]}")
        return "?" + there.href.partition("?")[2], ""

    app.callback(
        Output("address", "search"),
        Output("day-fault", "children"),
        Input("day-show", "n_clicks"),
        State("day-from", "value"),
        State("day-to", "value"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )(pick_days)


def _taken(works: Works, name: str, contents: str, accept: bool, settled: dict[str, str]) -> list[Any]:
    """Take a dropped file in and say what became of it."""
    try:
        plant = works.plant
        return outcome(take_upload(works, name, decoded(contents, name), accept, settled), plant)
    except LineviewError as error:
        return faulty(TakeOutcome(name, faults=error.faults))


def _bind_taking(app: Dash, works: Works) -> None:
    def take(contents: str | None, name: str) -> Any:
        if not contents:
            raise PreventUpdate
        return _taken(works, name, contents, False, {}), works.version()

    def accept(
        clicks: list[int | None], contents: str, name: str, answers: list[str | None], asked: list[dict[str, str]]
    ) -> Any:
        if not any(clicks):
            raise PreventUpdate
        settled = {one["about"]: given for one, given in zip(asked, answers, strict=True) if given}
        return _taken(works, name, contents, True, settled), works.version()

    def undo(clicks: list[int | None]) -> Any:
        number = (ctx.triggered_id or {}).get("intake")
        if not any(clicks) or number is None:
            raise PreventUpdate
        try:
            works.undo(int(number))
        except LineviewError as error:
            return str(error), no_update
        return f"Intake {number} was undone.", works.version()

    told = [Output("outcome", "children"), Output("version", "data", allow_duplicate=True)]
    again = [Output("outcome", "children", allow_duplicate=True), told[1]]
    given = [State("export", "contents"), State("export", "filename")]
    app.callback(*told, Input("export", "contents"), given[1], prevent_initial_call=True)(take)
    app.callback(
        *again,
        Input({"kind": "accept", "file": ALL}, "n_clicks"),
        *given,
        State({"kind": "settle", "about": ALL}, "value"),
        State({"kind": "settle", "about": ALL}, "id"),
        prevent_initial_call=True,
    )(accept)
    app.callback(*again, Input({"kind": "undo", "intake": ALL}, "n_clicks"), prevent_initial_call=True)(undo)


def _bind_writing(app: Dash, works: Works) -> None:
    def machine_of(pathname: str, search: str, page: str) -> str:
        return works.ask(replace(read_address(pathname, search), page=page).asked).scope.machine

    def set_reason(clicks: int | None, stops: list[str], reason: str, pathname: str, search: str) -> Any:
        if not clicks:
            raise PreventUpdate
        if not stops or not (reason or "").strip():
            return "Tick at least one stop and enter a reason.", no_update
        try:
            machine = machine_of(pathname, search, "shift")
            for start, end in chosen_stops(stops):
                works.set_stop_reason(machine, start, end, reason.strip())
        except LineviewError as error:
            return str(error), no_update
        return f"“{reason.strip()}” is set for {len(stops)} stop{'s' * (len(stops) > 1)}.", works.version()

    def adjust(clicks: int | None, at: str, what: str, note: str, pathname: str, search: str) -> Any:
        if not clicks:
            raise PreventUpdate
        if not (what or "").strip():
            return "Enter what was done.", no_update
        try:
            when = moment(at or "", works.plant.tz, "when", datetime.now(UTC))
            machine = machine_of(pathname, search, "rope")
            works.note_adjustment(machine, when, what.strip(), (note or "").strip())
        except LineviewError as error:
            return str(error), no_update
        return "Saved; the answer counts from it.", works.version()

    version = Output("version", "data", allow_duplicate=True)
    where = [State("address", "pathname"), State("address", "search")]
    app.callback(
        Output("reason-told", "children"),
        version,
        Input("set-reason", "n_clicks"),
        State("stops", "value"),
        State("reason", "value"),
        *where,
        prevent_initial_call=True,
    )(set_reason)
    app.callback(
        Output("adjustment-told", "children"),
        version,
        Input("set-adjustment", "n_clicks"),
        State("adjusted-at", "value"),
        State("adjusted-what", "value"),
        State("adjusted-note", "value"),
        *where,
        prevent_initial_call=True,
    )(adjust)
