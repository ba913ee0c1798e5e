"""`lineview user` and the board's addresses: who may come in from other machines."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from lineview.app.works import Works
from lineview.cli import main
from lineview.cli.users import add_user, list_users, remove_user, set_password, set_roles
from lineview.core.errors import AskError
from tests.cli.test_cli import PLANT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plant.toml").write_text(PLANT, encoding="utf-8")
    (tmp_path / "secret").write_text("seven sweet wrappers\nand a second line\n", encoding="utf-8")
    return tmp_path


def test_a_user_is_added_changed_and_removed(folder: Path, capsys) -> None:
    file = folder / "secret"
    with Works(folder) as works:
        list_users(works)
        add_user(works, "Ann Invented", ["note", "take-in"], file)
        token = works.access.sign_in("ann invented", "seven sweet wrappers", "192.0.2.1")
        set_roles(works, "Ann Invented", ["order"])
        person = works.access.person(token)
        assert person is not None
        assert person.rights == {"see", "order"}
        file.write_text("eight sweet wrappers", encoding="utf-8")
        set_password(works, "ann  invented", file)
        assert works.access.person(token) is None
        token = works.access.sign_in("Ann Invented", "eight sweet wrappers", "192.0.2.1")
        list_users(works)
        remove_user(works, "Ann Invented")
        assert works.access.person(token) is None
        done = works.store.accounts.entries(20)["action"].to_list()
    printed = " ".join(capsys.readouterr().out.split())
    assert "There are no users; the board answers this machine alone." in printed
    assert "Ann Invented may see, note, take in." in printed
    assert "Ann Invented see, order" in printed
    assert done[::-1] == ["user added", "signed in", "rights changed", "password changed", "signed in", "user removed"]


def test_what_cannot_be_is_said_before_a_password_is_asked_for(folder: Path) -> None:
    with Works(folder) as works:
        for name, roles, words in (
            ("Ann", ["boss"], "'boss' is no role"),
            ("Ann", [], "cannot be asked for here"),
            ("\x07", ["note"], "this name will not do"),
        ):
            file = None if not roles else folder / "secret"
            with pytest.raises(AskError, match=words):
                add_user(works, name, roles, file)
        (folder / "secret").write_text("short\n", encoding="utf-8")
        with pytest.raises(AskError, match="the password has 5 characters"):
            add_user(works, "Ann", [], folder / "secret")
        with pytest.raises(AskError, match="cannot be read"):
            add_user(works, "Ann", [], folder / "none")
        with pytest.raises(AskError, match="there is no user 'Bob'"):
            remove_user(works, "Bob")
        assert works.access.accounts.users() == []


@pytest.mark.parametrize("more", [["--host", "0.0.0.0"], ["--host-name", "board"], ["--proxy", "127.0.0.1"]])
def test_other_machines_are_let_near_only_with_a_user(folder: Path, more: list[str]) -> None:
    done = CliRunner().invoke(main.app, ["board", "--works", str(folder), "--port", "0", *more])
    assert isinstance(done.exception, AskError)
    assert "there is no user" in str(done.exception)
    assert "lineview user add NAME" in str(done.exception)
