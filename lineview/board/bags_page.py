"""The page that checks weighed bags of a lot against their label: its form, and what came out."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from lineview.board.aria import aria
from lineview.errors import LineviewError
from lineview.plant import Plant
from lineview.weighed_bags import CAUTION, LotWords

SENTENCE = "Check weighed bags of a lot against their label."
SOFT = "What an inspector would work out, so that you know before one comes; “lineview bags” does the same."
#: Rules to check by, in the words of their documents.
RULES = (
    ("eu", "76/211/EEC (EU, UK)"),
    ("hb133", "NIST Handbook 133, Category A (US)"),
    ("r87", "OIML R 87"),
)
#: A file of masses is small; a larger one is sent, up to this, so that its fault can be told.
FILE_LIMIT_BYTES = 10_000_000
TEXT_LIMIT = 200_000
CAUTIONS = (
    CAUTION,
    "Label, rules and sample size follow local law; the tables say which edition they are of.",
)


def bags_form(plant: Plant) -> list[Any]:
    """Give the form.

    Parameters
    ----------
    plant : Plant
        Its units choose the rules that are set at first.

    Returns
    -------
    list
        Dash components.
    """
    usual = "hb133" if plant.units == "US" else "eu"
    return [
        html.P(SOFT, className="soft lead"),
        html.Div(
            [
                html.Label(
                    [
                        "Masses of the weighed bags, one a line, g",
                        dcc.Textarea(
                            id="bags-masses", value="", rows=8, maxLength=TEXT_LIMIT, spellCheck=False
                        ),
                    ],
                    htmlFor="bags-masses",
                ),
                _upload(),
                html.Div(
                    [
                        _field("bags-label", "Net mass on the label, g", "250"),
                        _field("bags-lot", "Bags in the lot", "400"),
                        _field("bags-tare", "Empty bag, taken off each, g", "0"),
                    ],
                    className="fields",
                ),
                html.Fieldset(
                    [
                        html.Legend("Rules"),
                        dcc.RadioItems(
                            options=[{"label": name, "value": key} for key, name in RULES],
                            value=usual,
                            id="bags-rules",
                        ),
                    ]
                ),
                html.Button("Check the lot", id="bags-check", type="button"),
            ],
            className="form",
        ),
        html.Div(id="bags-told", role="status", **aria(live="polite")),
    ]


def _field(name: str, words: str, example: str) -> html.Label:
    field = dcc.Input(id=name, type="text", maxLength=20, placeholder=example)
    return html.Label([words, field], htmlFor=name)


def _upload() -> dcc.Upload:
    return dcc.Upload(
        html.Div(
            [
                html.Strong("Or give a file"),
                html.Span(
                    " — text or CSV with one mass a line; it is put into the field above.", className="soft"
                ),
            ],
            role="button",
            tabIndex=0,
            **aria(label="Give a file of masses"),
        ),
        id="bags-file",
        className="give",
        className_active="give over",
        className_reject="give",
        max_size=FILE_LIMIT_BYTES,
    )


def lot_told(words: LotWords) -> list[Any]:
    """Give what came out; a lot that does not pass needs a person and is marked.

    Parameters
    ----------
    words : LotWords
        As on the command line.

    Returns
    -------
    list
        Dash components.
    """
    verdict = words.verdict if words.passed else html.Mark(words.verdict, className="call")
    return [
        html.H2(verdict, className="sentence"),
        html.Ul([html.Li(reason) for reason in words.reasons], className="reasons"),
        html.P(words.numbers),
        html.P(words.banner, className="soft"),
    ]


def faults_told(error: LineviewError) -> list[Any]:
    """Give why nothing could be checked; what was typed stays where it is.

    Parameters
    ----------
    error : LineviewError
        With all its faults.

    Returns
    -------
    list
        Dash components.
    """
    return [
        html.P("The lot was not checked.", className="told"),
        html.Ul([html.Li(str(fault)) for fault in error.faults], className="faults", role="alert"),
    ]
