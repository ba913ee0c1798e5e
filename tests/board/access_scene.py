"""A board that people sign in to, with a browser for each of them, and calls of its callbacks by hand."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any
from weakref import finalize

from dash import Dash
from flask.testing import FlaskClient

from lineview.app.access import RIGHTS, SCREEN, Access
from lineview.board.app import create_app
from lineview.board.guard import Doors, _signer
from lineview.store.accounts import Accounts
from lineview.store.journal import Journal
from tests.board.invented_works import InventedWorks

HOST = "board.invented.example"
#: What a callback is asked with, by component and property; a value may matter to what it writes.
VALUES: dict[tuple[str, str], Any] = {
    ("address", "pathname"): "/shift", ("address", "search"): "?line=1", ("tick", "n_intervals"): 1,
    ("screen", "data"): {"theme": "day", "narrow": False},
    ("version", "data"): "old", ("shown", "data"): "/shift",
    ("day-show", "n_clicks"): 1, ("day-from", "value"): "2026-06-08", ("day-to", "value"): "2026-06-09",
    ("export", "contents"): "data:text/csv;base64,dGltZSxnb29kCg==", ("export", "filename"): "a.csv",
    ("set-reason", "n_clicks"): 1, ("stops", "value"): [], ("reason", "value"): "film",
    ("bags-check", "n_clicks"): 1, ("bags-masses", "value"): "251\n252", ("bags-label", "value"): "250",
    ("bags-lot", "value"): "400", ("bags-tare", "value"): "0", ("bags-rules", "value"): "eu",
    ("undo-pattern", "n_clicks"): 1, ("pattern-mark", "data"): 7,
    ("bags-file", "contents"): "data:text/plain;base64,MjUxCg==", ("bags-file", "filename"): "a.txt",
}  # fmt: skip
PATTERNS: dict[str, dict[str, Any]] = {
    "undo": {"kind": "undo", "intake": 7, "of": ""}, "accept": {"kind": "accept", "file": "given"},
    "accept-pattern": {"kind": "accept-pattern", "pattern": "wrap1|at 10"},
    "pattern-reason": {"kind": "pattern-reason", "pattern": "wrap1|at 10"},
}  # fmt: skip


def place(one: dict[str, Any]) -> Any:
    """An input or state of a callback with a value."""
    if not one["id"].startswith("{"):
        value = VALUES.get((one["id"], one["property"]))
        return {"id": one["id"], "property": one["property"], "value": value}
    known = PATTERNS.get(json.loads(one["id"])["kind"])
    values = {"n_clicks": 1, "value": "film", "id": known}
    return [{"id": known, "property": one["property"], "value": values[one["property"]]}] if known else []


def call_of(app: Dash, output: str) -> dict[str, Any]:
    """The body of a call, as a page would send it."""
    known = app.callback_map[output]
    inputs, state = ([place(one) for one in known[part]] for part in ("inputs", "state"))
    names = output.strip(".").split("...")
    outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
    first = inputs[0][0] if isinstance(inputs[0], list) else inputs[0]
    name = (
        json.dumps(first["id"], sort_keys=True, separators=(",", ":")) if isinstance(first["id"], dict) else first["id"]
    )
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": inputs,
        "state": state,
        "changedPropIds": [f"{name}.{first['property']}"],
    }


@dataclass
class Scene:
    """The board, its accounts, and browsers by who sits before them."""

    app: Dash
    works: InventedWorks
    access: Access
    doors: Doors
    browsers: dict[str, FlaskClient] = field(default_factory=dict)

    def send(self, who: str, path: str, method: str = "GET", **more: Any) -> Any:
        headers = {"Host": HOST, **more.pop("headers", {})}
        if method == "POST":
            headers.setdefault("Origin", f"http://{HOST}")
        answer = self.browsers[who].open(path, method=method, headers=headers, buffered=True, **more)
        answer.get_data()
        return answer

    def call(self, who: str, output: str, **more: Any) -> Any:
        body = {**call_of(self.app, output), **more}
        return self.send(who, "/_dash-update-component", "POST", json=body)

    def cookie(self, token: str) -> str:
        return _signer(self.access).sign(token).decode()

    def seat(self, name: str, cookie: str | None) -> None:
        client = self.app.server.test_client()
        if cookie is not None:
            client.set_cookie("lineview", cookie, domain=HOST)
        self.browsers[name] = client


#: The people of the board, by one right each, as the roles are.
PEOPLE = {right: f"Invented {right}" for right in RIGHTS}


def accounts_of(works: InventedWorks, folder: Path) -> Accounts:
    """Give a works accounts in a journal of their own, which is closed when the works is no longer used."""
    journal = Journal(folder)
    finalize(works, journal.close)
    accounts = Accounts(journal)
    vars(works.store)["accounts"] = accounts
    return accounts


def scene(folder: Path, works: InventedWorks | None = None) -> Scene:
    """A board with a person for each role, a screen, and browsers that nobody or a forger sits before."""
    works = works or InventedWorks()
    access = Access(accounts_of(works, folder), folder / "signing.key")
    doors = Doors((HOST,), access=access)
    made = Scene(create_app(works, doors=doors), works, access, doors)
    accounts = access.accounts
    for right, name in PEOPLE.items():
        rights = RIGHTS if right == "administer" else tuple({"see": None, right: None})
        accounts.add_user(name, rights, "no hash")
        user = accounts.user(name)
        assert user is not None
        accounts.begin_session(access.mark(f"token of {name}"), user, timedelta(hours=1))
        made.seat(right, made.cookie(f"token of {name}"))
    accounts.offer_pairing(access.mark("CODE"), "wall 1", timedelta(minutes=1))
    assert accounts.pair(access.mark("CODE"), access.mark("token of the wall"), SCREEN)
    made.seat("screen", made.cookie("token of the wall"))
    user = accounts.user(PEOPLE["administer"])
    assert user is not None
    accounts.begin_session(access.mark("token that ended"), user, timedelta(seconds=-1))
    made.seat("ended", made.cookie("token that ended"))
    made.seat("nobody", None)
    made.seat("unsigned", "token of " + PEOPLE["administer"])
    token, _, signature = made.cookie("token of " + PEOPLE["administer"]).rpartition(".")
    # its first letter: of the last one, two bits count for nothing
    made.seat("forged", f"{token}.{'A' if signature[0] != 'A' else 'B'}{signature[1:]}")
    made.seat("signed elsewhere", "dG9rZW4.c2lnbmF0dXJl")
    made.seat("unknown token", made.cookie("guessed"))
    return made
