"""What happens on the page of weighed bags: a file fills the field, the button checks what stands there."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from lineview.board.bags_page import TEXT_LIMIT, faults_told, lot_told
from lineview.board.upload import decoded
from lineview.errors import AskError, Fault, IntakeError, LineviewError
from lineview.weighed_bags import check_bags, lot_words, read_masses


def bind_bags(app: Dash) -> None:
    """Bind the page's callbacks; nothing is kept and nothing is written.

    Parameters
    ----------
    app : dash.Dash
        The board.
    """

    def fill(contents: str | None, name: str | None) -> Any:
        if not contents:
            raise PreventUpdate
        try:
            return file_text(contents, name or "the file"), []
        except LineviewError as error:
            return no_update, faults_told(error)

    def check(
        clicks: int | None,
        masses: str | None,
        label: str | None,
        lot: str | None,
        tare: str | None,
        rules: str,
    ) -> Any:
        if not clicks:
            raise PreventUpdate
        try:
            return lot_told(lot_words(checked(masses or "", label or "", lot or "", tare or "", rules)))
        except LineviewError as error:
            return faults_told(error)

    app.callback(
        Output("bags-masses", "value"),
        Output("bags-told", "children", allow_duplicate=True),
        Input("bags-file", "contents"),
        State("bags-file", "filename"),
        prevent_initial_call=True,
    )(fill)
    app.callback(
        Output("bags-told", "children"),
        Input("bags-check", "n_clicks"),
        *[State(f"bags-{name}", "value") for name in ("masses", "label", "lot", "tare", "rules")],
        prevent_initial_call=True,
    )(check)


def file_text(contents: str, name: str) -> str:
    """Give the text of a dropped file.

    Parameters
    ----------
    contents : str
        As the browser sends it, base64 after a comma.
    name : str
        For the fault.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    IntakeError
        Where it did not arrive whole, is too large or is no text.
    """
    data = decoded(contents, name)
    if len(data) > TEXT_LIMIT:
        raise IntakeError(Fault("the file is too large", name, f"up to {TEXT_LIMIT // 1000} kB of masses"))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise IntakeError(Fault("the file is no text", name, "a text or CSV file, one mass a line"))
    return text


def checked(masses: str, label: str, lot: str, tare: str, rules: str) -> Any:
    """Check what stands in the form's fields.

    Parameters
    ----------
    masses, label, lot, tare : str
        As typed; an empty tare is none.
    rules : str
        "hb133", "eu" or "r87".

    Returns
    -------
    LotCheck
        The verdict with its reasons.

    Raises
    ------
    LineviewError
        With all that is wrong in the fields at once; then with what is wrong in the masses.
    """
    faults: list[Fault] = []
    label_g = _number(label, "Net mass on the label", faults, above=0.0)
    bags = _number(lot, "Bags in the lot", faults, above=0.0)
    tare_g = _number(tare or "0", "Empty bag", faults)
    if bags is not None and bags != int(bags):
        faults.append(Fault(f"'{lot}' is no whole number", "Bags in the lot", "such as 400"))
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
    told = text.strip()
    try:
        value = float(told.replace(",", "."))
    except ValueError:
        value = float("nan")
    wanted = "a number above 0" if above is not None else "a number, 0 or more"
    if not told:
        faults.append(Fault("nothing is given", where, wanted))
        return None
    if not 0 <= value < 1e9 or (above is not None and not value > above):
        faults.append(Fault(f"'{told}' will not do", where, wanted))
        return None
    return value
