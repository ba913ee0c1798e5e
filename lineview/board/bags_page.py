"""The page that checks weighed bags of a lot against their label: its form, and what came out."""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, dcc, html, no_update
from dash.exceptions import PreventUpdate

from lineview.app.bags import CAUTION, LotWords, check_bags, lot_words, read_masses
from lineview.board.calls import Calls
from lineview.board.components import aria
from lineview.board.intake_page import decoded, upload_field
from lineview.core.errors import AskError, Fault, IntakeError, LineviewError
from lineview.core.language import mark, tr, two_ways, typed_number
from lineview.plant import Plant

SENTENCE = mark("Check weighed bags of a lot against their label.")
SOFT = mark("The net-contents check an inspector would make; “lineview bags” does the same.")
#: Rules to check by, in the words of their documents.
RULES = (("eu", "76/211/EEC (EU, UK)"), ("hb133", "NIST Handbook 133, Category A (US)"), ("r87", "OIML R 87"))
#: A file of masses is small; a larger one is sent, up to this, so that its fault can be shown.
FILE_LIMIT_BYTES = 10_000_000
TEXT_LIMIT = 200_000
CAUTIONS = (CAUTION, mark("Label, rules and sample size follow local law; the tables say which edition they are of."))


def bags_form(plant: Plant) -> list[Any]:
    """The form."""
    usual = "hb133" if plant.units == "US" else "eu"
    what = tr(" — text or CSV with one mass a line; it is put into the field above.")
    return [
        html.P(tr(SOFT), className="soft lead"),
        html.Div(
            [
                html.Label(
                    [
                        tr("Masses of the weighed bags, one a line, g"),
                        dcc.Textarea(id="bags-masses", value="", rows=8, maxLength=TEXT_LIMIT, spellCheck=False),
                    ],
                    htmlFor="bags-masses",
                ),
                upload_field(
                    "bags-file", tr("Or upload a file"), [what], tr("Upload a file of masses"), FILE_LIMIT_BYTES
                ),
                html.Div(
                    [
                        _field("bags-label", tr("Net mass on the label, g"), "250"),
                        _field("bags-lot", tr("Bags in the lot"), "400"),
                        _field("bags-tare", tr("Empty bag, taken off each, g"), "0"),
                    ],
                    className="fields",
                ),
                html.Fieldset(
                    [
                        html.Legend(tr("Rules")),
                        dcc.RadioItems(
                            options=[{"label": name, "value": key} for key, name in RULES], value=usual, id="bags-rules"
                        ),
                    ]
                ),
                html.Button(tr("Check the lot"), id="bags-check", type="button"),
            ],
            className="form",
        ),
        html.Div(id="bags-told", role="status", **aria(live="polite")),
    ]


def _field(name: str, words: str, example: str) -> html.Label:
    field = dcc.Input(id=name, type="text", maxLength=20, placeholder=example)
    return html.Label([words, field], htmlFor=name)


def lot_parts(words: LotWords) -> list[Any]:
    """What came out; a lot that does not pass needs a person and is marked."""
    verdict = words.verdict if words.passed else html.Mark(words.verdict, className="call")
    return [
        html.H2(verdict, className="sentence"),
        html.Ul([html.Li(reason) for reason in words.reasons], className="reasons"),
        html.P(words.numbers),
        html.P(words.banner, className="soft"),
    ]


def fault_parts(error: LineviewError) -> list[Any]:
    """Why nothing could be checked; what was typed stays where it is."""
    return [
        html.P(tr("The lot was not checked."), className="told"),
        html.Ul([html.Li(str(fault)) for fault in error.faults], className="faults", role="alert"),
    ]


def bind_bags(calls: Calls) -> None:
    """Bind the page's callbacks; nothing is kept and nothing is written."""

    def fill(contents: str | None, name: str | None) -> Any:
        if not contents:
            raise PreventUpdate
        try:
            return file_text(contents, name or tr("the file")), []
        except LineviewError as error:
            return no_update, fault_parts(error)

    def check(
        clicks: int | None, masses: str | None, label: str | None, lot: str | None, tare: str | None, rules: str
    ) -> Any:
        if not clicks:
            raise PreventUpdate
        try:
            return lot_parts(lot_words(checked(masses or "", label or "", lot or "", tare or "", rules)))
        except LineviewError as error:
            return fault_parts(error)

    calls.bind(
        "see",
        Output("bags-masses", "value"),
        Output("bags-told", "children", allow_duplicate=True),
        Input("bags-file", "contents"),
        State("bags-file", "filename"),
        prevent_initial_call=True,
    )(fill)
    calls.bind(
        "see",
        Output("bags-told", "children"),
        Input("bags-check", "n_clicks"),
        *[State(f"bags-{name}", "value") for name in ("masses", "label", "lot", "tare", "rules")],
        prevent_initial_call=True,
    )(check)


def file_text(contents: str, name: str) -> str:
    """The text of a dropped file."""
    data = decoded(contents, name)
    if len(data) > TEXT_LIMIT:
        raise IntakeError(
            Fault(tr("the file is too large"), name, tr("up to {most} kB of masses", most=TEXT_LIMIT // 1000))
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise IntakeError(Fault(tr("the file is not text"), name, tr("a text or CSV file, one mass a line")))
    return text


def checked(masses: str, label: str, lot: str, tare: str, rules: str) -> Any:
    """Check what stands in the form's fields."""
    faults: list[Fault] = []
    label_g = _number(label, tr("Net mass on the label"), faults, above=0.0)
    bags = _number(lot, tr("Bags in the lot"), faults, above=0.0)
    tare_g = _number(tare or "0", tr("Empty bag"), faults)
    if bags is not None and bags != int(bags):
        faults.append(Fault(tr("'{lot}' is not a whole number", lot=lot), tr("Bags in the lot"), tr("such as 400")))
    net_g: list[float] = []
    try:
        net_g = read_masses(masses[:TEXT_LIMIT], "masses", tare_g or 0.0)
    except LineviewError as error:
        faults += error.faults
    if faults or label_g is None or bags is None:
        raise AskError(faults)
    return check_bags(net_g, label_g, int(bags), rules)


def _number(text: str, where: str, faults: list[Fault], above: float | None = None) -> float | None:
    """Read a field's number, or add what is wrong with it."""
    entry, value = text.strip(), typed_number(text)
    expected = tr("a number above 0") if above is not None else tr("a number, 0 or more")
    if not entry:
        faults.append(Fault(tr("no value was given"), where, expected))
        return None
    if not 0 <= value < 1e9 or (above is not None and not value > above):
        faults.append(Fault(tr("'{entry}' is not allowed here", entry=entry), where, two_ways(entry) or expected))
        return None
    return value
