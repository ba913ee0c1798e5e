"""What people write down on the board: why a machine stood, and what was done to it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dash import dcc, html

from lineview import show
from lineview.answers.answer import Answer
from lineview.plant import Plant

#: States whose reason a person can know.
ASKED = ("stop", "short stop")
#: Rows of the form at most; the longest unexplained stops come first.
MOST_STOPS = 40


def reasons_form(answer: Answer, plant: Plant) -> html.Details | None:
    """Give the form that sets the reason of one stop or a run of stops.

    Parameters
    ----------
    answer : Answer
        The shift's, with its tape.
    plant : Plant
        Its zone.

    Returns
    -------
    dash.html.Details or None
        None where the tape has no stop.
    """
    tape = answer.series.get("tape")
    stops = [] if tape is None else [r for r in tape.iter_rows(named=True) if r["state"] in ASKED]
    if not stops:
        return None
    stops.sort(key=lambda r: (bool(r["reason"]), r["start"] - r["end"]))
    options = [
        {"label": _stop_words(r, plant), "value": f"{r['start'].isoformat()}|{r['end'].isoformat()}"}
        for r in stops[:MOST_STOPS]
    ]
    return html.Details(
        [
            html.Summary("Say why it stood"),
            html.Fieldset(
                [
                    html.Legend("Stops"),
                    dcc.Checklist(options=options, value=[], id="stops", className="stops"),
                ]
            ),
            html.Label(
                ["Reason, in your own words", dcc.Input(id="reason", type="text", maxLength=80, value="")]
            ),
            html.Button("Set the reason", id="set-reason", type="button"),
            html.P("", id="reason-told", role="status"),
        ],
        className="fold form",
        id="reasons",
    )


def _stop_words(row: dict[str, Any], plant: Plant) -> str:
    minutes = (row["end"] - row["start"]).total_seconds() / 60
    times = f"{show.moment(row['start'], plant)} to {show.moment(row['end'], plant, day=False)}"
    return f"{times}, {show.number(minutes, 1)} min, {row['reason'] or 'reason not set'}"


def chosen_stops(values: Sequence[str]) -> list[tuple[datetime, datetime]]:
    """Read the stops a person ticked.

    Parameters
    ----------
    values : sequence of str
        As the form's options carry them.

    Returns
    -------
    list of (datetime, datetime)
        Start and end of each [UTC].

    Raises
    ------
    ValueError
        Where a value was not made by the form.
    """
    pairs = []
    for value in values:
        start, _, end = value.partition("|")
        pairs.append((datetime.fromisoformat(start), datetime.fromisoformat(end)))
    return pairs


def adjustment_form(answer: Answer, plant: Plant) -> html.Details:
    """Give the form that writes down an adjustment.

    Parameters
    ----------
    answer : Answer
        The rope's; its latest moment stands in the form.
    plant : Plant
        Its zone.

    Returns
    -------
    dash.html.Details
        Closed at first.
    """
    now = answer.scope.now.astimezone(plant.tz)
    return html.Details(
        [
            html.Summary("Write down an adjustment"),
            html.Label(
                [
                    f"When ({plant.zone})",
                    dcc.Input(id="adjusted-at", type="text", value=f"{now:%Y-%m-%d %H:%M}", maxLength=25),
                ]
            ),
            html.Label(
                [
                    "What was done",
                    dcc.Input(id="adjusted-what", type="text", maxLength=80, placeholder="pair 3 opened"),
                ]
            ),
            html.Label(["Note", dcc.Input(id="adjusted-note", type="text", maxLength=200)]),
            html.Button("Write it down", id="set-adjustment", type="button"),
            html.P("", id="adjustment-told", role="status"),
        ],
        className="fold form",
        id="adjustment",
    )
