"""The week's form that gives all stops of a pattern their reason at once, and takes it back."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import ALL, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.board.calls import Calls
from lineview.core.errors import LineviewError
from lineview.core.language import tr, tr_count
from lineview.plant import Plant
from lineview.report.answer import Answer

NO_STOPS = pl.DataFrame(schema={"machine": pl.String(), "words": pl.String()})


def patterns_form(answer: Answer, plant: Plant) -> list[Any]:
    """One reason to accept for each pattern; what was accepted last can be undone."""
    stops = answer.series.get("pattern_stops", pl.DataFrame())
    first = [pl.col("machine", "words", "reason").first(), pl.len().alias("n")]
    latest = stops.group_by("pattern", maintain_order=True).agg(first) if stops.height else stops
    offers = [_offer(row, plant) for row in latest.iter_rows(named=True)]
    undo = html.Button(tr("Undo"), id="undo-pattern", type="button", hidden=True)
    status = html.P([html.Span("", id="pattern-told", role="status"), " ", undo])
    mark_store = dcc.Store(id="pattern-mark")
    if not offers:
        return [html.Div([status, mark_store])]
    summary = html.Summary(tr("Give stops that recur their reason"))
    return [html.Details([summary, *offers, status, mark_store], className="fold form", id="patterns", open=True)]


def _offer(row: dict[str, Any], plant: Plant) -> html.Div:
    machine = plant.machine(row["machine"])
    name = machine.label if machine else row["machine"]
    key = f"{row['machine']}|{row['words']}"
    words = tr(
        "{machine} stops {when}: {count} stops without a reason", machine=name, when=tr(row["words"]), count=row["n"]
    )
    reason = dcc.Input(id={"kind": "pattern-reason", "pattern": key}, type="text", maxLength=80, value=row["reason"])
    set_all = tr("Set this reason for all {count}", count=row["n"])
    accept = html.Button(set_all, id={"kind": "accept-pattern", "pattern": key}, type="button")
    return html.Div([html.Label([words, reason]), accept])


def reason_set(reason: str, count: int) -> str:
    """The message when stops got a reason."""
    return tr_count("“{reason}” is set for {count} stop.", "“{reason}” is set for {count} stops.", count, reason=reason)


def bind_patterns(calls: Calls, works: Works) -> None:
    """Bind what the form does: setting a reason for all stops of a pattern, and undoing it."""

    def accept_pattern(
        clicks: list[int | None], reasons: list[str], ids: list[dict[str, Any]], path: str, search: str
    ) -> Any:
        if not any(clicks) or not ctx.triggered_id:
            raise PreventUpdate
        key = ctx.triggered_id["pattern"]
        reason = next((text for text, at in zip(reasons, ids, strict=False) if at.get("pattern") == key), "") or ""
        if not reason.strip():
            return tr("Enter a reason."), no_update, True, no_update
        try:
            stops = works.ask(read_address(path, search).question_scope).series.get("pattern_stops", NO_STOPS)
            rows = stops.filter(pl.concat_str("machine", "words", separator="|") == key)
            if not rows.height:
                gone = tr("These stops have a reason by now, or do not recur in this period.")
                return gone, no_update, True, no_update
            pairs = [(start, end) for start, end in rows.select("start", "end").iter_rows()]
            mark = works.set_stop_reasons(rows["machine"][0], pairs, reason.strip())
        except LineviewError as error:
            return str(error), no_update, True, no_update
        return (reason_set(reason.strip(), len(pairs)), mark, False, works.version())

    def undo_pattern(clicks: int | None, mark: int | None) -> Any:
        if not clicks or mark is None:
            raise PreventUpdate
        try:
            n = works.undo_stop_reasons(mark)
        except LineviewError as error:
            return str(error), True, no_update
        return tr_count("Undone for {count} stops.", "Undone for {count} stops.", n), True, works.version()

    status, hidden = Output("pattern-told", "children"), Output("undo-pattern", "hidden")
    version = Output("version", "data", allow_duplicate=True)
    accepting = Input({"kind": "accept-pattern", "pattern": ALL}, "n_clicks")
    reasons = [State({"kind": "pattern-reason", "pattern": ALL}, part) for part in ("value", "id")]
    where = [State("address", "pathname"), State("address", "search")]
    given = [status, Output("pattern-mark", "data"), hidden, version]
    calls.bind("note", *given, accepting, *reasons, *where, prevent_initial_call=True)(accept_pattern)
    told_again = Output("pattern-told", "children", allow_duplicate=True)
    outputs = [told_again, Output("undo-pattern", "hidden", allow_duplicate=True), version]
    undoing = [Input("undo-pattern", "n_clicks"), State("pattern-mark", "data")]
    calls.bind("note", *outputs, *undoing, prevent_initial_call=True)(undo_pattern)
