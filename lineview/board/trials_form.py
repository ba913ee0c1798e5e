"""The week's trials: links to each, the form that notes one, and on a trial's page those that close and undo it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from dash import Input, Output, State, dcc, html, no_update
from dash.exceptions import PreventUpdate

from lineview.app.question import machines_asked
from lineview.app.trials import NO_LINE, SHORT, WORTH_PERCENT, TrialText, close_trial, note_trial, trial_words
from lineview.app.week_inputs import trials_of
from lineview.app.works import Works
from lineview.board.address import Address, on_a_page, read_address
from lineview.board.calls import Calls
from lineview.board.written import typed
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.language import in_digits, tr
from lineview.plant import Plant

#: Characters of what was changed, and of a decision.
MOST_CHARACTERS = 120
#: What the form sends: a field's part of its id, and of TrialText.
FIELDS = ("what", "begins", "line", "beside", "measure", "cause", "worth", "shifts")


def trials_form(works: Works, plant: Plant, address: Address, *, notes: bool) -> list[Any]:
    """The trials that stand, and, for those who may note, what can be done with them."""
    links = [
        html.Li(
            dcc.Link(
                tr("Trial {number}: {what}", number=trial.number, what=trial.what),
                href=Address("week", trial=trial.number).href,
            )
        )
        for trial in reversed(trials_of(works.store))
    ]
    listed = [html.H2(tr("Trials")), html.Ul(links, className="trials")] if links else []
    if address.trial is not None:
        return [*(_ending() if notes else []), *listed]
    return [*listed, *([_noting(plant)] if notes else [])]


def _noting(plant: Plant) -> html.Details:
    lines = list(dict.fromkeys(m.line for m in machines_asked(plant, "week")))
    names = {line.id: line.label for line in plant.lines}
    choices = [{"label": names.get(line, line), "value": line} for line in lines]
    beside = [{"label": tr("a line that is free, where there is one"), "value": ""}, *choices]
    beside.append({"label": tr("none: the time before alone"), "value": NO_LINE})
    measures = [{"label": tr(name), "value": short} for short, name in SHORT.items()]
    return html.Details(
        [
            html.Summary(tr("Note a trial: what was changed, to see whether it helps")),
            _text("what", tr("What was changed"), tr("new knife")),
            _text("begins", tr("From when on ({zone})", zone=plant.zone), typed(datetime.now(UTC), plant)[:10]),
            _choice("line", tr("Line that was changed"), choices, lines[0] if lines else None),
            _choice("beside", tr("Line beside it that was not changed"), beside, ""),
            _choice("measure", tr("Judged by"), measures, next(iter(SHORT))),
            _text("cause", tr("Or by a cause, as the table of losses names it"), tr("rejects")),
            html.Div(
                [
                    _text("worth", tr("Change worth having, %"), in_digits(f"{WORTH_PERCENT:g}")),
                    _text("shifts", tr("Shifts planned; empty: as many as show that change"), ""),
                ],
                className="fields",
            ),
            html.Button(tr("Note the trial"), id="note-trial", type="button"),
            html.Div("", id="trial-told", role="status"),
        ],
        className="fold form",
        id="trial-form",
    )


def _text(name: str, words: str, example: str) -> html.Label:
    field = dcc.Input(id=f"trial-{name}", type="text", maxLength=MOST_CHARACTERS, placeholder=example, value="")
    return html.Label([words, field])


def _choice(name: str, words: str, options: list[dict[str, str]], value: str | None) -> html.Fieldset:
    return html.Fieldset([html.Legend(words), dcc.RadioItems(options=options, value=value, id=f"trial-{name}")])


def _ending() -> list[Any]:
    decision = dcc.Input(id="trial-decision", type="text", maxLength=MOST_CHARACTERS, value="")
    buttons = [
        html.Button(tr("Close the trial"), id="close-trial", type="button"),
        html.Button(tr("Take back the last change"), id="undo-trial", type="button"),
    ]
    parts = [
        html.Summary(tr("Close this trial, or take back what was last said of it")),
        html.Label([tr("What was decided; the verdict is kept as it stands now"), decision]),
        html.Div(buttons, className="acts-of"),
        html.P("", id="trial-end-told", role="status"),
    ]
    return [html.Details(parts, className="fold form", id="trial-end")]


def _short(name: str, text: str | None) -> str:
    """What a field holds; an AskError is raised for more than it takes, which a browser does not send."""
    words = (text or "").strip()
    if len(words) > MOST_CHARACTERS:
        what = tr("{characters:,} characters", characters=len(words))
        raise AskError(Fault(what, name, tr("up to {most:,}", most=MOST_CHARACTERS)))
    return words


def bind_trials(calls: Calls, works: Works) -> None:
    """Bind noting, closing and undoing trials."""

    def note_a_trial(clicks: int | None, *texts: str | None) -> Any:
        if not clicks:
            raise PreventUpdate
        try:
            entries = {name: _short(name, text) for name, text in zip(FIELDS, texts, strict=True)}
            entries["measure"] = entries.pop("cause") or entries["measure"]
            trial = note_trial(works, TrialText(**{name: text or None for name, text in entries.items()}))
        except LineviewError as error:
            return html.Ul([html.Li(on_a_page(fault)) for fault in error.faults], className="faults"), no_update
        link = dcc.Link(tr("Show it"), href=Address("week", trial=trial.number).href)
        return html.P([trial_words(works, trial.number), " ", link]), works.version()

    def end_trial(clicks: int | None, where: tuple[str, ...], end: Callable[[int], str]) -> Any:
        number = read_address(*where).trial
        if not clicks or number is None:
            raise PreventUpdate
        try:
            return end(number), works.version()
        except LineviewError as error:
            return on_a_page(error), no_update

    def close_a_trial(clicks: int | None, decision: str | None, *where: str) -> Any:
        return end_trial(clicks, where, lambda number: close_trial(works, number, _short("decision", decision)))

    def undo_a_trial(clicks: int | None, *where: str) -> Any:
        nothing = tr("Nothing of trial {number} is left.", number=read_address(*where).trial)
        return end_trial(clicks, where, lambda number: tr("Taken back.") if works.store.undo_trial(number) else nothing)

    version = Output("version", "data", allow_duplicate=True)
    where = [State("address", "pathname"), State("address", "search")]
    fields = [State(f"trial-{name}", "value") for name in FIELDS]
    noting = Input("note-trial", "n_clicks")
    calls.bind("note", Output("trial-told", "children"), version, noting, *fields, prevent_initial_call=True)(
        note_a_trial
    )
    status = Output("trial-end-told", "children", allow_duplicate=True)
    closing = [Input("close-trial", "n_clicks"), State("trial-decision", "value")]
    calls.bind("note", status, version, *closing, *where, prevent_initial_call=True)(close_a_trial)
    calls.bind("note", status, version, Input("undo-trial", "n_clicks"), *where, prevent_initial_call=True)(
        undo_a_trial
    )
