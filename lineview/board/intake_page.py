"""The intake page: give an export, see what became of it, list refusals and conflicts, take one back."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import dcc, html

from lineview import show, show_cells
from lineview.board.address import Address
from lineview.board.aria import aria
from lineview.board.tables import frame_table, plain_table
from lineview.plant import Plant
from lineview.works import Works

#: A browser holds a file twice as text while it is given this way; larger ones go the plain way.
DROP_LIMIT_BYTES = 10_000_000
REFUSALS_A_PAGE = 100
#: So many of the newest intakes stand open; the earlier ones are folded.
OPEN_INTAKES = 12


def give_form() -> list[Any]:
    """Give the form that takes an export in."""
    return [
        dcc.Upload(
            html.Div(
                [
                    html.Strong("Upload an export"),
                    html.Span(" — drop a file here, or press to choose one.", className="soft"),
                    html.Br(),
                    html.Span("CSV, XLSX or ODS, gzipped or not, up to 10 MB.", className="soft"),
                ],
                role="button",
                tabIndex=0,
                **aria(label="Upload an export: choose a file"),
            ),
            id="export",
            className="give",
            className_active="give over",
            className_reject="give",
            max_size=DROP_LIMIT_BYTES,
        ),
        html.P([html.A("Upload a larger file", href="/large"), " on a plain page."], className="soft"),
    ]


def intake_sentence(intakes: pl.DataFrame) -> str:
    """Give the page's sentence.

    Parameters
    ----------
    intakes : polars.DataFrame
        One row an intake.

    Returns
    -------
    str
        How many exports are in, and how many of their rows were refused.
    """
    if not intakes.height:
        return "No export has been taken in yet; give one below."
    said = f"{show.number(intakes.height)} export{'s have' if intakes.height > 1 else ' has'} been taken in"
    refused = int(intakes["refused"].sum()) if "refused" in intakes.columns else 0
    if not refused:
        return f"{said}."
    rows = "1 row was" if refused == 1 else f"{show.number(refused)} rows were"
    return f"{said}; {rows} refused, each with its reason."


def intake_page(works: Works, plant: Plant, address: Address) -> list[Any]:
    """Give the lists of the intake page.

    Parameters
    ----------
    works : Works
        Intakes, refusals, conflicts.
    plant : Plant
        Units and zone.
    address : Address
        Whose refusals are listed, and from where.

    Returns
    -------
    list
        Dash components.
    """
    intakes = works.store.intakes().reverse()
    page: list[Any] = [_refusals(works, plant, address)] if address.intake is not None else []
    conflicts = works.store.conflicts()
    if conflicts.height:  # before the long list: these need a person
        words = "Two exports say different things of one moment; none is settled in silence"
        page.append(frame_table(words, conflicts, plant))
    newest, earlier = intakes.head(OPEN_INTAKES), intakes.slice(OPEN_INTAKES)
    page.append(_intakes("Exports taken in, newest first", newest, plant, address))
    if earlier.height:
        words = f"Exports taken in earlier ({earlier.height})"
        folded = _intakes(words, earlier, plant, address)
        page.append(html.Details([html.Summary(words), folded], className="fold", id="earlier"))
    return page


def _intakes(title: str, intakes: pl.DataFrame, plant: Plant, address: Address) -> html.Div:
    key = "intake" if "intake" in intakes.columns else "id"
    names = [name for name in intakes.columns if name not in (key, "sha256", "undone")]
    rows = []
    for row in intakes.iter_rows(named=True):
        cells: list[Any] = [show_cells.cell(row[n], "", plant) for n in names]
        number = row.get(key)
        undone = bool(row.get("undone"))
        links: list[Any] = []
        if number is not None and row.get("refused", 1):
            listed = Address("intake", address.line, None, None, int(number)).href
            links.append(dcc.Link("refusals", href=listed, id={"kind": "refusals", "intake": int(number)}))
        links.append(html.Span("taken back", className="soft") if undone else _undo(number))
        rows.append([str(number), *cells, html.Div(links, className="acts")])
    right = [True, *(intakes.schema[n].is_numeric() for n in names), False]
    headings = ["no.", *(n.replace("_", " ") for n in names), "what to do"]
    return html.Div(plain_table(title, headings, rows, right), className="intakes")


def _undo(number: Any) -> html.Details:
    """Give the two steps that take an intake back."""
    return html.Details(
        [
            html.Summary("take back"),
            html.Div(
                [
                    html.P("Its readings leave every answer; the file itself is kept."),
                    html.Button(
                        f"Take intake {number} back",
                        id={"kind": "undo", "intake": int(number)},
                        type="button",
                    ),
                ]
            ),
        ],
        className="undo",
    )


def _refusals(works: Works, plant: Plant, address: Address) -> html.Section:
    number = address.intake or 0
    refused = works.store.refusals(number)
    first = min(address.first, max(0, refused.height - 1))
    part = refused.slice(first, REFUSALS_A_PAGE).drop("intake", strict=False)
    last = first + part.height
    turns: list[Any] = [html.A("Download all as CSV", href=f"/refusals/{number}.csv", className="download")]
    for words, start, there in (
        ("earlier ones", max(0, first - REFUSALS_A_PAGE), first > 0),
        ("later ones", last, last < refused.height),
    ):
        if there:
            turns.append(
                dcc.Link(words, href=Address("intake", address.line, None, None, number, start).href)
            )
    title = f"Refused by intake {number}"
    if refused.height:
        title += f": {first + 1:,} to {last:,} of {refused.height:,}"
    return html.Section(
        [frame_table(title, part, plant, most=REFUSALS_A_PAGE), html.P(turns, className="acts")],
        id="refusals",
    )
