"""Signing in and out, pairing screens, changing a password, and who wrote what."""

from __future__ import annotations

from typing import Any

import polars as pl
from flask import Flask, Response, redirect, request

from lineview.app.access import RIGHTS, SCREEN, SESSION, Access, Person
from lineview.app.works import Works
from lineview.board.guard import Doors, give_cookie, person, person_of, right_words
from lineview.board.plain import page_links, plain_page
from lineview.board.tables import csv_text
from lineview.core.errors import AskError, Fault, PlantError
from lineview.core.language import mark, tr
from lineview.report import show

#: Entries that the account page shows, and those in the file.
HEADS = (mark("when"), mark("who"), mark("from"), mark("what"), mark("about"), mark("before"), mark("after"))
SHOWN_ENTRIES, MOST_ENTRIES = 100, 200_000
PAIRING = mark("Enter the code that the account page of the board shows.")
PAIRED = mark("A paired screen shows every page and can write nothing.")


def add_account_routes(server: Flask, works: Works, doors: Doors) -> None:
    """Add the routes; those that sign somebody in are there only where somebody has to."""

    def audit() -> Response:
        response = Response(csv_text(works.store.accounts.entries(MOST_ENTRIES)), mimetype="text/csv")
        response.headers["Content-Disposition"] = "attachment; filename=audit.csv"
        return response

    server.add_url_rule("/account", "account", lambda: _account(works))
    server.add_url_rule("/audit.csv", "audit", audit)
    if doors.access is not None:
        _add_entrances(server, works, doors, doors.access)
        _add_account(server, works, doors, doors.access)


def _add_entrances(server: Flask, works: Works, doors: Doors, access: Access) -> None:
    def sign_in() -> Any:
        after = _local(request.values.get("next", ""))
        faults: tuple[Fault, ...] = ()
        if request.method == "POST":
            name, password = request.form.get("name", ""), request.form.get("password", "")
            try:
                token = access.sign_in(name, password, request.remote_addr or "")
            except AskError as error:
                faults = error.faults
            else:
                return _sign_in_response(doors, access, token, after, SESSION.total_seconds())
        context = {"title": tr("Sign in"), "sentence": tr("Sign in to the board."), "faults": _fault_texts(faults)}
        page = plain_page("sign-in.html", shop=shop_of(works), next=after, **context)
        return Response(page, status=403 if faults else 200)

    def pair() -> Any:
        faults: tuple[Fault, ...] = ()
        if request.method == "POST":
            try:
                token = access.pair(request.form.get("code", ""), request.remote_addr or "")
            except AskError as error:
                faults = error.faults
            else:
                return _sign_in_response(doors, access, token, "/wall", SCREEN.total_seconds())
        context = {"title": tr("Pair a screen"), "faults": _fault_texts(faults)}
        context |= {"sentence": tr(PAIRING), "soft": tr(PAIRED)}
        return Response(plain_page("pair.html", shop=shop_of(works), **context), status=403 if faults else 200)

    server.add_url_rule("/sign-in", "sign-in", sign_in, methods=["GET", "POST"])
    server.add_url_rule("/pair", "pair", pair, methods=["GET", "POST"])


def _sign_in_response(doors: Doors, access: Access, token: str, after: str, lasting_s: float) -> Any:
    before = person_of(access, request.cookies.get(doors.cookie(request.is_secure), ""))
    if before is not None and before.session is not None:  # a browser has one session at a time
        access.accounts.end_session(before.session)
    response = redirect(after, code=303)
    give_cookie(response, doors, access, token, lasting_s)
    return response


def _add_account(server: Flask, works: Works, doors: Doors, access: Access) -> None:
    def sign_out() -> Any:
        session = person().session
        if session is not None:
            access.accounts.end_session(session)
        return _sign_out_response(doors)

    def sign_out_everywhere() -> Any:
        session = person().session
        if session is None or session.user is None:
            return sign_out()
        access.accounts.end_sessions(session.user)
        return _sign_out_response(doors)

    def password() -> Any:
        try:
            _change_password(access, person())
        except AskError as error:
            return Response(_account(works, faults=error.faults), status=400)
        return _account(works, told=tr("Your password was changed; other browsers are signed out."))

    def offer() -> Any:
        try:
            code = access.offer_pairing(request.form.get("screen", ""))
        except AskError as error:
            return Response(_account(works, faults=error.faults), status=400)
        return _account(works, code=f"{code[:5]} {code[5:]}")

    def revoke() -> Any:
        number = request.form.get("screen", "")
        try:
            access.accounts.revoke_screen(int(number) if number.isdecimal() and len(number) < 16 else -1)
        except AskError as error:
            return Response(_account(works, faults=error.faults), status=400)
        return _account(works, told=tr("The screen shows nothing from now on."))

    for path, name, view in (
        ("/sign-out", "sign-out", sign_out),
        ("/sign-out-everywhere", "sign-out-everywhere", sign_out_everywhere),
        ("/password", "password", password),
        ("/screens", "offer-pairing", offer),
        ("/screens/revoke", "revoke-screen", revoke),
    ):
        server.add_url_rule(path, name, view, methods=["POST"])


def _sign_out_response(doors: Doors) -> Any:
    response = redirect("/sign-in", code=303)
    name, secure = doors.cookie(request.is_secure), request.is_secure
    response.delete_cookie(name, path="/", secure=secure, httponly=True, samesite="Lax")
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


def _change_password(access: Access, who: Person) -> None:
    user = who.session.user if who.session is not None else None
    if user is None or who.session is None:
        raise AskError(Fault(tr("a paired screen has no password")))
    now, new = request.form.get("now", ""), request.form.get("new", "")
    if new != request.form.get("again", ""):
        raise AskError(Fault(tr("the two new passwords differ"), tr("password")))
    access.change_password(user, now, new, request.remote_addr or "", who.session.id)


def _fault_texts(faults: tuple[Fault, ...]) -> list[str]:
    return [str(fault) for fault in faults]


def _account(works: Works, faults: tuple[Fault, ...] = (), **more: Any) -> str:
    """The account page as the person who asks may see it."""
    who = person()
    context: dict[str, Any] = {"session": who.session, "screen": who.is_screen, "sentence": _sentence(who)}
    context |= {
        "title": tr("Account"),
        "shop": shop_of(works),
        "pages": page_links(),
        "account_here": True,
        "faults": _fault_texts(faults),
    }
    if who.may("administer"):
        context |= _admin_context(works, who.session is not None)
    return plain_page("account.html", heads=[tr(head) for head in HEADS], **(context | more))


def _sentence(who: Person) -> str:
    if who.session is None:
        return tr("This board serves this machine alone; nobody signs in.")
    if who.is_screen:
        return tr("This screen is paired as {name}; it may see every page.", name=who.name)
    may = show.sentence_list(
        [tr("see every page"), *(right_words(right) for right in RIGHTS[1:] if right in who.rights)]
    )
    return tr("You are signed in as {name} and may {may}.", name=who.name, may=may)


def _admin_context(works: Works, signed_in: bool) -> dict[str, Any]:
    accounts = works.store.accounts
    context: dict[str, Any] = {"administers": True, "pair_at": f"{request.host_url}pair"}
    if signed_in:
        context["users"] = [(user.name, ", ".join(map(right_words, user.rights))) for user in accounts.users()]
        context["screens"] = [
            (row["id"], row["screen"], f"{row['begun_at']:%Y-%m-%d %H:%M} UTC")
            for row in accounts.screens().iter_rows(named=True)
        ]
    entries = accounts.entries(SHOWN_ENTRIES)
    try:
        plant = works.plant
    except PlantError:  # what was written can be read also where the plant description is wrong
        rows = entries.with_columns(pl.col("at").dt.to_string("%Y-%m-%d %H:%M:%S"))
        return context | {"written": list(rows.iter_rows()), "zone": "UTC"}
    local_rows = [(show.moment(r[0], plant), r[1], r[2], tr(r[3]), *r[4:]) for r in entries.iter_rows()]
    return context | {"written": local_rows, "zone": plant.zone}


def shop_of(works: Works) -> str:
    """The shop's name; none where the plant description was edited and is wrong now."""
    try:
        return works.plant.shop
    except PlantError:
        return ""


def _local(path: str) -> str:
    """A path of this board to go on to; the first page where it is none."""
    is_local = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if is_local and "\\" not in path and len(path) < 2_000 else "/"
