"""What became of an export just given: a receipt, a layout to accept, or what is wrong with it."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from lineview import show
from lineview.board.address import Address
from lineview.board.tables import frame_table, plain_table
from lineview.board.upload import TakeOutcome
from lineview.intake.export import Proposal
from lineview.plant import Plant


def outcome(told: TakeOutcome, plant: Plant) -> list[Any]:
    """Give an outcome as a part of the intake page.

    Parameters
    ----------
    told : TakeOutcome
        From lineview.board.upload.
    plant : Plant
        Units and zone.

    Returns
    -------
    list
        Dash components.
    """
    if told.proposal is not None:
        return _proposal(told, told.proposal, plant)
    if told.faults:
        return faulty(told)
    rows = [[words, show.number(count)] for words, count in told.counts.items()]
    shown: list[Any] = [html.P(told.receipt or f"{told.file_name} was taken in.", className="told")]
    if rows:
        shown.append(plain_table(f"Rows of {told.file_name}", ["rows", "count"], rows, [False, True]))
    if told.intake is not None:
        shown.append(dcc.Link("its refusals", href=Address("intake", intake=told.intake).href))
    return shown


def faulty(told: TakeOutcome) -> list[Any]:
    """Give why an export was not taken in.

    Parameters
    ----------
    told : TakeOutcome
        With its faults.

    Returns
    -------
    list
        Dash components.
    """
    return [
        html.P(f"{told.file_name} was not taken in; nothing of it was kept.", className="told"),
        html.Ul([html.Li(str(fault)) for fault in told.faults], className="faults", role="alert"),
    ]


def _proposal(told: TakeOutcome, proposal: Proposal, plant: Plant) -> list[Any]:
    layout = proposal.layout
    meant = [[header, target.to, target.unit or ""] for header, target in layout.columns.items()]
    asked = [
        html.Fieldset(
            [
                html.Legend(question.text),
                dcc.RadioItems(
                    options=[
                        {"label": f"{value} — {meaning}", "value": value}
                        for value, meaning in question.options
                    ],
                    id={"kind": "settle", "about": question.about},
                ),
            ]
        )
        for question in proposal.questions
    ]
    faults = html.Ul([html.Li(str(f)) for f in told.faults], className="faults", role="alert")
    return [
        html.P(
            f"No layout in the plant description fits {told.file_name}. It looks like this one:",
            className="told",
        ),
        *([faults] if told.faults else []),
        plain_table(
            f"Proposed layout “{layout.id}”, an export of {layout.kind}",
            ["header in the file", "means", "unit"],
            meant,
            [False] * 3,
        ),
        frame_table("What it would read, the first rows", proposal.sample.head(8), plant),
        *[html.P(note, className="soft") for note in proposal.notes],
        *asked,
        html.Button(
            "Accept this layout and take the file in", id={"kind": "accept", "file": "given"}, type="button"
        ),
    ]
